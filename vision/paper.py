"""Stage 3b: Plane -> how bright and what colour the bare paper is at every place, under whatever light there was."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.plane import Plane

Image = NDArray[np.floating[Any]]
BLOCK_MM = 2.5
ROUNDS = 4


def paper_light(plane: Plane) -> Image:
    """Return (H, W, 3) linear light of bare white paper, smooth, interpolated under instruments and ink.

    Blocks of white paper vote by their median; a cubic surface through them drops voters far below it (instruments,
    hard shadows), and the kept blocks then refine it locally.
    """
    block = max(int(BLOCK_MM * plane.px_per_mm), 4)
    white = (plane.printed > 0.9) & plane.inside
    white = cv2.erode(white.astype(np.uint8), np.ones((3, 3), np.uint8)).astype(bool)
    rows, columns = white.shape
    v, u, light = _votes(plane, white, block)
    if len(v) < 12:
        level = np.percentile(plane.rgb[plane.inside], 80, axis=0)
        return np.broadcast_to(np.maximum(level, 1e-3), plane.rgb.shape).astype(np.float32)
    design = _cubic(v / rows, u / columns)
    log_light = np.log(np.maximum(light, 1e-3))
    grey = log_light.mean(axis=1)
    kept = grey > np.percentile(grey, 35)
    for _ in range(ROUNDS):
        surface = design @ _ridge(design[kept], log_light[kept])
        miss = grey - surface.mean(axis=1)
        spread = 1.4826 * float(np.median(np.abs(miss[kept]))) + 0.01
        kept = (miss > -3.0 * spread) & (miss < 4.0 * spread)
    return _spread_out(design, log_light, kept, (rows, columns))


def _votes(plane: Plane, white: NDArray[np.bool_], block: int) -> tuple[Image, Image, Image]:
    v, u, light = [], [], []
    for top in range(0, white.shape[0] - block // 2, block):
        for left in range(0, white.shape[1] - block // 2, block):
            tile = (slice(top, top + block), slice(left, left + block))
            chosen = white[tile]
            if chosen.mean() > 0.3:
                v.append(top + block / 2.0)
                u.append(left + block / 2.0)
                light.append(np.median(plane.rgb[tile][chosen], axis=0))
    return np.array(v, np.float32), np.array(u, np.float32), np.array(light, np.float32).reshape(-1, 3)


def _cubic(v: Image, u: Image) -> Image:
    v, u = 2.0 * v - 1.0, 2.0 * u - 1.0
    return np.stack([v**i * u**j for i in range(4) for j in range(4 - i)], axis=-1)


def _ridge(design: Image, values: Image) -> Image:
    penalty = 1e-2 * np.eye(design.shape[1])
    penalty[0, 0] = 0.0
    return np.asarray(np.linalg.solve(design.T @ design + penalty, design.T @ values), dtype=np.float32)


def _spread_out(design: Image, log_light: Image, kept: NDArray[np.bool_], shape: tuple[int, int]) -> Image:
    """Evaluate the surface on a coarse grid and blow it up: it is smooth."""
    solution = _ridge(design[kept], log_light[kept])
    grid_v, grid_u = np.meshgrid(np.linspace(0, 1, 48), np.linspace(0, 1, 48), indexing="ij")
    coarse = np.exp(_cubic(grid_v.astype(np.float32), grid_u.astype(np.float32)) @ solution)
    return np.asarray(
        cv2.resize(coarse.astype(np.float32), (shape[1], shape[0]), interpolation=cv2.INTER_LINEAR), dtype=np.float32
    )
