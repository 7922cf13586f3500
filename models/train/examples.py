"""One training example: a straightened colour strip of a rendered instrument with everything its models must learn.

Every example is one seed: a scene drawn at random, a window of the picture around part of the shaft (tip on the left),
straightened along the true axis plus the kind of error a traced axis has.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from models.train.hurts import hurt
from samples import render
from samples.arrays import CPU, Backend
from samples.draw_stranger import draw_stranger, with_own_end
from samples.instrument import Instrument
from samples.population import draw_macro
from samples.scene import Scene
from vision.exif import CameraInfo
from vision.photo import Photo
from vision.strip import Strip, straighten_rgb

Array = NDArray[np.floating[Any]]
COLUMNS, HALF = 640, 96
WIDEST_PX = 110.0  # a strip is sampled so that the metal is never wider than this
CODE = 204.0  # stored code of white paper
FAMILIES = ("k-file", "reamer", "hedstroem-file", "barbed-broach", "spreader", "plugger", "paste-carrier", "other")
SECTIONS = ("square", "triangle", "rhombus", "round")
HANDS = ("right", "left")
SLANT_DEG = 6.0  # most of a photo is seen at a slant: 12 mm off the middle from 80 mm is 8.5 degrees
Draw = Callable[[int], tuple[Scene, float]]
STIFF, STIFF_MM, LED_ROUND_MM = 0.65, (0.3, 1.2), 0.15  # how often a traced axis cuts bends short, over which length; and else
BEYOND_PX = 200  # strip columns before the tip and behind the handle's front that a window may show


def draw_window(seed: int) -> tuple[Scene, float]:
    """Draw a scene whose picture is only a window along part of the shaft; returns it and the strip's step in px."""
    rng = np.random.default_rng([seed, 11])
    low, high = (12.0, 45.0) if rng.random() < 0.25 else (45.0, 140.0)
    px_per_mm = float(np.exp(rng.uniform(np.log(low), np.log(high))))
    scene = _scene(seed, rng, px_per_mm)
    step = step_of(scene.laid[0].instrument, px_per_mm)
    shown, total = COLUMNS * step / px_per_mm, scene.laid[0].instrument.length_mm
    start = float(rng.uniform(-1.0, max(total + 1.0 - shown, -0.9)))
    part = rng.random()
    if part < 0.25:
        start = -float(rng.uniform(0.3, 1.0))  # the tip deserves more than its share
    elif part < 0.45:
        start = total + float(rng.uniform(0.5, 3.5)) - shown  # and so does the handle's front
    return aimed(scene, rng, start + shown / 2.0, step), step


def step_of(instrument: Instrument, px_per_mm: float) -> float:
    """Photo px a strip column: one, more only for thick metal."""
    return max(1.0, float(np.ceil(instrument.shank_width_mm * 1.15 * px_per_mm / WIDEST_PX)))


def aimed(scene: Scene, rng: np.random.Generator, at_mm: float, step: float) -> Scene:
    """The same seen by a camera whose picture holds no more than one window, its middle ``at_mm`` from the tip."""
    laid = scene.laid[0]
    middle = laid.pose.to_sheet(np.array([at_mm, 0.0, 0.0]))
    slant = float(np.clip(np.hypot(*rng.normal(0.0, SLANT_DEG, 2)), 0.0, 20.0))
    size = (int(COLUMNS * step) + 60, int(2 * HALF * step) + 60)
    camera = replace(
        scene.camera,
        width_px=size[0],
        height_px=size[1],
        target_mm=(float(middle[0]), float(middle[1])),
        turn_deg=float(laid.pose.azimuth_deg + rng.normal(0.0, 2.0)),
        tilt_deg=slant,
        tilt_to_deg=float(rng.uniform(0.0, 360.0)),
        f35_mm=scene.camera.f35_mm * scene.camera.width_px / size[0],
    )
    return replace(scene, camera=camera)


def _scene(seed: int, rng: np.random.Generator, px_per_mm: float) -> Scene:
    pose = "flat" if rng.random() < 0.5 else "free"
    preset = ("phone-12mp", "phone-48mp", "tele-macro")[int(rng.integers(3))]
    stranger = draw_stranger(np.random.default_rng([seed, 12])) if rng.random() < 0.12 else None
    if stranger is not None and rng.random() < 0.5:
        stranger = with_own_end(np.random.default_rng([seed, 14]), stranger)
    scene = draw_macro(
        seed,
        None if stranger else FAMILIES[int(rng.integers(4))],  # type: ignore[arg-type]
        pose,  # type: ignore[arg-type]
        px_per_mm,
        preset=preset,
        light="backlight" if rng.random() < 0.07 else None,
        image_px=(64, 64),
        used=bool(rng.random() < 0.35) and stranger is None,
        instrument=stranger,
        population=("nominal", "wide", "wide", "free", "free")[int(rng.integers(5))],  # type: ignore[arg-type]
        conditions="hard" if rng.random() < 0.3 else "usual",
    )
    return _darkened(rng, scene) if rng.random() < 0.1 else scene


def _darkened(rng: np.random.Generator, scene: Scene) -> Scene:
    """The same instrument in blackened, gilt or dull metal: coatings are common on machined instruments and screws."""
    laid = scene.laid[0]
    level = float(rng.uniform(0.04, 0.4))
    warm = float(rng.choice([1.0, 1.0, 0.55]))
    finish = replace(laid.instrument.finish, f0=(level, level * (1 + warm) / 2, level * warm), alpha=float(rng.uniform(0.1, 0.5)))
    return replace(scene, laid=(replace(laid, instrument=replace(laid.instrument, finish=finish)), *scene.laid[1:]))


def example(seed: int, backend: Backend = CPU, draw: Draw = draw_window, *, traced: bool = False) -> dict[str, NDArray[Any]] | None:
    """Render and straighten one window as ``draw`` draws it; None when too little of the shaft lies in it. ``traced``: the axis passes
    by sharp bends, as one found in a photo does.

    values (192, 640, 3) uint8: linear light over the paper's, toned by 1/2.2, times CODE. upper, lower (640,): true
    offsets in strip px, NaN beyond the metal. trust (640,): 1 where the outline is in view. marks (5,): columns of
    tip, stop's tip side, stop's far side, handle's front, working part's end, NaN where there is none. columns: how many
    are filled. family, section, hand: indices, -1 for none. step: photo px a column. hurt (2, HURTS, 640): where damage of
    each kind lies, and where the strip may be asked for it (``models.train.damaged``).
    """
    scene, step = draw(seed)
    picture, truth = render(scene, backend)
    one, instrument = truth["instruments"][0], scene.laid[0].instrument
    rng = np.random.default_rng([seed, 13])
    dense = _axis_px(np.array(one["axis_px"])[:, 1:], np.array(one["handle_px"]), step)
    dense = _traced(dense, truth["camera"]["px_per_mm"] / step, rng) if traced else dense
    width, height = truth["image"]["width"], truth["image"]["height"]
    kept = np.flatnonzero((dense >= 0).all(axis=1) & (dense <= [width - 1, height - 1]).all(axis=1))
    if len(kept) < COLUMNS // 2:
        return None
    axis = _wobble(dense[kept[0] : kept[-1] + 1][:COLUMNS], rng)
    photo = Photo(Path("rendered"), np.asarray(picture, dtype=np.uint8), CameraInfo())
    strip = straighten_rgb(photo, axis, HALF, step_px=step)
    upper, lower = (_offsets(strip, np.array(one["outline_px"][side])[:, 1:], step) for side in ("upper", "lower"))
    if np.nanmedian(upper) < np.nanmedian(lower):
        upper, lower = lower, upper
    part = instrument.working_part_mm if instrument.twist is not None or instrument.barbs else np.nan
    stop = instrument.stop
    marks = _marks(strip, one, (stop.from_tip_mm, stop.from_tip_mm + stop.thickness_mm) if stop else (np.nan, np.nan), part, step)
    return _packed(strip.values, upper, lower, marks, truth["camera"]["px_per_mm"] / step) | {
        "family": np.array(FAMILIES.index(one["family"])),
        "height": _heights(strip, one, truth["camera"]["px_per_mm"] / step, step),
        "section": np.array(SECTIONS.index(one["cross_section"])),
        "hand": np.array(HANDS.index(one["twist_hand"]) if one["twist_hand"] else -1),
        "step": np.array(step, np.float32),
        "px_per_mm": np.array(truth["camera"]["px_per_mm"], np.float32),
        "seed": np.array(seed),
        "hurt": hurt(instrument, scene.laid[0].pose, lambda at_mm: _columns_of(strip, one, at_mm, step), COLUMNS),
    }


def _packed(values: Array, upper: Array, lower: Array, marks: Array, columns_per_mm: float) -> dict[str, NDArray[Any]]:
    """Pad to the full number of columns and code the colours."""
    count = values.shape[1]
    paper = np.maximum(np.quantile(values[::4, ::4], 0.8, axis=(0, 1)), 1e-3)
    toned = np.clip(values[: 2 * HALF] / paper, 0.0, 1.6) ** (1 / 2.2) * CODE
    pad = COLUMNS - count
    trust = _trust(np.arange(count), marks, columns_per_mm) * np.isfinite(upper) * np.isfinite(lower)
    return {
        "values": np.pad(np.rint(toned), ((0, 0), (0, pad), (0, 0)), mode="edge").clip(0, 255).astype(np.uint8),
        "upper": np.pad(upper, (0, pad), constant_values=np.nan).astype(np.float32),
        "lower": np.pad(lower, (0, pad), constant_values=np.nan).astype(np.float32),
        "trust": np.pad(trust, (0, pad)).astype(np.uint8),
        "marks": marks.astype(np.float32),
        "columns": np.array(count),
    }


def _axis_px(axis: Array, front: Array, step: float) -> Array:
    """The true axis at every step, carried straight on beyond the tip and behind the handle's front."""
    axis = np.concatenate([axis, front[None]]) if np.linalg.norm(axis[-1] - front) > 1e-3 else axis
    length = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(axis, axis=0), axis=1))])
    at = np.arange(0.0, length[-1], step)
    dense = np.column_stack([np.interp(at, length, axis[:, k]) for k in range(2)])
    more = np.arange(1, BEYOND_PX + 1)[:, None]
    before = dense[0] + (dense[0] - dense[4]) / 4.0 * more[::-1]
    behind = dense[-1] + (dense[-1] - dense[-5]) / 4.0 * more
    return np.concatenate([before, dense, behind])


def _traced(dense: Array, columns_per_mm: float, rng: np.random.Generator) -> Array:
    """Pass by sharp bends, as a stiff curve does: a strip shows a kink because its axis does not follow it. Some axes were led round."""
    over_mm = float(rng.uniform(*STIFF_MM)) if rng.random() < STIFF else LED_ROUND_MM
    return np.asarray(gaussian_filter1d(dense, over_mm * columns_per_mm, axis=0, mode="nearest"))


def _wobble(axis: Array, rng: np.random.Generator) -> Array:
    """Add the smooth error of a traced axis: an offset, a slope and a slow wave, up to some 15 px."""
    n = len(axis)
    wave = gaussian_filter1d(rng.normal(size=n + 400), 80.0)[200 : 200 + n]
    shift = rng.normal(0.0, 4.0) + rng.normal(0.0, 3.0) * np.linspace(-1, 1, n) + rng.normal(0.0, 2.0) * wave / (wave.std() + 1e-9)
    tangent = np.gradient(axis, axis=0)
    tangent /= np.linalg.norm(tangent, axis=1, keepdims=True)
    return np.asarray(axis + shift[:, None] * np.column_stack([-tangent[:, 1], tangent[:, 0]]))


def _columns(strip: Strip, points: Array, step: float) -> tuple[Array, Array]:
    """Column (with fraction) and offset (strip px) of picture points."""
    tangent = np.column_stack([strip.normal[:, 1], -strip.normal[:, 0]])
    nearest = np.array([int(np.argmin(((strip.axis_px - p) ** 2).sum(axis=1))) for p in points])
    moved = points - strip.axis_px[nearest]
    return nearest + (moved * tangent[nearest]).sum(axis=1) / step, (moved * strip.normal[nearest]).sum(axis=1) / step


def _offsets(strip: Strip, outline: Array, step: float) -> Array:
    """Signed offset of an outline at every column, in strip px; NaN beyond the metal."""
    column, offset = _columns(strip, outline, step)
    order = np.argsort(column)
    return np.interp(np.arange(len(strip.axis_px)), column[order], offset[order], left=np.nan, right=np.nan)


def _marks(strip: Strip, one: dict[str, Any], stop_mm: tuple[float, float], part_mm: float, step: float) -> Array:
    """Columns of tip, stop's two sides, handle's front and working part's end on the axis, NaN where there is none."""
    return _columns_of(strip, one, np.array([0.0, *stop_mm, one["length_mm"], part_mm]), step)


def _columns_of(strip: Strip, one: dict[str, Any], stations: Array, step: float) -> Array:
    """Columns of places on the axis, mm from the tip; NaN for NaN."""
    axis = np.array([*one["axis_px"], [one["length_mm"], *one["handle_px"]]])
    at = np.nan_to_num(stations)
    points = np.column_stack([np.interp(at, axis[:, 0], axis[:, k]) for k in (1, 2)])
    run = (axis[-1, 1:] - axis[-4, 1:]) / (axis[-1, 0] - axis[-4, 0])
    points = points + np.maximum(at - axis[-1, 0], 0.0)[:, None] * run
    return np.where(np.isfinite(stations), _columns(strip, points, step)[0], np.nan)


def _heights(strip: Strip, one: dict[str, Any], columns_per_mm: float, step: float) -> NDArray[np.float32]:
    """Height of the axis above the sheet at every column, in columns; level beyond the metal."""
    axis = np.array(one["axis_px"])
    column, _ = _columns(strip, axis[:, 1:], step)
    height = np.array(one["height_mm_of_x"])[:, 1] * columns_per_mm
    return np.asarray(np.interp(np.arange(COLUMNS), column, height), dtype=np.float32)


def _trust(column: NDArray[np.int_], marks: Array, columns_per_mm: float) -> Array:
    """1 where the outline is in view, 0 where a stop or the handle may cover it (seen at a slant, a little before too)."""
    hidden = column > marks[3] - 0.35 * columns_per_mm
    if np.isfinite(marks[1]):
        hidden |= (column > marks[1] - 0.5 * columns_per_mm) & (column < marks[2] + 0.5 * columns_per_mm)
    return np.asarray(~hidden, dtype=float)
