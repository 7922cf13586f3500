"""Frames -> Looks, through a process of its own that is started when the first frame comes and ended when it hangs."""

from __future__ import annotations

import threading

from vision.desk.child import Child
from vision.errors import PhotoError
from vision.live.look import Look, look_from

LIMIT_S = 10.0


class LiveEye:
    """Looks at one frame after the other. ``gone``: what to say of a frame that ended the process."""

    def __init__(self, gone: str, limit_s: float = LIMIT_S) -> None:
        self._gone = gone
        self._lock = threading.Lock()
        self.child = Child("vision.desk.live_worker", limit_s)

    def look(self, data: bytes, f35_mm: float | None = None) -> tuple[Look, int]:
        """Return the look and how many ms it took. Raises PhotoError."""
        with self._lock:
            made = self.child.ask({"bytes": len(data), "f35_mm": f35_mm}, data)
        if made is None:
            raise PhotoError("internal", self._gone)
        if "error" in made:
            raise PhotoError("not-a-picture", made["error"][1])
        return look_from(made["look"]), int(made["ms"])

    def close(self) -> None:
        """End the process."""
        with self._lock:
            self.child.stop()
