"""A process of our own that answers one line of JSON for each asked, so that it can be ended at any moment: killed, too slow, gone."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import threading
from contextlib import suppress
from typing import Any

Json = dict[str, Any]
START_S = 120.0  # loads the measuring libraries, on a slow computer


class Child:
    """One module run as a process. It says one line when it is ready, then a line for every request. One request at a time.

    ``limit_s``: how long it may take over one request before it is ended.
    """

    def __init__(self, module: str, limit_s: float) -> None:
        self._module, self.limit_s = module, limit_s
        self._process: subprocess.Popen[bytes] | None = None

    @property
    def pid(self) -> int | None:
        """The number of the process while it runs."""
        process = self._process
        return None if process is None or process.poll() is not None else process.pid

    def ask(self, request: Json, data: bytes = b"") -> Json | None:
        """Return the answer to a request, ``data`` following its line; None when the process ended (killed, out of memory or time)."""
        process = self.ready()
        assert process.stdin is not None  # noqa: S101 - opened as a pipe
        timer = threading.Timer(self.limit_s, process.kill)
        timer.start()
        try:
            process.stdin.write(json.dumps(request).encode() + b"\n" + data)
            process.stdin.flush()
            answer = _line(process)
        except OSError:
            answer = None
        finally:
            timer.cancel()
        if answer is None:
            self.stop()  # it is ending, but may not have ended: the next request must not be given to it
        return answer

    def ready(self) -> subprocess.Popen[bytes]:
        """Start the process where none runs, and wait until it says that it is ready. Raises OSError."""
        if self._process is not None and self._process.poll() is None:
            return self._process
        self.stop()
        # Many small fits: more BLAS threads would only wait for one another.
        settings = {"OPENBLAS_NUM_THREADS": "1"} | dict(os.environ) | {"PYTHONPATH": os.pathsep.join(filter(None, sys.path))}
        process = self._process = subprocess.Popen(  # noqa: S603 - our own module
            [sys.executable, "-m", self._module], stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, env=settings
        )
        timer = threading.Timer(START_S, process.kill)
        timer.start()
        _line(process)
        timer.cancel()
        return process

    def kill(self) -> None:
        """End it now, from any thread; whoever waits for its answer gets None."""
        process = self._process
        if process is not None:
            process.kill()

    def stop(self) -> None:
        """End it and let its pipes go."""
        process, self._process = self._process, None
        if process is None:
            return
        process.kill()
        process.wait()
        for pipe in (process.stdin, process.stdout):
            if pipe is not None:
                with suppress(OSError):
                    pipe.close()


def _line(process: subprocess.Popen[bytes]) -> Json | None:
    assert process.stdout is not None  # noqa: S101 - opened as a pipe
    line = process.stdout.readline()
    made: Json | None = json.loads(line) if line.endswith(b"\n") else None
    return made
