"""The general-purpose path tracer that gives a second opinion: Mitsuba 3, loaded only when it is asked for."""

import os
from functools import lru_cache
from importlib import import_module
from typing import Any

VARIANTS = ("cuda_ad_rgb", "llvm_ad_rgb")
"""In the order of preference: a GPU with ray tracing, then the CPU (which needs the LLVM library, 16 or newer)."""


@lru_cache(maxsize=1)
def engine() -> Any:
    """The module `mitsuba` with a variant set: the one named by SAMPLES_TRACER, else the first that works.

    ModuleNotFoundError when it is not installed; RuntimeError when no variant can run here.
    """
    try:
        mi = import_module("mitsuba")
    except ModuleNotFoundError as error:
        raise ModuleNotFoundError(
            "the second renderer needs the package mitsuba, which is not installed: pip install 'flutegauge[tracer]'"
        ) from error
    wanted = os.environ.get("SAMPLES_TRACER")
    refused = []
    for variant in (wanted,) if wanted else VARIANTS:
        try:
            mi.set_variant(variant)
            mi.Float(1.0) + mi.Float([1.0, 2.0])
            return mi
        except (ImportError, RuntimeError, AttributeError) as error:
            refused.append(f"{variant}: {error}")
    raise RuntimeError(
        "mitsuba is installed but none of its array variants runs here; install the LLVM library (libllvm 16 or newer) "
        "or name it in DRJIT_LIBLLVM_PATH. " + "; ".join(refused)
    )


def arrays() -> Any:
    """The array library that goes with `engine`."""
    engine()
    return import_module("drjit")
