"""Random changes to training strips that a camera, a light or a traced axis might make; truth follows. Needs PyTorch."""

from __future__ import annotations

from dataclasses import dataclass

import torch
from torch import Tensor
from torch.nn import functional

HALF = 96
CROP = 512


@dataclass
class Batch:
    """Strips (B, 3, 192, W) in linear light over the paper's, and their truth: offsets, trust, marks in columns, hurts."""

    light: Tensor
    up: Tensor
    low: Tensor
    seen: Tensor
    trust: Tensor
    marks: Tensor
    columns: Tensor
    names: Tensor
    height: Tensor
    hurt: Tensor


def cut(batch: Batch) -> Batch:
    """A random stretch of CROP columns."""
    at = int(torch.randint(batch.light.shape[3] - CROP + 1, (1,)))
    part = slice(at, at + CROP)
    return Batch(
        batch.light[..., part], batch.up[:, part], batch.low[:, part], batch.seen[:, part], batch.trust[:, part],
        batch.marks - at, (batch.columns - at).clamp(0, CROP), batch.names, batch.height[:, part],
        batch.hurt[..., part],
    )  # fmt: skip


def mirrored(batch: Batch, along: bool) -> Batch:
    """The strip seen in a mirror across the axis, or with ``along`` turned end for end in a mirror: the hand changes."""
    names = batch.names.clone()
    names[:, 2] = torch.where(names[:, 2] >= 0, 1 - names[:, 2], names[:, 2])
    if along:
        width = batch.light.shape[3]
        flip = {key: getattr(batch, key).flip(-1) for key in ("light", "up", "low", "seen", "trust", "height", "hurt")}
        return Batch(**flip, marks=width - 1 - batch.marks, columns=batch.columns, names=names)
    # rows run from -96 to 95: a mirror image about the axis moves by one row
    light = torch.roll(batch.light.flip(2), 1, dims=2)
    return Batch(light, -batch.low, -batch.up, batch.seen, batch.trust, batch.marks, batch.columns, names, batch.height, batch.hurt)


def stretched(batch: Batch) -> Batch:
    """Each strip zoomed across the axis by 0.8 ... 1.25 and shifted by up to 10 rows."""
    light = batch.light
    count, _, rows, columns = light.shape
    draw = torch.rand(2, count, 1, device=light.device)
    scale, shift = 0.8 * (1.25 / 0.8) ** draw[0], 20.0 * draw[1] - 10.0
    offsets = torch.arange(rows, device=light.device, dtype=torch.float32)[None, :] - HALF
    source = (offsets / scale + shift + HALF) * (2.0 / (rows - 1)) - 1.0
    across = torch.linspace(-1.0, 1.0, columns, device=light.device)
    grid = torch.stack([across.expand(count, rows, columns), source[:, :, None].expand(count, rows, columns)], dim=-1)
    moved = functional.grid_sample(light, grid, mode="bicubic", padding_mode="border", align_corners=True).clamp_min(0.0)
    return Batch(
        moved, (batch.up - shift) * scale, (batch.low - shift) * scale, batch.seen, batch.trust, batch.marks,
        batch.columns, batch.names, batch.height, batch.hurt,
    )  # fmt: skip


def blurred(light: Tensor) -> Tensor:
    """The whole batch out of focus by one random Gaussian of 0.4 to 3 px."""
    sigma = float(0.4 * (3.0 / 0.4) ** torch.rand(1))
    at = torch.arange(-9, 10, device=light.device, dtype=torch.float32)
    kernel = torch.exp(-0.5 * (at / sigma) ** 2)
    kernel = (kernel / kernel.sum()).to(light.dtype)
    channels = light.shape[1]
    light = functional.pad(light, (9, 9, 9, 9), mode="replicate")
    light = functional.conv2d(light, kernel.view(1, 1, -1, 1).expand(channels, 1, -1, 1), groups=channels)
    return functional.conv2d(light, kernel.view(1, 1, 1, -1).expand(channels, 1, 1, -1), groups=channels)


def camera(light: Tensor) -> Tensor:
    """Tones of a strip by a camera with other exposure, tint, tone curve, sharpening and noise."""
    count = len(light)
    draw = torch.rand(5, count, 1, 1, 1, device=light.device)
    tint = 1.0 + 0.05 * torch.randn(count, 3, 1, 1, device=light.device)
    x = (light * tint).clamp_min(0.0) ** (1 / 2.2) * (0.85 + 0.3 * draw[0])
    soft = functional.avg_pool2d(x, 3, 1, 1, count_include_pad=False)
    x = x + (x - soft) * (1.2 * (draw[3] - 0.6)).clamp_min(0.0)
    x = x.clamp(0.0, 1.25) ** (0.85 + 0.35 * draw[1])
    shade = torch.linspace(-1.0, 1.0, x.shape[2], device=x.device)[None, None, :, None]
    x = x * (1.0 + 0.12 * (draw[4] - 0.5) * shade)
    return x + torch.randn_like(x) * 0.02 * draw[2]
