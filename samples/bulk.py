"""Many renders at once: one process a core, each with its own arrays, on the CPU or sharing one GPU."""

import os
import traceback
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass
from functools import partial
from importlib import import_module
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import cv2

from samples.arrays import CPU, Backend, torch_backend
from samples.photo import save
from samples.render import render
from samples.scene import Scene

ONE_THREAD = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "OPENCV_FOR_THREADS_NUM")


@dataclass(frozen=True)
class Done:
    """What became of one item: `result`, or the `error` that stopped it, as text."""

    item: Any
    result: Any = None
    error: str | None = None


def backend_named(device: str) -> Backend:
    """NumPy for 'cpu'; PyTorch for 'cuda' (or 'torch-cpu', to try it without a GPU)."""
    return CPU if device == "cpu" else torch_backend(device.removeprefix("torch-"))


def over(work: Callable[[Any], Any], items: Iterable[Any], jobs: int, device: str = "cpu") -> Iterator[Done]:
    """Run `work` on every item in `jobs` processes; yields in the order of finishing. An error stops only its item.

    `work` must be importable by name (a function of a module, or a `partial` of one). With one job it runs right here.
    """
    if jobs == 1:
        _one_thread(device)
        yield from (_tried(work, item) for item in items)
        return
    for name in ONE_THREAD:
        os.environ[name] = "1"
    with ProcessPoolExecutor(jobs, get_context("spawn"), _one_thread, (device,)) as pool:
        running = {pool.submit(_tried, work, item): item for item in items}
        for future in as_completed(list(running)):
            item, broken = running.pop(future), future.exception()
            yield Done(item, None, repr(broken)) if broken is not None else future.result()


def _one_thread(device: str) -> None:
    """Several processes share the cores: none of them may start threads of its own."""
    cv2.setNumThreads(1)
    if device != "cpu":
        import_module("torch").set_num_threads(1)


def _tried(work: Callable[[Any], Any], item: Any) -> Done:
    try:
        return Done(item, work(item))
    except Exception:
        return Done(item, None, traceback.format_exc(limit=-3))


def render_many(
    draw: Callable[[int], Scene], seeds: Iterable[int], folder: Path, jobs: int, device: str = "cpu"
) -> Iterator[Done]:
    """Render `draw(seed)` for every seed to FOLDER/SEED.jpg and .json; each result is the JPEG's path.

    `draw` must be importable by name, e.g. ``partial(draw_macro, family="reamer", pose="free")``.
    """
    folder.mkdir(parents=True, exist_ok=True)
    return over(partial(_written, draw, folder, device), seeds, jobs, device)


def _written(draw: Callable[[int], Scene], folder: Path, device: str, seed: int) -> Path:
    scene, path = draw(seed), folder / f"{seed}.jpg"
    picture, truth = render(scene, backend_named(device))
    save(picture, truth, path, scene)
    return path
