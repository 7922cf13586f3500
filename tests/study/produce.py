"""Item -> its photos and truths on disk, by the own renderer or the path tracer."""

from __future__ import annotations

import datetime as dt
import os
from dataclasses import replace
from importlib import import_module
from multiprocessing import current_process
from pathlib import Path
from typing import Any

import numpy as np

from calib.prints import CALLIPER_U_MM, PrintCheck, save
from calib.sheet import sheet_named
from samples.bulk import backend_named
from samples.photo import save as save_photo
from samples.render import render
from samples.scene import Scene
from tests.study.design import SETUPS, Item, scenes, stated_camera

UNCHECKED = "no-print-checks.json"
SHARED_WIDE = 1_500_000  # points in one call: a dozen processes share a GPU's memory


def produce(item: Item, folder: Path, device: str, per_pixel: int = 256) -> list[Path]:
    """Write the item's photos unless they are there already; returns their paths. A photo's truth is written last."""
    paths = photo_paths(item, folder)
    if all(path.with_suffix(".json").exists() for path in paths):
        return paths
    own_gpu()
    for scene, path in zip(scenes(item), paths, strict=True):
        picture, truth = _picture(item, scene, device, per_pixel)
        stated = replace(scene, camera=stated_camera(scene.camera, item.seed))
        save_photo(picture, truth, path, stated)
    if device.startswith("cuda") and not SETUPS[item.setup].traced:
        import_module("torch").cuda.empty_cache()  # many processes share its memory
    return paths


def photo_paths(item: Item, folder: Path) -> list[Path]:
    """Where the item's photos lie."""
    return [folder / f"{item.name}-{k}.jpg" for k in range(SETUPS[item.setup].photos)]


def prints_of(item: Item, folder: Path, truth: dict[str, Any]) -> Path:
    """Write the print check of the photo's sheet, both lines read with callipers; or name a file that is not there."""
    if not SETUPS[item.setup].print_checked:
        return folder / UNCHECKED
    rng = np.random.default_rng([item.seed, 34])
    lines = sheet_named(truth["sheet"]).check_lines
    across, along = truth["print_scale"]["x"] * lines.across.nominal_mm, truth["print_scale"]["y"] * lines.along.nominal_mm
    check = PrintCheck(
        truth["sheet"],
        "study",
        round(along + float(rng.normal(0.0, CALLIPER_U_MM)), 3),
        round(across + float(rng.normal(0.0, CALLIPER_U_MM)), 3),
        CALLIPER_U_MM,
        dt.date(2024, 1, 1),
        "callipers",
    )
    path = folder / f"{item.name}-prints.json"
    path.unlink(missing_ok=True)
    return save(check, path)


def own_gpu() -> None:
    """Give this process one of the GPUs in view, in turn; before anything has touched them."""
    seen = os.environ.get("STUDY_GPUS", "")
    if not seen or "STUDY_GPU_TAKEN" in os.environ:
        return
    names = seen.split(",")
    number = current_process().name.rpartition("-")[2]
    os.environ["CUDA_VISIBLE_DEVICES"] = names[int(number) % len(names) if number.isdigit() else 0]
    os.environ["STUDY_GPU_TAKEN"] = "1"


def _picture(item: Item, scene: Scene, device: str, per_pixel: int) -> tuple[Any, dict[str, Any]]:
    if not SETUPS[item.setup].traced:
        backend = backend_named(device)
        return render(scene, replace(backend, wide=min(backend.wide, SHARED_WIDE)))
    tracer, rays = import_module("samples.tracer"), import_module("samples.tracer_rays")
    picture, truth = tracer.render_traced(scene, rays.Tracing(per_pixel, seed=scene.seed))
    return picture, truth
