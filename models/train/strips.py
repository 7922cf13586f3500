"""Training data for the outline model: straightened strips of rendered instruments with the true outline.

Every strip is one seed: a scene drawn at random, a window of the picture around part of the shaft, straightened along the
true axis plus the kind of error a traced axis has. Run as ``python -m models.train.strips OUT_DIR FIRST COUNT``; with
``--jobs 16 --device cuda`` sixteen processes share a GPU. Writes OUT_DIR/strips-FIRST.npz, one file for a hundred seeds;
files that are there already are kept, so a run that was cut short goes on.
"""

from __future__ import annotations

import argparse
import sys
import time
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from samples import render
from samples.arrays import CPU, Backend
from samples.bulk import backend_named, over
from samples.population import draw_macro
from samples.scene import Scene
from vision.exif import CameraInfo
from vision.photo import Photo
from vision.strip import Strip, straighten

Array = NDArray[np.floating[Any]]
COLUMNS, HALF = 640, 96
WIDEST_PX = 110.0  # a strip is sampled so that the metal is never wider than this
SHARD = 100  # seeds a file
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


def strip_of(
    scene: Scene, step: float, seed: int, backend: Backend = CPU
) -> tuple[Strip, Array, Array, Array] | None:
    """Render the window and straighten it: strip, true upper and lower offset per column (strip px), trust per column."""
    picture, truth = render(scene, backend)
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


def row_of(device: str, seed: int) -> dict[str, Array] | None:
    """One strip as arrays of fixed size; None for a window that shows too little of the shaft."""
    scene, step = draw_window(seed)
    made = strip_of(scene, step, seed, backend_named(device))
    if made is None:
        return None
    strip, upper, lower, trust = made
    pad = COLUMNS - strip.values.shape[1]
    return {
        "values": np.pad(strip.values, ((0, 0), (0, pad))).astype(np.float16),
        "upper": np.pad(upper, (0, pad), constant_values=np.nan).astype(np.float32),
        "lower": np.pad(lower, (0, pad), constant_values=np.nan).astype(np.float32),
        "trust": np.pad(trust, (0, pad)).astype(np.float32),
        "columns": np.array(strip.values.shape[1]),
        "seed": np.array(seed),
    }


def shards(folder: Path, first: int, count: int, jobs: int, device: str) -> int:
    """Render seeds first ... first + count - 1 into files of `SHARD` seeds each; returns how many strips were made.

    A seed that fails is reported on stderr and left out.
    """
    folder.mkdir(parents=True, exist_ok=True)
    starts = [s for s in range(first, first + count, SHARD) if not (folder / f"strips-{s}.npz").exists()]
    blocks = {start: range(start, min(start + SHARD, first + count)) for start in starts}
    rows: dict[int, list[dict[str, Array]]] = {start: [] for start in starts}
    waiting = {start: len(block) for start, block in blocks.items()}
    made, begun = 0, time.monotonic()
    seeds = [seed for block in blocks.values() for seed in block]
    for done in over(partial(row_of, device), seeds, jobs, device):
        start = first + (done.item - first) // SHARD * SHARD
        waiting[start] -= 1
        if done.error is not None:
            print(done.item, done.error, file=sys.stderr, flush=True)
        elif done.result is not None:
            rows[start].append(done.result)
        if waiting[start] == 0:
            made += _store(folder / f"strips-{start}.npz", rows.pop(start))
            print(start, made, f"{made / (time.monotonic() - begun):.1f} strips/s", flush=True)
    return made


def _store(out: Path, rows: list[dict[str, Array]]) -> int:
    """Write one file, by its seeds; under a temporary name first, so that a reader never sees half a file."""
    if not rows:
        return 0
    rows = sorted(rows, key=lambda row: int(row["seed"]))
    part = out.with_suffix(".part")
    with part.open("wb") as file:
        np.savez(file, **{key: np.stack([row[key] for row in rows]) for key in rows[0]})  # type: ignore[arg-type]
    part.replace(out)
    return len(rows)


def main(argv: list[str] | None = None) -> None:
    """Render strips from the command line."""
    parser = argparse.ArgumentParser(prog="models.train.strips", description="Render strips for training.")
    parser.add_argument("folder", type=Path, help="where the files go; made if missing")
    parser.add_argument("first", type=int, help="first seed")
    parser.add_argument("count", type=int, help="how many seeds")
    parser.add_argument("--jobs", type=int, default=1, help="processes (default 1)")
    parser.add_argument("--device", default="cpu", help="cpu (default), or cuda with PyTorch")
    args = parser.parse_args(argv)
    print(shards(args.folder, args.first, args.count, args.jobs, args.device), "strips")


if __name__ == "__main__":
    main()
