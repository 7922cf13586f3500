"""Times one photo in a process of its own, in one thread: ``python -m tests.bench.case PHOTO REPEATS``; prints JSON.

Seconds of processor time (one thread: that of a quiet computer), the least of the repeats where there are several.
"""

from __future__ import annotations

import json
import resource
import sys
import time
from collections import defaultdict
from collections.abc import Callable
from pathlib import Path
from typing import Any

STAGES = ("load_photo", "find_scale", "refuse_screen", "look_down", "find_instruments", "measure_candidate", "read_measured")


def main() -> None:
    """Time decoding, the first reading with all that it loads, and later ones stage by stage."""
    path, repeats = Path(sys.argv[1]), int(sys.argv[2])
    start = time.process_time()
    from vision import pipeline  # noqa: PLC0415 - its loading is what is timed

    loaded = time.process_time() - start
    first, reading = _timed(lambda: _read(pipeline, path))
    spent: dict[str, float] = defaultdict(float)
    for name in STAGES:
        setattr(pipeline, name, _counted(getattr(pipeline, name), name, spent))
    runs = []
    for _ in range(repeats):
        spent.clear()
        whole, _reading = _timed(lambda: _read(pipeline, path))
        runs.append({"whole": whole, **spent})
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
    decode = min(_timed(lambda: _decoded(path))[0] for _ in range(max(repeats, 3)))
    best = min(runs, key=lambda run: run["whole"])
    result = {"decode": decode, "cold": loaded + first, "imports": loaded, **best, "peak_mb": peak_mb}
    print(json.dumps({"seconds": result, "instruments": len(reading.instruments), "error": reading.error}))


def _read(pipeline: Any, path: Path) -> Any:
    return pipeline.read_photo(path, given=None, prints=Path("no-print-checks.json"), held="flat" in path.stem)


def _decoded(path: Path) -> Any:
    """Decode the JPEG to an array of RGB, by the library that the tool decodes with, and do nothing else."""
    import numpy as np  # noqa: PLC0415
    from PIL import Image  # noqa: PLC0415

    with Image.open(path) as image:
        return np.asarray(image.convert("RGB"))


def _timed(call: Callable[[], Any]) -> tuple[float, Any]:
    start = time.process_time()
    result = call()
    return time.process_time() - start, result


def _counted(call: Callable[..., Any], name: str, spent: dict[str, float]) -> Callable[..., Any]:
    def counted(*args: Any, **named: Any) -> Any:
        start = time.process_time()
        try:
            return call(*args, **named)
        finally:
            spent[name] += time.process_time() - start

    return counted


if __name__ == "__main__":
    main()
