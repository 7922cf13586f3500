"""The printed sheet as a surface: what share of white paper shows at each point, and how paper and ink reflect."""

import math
from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np
from scipy.special import ndtr

from calib.draw import raster
from calib.sheet import Sheet
from samples.arrays import CPU, Array, Backend, Floats
from samples.light import Rgb

NOISE_TILE = 1024
SLOT_ROUND_MM = 1.5


@dataclass(frozen=True)
class Paper:
    """`white`, `ink`: diffuse reflectance (r, g, b). `print_scale`: real mm per nominal mm, along page x and y.

    `ink_spread_um` moves every edge of ink outward. `grain`: relative rms of the paper's texture; `mottle`: how
    unevenly the ink covers, 0 to 1. `cut_at_mm`: the sheet ends at this page x (nominal mm), the table begins; `slot_mm`: a hole for
    the handle; `window_mm`: a hole for a backlight (x0, y0, x1, y1). `lint`: fibres lying on the sheet, each a chain of
    points (nominal mm).
    """

    kind: Literal["matt", "laminated", "gloss"] = "matt"
    white: Rgb = (0.86, 0.86, 0.845)
    ink: Rgb = (0.045, 0.045, 0.05)
    print_scale: tuple[float, float] = (1.0, 1.0)
    ink_spread_um: float = 15.0
    grain: float = 0.012
    mottle: float = 0.20
    cut_at_mm: float | None = None
    slot_mm: tuple[float, float, float, float] | None = None
    window_mm: tuple[float, float, float, float] | None = None
    table: Rgb = (0.25, 0.2, 0.16)
    specks: tuple[tuple[float, float, float], ...] = ()
    lint: tuple[tuple[tuple[float, float], ...], ...] = ()
    seed: int = 0


@dataclass(frozen=True)
class SheetTexture:
    """Tables over a part of the sheet: `white_share` (ink to paper, 0..1, texture included), `present` (sheet or hole).

    Pixel (i, j) has its centre at nominal page (x0_mm + (j + 0.5) / px_per_mm, y0_mm + (i + 0.5) / px_per_mm).
    """

    paper: Paper
    x0_mm: float
    y0_mm: float
    px_per_mm: float
    white_share: Floats
    coarse: Floats
    present: Floats | None
    coarse_present: Floats | None

    def columns_rows(self, x_mm: Floats, y_mm: Floats, coarse: int = 1) -> tuple[Floats, Floats]:
        """Fractional columns and rows of real sheet points."""
        sx, sy = self.paper.print_scale
        scale = self.px_per_mm / coarse
        return (x_mm / sx - self.x0_mm) * scale - 0.5, (y_mm / sy - self.y0_mm) * scale - 0.5

    def reflectance(self, share: Floats) -> Floats:
        """Diffuse reflectance (... x 3) for a share of white paper (...)."""
        white, ink = np.array(self.paper.white, np.float32), np.array(self.paper.ink, np.float32)
        return np.asarray(ink + (white - ink) * share[..., None])

    def table_reflectance(self, x_mm: Array, y_mm: Array, backend: Backend = CPU) -> Array:
        """What lies beside the sheet (... x 3): a streaky table top; under a cut edge or a hole it is in the shade."""
        sin = backend.xp.sin
        u, v = y_mm + 3.0 * sin(x_mm * 0.021), x_mm * 0.11
        streak = 0.07 * sin(0.61 * u + 2.2 * sin(0.17 * u + v)) + 0.05 * sin(2.9 * u + 3.1 * sin(0.43 * u - v))
        streak = streak + 0.04 * sin(11.0 * u + 4.0 * sin(0.9 * u + 0.5 * v))
        shade = 1.0 if self.paper.cut_at_mm is None and self.paper.slot_mm is None else 0.4
        return backend.constant(self.paper.table) * (shade * (1.0 + streak))[..., None]


def sheet_texture(
    sheet: Sheet, paper: Paper, box_mm: tuple[float, float, float, float], px_per_mm: float
) -> SheetTexture:
    """Draw the part `box_mm` (x0, y0, x1, y1, real mm) of the sheet at `px_per_mm` and print it."""
    sx, sy = paper.print_scale
    x0, y0, x1, y1 = box_mm[0] / sx, box_mm[1] / sy, box_mm[2] / sx, box_mm[3] / sy
    share = raster(sheet, x0, y0, x1, y1, px_per_mm).astype(np.float32) / 255.0
    share = _spread_ink(share, paper.ink_spread_um / 1000.0 * px_per_mm)
    _roughen(share, paper, px_per_mm)
    _speck(share, paper, x0, y0, px_per_mm)
    present = _present(paper, sheet, share.shape, (x0, y0, px_per_mm))
    return SheetTexture(
        paper, x0, y0, px_per_mm, share, _quarter(share), present, None if present is None else _quarter(present)
    )


def _quarter(table: Floats) -> Floats:
    size = max(table.shape[1] // 4, 2), max(table.shape[0] // 4, 2)
    return np.asarray(cv2.resize(table, size, interpolation=cv2.INTER_AREA))


def _spread_ink(share: Floats, spread_px: float) -> Floats:
    """Move straight ink edges outward by `spread_px`: blur, then take the level that a straight edge has there."""
    sigma = max(0.8 * spread_px, 0.35)
    soft = cv2.GaussianBlur(share, (0, 0), sigma)
    level = float(ndtr(spread_px / sigma))
    slope = math.exp(-0.5 * (spread_px / sigma) ** 2) / (sigma * math.sqrt(2 * math.pi))
    edge_px = 1.2
    return np.asarray(np.clip((soft - level) / (slope * edge_px) + 0.5, 0.0, 1.0))


def _roughen(share: Floats, paper: Paper, px_per_mm: float) -> None:
    """Paper fibres and toner mottle, in place, from tiles that repeat with different periods."""
    rng = np.random.default_rng(paper.seed)
    fibre = _tile(rng, 0.03 * px_per_mm) * 0.7 + _tile(rng, 0.12 * px_per_mm) * 0.7
    toner = np.maximum(_tile(rng, 0.035 * px_per_mm), -0.5)
    for top in range(0, share.shape[0], NOISE_TILE):
        for left in range(0, share.shape[1], NOISE_TILE):
            part = share[top : top + NOISE_TILE, left : left + NOISE_TILE]
            h, w = part.shape
            dark = (1.0 - part) * np.float32(0.1 * paper.mottle) * toner[:h, :w]
            part *= 1.0 + np.float32(paper.grain) * fibre[:h, :w]
            part += np.maximum(dark, 0.0)


def _tile(rng: np.random.Generator, sigma_px: float) -> Floats:
    """Smooth noise of unit rms that repeats; coarse noise is made small and enlarged."""
    size = NOISE_TILE // (1 if sigma_px < 5 else 4)
    sigma = max(sigma_px * size / NOISE_TILE, 0.4)
    noise: Floats = rng.standard_normal((size, size), np.float32)
    noise = np.pad(noise, size // 4, mode="wrap")
    soft = np.asarray(cv2.GaussianBlur(noise, (0, 0), sigma))[size // 4 : -size // 4, size // 4 : -size // 4]
    if size < NOISE_TILE:
        soft = np.asarray(cv2.resize(soft, (NOISE_TILE, NOISE_TILE), interpolation=cv2.INTER_LINEAR))
    return np.asarray(soft / soft.std())


def _speck(share: Floats, paper: Paper, x0: float, y0: float, px_per_mm: float) -> None:
    """Print specks, small dark dots (x, y, diameter; nominal mm), and lint."""
    for x, y, size in paper.specks:
        centre = (round((x - x0) * px_per_mm * 16), round((y - y0) * px_per_mm * 16))
        cv2.circle(share, centre, max(round(size / 2 * px_per_mm * 16), 4), 0.15, -1, cv2.LINE_AA, 4)
    for fibre in paper.lint:
        chain = np.round((np.array(fibre) - [x0, y0]) * px_per_mm * 16).astype(np.int32)
        cv2.polylines(share, [chain], False, 0.5, max(round(0.022 * px_per_mm), 1), cv2.LINE_AA, 4)


def _present(paper: Paper, page: Sheet, shape: tuple[int, ...], at: tuple[float, float, float]) -> Floats | None:
    """1 where the sheet is, 0 beyond its edges and in its holes; None when it is whole and fills the part drawn."""
    x0, y0, px_per_mm = at
    x = x0 + (np.arange(shape[1]) + 0.5) / px_per_mm
    y = y0 + (np.arange(shape[0]) + 0.5) / px_per_mm
    right = page.width_mm if paper.cut_at_mm is None else paper.cut_at_mm
    inside = min(x[0], y[0], right - x[-1], page.height_mm - y[-1]) > 0
    if inside and paper.slot_mm is None and paper.window_mm is None:
        return None
    out = np.outer(_within(y, page.height_mm, px_per_mm), _within(x, right, px_per_mm)).astype(np.float32)
    for hole in (paper.slot_mm, paper.window_mm):
        if hole is not None:
            out *= 1.0 - np.clip(0.5 - _slot_distance(hole, x, y) * px_per_mm, 0, 1).astype(np.float32)
    return out


def _within(x: Floats, end_mm: float, px_per_mm: float) -> Floats:
    return np.asarray(np.clip(x * px_per_mm + 0.5, 0, 1) * np.clip((end_mm - x) * px_per_mm + 0.5, 0, 1))


def _slot_distance(slot_mm: tuple[float, float, float, float], x: Floats, y: Floats) -> Floats:
    """Signed distance, mm, to the outline of a rounded rectangle, negative inside; len(y) x len(x)."""
    x0, y0, x1, y1 = slot_mm
    dx = np.abs(x - (x0 + x1) / 2) - (x1 - x0) / 2 + SLOT_ROUND_MM
    dy = np.abs(y - (y0 + y1) / 2) - (y1 - y0) / 2 + SLOT_ROUND_MM
    far = np.hypot(np.maximum(dx, 0)[None, :], np.maximum(dy, 0)[:, None])
    return np.asarray(far + np.minimum(np.maximum(dx[None, :], dy[:, None]), 0) - SLOT_ROUND_MM)
