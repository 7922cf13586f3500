"""Which part of a picture is path-traced, and how it is joined to the rest without a visible seam."""

from dataclasses import dataclass

import cv2
import numpy as np

from samples.arrays import Floats
from samples.bodies import Placed
from samples.camera import Camera
from samples.stage import Stage

SHAFT_MARGIN_MM, HANDLE_MARGIN_MM = 1.8, 2.4
FEATHER_MM = 0.9
CLOSE_MM = 0.3
"""Within this of the instrument's outline twice as many paths are followed as in the rest of the window."""

WHITE_SHARE = 0.6
"""The seam is levelled where our own picture is brighter than this share of white paper."""


@dataclass(frozen=True)
class Window:
    """`weight` H x W: how much of the traced picture is shown, 0 outside, 1 inside, a ramp of FEATHER_MM between;
    `close` H x W: at and next to the instrument.
    """

    weight: Floats
    close: Floats

    def pixels(self, close: bool) -> Floats:
        """Columns and rows (N x 2) of the traced pixels next to the instrument, or of the others."""
        row, column = np.nonzero((self.weight > 0) & (self.close == close))
        return np.stack([column, row], 1)


def window_of(stage: Stage) -> Window:
    """A band about each whole instrument, and the holes of the sheet that it lies in."""
    camera = stage.scene.camera
    wide = np.zeros((camera.height_px, camera.width_px), np.uint8)
    close = wide.copy()
    for one in stage.placed:
        _draw(wide, one, camera, (SHAFT_MARGIN_MM, HANDLE_MARGIN_MM))
        _draw(close, one, camera, (CLOSE_MM, 0.0))
    paper = stage.scene.paper
    for hole in (paper.slot_mm, paper.window_mm):
        if hole is not None:
            x0, y0, x1, y1 = np.array(hole) + np.array([-1, -1, 1, 1]) * HANDLE_MARGIN_MM
            corner = np.array([[x0, y0, 0], [x1, y0, 0], [x1, y1, 0], [x0, y1, 0]]) * [*paper.print_scale, 1.0]
            _fill(wide, camera.project(corner))
    # What lies beyond the picture's border is no seam.
    padded = cv2.copyMakeBorder(wide, 1, 1, 1, 1, cv2.BORDER_REPLICATE)
    inward = cv2.distanceTransform(padded, cv2.DIST_L2, 5)[1:-1, 1:-1]
    ramp = np.clip(inward / (FEATHER_MM * camera.px_per_mm), 0.0, 1.0)
    return Window(np.asarray(ramp * ramp * (3 - 2 * ramp), np.float32), close > 0)


def _draw(mask: Floats, one: Placed, camera: Camera, margin_mm: tuple[float, float]) -> None:
    for body in one.bodies:
        margin = margin_mm[0] if body.name == "metal" else margin_mm[1]
        s = np.linspace(body.from_mm, body.to_mm, max(int((body.to_mm - body.from_mm) / 0.4), 2) + 1)
        axis = one.axis_points(s)
        depth = camera.depth_mm(axis)
        disc = np.abs(camera.blur_disc_px(depth)) / 2
        reach = (body.bound(s) + margin) * camera.focal_px / depth + disc
        px = camera.project(axis)
        run = np.gradient(px, axis=0)
        run /= np.linalg.norm(run, axis=1, keepdims=True) + 1e-9
        grow = margin * camera.px_per_mm + disc[[0, -1], None]
        px[0], px[-1] = px[0] - run[0] * grow[0], px[-1] + run[-1] * grow[1]
        side = np.stack([-run[:, 1], run[:, 0]], 1) * reach[:, None]
        for k in range(len(s) - 1):
            _fill(mask, np.array([px[k] + side[k], px[k + 1] + side[k + 1], px[k + 1] - side[k + 1], px[k] - side[k]]))


def _fill(mask: Floats, corners_px: Floats) -> None:
    cv2.fillConvexPoly(mask, np.round(corners_px * 16).astype(np.int32), 1, cv2.LINE_8, 4)


@dataclass(frozen=True)
class Seam:
    """`ratio`: our own level over the traced one on white paper in the seam, by which the traced part was multiplied;
    `left_over`: rms of the difference that stays between patches of 0.5 mm, as a share of white paper.
    """

    ratio: float
    left_over: float


def joined(own: Floats, traced: Floats, window: Window, level: float, px_per_mm: float) -> tuple[Floats, Seam]:
    """Both linear pictures (H x W x 3) as one; the traced one is levelled by ONE number, so its colours stay its own.

    `level` is the radiance (green) of white paper in the middle of the picture.
    """
    seam = (window.weight > 0.02) & (window.weight < 0.98) & (own[..., 1] > WHITE_SHARE * level)
    ratio = float(own[seam].sum() / traced[seam].sum()) if seam.sum() > 100 else 1.0
    levelled = traced * np.float32(ratio)
    weight = window.weight[..., None]
    return own * (1 - weight) + levelled * weight, Seam(ratio, _left_over(own, levelled, seam, level, px_per_mm))


def _left_over(own: Floats, traced: Floats, seam: Floats, level: float, px_per_mm: float) -> float:
    patch = max(int(0.5 * px_per_mm), 2)
    size = (seam.shape[1] // patch, seam.shape[0] // patch)
    if min(size) < 1:
        return 0.0
    inside = seam.astype(np.float32)
    off = (traced[..., 1] - own[..., 1]) * inside / np.float32(level)
    whole = np.asarray(cv2.resize(inside, size, interpolation=cv2.INTER_AREA))
    mean = np.asarray(cv2.resize(off, size, interpolation=cv2.INTER_AREA))
    enough = whole > 0.3
    return float(np.sqrt(np.mean((mean[enough] / whole[enough]) ** 2))) if enough.any() else 0.0
