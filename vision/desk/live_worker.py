"""The process that looks at live frames, so that no frame is decoded in the desk's own process: one line and a frame in, one line out.

In: a line {"bytes", "f35_mm"}, then so many bytes of a JPEG. Out: {"look", "ms"}, or {"error"}: kind and sentence.
"""

from __future__ import annotations

import json
import os
import sys
import time
from typing import Any

Json = dict[str, Any]


def main() -> None:
    """Answer frames until standard input ends. What a library prints goes to standard error, never between answers."""
    answers = os.fdopen(os.dup(1), "w", encoding="utf-8")
    os.dup2(2, 1)
    import cv2  # noqa: PLC0415 - heavy from here on

    from vision.live import look  # noqa: F401, PLC0415

    cv2.setNumThreads(1)  # the other core reads photos
    _say(answers, {"ready": True})
    known: str | None = None
    while (line := sys.stdin.buffer.readline()).endswith(b"\n"):
        asked = json.loads(line)
        made = answer(sys.stdin.buffer.read(asked["bytes"]), asked.get("f35_mm"), known)
        known = made.get("look", {}).get("sheet") or known
        _say(answers, made)


def answer(data: bytes, f35_mm: float | None, known: str | None = None) -> Json:
    """Look at one frame, for the ``known`` sheet first; whatever goes wrong is an error of that frame."""
    from vision.errors import PhotoError  # noqa: PLC0415
    from vision.live.look import frame_of, look_at  # noqa: PLC0415

    began = time.perf_counter()
    try:
        look = look_at(frame_of(data), f35_mm, known)
    except PhotoError as error:
        return {"error": [error.kind, error.message]}
    return {"look": look.as_json(), "ms": round(1000.0 * (time.perf_counter() - began))}


def _say(answers: Any, made: Json) -> None:
    answers.write(json.dumps(made) + "\n")
    answers.flush()


if __name__ == "__main__":
    main()
