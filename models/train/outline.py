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
WIDTHS = (16, 24, 40, 64, 96)


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
        try:
            with np.load(path) as file:
                parts.append({key: file[key] for key in file.files})
        except Exception as error:  # a file still being written is left out
            print("left out", path, error)
    return {key: np.concatenate([part[key] for part in parts]) for key in parts[0]}


def prepare(data: dict[str, np.ndarray[Any, Any]], device: torch.device) -> dict[str, Tensor]:
    """Input as the run-time code makes it, coverage target and weight per pixel, on the GPU."""
    values = torch.tensor(data["values"].astype(np.float32), device=device)[:, :192]
    paper = torch.quantile(values[:, ::4, ::4].flatten(1), 0.8, dim=1).clamp_min(1e-3)
    x = (values / paper[:, None, None]).clamp(0.0, 1.6) ** (1 / 2.2)
    rows = torch.arange(192, device=device, dtype=torch.float32)[None, :, None] - 96.0
    seen = torch.tensor(np.isfinite(data["upper"]) & np.isfinite(data["lower"]), device=device)
    up = torch.tensor(np.nan_to_num(data["upper"], nan=-999.0), device=device)[:, None, :]
    low = torch.tensor(np.nan_to_num(data["lower"], nan=999.0), device=device)[:, None, :]
    cover = (torch.minimum(rows + 0.5, up) - torch.maximum(rows - 0.5, low)).clamp(0.0, 1.0) * seen[:, None, :]
    near = torch.minimum((rows - up).abs(), (rows - low).abs()) < 6.0
    columns = torch.arange(x.shape[2], device=device)[None, :] < torch.tensor(data["columns"], device=device)[:, None]
    trust = torch.tensor(data["trust"], device=device) * columns
    weight = (1.0 + 5.0 * near) * trust[:, None, :]
    return {"x": x.half(), "cover": cover.half(), "weight": weight.half(), "up": up[:, 0], "low": low[:, 0], "ok": seen & (trust > 0)}


def batches(data: dict[str, Tensor], index: Tensor) -> tuple[Tensor, Tensor, Tensor]:
    """One random batch with flips, gain, tone, noise and a little blur."""
    pick = index[torch.randint(len(index), (BATCH,), device=index.device)]
    at = int(torch.randint(data["x"].shape[2] - CROP + 1, (1,)))
    x, y, w = (data[key][pick, :, at : at + CROP].float() for key in ("x", "cover", "weight"))
    if torch.rand(1) < 0.5:
        x, y, w = x.flip(2), y.flip(2), w.flip(2)
    if torch.rand(1) < 0.5:  # rows run from -96 to 95: a mirror image about the axis moves by one row
        x, y, w = (torch.roll(v.flip(1), 1, dims=1) for v in (x, y, w))
    gain = torch.empty(BATCH, 1, 1, device=x.device)
    x = x * gain.uniform_(0.85, 1.15)
    x = x.clamp_min(0.0) ** gain.uniform_(0.85, 1.2)
    x = x + torch.randn_like(x) * gain.uniform_(0.0, 0.02)
    if torch.rand(1) < 0.2:
        x = functional.avg_pool2d(x[:, None], 3, 1, 1)[:, 0]
    return x[:, None], y[:, None], w[:, None]


def crossing(p: Tensor, start: Tensor, sign: int) -> Tensor:
    """First row from ``start`` (B, W) outward where p falls to 0.5, linear between rows, in rows from the axis."""
    rows = p.shape[1]
    at = torch.arange(rows, device=p.device)[None, :, None]
    begin = start[:, None, :]
    outside = (p < 0.5) & ((at > begin) if sign > 0 else (at < begin))
    if sign > 0:
        first = torch.where(outside, at, rows - 1).amin(1)
    else:
        first = torch.where(outside, at, 0).amax(1)
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
        up, low, ok = data["up"][chunk], data["low"][chunk], data["ok"][chunk]
        ok = ok & (up - low > 3.0)
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


def main() -> None:
    """Train for a fixed time with one cosine, then score and export."""
    folder, out, seconds = Path(sys.argv[1]), Path(sys.argv[2]), float(sys.argv[3])
    torch.manual_seed(SEED)
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    raw = load(folder)
    data = prepare(raw, device)
    kept = torch.tensor(raw["seed"] % 10 == 0, device=device)
    train, held = torch.nonzero(~kept)[:, 0], torch.nonzero(kept)[:, 0]
    net = Outline().to(device)
    best = torch.optim.AdamW(net.parameters(), lr=3e-3, weight_decay=1e-4)
    begun, step = time.monotonic(), 0
    print("strips", len(train), "held out", len(held), "parameters", sum(p.numel() for p in net.parameters()), flush=True)
    while (done := (time.monotonic() - begun) / seconds) < 1.0:
        for group in best.param_groups:
            group["lr"] = 3e-3 * min(1.0, step / 200.0) * (0.5 + 0.5 * np.cos(np.pi * done)) + 1e-6
        x, y, w = batches(data, train)
        loss = (functional.binary_cross_entropy_with_logits(net(x), y, reduction="none") * w).sum() / w.sum().clamp_min(1.0)
        best.zero_grad(set_to_none=True)
        loss.backward()
        best.step()
        step += 1
        if step % 500 == 0:
            print(step, round(done, 2), float(loss), scores(net, data, held), flush=True)
    final = scores(net, data, held) | {"steps": step, "strips": len(train), "held_out": len(held), "seed": SEED}
    final["card"] = torch.cuda.get_device_name() if device.type == "cuda" else "cpu"
    (out / "scores.json").write_text(json.dumps(final, indent=1))
    net.eval().cpu()
    torch.onnx.export(
        nn.Sequential(net, nn.Sigmoid()), (torch.zeros(1, 1, 192, 512),), str(out / "outline.onnx"),
        input_names=["strip"], output_names=["metal"], opset_version=18, dynamo=False,
        dynamic_axes={"strip": {2: "rows", 3: "columns"}, "metal": {2: "rows", 3: "columns"}},
    )  # fmt: skip
    torch.save(net.state_dict(), out / "outline.pt")
    print(json.dumps(final), flush=True)


if __name__ == "__main__":
    main()
