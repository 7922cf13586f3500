"""Picture operations on either backend: OpenCV on the CPU, PyTorch elsewhere, alike to a few parts in ten thousand.

Pictures are H x W or H x W x C, float32.
"""

from importlib import import_module
from typing import Any

import cv2
import numpy as np

from samples.arrays import Array, Backend, Floats


def _torch() -> Any:
    return import_module("torch")


def gaussian(backend: Backend, image: Array, sigma_px: float) -> Array:
    """Gaussian blur out to four standard deviations, mirrored at the border."""
    if backend.xp is np:
        return cv2.GaussianBlur(image, (0, 0), sigma_px)
    size = round(sigma_px * 8 + 1) | 1
    taps = cv2.getGaussianKernel(size, sigma_px, cv2.CV_32F).ravel()
    return _convolved(backend, _convolved(backend, image, taps[:, None], "reflect"), taps[None, :], "reflect")


def convolved(backend: Backend, image: Array, kernel: Floats) -> Array:
    """Correlation with a kernel of odd size, the border's pixels repeated beyond it."""
    if backend.xp is np:
        return np.asarray(cv2.filter2D(image, -1, kernel, borderType=cv2.BORDER_REPLICATE))
    return _convolved(backend, image, kernel, "replicate")


def _convolved(backend: Backend, image: Array, kernel: Floats, border: str) -> Array:
    functional = _torch().nn.functional
    planes = (image[..., None] if image.ndim == 2 else image).permute(2, 0, 1)[:, None]
    down, right = kernel.shape[0] // 2, kernel.shape[1] // 2
    padded = functional.pad(planes, (right, right, down, down), mode=border)
    out = functional.conv2d(padded, backend.put(kernel)[None, None])[:, 0].permute(1, 2, 0)
    return out[..., 0] if image.ndim == 2 else out


def looked_up(backend: Backend, table: Array, u: Array, v: Array) -> Array:
    """A table (H x W or H x W x C) at columns u and rows v (any shape S), bilinear, clamped to its edge: S or S x C."""
    if backend.xp is np:
        x, y = np.asarray(u, np.float32), np.asarray(v, np.float32)
        return np.asarray(cv2.remap(table, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE))
    return backend.bilinear(table, u.reshape(-1), v.reshape(-1)).reshape(*u.shape, *table.shape[2:])


def magnified(backend: Backend, plane: Array, middle_px: Floats, grow: float) -> Array:
    """A plane (H x W) magnified about `middle_px` (x, y), cubic (a = -0.75), border repeated."""
    height, width = plane.shape
    cx, cy = map(float, middle_px)
    if backend.xp is np:
        shift = np.array([[grow, 0, cx * (1 - grow)], [0, grow, cy * (1 - grow)]])
        flat = np.ascontiguousarray(plane)
        return cv2.warpAffine(flat, shift, (width, height), flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
    x, y = (2.0 * (c + (np.arange(n) - c) / grow) / (n - 1) - 1.0 for c, n in ((cx, width), (cy, height)))
    grid = _torch().stack(_torch().meshgrid(backend.put(x), backend.put(y), indexing="xy"), -1)
    moved = _torch().nn.functional.grid_sample(
        plane[None, None], grid[None], mode="bicubic", padding_mode="border", align_corners=True
    )
    return moved[0, 0]


def demosaiced(backend: Backend, raw: Array) -> Array:
    """Bilinear colours (H x W x 3) of a mosaic of whole numbers (H x W; red, green / green, blue), 0 to 65535."""
    if backend.xp is np:
        return np.asarray(cv2.cvtColor(raw.astype(np.uint16), cv2.COLOR_BayerRGGB2RGB), np.float32)
    cross = np.array([[0, 1, 0], [1, 0, 1], [0, 1, 0]], np.float32) / 4
    corners = np.array([[1, 0, 1], [0, 0, 0], [1, 0, 1]], np.float32) / 4
    level = np.array([[0, 0, 0], [1, 0, 1], [0, 0, 0]], np.float32) / 2
    whole = _torch().floor(raw)
    round_, diagonal, beside, above = (
        _torch().floor(_convolved(backend, whole, k, "replicate") + 0.5) for k in (cross, corners, level, level.T)
    )
    out = _torch().stack([whole, whole, whole], -1)
    out[0::2, 0::2, 1], out[1::2, 1::2, 1] = round_[0::2, 0::2], round_[1::2, 1::2]
    out[1::2, 1::2, 0], out[0::2, 0::2, 2] = diagonal[1::2, 1::2], diagonal[0::2, 0::2]
    for colour, row in ((0, 0), (2, 1)):
        out[row::2, 1 - row :: 2, colour] = beside[row::2, 1 - row :: 2]
        out[1 - row :: 2, row::2, colour] = above[1 - row :: 2, row::2]
    out[0], out[-1] = out[1].clone(), out[-2].clone()
    out[:, 0], out[:, -1] = out[:, 1].clone(), out[:, -2].clone()
    return out
