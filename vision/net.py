"""Runs the learned models on the CPU (leaf: the only importer of the ONNX runtime). Refuses a file whose hash differs."""

from __future__ import annotations

import hashlib
import tomllib
from functools import cache
from importlib.resources import files
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.errors import FlutegaugeError

Array = NDArray[np.floating[Any]]


@cache
def registry() -> dict[str, dict[str, Any]]:
    """Return what models/registry.toml says of each model: file, sha256, input, output."""
    return tomllib.loads((files("models") / "registry.toml").read_text(encoding="utf-8"))


@cache
def session(name: str) -> Any:
    """Load a registered model once; raises FlutegaugeError when its file is missing or is not the registered one."""
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
    return onnxruntime.InferenceSession(data, options, providers=["CPUExecutionProvider"])


def metal(strip: Array) -> Array:
    """Probability of metal per pixel of a strip (H, W) as ``vision.metal`` makes it; H and W are padded to multiples of 16."""
    height, width = strip.shape
    padded = np.pad(strip, ((0, -height % 16), (0, -width % 16)), mode="edge").astype(np.float32)
    result = session("outline").run(None, {"strip": padded[None, None]})[0]
    return np.asarray(result[0, 0, :height, :width])


def versions() -> dict[str, str]:
    """Return the models and hashes that readings were made with, for the record."""
    return {name: f"sha256:{entry['sha256']}" for name, entry in registry().items()}
