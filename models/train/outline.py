"""Trains the outline model: strip in, probability of metal per pixel out. Needs PyTorch (the extra 'train').

Run as ``python -m models.train.outline DATA_DIR OUT_DIR SECONDS``. DATA_DIR holds the .npz files of ``models.train.strips``.
Seeds divisible by ten are kept apart for the scores. Writes outline.onnx and scores.json.
"""

from __future__ import annotations

import json
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np
import torch
from torch import Tensor, nn
from torch.nn import functional

SEED = 20261125
CROP = 512
BATCH = 24
RATE = 3e-3
WIDTHS = (16, 24, 40, 64, 96)
HALF = 96  # rows on each side of the axis
NEAR_PX = 6.0  # rows from the outline within which a pixel counts six times
AGAIN_S = 60.0  # seconds after which the folder is read again


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


class Outline(nn.Module):
    """Encoder and decoder with skips; input (B, 1, H, W), H and W multiples of 16; output logits of the same size."""

    def __init__(self) -> None:
        super().__init__()
        self.down = nn.ModuleList(Pair(a, b) for a, b in zip((1, *WIDTHS[:-1]), WIDTHS, strict=True))
        self.up = nn.ModuleList(Pair(a + b, b) for a, b in zip(WIDTHS[:0:-1], WIDTHS[-2::-1], strict=True))
        self.last = nn.Conv2d(WIDTHS[0], 1, 1)

    def forward(self, x: Tensor) -> Tensor:
        """Return logits of 'this pixel is metal'."""
        kept = []
        for level, pair in enumerate(self.down):
            x = pair(functional.max_pool2d(x, 2) if level else x)
            kept.append(x)
        for pair, skip in zip(self.up, kept[-2::-1], strict=True):
            x = pair(torch.cat([functional.interpolate(x, scale_factor=2.0, mode="nearest"), skip], dim=1))
        return self.last(x)


def load(folder: Path) -> dict[str, np.ndarray[Any, Any]]:
    """Join all files of a folder."""
    parts = []
    for path in sorted(folder.glob("*.npz")):
        with np.load(path) as file:
            parts.append({key: file[key] for key in file.files})
    if not parts:
        raise SystemExit(f"no strips yet: {folder} holds no .npz file; run models.train.strips first")
    return {key: np.concatenate([part[key] for part in parts]) for key in parts[0]}


def prepare(raw: dict[str, np.ndarray[Any, Any]], device: torch.device) -> dict[str, Tensor]:
    """Strips as the run-time code makes them (B, 192, 640), outline offsets, trust and visibility per column."""
    columns = torch.tensor(raw["columns"], device=device)
    within = torch.arange(raw["upper"].shape[1], device=device)[None, :] < columns[:, None]
    chunks = []
    for start in range(0, len(columns), 256):  # in pieces: the quantile takes a limited number of values
        values = torch.tensor(raw["values"][start : start + 256, : 2 * HALF], device=device).float()
        blank = values.masked_fill(~within[start : start + 256, None, :], float("nan"))
        paper = torch.nanquantile(blank[:, ::4, ::4].flatten(1), 0.8, dim=1).clamp_min(1e-3)
        chunks.append(((values / paper[:, None, None]).clamp(0.0, 1.6) ** (1 / 2.2)).half())
    seen = torch.tensor(np.isfinite(raw["upper"]) & np.isfinite(raw["lower"]), device=device)
    up = torch.tensor(np.nan_to_num(raw["upper"], nan=0.0), device=device)
    low = torch.tensor(np.nan_to_num(raw["lower"], nan=0.0), device=device)
    trust = torch.tensor(raw["trust"], device=device) * within
    seed = torch.tensor(raw["seed"], device=device)
    return {"x": torch.cat(chunks), "up": up, "low": low, "seen": seen, "trust": trust, "seed": seed}


def targets(up: Tensor, low: Tensor, seen: Tensor, trust: Tensor) -> tuple[Tensor, Tensor]:
    """Share of each pixel's height that is metal, and weight, (B, 192, W), from offsets (B, W) in rows from the axis."""
    rows = torch.arange(2 * HALF, device=up.device, dtype=torch.float32)[None, :, None] - HALF
    up, low = up[:, None, :], low[:, None, :]
    cover = (torch.minimum(rows + 0.5, up) - torch.maximum(rows - 0.5, low)).clamp(0.0, 1.0) * seen[:, None, :]
    near = (torch.minimum((rows - up).abs(), (rows - low).abs()) < NEAR_PX) & seen[:, None, :]
    return cover, (1.0 + 5.0 * near) * trust[:, None, :]


def batches(data: dict[str, Tensor], index: Tensor) -> tuple[Tensor, Tensor, Tensor]:
    """One random batch: input, target and weight, with mirror images, zoom and shift across the axis, and camera changes."""
    pick = index[torch.randint(len(index), (BATCH,), device=index.device)]
    at = int(torch.randint(data["x"].shape[2] - CROP + 1, (1,)))
    x = data["x"][pick, :, at : at + CROP].float()
    up, low, seen, trust = (data[key][pick, at : at + CROP] for key in ("up", "low", "seen", "trust"))
    if torch.rand(1) < 0.5:
        x, up, low, seen, trust = (v.flip(-1) for v in (x, up, low, seen, trust))
    if torch.rand(1) < 0.5:  # rows run from -96 to 95: a mirror image about the axis moves by one row
        x, up, low = torch.roll(x.flip(1), 1, dims=1), -low, -up
    light = x**2.2  # zoom and blur act on light, not on tones: else the outline would move
    if torch.rand(1) < 0.5:
        light, up, low = zoom(light, up, low)
    if torch.rand(1) < 0.2:
        light = functional.avg_pool2d(light[:, None], 3, 1, 1, count_include_pad=False)[:, 0]
    cover, weight = targets(up, low, seen, trust)
    return camera(light)[:, None], cover[:, None], weight[:, None]


def zoom(light: Tensor, up: Tensor, low: Tensor) -> tuple[Tensor, Tensor, Tensor]:
    """Stretch each strip across the axis by 0.8 ... 1.25 and shift it by up to 10 rows; the offsets follow."""
    count, rows, columns = light.shape
    draw = torch.rand(2, count, 1, device=light.device)
    scale, shift = 0.8 * (1.25 / 0.8) ** draw[0], 20.0 * draw[1] - 10.0
    offsets = torch.arange(rows, device=light.device, dtype=torch.float32)[None, :] - HALF
    source = (offsets / scale + shift + HALF) * (2.0 / (rows - 1)) - 1.0
    across = torch.linspace(-1.0, 1.0, columns, device=light.device)
    grid = torch.stack([across.expand(count, rows, columns), source[:, :, None].expand(count, rows, columns)], dim=-1)
    moved = functional.grid_sample(light[:, None], grid, mode="bicubic", padding_mode="border", align_corners=True)
    return moved[:, 0].clamp_min(0.0), (up - shift) * scale, (low - shift) * scale


def camera(light: Tensor) -> Tensor:
    """Tones of a strip by a camera with some other exposure, tone curve and noise."""
    draw = torch.rand(3, len(light), 1, 1, device=light.device)
    x = light ** (1 / 2.2) * (0.85 + 0.3 * draw[0])
    x = x ** (0.85 + 0.35 * draw[1])
    return x + torch.randn_like(x) * 0.02 * draw[2]


def crossing(p: Tensor, start: Tensor, sign: int) -> Tensor:
    """First row from ``start`` (B, W) outward where p falls to 0.5, linear between rows, in rows from the axis."""
    rows = p.shape[1]
    at = torch.arange(rows, device=p.device)[None, :, None]
    begin = start[:, None, :]
    outside = (p < 0.5) & ((at > begin) if sign > 0 else (at < begin))
    first = torch.where(outside, at, rows - 1).amin(1) if sign > 0 else torch.where(outside, at, 0).amax(1)
    first = first.clamp(1, rows - 2)
    here = p.gather(1, first[:, None])[:, 0]
    before = p.gather(1, (first - sign)[:, None])[:, 0]
    share = ((before - 0.5) / (before - here).clamp_min(1e-4)).clamp(0.0, 1.0)
    return (first - sign) + sign * share - 96.0


@torch.no_grad()
def scores(net: Outline, data: dict[str, Tensor], index: Tensor) -> dict[str, float]:
    """Offset errors in strip px over held-out columns, starting from the true middle."""
    net.eval()
    errors = []
    for chunk in index.split(16):
        p = torch.sigmoid(net(data["x"][chunk].float()[:, None]))[:, 0]
        up, low = data["up"][chunk], data["low"][chunk]
        ok = data["seen"][chunk] & (data["trust"][chunk] > 0) & (up - low > 3.0)
        start = ((up + low) / 2.0 + 96.0).round().clamp(1, 190).long()
        for sign, edge in ((1, up), (-1, low)):
            errors.append((sign * (crossing(p, start, sign) - edge))[ok])
    miss = torch.cat(errors).float().cpu().numpy()
    net.train()
    return {
        "median_px": float(np.median(miss)),
        "median_abs_px": float(np.median(np.abs(miss))),
        "p90_abs_px": float(np.percentile(np.abs(miss), 90)),
        "p99_abs_px": float(np.percentile(np.abs(miss), 99)),
        "columns": len(miss),
    }


def read(folder: Path, device: torch.device) -> tuple[dict[str, Tensor], Tensor, Tensor]:
    """All strips written so far, the indices to train on and those held out."""
    data = prepare(load(folder), device)
    kept = data["seed"] % 10 == 0
    return data, torch.nonzero(~kept)[:, 0], torch.nonzero(kept)[:, 0]


def fit(net: Outline, folder: Path, seconds: float, device: torch.device) -> dict[str, Any]:
    """Train for a fixed time with one cosine; strips that arrive meanwhile join in. Returns the scores on held-out strips."""
    data, train, held = read(folder, device)
    optimiser = torch.optim.AdamW(net.parameters(), lr=RATE, weight_decay=1e-4)
    begun, step, last = time.monotonic(), 0, time.monotonic()
    while (done := (time.monotonic() - begun) / seconds) < 1.0:
        if time.monotonic() - last > AGAIN_S and done < 0.9:
            data, train, held = read(folder, device)
            print(step, round(done, 2), len(train), len(held), scores(net, data, held), flush=True)
            last = time.monotonic()
        for group in optimiser.param_groups:
            group["lr"] = RATE * min(1.0, step / 200.0) * (0.5 + 0.5 * np.cos(np.pi * done)) + 1e-6
        x, y, w = batches(data, train)
        miss = functional.binary_cross_entropy_with_logits(net(x), y, reduction="none")
        loss = (miss * w).sum() / w.sum().clamp_min(1.0)
        optimiser.zero_grad(set_to_none=True)
        loss.backward()
        optimiser.step()
        step += 1
    print("seen in training", scores(net, data, train[: len(held)]), flush=True)
    return scores(net, data, held) | {"steps": step, "strips": len(train), "held_out": len(held), "seed": SEED}


def export(net: Outline, path: Path) -> None:
    """Write the network with its sigmoid as ONNX; rows and columns stay free (multiples of 16)."""
    torch.onnx.export(
        nn.Sequential(net.eval().cpu(), nn.Sigmoid()), (torch.zeros(1, 1, 2 * HALF, CROP),), str(path),
        input_names=["strip"], output_names=["metal"], opset_version=18, dynamo=False,
        dynamic_axes={"strip": {2: "rows", 3: "columns"}, "metal": {2: "rows", 3: "columns"}},
    )  # fmt: skip


def main() -> None:
    """Train, score and export."""
    folder, out, seconds = Path(sys.argv[1]), Path(sys.argv[2]), float(sys.argv[3])
    torch.manual_seed(SEED)
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    net = Outline().to(device)
    print("parameters", sum(p.numel() for p in net.parameters()), flush=True)
    final = fit(net, folder, seconds, device)
    final["card"] = torch.cuda.get_device_name() if device.type == "cuda" else "cpu"
    (out / "scores.json").write_text(json.dumps(final, indent=1))
    torch.save(net.state_dict(), out / "outline.pt")
    export(net, out / "outline.onnx")
    print(json.dumps(final), flush=True)


if __name__ == "__main__":
    main()
