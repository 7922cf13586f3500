"""Frames -> Looks, through a process of its own that is started when the first frame comes and ended when it hangs."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import threading
from contextlib import suppress
from typing import Any

from vision.errors import PhotoError
from vision.live.look import Look, look_from

LIMIT_S = 10.0
START_S = 60.0


class LiveEye:
    """Looks at one frame after the other. ``gone``: what to say of a frame that ended the process."""

    def __init__(self, gone: str, limit_s: float = LIMIT_S) -> None:
        self._gone, self._limit_s = gone, limit_s
        self._lock = threading.Lock()
        self._process: subprocess.Popen[bytes] | None = None

    def look(self, data: bytes, f35_mm: float | None = None) -> tuple[Look, int]:
        """Return the look and how many ms it took. Raises PhotoError."""
        with self._lock:
            made = self._asked(data, f35_mm)
        if made is None:
            raise PhotoError("internal", self._gone)
        if "error" in made:
            raise PhotoError("not-a-picture", made["error"][1])
        return look_from(made["look"]), int(made["ms"])

    def close(self) -> None:
        """End the process."""
        with self._lock:
            self._stop()

    def _asked(self, data: bytes, f35_mm: float | None) -> dict[str, Any] | None:
        process = self._ready()
        assert process.stdin is not None  # noqa: S101 - opened as a pipe
        timer = threading.Timer(self._limit_s, process.kill)
        timer.start()
        try:
            process.stdin.write(json.dumps({"bytes": len(data), "f35_mm": f35_mm}).encode() + b"\n" + data)
            process.stdin.flush()
            made = _line(process)
        except OSError:
            made = None
        finally:
            timer.cancel()
        if made is None:
            self._stop()
        return made

    def _ready(self) -> subprocess.Popen[bytes]:
        if self._process is not None and self._process.poll() is None:
            return self._process
        self._stop()
        settings = {"OPENBLAS_NUM_THREADS": "1"} | dict(os.environ) | {"PYTHONPATH": os.pathsep.join(filter(None, sys.path))}
        command = [sys.executable, "-m", "vision.desk.live_worker"]
        self._process = subprocess.Popen(  # noqa: S603 - our own module
            command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, env=settings
        )
        timer = threading.Timer(START_S, self._process.kill)
        timer.start()
        _line(self._process)  # says that it is ready
        timer.cancel()
        return self._process

    def _stop(self) -> None:
        if self._process is None:
            return
        self._process.kill()
        self._process.wait()
        for pipe in (self._process.stdin, self._process.stdout):
            if pipe is not None:
                with suppress(OSError):
                    pipe.close()
        self._process = None


def _line(process: subprocess.Popen[bytes]) -> dict[str, Any] | None:
    assert process.stdout is not None  # noqa: S101 - opened as a pipe
    line = process.stdout.readline()
    made: dict[str, Any] | None = json.loads(line) if line.endswith(b"\n") else None
    return made
