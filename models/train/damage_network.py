"""The damage network: encoder and decoder as of the strip network, slimmer, and one head over the columns. Needs PyTorch.

Input (B, 3, 192, W): the same straightened colour strip, tip on the left; W a multiple of 32.
"""

from __future__ import annotations

import torch
from torch import Tensor, nn
from torch.nn import functional

from models.train.hurts import HURTS
from models.train.network import down, over_rows, stem, up

WIDTHS = (16, 24, 40, 64, 96)
WIDE = 96  # channels of the head


class DamageNet(nn.Module):
    """Chance of each kind of damage at every second column."""

    def __init__(self) -> None:
        super().__init__()
        self.stem, self.down = stem(WIDTHS[0]), down(WIDTHS)
        self.far = nn.Sequential(  # along the whole strip: what twist was usual
            nn.Conv1d(2 * WIDTHS[-1], WIDE, 5, padding=2),
            nn.ReLU(inplace=True),
            nn.Conv1d(WIDE, WIDE, 5, padding=4, dilation=2),
            nn.ReLU(inplace=True),
        )
        self.up = up(WIDTHS)
        self.head = nn.Sequential(
            nn.Conv1d(4 * WIDTHS[0] + WIDE, WIDE, 9, padding=4),
            nn.ReLU(inplace=True),
            nn.Conv1d(WIDE, WIDE, 9, padding=16, dilation=4),
            nn.ReLU(inplace=True),
            nn.Conv1d(WIDE, len(HURTS), 5, padding=2),
        )

    def forward(self, x: Tensor) -> Tensor:
        """Return logits (B, kinds, W/2)."""
        kept: list[Tensor] = []
        x = self.stem(x)
        for level, pair in enumerate(self.down):
            x = pair(functional.max_pool2d(x, 2) if level else x)
            kept.append(x)
        far = self.far(over_rows(x, 1))
        for pair, skip in zip(self.up, kept[-2::-1], strict=True):
            x = pair(torch.cat([functional.interpolate(x, scale_factor=2.0, mode="nearest"), skip], dim=1))
        near = over_rows(x, 2)
        return self.head(torch.cat([near, functional.interpolate(far, scale_factor=16.0, mode="linear")], dim=1))


class Exported(nn.Module):
    """The network as it is run: probabilities instead of logits."""

    def __init__(self, net: DamageNet) -> None:
        super().__init__()
        self.net = net

    def forward(self, strip: Tensor) -> Tensor:
        """Return chances (1, kinds, W/2)."""
        return torch.sigmoid(self.net(strip))
