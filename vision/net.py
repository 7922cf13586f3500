"""Runs the learned models on the CPU (leaf: the only importer of the ONNX runtime). Refuses a file whose hash differs."""

from __future__ import annotations

import hashlib
import os
import tomllib
from functools import cache
from importlib.resources import files
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.errors import FlutegaugeError

Array = NDArray[np.floating[Any]]
KEPT_COLUMNS = 1024  # of a strip: in overviews they have up to about so many, close up three times as many
_KEEPING: set[str] = set()


@cache
def registry() -> dict[str, dict[str, Any]]:
    """Return what models/registry.toml says of each model: file, sha256, input, output."""
    return tomllib.loads((files("models") / "registry.toml").read_text(encoding="utf-8"))


@cache
def session(name: str, *, keeps: bool = False) -> Any:
    """Load a registered model once; raises FlutegaugeError when its file is missing or is not the registered one.

    ``keeps``: a second one, which keeps the memory that a run needed for the next ones.
    """
    import onnxruntime  # noqa: PLC0415  heavy: only when a photo is read

    entry = registry()[name]
    path = files("models") / str(entry["file"])
    if not path.is_file():
        raise FlutegaugeError(f"model '{name}' is missing: expected {path}; install Flutegauge again")
    data = path.read_bytes()
    digest = hashlib.sha256(data).hexdigest()
    if digest != entry["sha256"]:
        raise FlutegaugeError(
            f"model '{name}' is not the registered one: sha256 {digest[:12]}..., registered {str(entry['sha256'])[:12]}...; "
            "install Flutegauge again"
        )
    options = onnxruntime.SessionOptions()
    options.log_severity_level = 3
    options.enable_cpu_mem_arena = keeps
    options.enable_mem_pattern = False  # which asks for all of it at once: a long strip needs half the memory without, in the same time
    # Its pool of threads does not ask the usual variable by itself; where many processes share the cores it must (0: all cores).
    options.intra_op_num_threads = int(os.environ.get("OMP_NUM_THREADS") or 0)
    options.add_session_config_entry("session.intra_op.allow_spinning", "0")  # waiting threads leave the cores to others
    return onnxruntime.InferenceSession(data, options, providers=["CPUExecutionProvider"])


def give_back() -> None:
    """Return what was kept for short strips: on a run of the least strip, the only time that the runtime can be asked."""
    if not _KEEPING:
        return
    import onnxruntime  # noqa: PLC0415

    shrinking = onnxruntime.RunOptions()
    shrinking.add_run_config_entry("memory.enable_memory_arena_shrinkage", "cpu:0")
    for name in _KEEPING:
        session(name, keeps=True).run(None, {"strip": np.zeros((1, 3, 192, 32), dtype=np.float32)}, shrinking)
    _KEEPING.clear()


def see_strip(strip: Array, *, keep: bool = False) -> tuple[Array, Array, Array, Array]:
    """Run the strip network on a strip (3, rows, N) as ``vision.metal`` makes it; N is padded to a multiple of 32.

    ``keep``: many more follow; the memory that a short one needs is kept for them until ``give_back``: what is asked for anew is cleared
    anew, a sixth of an overview's time. A long one's would be too much.

    Returns the chance of every row to be the upper and the lower outline (2, rows, N/2), the chances of the five kinds of
    column (5, N/2), the axis' height above the sheet and its mean absolute miss in strip px (2, N/2), and logits of family,
    section and hand (14,).
    """
    keeps = keep and strip.shape[2] <= KEPT_COLUMNS
    if keeps:
        _KEEPING.add("strip")
    rows, kinds, heights, names = session("strip", keeps=keeps).run(None, {"strip": _padded(strip)})
    pairs = (strip.shape[2] + 1) // 2
    return np.asarray(rows[0, :, :, :pairs]), np.asarray(kinds[0, :, :pairs]), np.asarray(heights[0, :, :pairs]), np.asarray(names[0])


def see_damage(strip: Array) -> Array:
    """Run the damage network on the same strip; returns the chances of nine kinds of damage (9, N/2)."""
    (hurts,) = session("damage").run(None, {"strip": _padded(strip)})
    return np.asarray(hurts[0, :, : (strip.shape[2] + 1) // 2], dtype=float)


def _padded(strip: Array) -> NDArray[np.float32]:
    """One batch, as many columns as the networks can halve five times."""
    return np.pad(strip, ((0, 0), (0, 0), (0, -strip.shape[2] % 32)), mode="edge")[None].astype(np.float32)


def versions() -> dict[str, str]:
    """Return the models and hashes that readings were made with, for the record."""
    return {name: f"sha256:{entry['sha256']}" for name, entry in registry().items()}
