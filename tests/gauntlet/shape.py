"""What bends, cuts, covers and doubles the sheet: functions of a picture, places in px."""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.gauntlet.bases import Base, Picture

Floats = NDArray[np.float64]


def warped(rgb: Picture, source_of: Callable[[Floats, Floats], tuple[Floats, Floats]]) -> Picture:
    """The picture whose px (x, y) shows what lay at ``source_of(x, y)``; the border repeats."""
    y, x = np.indices(rgb.shape[:2], dtype=float)
    u, v = source_of(x, y)
    return np.asarray(
        cv2.remap(rgb, u.astype(np.float32), v.astype(np.float32), cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE), dtype=np.uint8
    )


def stretched(base: Base, along: float, across: float) -> Picture:
    """Stretch the picture along and across the instrument, about its middle: a sheet copied unequally, the other way round."""
    axis = (base.front_px - base.tip_px) / np.linalg.norm(base.front_px - base.tip_px)
    turn = np.column_stack([axis, [-axis[1], axis[0]]])
    matrix = turn @ np.diag([along, across]) @ turn.T
    middle = np.array([base.rgb.shape[1], base.rgb.shape[0]]) / 2.0
    move = np.column_stack([matrix, middle - matrix @ middle])
    size = (base.rgb.shape[1], base.rgb.shape[0])
    picture = cv2.warpAffine(base.rgb, move, size, flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(picture, dtype=np.uint8)


def lifted(rgb: Picture, height_mm: Callable[[Floats, Floats], Floats], camera_mm: float) -> Picture:
    """A sheet whose paper stands ``height_mm`` of (x, y in -1 to 1) above the table, seen from ``camera_mm`` above the middle."""
    height, width = rgb.shape[:2]

    def source(x: Floats, y: Floats) -> tuple[Floats, Floats]:
        u, v = 2.0 * x / width - 1.0, 2.0 * y / height - 1.0
        nearer = 1.0 - height_mm(u, v) / camera_mm
        return width / 2.0 + (x - width / 2.0) * nearer, height / 2.0 + (y - height / 2.0) * nearer

    return warped(rgb, source)


def leaning(rgb: Picture, deg: float, focal_share: float = 0.9) -> Picture:
    """Seen at a slant: the picture's plane turned about its own horizontal, by a lens of focal length ``focal_share`` widths."""
    height, width = rgb.shape[:2]
    f, (cx, cy) = focal_share * width, (width / 2.0, height / 2.0)
    a = np.radians(deg)
    camera = np.array([[f, 0.0, cx], [0.0, f, cy], [0.0, 0.0, 1.0]])
    plane = np.array([[1.0, 0.0, -cx], [0.0, np.cos(a), -np.cos(a) * cy], [0.0, np.sin(a), f - np.sin(a) * cy]])
    size = (width, height)
    return np.asarray(cv2.warpPerspective(rgb, camera @ plane, size, flags=cv2.INTER_CUBIC, borderValue=(90, 80, 70)), dtype=np.uint8)


def barrelled(rgb: Picture, k1: float) -> Picture:
    height, width = rgb.shape[:2]
    radius2 = (width**2 + height**2) / 4.0

    def source(x: Floats, y: Floats) -> tuple[Floats, Floats]:
        dx, dy = x - width / 2.0, y - height / 2.0
        factor = 1.0 - k1 * (dx**2 + dy**2) / radius2
        return width / 2.0 + dx * factor, height / 2.0 + dy * factor

    return warped(rgb, source)


def sheared(rgb: Picture, share: float) -> Picture:
    """A sensor read row by row while the hand moves sideways."""
    return warped(rgb, lambda x, y: (x + share * (y - rgb.shape[0] / 2.0), y))


def broken(rgb: Picture, at: float, step_px: float) -> Picture:
    """A panorama whose right part was joined on out of step."""
    moved = rgb.copy()
    column = int(at * rgb.shape[1])
    moved[:, column:] = np.roll(rgb[:, column:], round(step_px), axis=0)
    return moved


def covered(rgb: Picture, box: tuple[float, float, float, float], colour: tuple[int, int, int] = (104, 88, 74)) -> Picture:
    """A cloth over a part of the picture, given in shares of width and height."""
    height, width = rgb.shape[:2]
    result = rgb.copy()
    rows, columns = slice(int(box[1] * height), int(box[3] * height)), slice(int(box[0] * width), int(box[2] * width))
    weave = np.random.default_rng(9).normal(0.0, 6.0, result[rows, columns].shape)
    result[rows, columns] = np.clip(np.array(colour) + weave, 0, 255).astype(np.uint8)
    return result


def sticker(base: Base, at: float, radius_px: float) -> Picture:
    """A dull round thing over a place on the instrument's axis."""
    result = base.rgb.copy()
    cv2.circle(result, tuple(int(v) for v in base.at(at)), int(radius_px), (120, 110, 100), -1, cv2.LINE_AA)
    return result


def cut_off(base: Base, at: float, *, keep_tip: bool) -> Picture:
    """Crop across the picture at a place of the axis, so that the tip (or the handle) stays in it."""
    x = round(float(base.at(at)[0]))
    left = (base.tip_px[0] < base.front_px[0]) == keep_tip
    return np.ascontiguousarray(base.rgb[:, :x] if left else base.rgb[:, x:])


def beside(rgb: Picture, other: Picture) -> Picture:
    other = cv2.resize(other, (other.shape[1], rgb.shape[0])) if other.shape[0] != rgb.shape[0] else other
    return np.ascontiguousarray(np.hstack([rgb, other]))


def scrambled(rgb: Picture, tile_px: int) -> Picture:
    """Cut into tiles and laid together in another order."""
    rows, columns = rgb.shape[0] // tile_px, rgb.shape[1] // tile_px
    tiles = [rgb[r * tile_px : (r + 1) * tile_px, c * tile_px : (c + 1) * tile_px] for r in range(rows) for c in range(columns)]
    order = np.random.default_rng(4).permutation(len(tiles))
    lines = [np.hstack([tiles[order[r * columns + c]] for c in range(columns)]) for r in range(rows)]
    return np.ascontiguousarray(np.vstack(lines))


def wiped_away(base: Base) -> Picture:
    """The instrument painted over from what surrounds it, as a picture editor does: a ghost of its shadow stays."""
    mask = np.zeros(base.rgb.shape[:2], np.uint8)
    beyond = base.at(1.6)
    cv2.line(mask, tuple(int(v) for v in base.at(-0.04)), tuple(int(v) for v in base.at(1.0)), 255, 60)
    cv2.line(mask, tuple(int(v) for v in base.at(1.0)), (int(beyond[0]), int(beyond[1])), 255, 330)
    small = cv2.resize(base.rgb, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA)
    filled = cv2.inpaint(small, cv2.resize(mask, (small.shape[1], small.shape[0])), 3, cv2.INPAINT_TELEA)
    filled = cv2.resize(filled, (base.rgb.shape[1], base.rgb.shape[0]), interpolation=cv2.INTER_CUBIC)
    return np.asarray(np.where(mask[..., None] > 0, filled, base.rgb), dtype=np.uint8)


def strange_markers(rgb: Picture) -> Picture:
    """Somebody else's markers over all of the picture."""
    codes = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_6X6_250)
    result = np.full_like(rgb, 235)
    size = rgb.shape[0] // 6
    for k in range(12):
        top, left = (k // 4) * 2 * size + size // 2, (k % 4) * 2 * size + size // 2
        if left + size < rgb.shape[1]:
            result[top : top + size, left : left + size] = cv2.aruco.generateImageMarker(codes, 3 * k + 1, size)[..., None]
    return result


def only_near(base: Base, above_px: float, below_px: float) -> Picture:
    """A cloth over all that lies further from the instrument's axis than these, on its two sides."""
    axis = (base.front_px - base.tip_px) / np.linalg.norm(base.front_px - base.tip_px)
    rows, columns = np.indices(base.rgb.shape[:2])
    across = (columns - base.tip_px[0]) * -axis[1] + (rows - base.tip_px[1]) * axis[0]
    cloth = covered(base.rgb, (0.0, 0.0, 1.0, 1.0))
    return np.asarray(np.where(((across > below_px) | (across < -above_px))[..., None], cloth, base.rgb), dtype=np.uint8)
