"""Times one photo in a process of its own, in one thread: ``python -m tests.bench.case PHOTO REPEATS``; prints JSON.

Seconds of processor time (one thread: that of a quiet computer), the least of the repeats where there are several.
"""

from __future__ import annotations

import json
import resource
import sys
import tempfile
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
    told = {"seconds": result, "instruments": len(reading.instruments), "error": reading.error, "bytes": _sizes(path, reading)}
    print(json.dumps(told))


def _sizes(path: Path, reading: Any) -> dict[str, int]:
    """Bytes of the photo, of its line and its row in a batch's results, and of all that the records keep of it beside the photo."""
    from vision.commands.batch_tables import write_table  # noqa: PLC0415
    from vision.records.trace_json import traces  # noqa: PLC0415
    from vision.report.document import document  # noqa: PLC0415

    made = document([reading])
    line, whole = (json.dumps(one, ensure_ascii=False) for one in (made["photos"][0], made))
    with tempfile.TemporaryDirectory() as folder:
        lines, none = Path(folder) / "lines", Path(folder) / "none"
        lines.write_text(f"{line}\n", encoding="utf-8")
        none.touch()
        row, head = (write_table(one, one.with_suffix(".csv")).stat().st_size for one in (lines, none))
    kept = sum(len(json.dumps(one, separators=(",", ":"))) for one in traces(reading).values())
    return {"photo": path.stat().st_size, "line": len(line) + 1, "row": row - head, "record": len(whole) + kept}


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
