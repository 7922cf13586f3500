"""Training data for the outline model: straightened strips of rendered instruments with the true outline.

Every strip is one seed: a scene drawn at random, a window of the picture around part of the shaft, straightened along the
true axis plus the kind of error a traced axis has. Run as ``python -m models.train.strips OUT.npz FIRST COUNT``.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from samples import render
from samples.population import draw_macro
from samples.scene import Scene
from vision.exif import CameraInfo
from vision.photo import Photo
from vision.strip import Strip, straighten

Array = NDArray[np.floating[Any]]
COLUMNS, HALF = 640, 96
WIDEST_PX = 110.0  # a strip is sampled so that the metal is never wider than this
FAMILIES = ("k-file", "reamer", "hedstroem-file", "barbed-broach")


def draw_window(seed: int) -> tuple[Scene, float]:
    """Draw a scene whose picture is only a window along part of the shaft; returns it and the strip's step in px."""
    rng = np.random.default_rng([seed, 7])
    low, high = (14.0, 45.0) if rng.random() < 0.2 else (45.0, 140.0)
    px_per_mm = float(np.exp(rng.uniform(np.log(low), np.log(high))))
    family = FAMILIES[int(rng.integers(4))]
    pose = "flat" if rng.random() < 0.5 else "free"
    presets = ("phone-12mp", "phone-48mp", "tele-macro")
    scene = draw_macro(seed, family, pose, px_per_mm, preset=presets[int(rng.integers(3))], image_px=(64, 64))  # type: ignore[arg-type]
    laid = scene.laid[0]
    step = max(1.0, float(np.ceil(laid.instrument.shank_width_mm * 1.15 * px_per_mm / WIDEST_PX)))
    length = COLUMNS * step / px_per_mm
    total = laid.instrument.length_mm
    start = float(rng.uniform(-1.0, max(total + 1.0 - length, -0.9)))
    if rng.random() < 0.3:
        start = -float(rng.uniform(0.3, 1.0))  # the tip deserves more than its share
    azimuth = np.radians(laid.pose.azimuth_deg)
    middle = laid.pose.to_sheet(np.array([min(start + length / 2.0, total), 0.0, 0.0]))
    size = (int(COLUMNS * step) + 60, int(2 * HALF * step) + 60)
    turn = float(-np.degrees(azimuth) + rng.normal(0.0, 2.0))
    camera = replace(
        scene.camera,
        width_px=size[0],
        height_px=size[1],
        target_mm=(float(middle[0]), float(middle[1])),
        turn_deg=turn,
        f35_mm=scene.camera.f35_mm * scene.camera.width_px / size[0],
    )
    return replace(scene, camera=camera), step


def strip_of(scene: Scene, step: float, seed: int) -> tuple[Strip, Array, Array, Array] | None:
    """Render the window and straighten it: strip, true upper and lower offset per column (strip px), trust per column."""
    picture, truth = render(scene)
    one = truth["instruments"][0]
    axis = np.array(one["axis_px"])[:, 1:]
    width, height = truth["image"]["width"], truth["image"]["height"]
    dense = _dense(axis, step)
    dense = np.concatenate([dense[:1] + (dense[0] - dense[1]) * np.arange(60, 0, -1)[:, None], dense])
    inside = (dense >= 0).all(axis=1) & (dense <= [width - 1, height - 1]).all(axis=1)
    kept = np.flatnonzero(inside)
    if len(kept) < COLUMNS // 2:
        return None
    dense = dense[kept[0] : kept[0] + COLUMNS]
    wobbled = _wobble(dense, np.random.default_rng([seed, 9]))
    photo = Photo(Path("rendered"), np.asarray(picture, dtype=np.uint8), CameraInfo())
    strip = straighten(photo, wobbled, HALF, step_px=step)
    upper, lower = (_offsets(strip, np.array(one["outline_px"][side])[:, 1:], step) for side in ("upper", "lower"))
    if np.nanmedian(upper) < np.nanmedian(lower):
        upper, lower = lower, upper
    return strip, upper, lower, _trust(one, strip)


def _dense(axis: Array, step: float) -> Array:
    length = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(axis, axis=0), axis=1))])
    at = np.arange(0.0, length[-1], step)
    return np.column_stack([np.interp(at, length, axis[:, k]) for k in range(2)])


def _wobble(axis: Array, rng: np.random.Generator) -> Array:
    """Add the smooth error of a traced axis: an offset, a slope and a slow wave, up to some 15 px."""
    n = len(axis)
    wave = gaussian_filter1d(rng.normal(size=n + 400), 80.0)[200 : 200 + n]
    shift = rng.normal(0.0, 4.0) + rng.normal(0.0, 3.0) * np.linspace(-1, 1, n) + rng.normal(0.0, 2.0) * wave / (wave.std() + 1e-9)
    tangent = np.gradient(axis, axis=0)
    tangent /= np.linalg.norm(tangent, axis=1, keepdims=True)
    return np.asarray(axis + shift[:, None] * np.column_stack([-tangent[:, 1], tangent[:, 0]]))


def _offsets(strip: Strip, outline: Array, step: float) -> Array:
    """Signed offset of an outline at every column, in strip px; NaN beyond the metal."""
    tangent = np.column_stack([strip.normal[:, 1], -strip.normal[:, 0]])
    nearest = np.array([int(np.argmin(((strip.axis_px - p) ** 2).sum(axis=1))) for p in outline])
    moved = outline - strip.axis_px[nearest]
    column = nearest + (moved * tangent[nearest]).sum(axis=1) / step
    offset = (moved * strip.normal[nearest]).sum(axis=1) / step
    order = np.argsort(column)
    return np.interp(np.arange(len(strip.axis_px)), column[order], offset[order], left=np.nan, right=np.nan)


def _trust(one: dict[str, Any], strip: Strip) -> Array:
    """1 where the outline is in view, 0 where a stop or the handle covers the metal."""
    axis = np.array(one["axis_px"])
    nearest = np.array([int(np.argmin(((axis[:, 1:] - p) ** 2).sum(axis=1))) for p in strip.axis_px])
    x = axis[nearest, 0]
    trust = np.where(x > one["length_mm"] - 0.6, 0.0, 1.0)
    if one["stop_from_tip_mm"] is not None:
        trust = np.where((x > one["stop_from_tip_mm"] - 0.8) & (x < one["stop_from_tip_mm"] + 3.2), 0.0, trust)
    return np.asarray(trust)


def main() -> None:
    """Render COUNT strips from seed FIRST on and store them as float16 arrays."""
    out, first, count = Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3])
    rows: list[dict[str, Array]] = []
    for seed in range(first, first + count):
        scene, step = draw_window(seed)
        try:
            made = strip_of(scene, step, seed)
        except (ValueError, IndexError) as error:  # a window that misses the metal or the sheet
            print(seed, error, file=sys.stderr)
            continue
        if made is None:
            continue
        strip, upper, lower, trust = made
        pad = COLUMNS - strip.values.shape[1]
        rows.append(
            {
                "values": np.pad(strip.values, ((0, 0), (0, pad))).astype(np.float16),
                "upper": np.pad(upper, (0, pad), constant_values=np.nan).astype(np.float32),
                "lower": np.pad(lower, (0, pad), constant_values=np.nan).astype(np.float32),
                "trust": np.pad(trust, (0, pad)).astype(np.float32),
                "columns": np.array(strip.values.shape[1]),
                "seed": np.array(seed),
            }
        )
        if len(rows) % 20 == 0:
            _store(out, rows)
    _store(out, rows)


def _store(out: Path, rows: list[dict[str, Array]]) -> None:
    """Write all rows so far; a temporary name first, so that a reader never sees half a file."""
    part = out.with_suffix(".part")
    with part.open("wb") as file:
        np.savez(file, **{key: np.stack([row[key] for row in rows]) for key in rows[0]})
    part.replace(out)


if __name__ == "__main__":
    main()
