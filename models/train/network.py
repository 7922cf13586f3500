"""The strip network: one encoder and decoder, and four small heads on it. Needs PyTorch (the extra 'train').

Input (B, 3, 192, W): a straightened colour strip, tip on the left; W a multiple of 32. It works at half the columns,
since an outline hardly changes from one column to the next, and at all rows, since a tenth of a row matters.
"""

from __future__ import annotations

import torch
from torch import Tensor, nn
from torch.nn import functional

HALF = 96  # rows on each side of the axis
WIDTHS = (24, 32, 48, 72, 112)
KINDS = 5  # of columns: no metal, working part, smooth shaft, stop, handle
FAMILIES, SECTIONS, HANDS = 8, 4, 2
HEIGHT_PX = 64.0  # strip px that the network counts heights in


class Pair(nn.Module):
    """Two 3 x 3 convolutions with batch normalisation."""

    def __init__(self, inside: int, outside: int) -> None:
        super().__init__()
        self.steps = nn.Sequential(
            nn.Conv2d(inside, outside, 3, padding=1, bias=False),
            nn.BatchNorm2d(outside),
            nn.ReLU(inplace=True),
            nn.Conv2d(outside, outside, 3, padding=1, bias=False),
            nn.BatchNorm2d(outside),
            nn.ReLU(inplace=True),
        )

    def forward(self, x: Tensor) -> Tensor:
        """Apply both."""
        return self.steps(x)


def stem(width: int) -> nn.Sequential:
    """From colours to ``width`` channels at half the columns and all rows."""
    return nn.Sequential(
        nn.Conv2d(3, width, (3, 4), stride=(1, 2), padding=(1, 1), bias=False), nn.BatchNorm2d(width), nn.ReLU(inplace=True)
    )


def down(widths: tuple[int, ...]) -> nn.ModuleList:
    """The encoder's pairs, of as many channels as ``widths`` say."""
    return nn.ModuleList(Pair(a, b) for a, b in zip((widths[0], *widths[:-1]), widths, strict=True))


def up(widths: tuple[int, ...]) -> nn.ModuleList:
    """The decoder's pairs, which hear the encoder's as well."""
    return nn.ModuleList(Pair(a + b, b) for a, b in zip(widths[:0:-1], widths[-2::-1], strict=True))


class StripNet(nn.Module):
    """Edges by a distribution over rows in every column, kind of every column, and what instrument it is."""

    def __init__(self) -> None:
        super().__init__()
        self.stem, self.down, self.up = stem(WIDTHS[0]), down(WIDTHS), up(WIDTHS)
        self.edges = nn.Conv2d(WIDTHS[0], 2, 1)
        self.kinds = nn.Sequential(
            nn.Conv1d(4 * WIDTHS[0], 64, 9, padding=4),
            nn.ReLU(inplace=True),
            nn.Conv1d(64, 64, 9, padding=16, dilation=4),
            nn.ReLU(inplace=True),
            nn.Conv1d(64, KINDS + 2, 5, padding=2),
        )
        self.named = nn.Sequential(
            nn.Conv1d(2 * WIDTHS[-1], 128, 5, padding=2),
            nn.ReLU(inplace=True),
            nn.Conv1d(128, 128, 5, padding=2),
            nn.ReLU(inplace=True),
            nn.Conv1d(128, 1 + FAMILIES + SECTIONS + HANDS, 1),
        )

    def forward(self, x: Tensor) -> tuple[Tensor, Tensor, Tensor]:
        """Return logits over rows (B, 2, 192, W/2), columns (B, 7, W/2), and logits of family, section and hand (B, 14).

        Columns: logits of the five kinds, then the axis' height above the sheet in HEIGHT_PX and the log of its spread.
        """
        kept: list[Tensor] = []
        x = self.stem(x)
        for level, pair in enumerate(self.down):
            x = pair(functional.max_pool2d(x, 2) if level else x)
            kept.append(x)
        deepest = x
        for pair, skip in zip(self.up, kept[-2::-1], strict=True):
            x = pair(torch.cat([functional.interpolate(x, scale_factor=2.0, mode="nearest"), skip], dim=1))
        return self.edges(x), self.kinds(over_rows(x, 2)), _named(self.named(over_rows(deepest, 1)))


def over_rows(x: Tensor, bands: int) -> Tensor:
    """Mean and greatest value over the rows, for the middle third and (with two bands) for all of them."""
    third = x.shape[2] // 3
    parts = [x] if bands == 1 else [x, x[:, :, third : 2 * third]]
    return torch.cat([value for part in parts for value in (part.mean(2), part.amax(2))], dim=1)


def _named(blocks: Tensor) -> Tensor:
    """Mean of the blocks' logits, weighted by the weight that each block claims."""
    weight = torch.softmax(blocks[:, :1], dim=2)
    return (blocks[:, 1:] * weight).sum(2)


class Exported(nn.Module):
    """The network as it is run: probabilities instead of logits."""

    def __init__(self, net: StripNet) -> None:
        super().__init__()
        self.net = net

    def forward(self, strip: Tensor) -> tuple[Tensor, Tensor, Tensor, Tensor]:
        """Return rows (1, 2, 192, W/2) summing to one down each column, kinds (1, 5, W/2), heights (1, 2, W/2): value and
        spread (mean absolute miss) in strip px, names (1, 14) as logits.
        """
        rows, columns, names = self.net(strip)
        heights = torch.cat([columns[:, KINDS : KINDS + 1], torch.exp(columns[:, KINDS + 1 :])], dim=1) * HEIGHT_PX
        return torch.softmax(rows, dim=2), torch.softmax(columns[:, :KINDS], dim=1), heights, names
