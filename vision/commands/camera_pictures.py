"""Draws what a camera profile rests on: where corners miss, and which parts of the frame and which tilts were seen."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from vision.camera_profile import CameraProfile
from vision.camera_views import WANTED_TILT_DEG, Seen
from vision.lens_fit import OUTLIER, LensFit

STYLE: Any = {"font.size": 11, "axes.spines.top": False, "axes.spines.right": False, "legend.frameon": False}
MARKS = "osD^vP*X"


def draw_residuals(fit: LensFit, profile: CameraProfile, target: Path) -> None:
    """Residual arrows over the frame, magnified, and their size against the distance from the lens's centre."""
    with mpl.rc_context(STYLE):
        figure = Figure(figsize=(11, 4.8), layout="constrained")
        frame, radial = figure.subplots(1, 2, width_ratios=(1.35, 1))
        _arrows(frame, fit, profile)
        centre = fit.values[2:4]
        for number, (view, miss) in enumerate(zip(fit.views, fit.miss_px, strict=True)):
            away = view.offset_px - centre
            r = np.hypot(*away.T)
            outward = -(miss * away).sum(axis=1) / np.maximum(r, 1e-9)
            radial.plot(r, outward, MARKS[number % len(MARKS)], ms=3, color="0.25", alpha=0.5, mew=0)
        radial.axhline(0.0, color="0.0", lw=1)
        spread = 3.0 * fit.noise_px
        radial.axhspan(-spread, spread, color="0.9", zorder=0)
        radial.set(xlabel="distance from the lens's centre, px", ylabel="corner lies further out by, px")
        radial.set_ylim(-2.0 * spread, 2.0 * spread)
        radial.set_title(f"grey band: ±3 times the spread of {fit.noise_px:.3f} px", fontsize=11)
        figure.savefig(target, dpi=110)


def draw_coverage(fit: LensFit, seen: Seen, profile: CameraProfile, target: Path) -> None:
    """How many corners each part of the frame showed, and how each view was tilted."""
    with mpl.rc_context(STYLE):
        figure = Figure(figsize=(11, 4.8), layout="constrained")
        frame, tilts = figure.subplots(1, 2, width_ratios=(1.35, 1))
        width, height = _sensor(profile)
        frame.imshow(np.minimum(seen.cells, 60), extent=(0, width, height, 0), cmap="Greys", vmin=-20, vmax=140)
        rows, columns = seen.cells.shape
        for row in range(rows):
            for column in range(columns):
                count = int(seen.cells[row, column])
                at = ((column + 0.5) * width / columns, (row + 0.5) * height / rows)
                words = f"{count}" if count >= 3 else f"{count}\nmissing"
                frame.text(*at, words, ha="center", va="center", weight="bold" if count < 3 else "normal")
        frame.set_title(f"corners of {len(fit.views)} photos in each part of the frame", fontsize=11)
        frame.set(xlabel="px on the sensor", ylabel="px")
        _tilts(tilts, seen)
        figure.savefig(target, dpi=110)


def _sensor(profile: CameraProfile) -> tuple[int, int]:
    long_side, short_side = profile.key.size_px
    return (long_side, short_side) if profile.landscape else (short_side, long_side)


def _arrows(axes: Axes, fit: LensFit, profile: CameraProfile) -> None:
    width, height = _sensor(profile)
    long_arrow = 0.04 * width
    gain = long_arrow / max(3.0 * fit.noise_px, 1e-6)
    for view, miss in zip(fit.views, fit.miss_px, strict=True):
        place = view.offset_px + np.array([width, height]) / 2.0
        counts = np.hypot(*miss.T) < OUTLIER * fit.noise_px
        axes.plot(*place[~counts].T, "x", color="0", ms=5)
        axes.quiver(
            *place[counts].T,
            *(-miss[counts] * gain).T,
            angles="xy",
            scale_units="xy",
            scale=1,
            width=0.0016,
            color="0.2",
        )
    key = (0.04 * width, 0.06 * height)
    axes.annotate("", (key[0] + long_arrow, key[1]), key, arrowprops={"arrowstyle": "->", "lw": 1.8})
    axes.text(key[0] + 1.3 * long_arrow, key[1], f"{3.0 * fit.noise_px:.2f} px", va="center", backgroundcolor="white")
    axes.plot(*(fit.values[2:4] + np.array([width, height]) / 2.0), "+", color="0", ms=14, mew=2)
    axes.set(xlim=(0, width), ylim=(height, 0), aspect="equal", xlabel="px on the sensor", ylabel="px")
    axes.set_title("where corners miss (+: lens's centre, x: left out)", fontsize=11)


def _tilts(axes: Axes, seen: Seen) -> None:
    reach = max(35.0, 1.15 * float(np.abs(seen.tilts_deg).max()))
    turn = np.linspace(0.0, 2.0 * np.pi, 100)
    axes.plot(WANTED_TILT_DEG * np.cos(turn), WANTED_TILT_DEG * np.sin(turn), "--", color="0.3", lw=1.2)
    axes.text(0.0, 0.55 * WANTED_TILT_DEG, f"ring: {WANTED_TILT_DEG:.0f} deg", ha="center", va="center", fontsize=10)
    for number, (x, y) in enumerate(seen.tilts_deg, start=1):
        axes.plot(x, y, "o", color="0", ms=5)
        axes.annotate(str(number), (x, y), (4, 4), textcoords="offset points")
    axes.axhline(0, color="0.8", lw=0.8, zorder=0)
    axes.axvline(0, color="0.8", lw=0.8, zorder=0)
    axes.set(xlim=(-reach, reach), ylim=(reach, -reach), aspect="equal")
    axes.set(xlabel="left - tilt in deg - right", ylabel="bottom - tilt in deg - top")
    axes.set_title("tilt of each photo, in its order", fontsize=11)
