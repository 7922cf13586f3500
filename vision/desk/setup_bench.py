"""Steps of setting up, one after the other in a process of its own, with how far they are."""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import Any

from vision.desk.child import Child

Json = dict[str, Any]
LIMIT_S = 300.0


@dataclass(frozen=True)
class Step:
    """One request to the process, how it is called while it runs, and who is told its answer (None: the process ended)."""

    words: str
    asked: Json
    then: Callable[[Json | None], None]


@dataclass(frozen=True)
class Doing:
    """How far it is: step ``at`` of ``of``, in words; 0 of 0 when nothing is to be done."""

    words: str = ""
    at: int = 0
    of: int = 0


class SetupBench:
    """Does steps in order; what is asked for while others wait is put behind them."""

    def __init__(self, limit_s: float = LIMIT_S) -> None:
        self.child = Child("vision.desk.setup_worker", limit_s)
        self._queue: queue.Queue[Step | None] = queue.Queue()
        self._lock = threading.Lock()
        self._doing = Doing()
        self._thread: threading.Thread | None = None

    @property
    def doing(self) -> Doing:
        """What is done at this moment."""
        return self._doing

    def add(self, steps: Sequence[Step]) -> None:
        """Put steps behind those that wait; returns at once."""
        with self._lock:
            if self._thread is None:
                self._thread = threading.Thread(target=self._run, name="setup", daemon=True)
                self._thread.start()
            self._doing = Doing(self._doing.words or steps[0].words, max(self._doing.at, 1), self._doing.of + len(steps))
        for step in steps:
            self._queue.put(step)

    def close(self) -> None:
        """End thread and process; what was not done yet is not done."""
        while not self._queue.empty():
            self._queue.get_nowait()
        self._queue.put(None)
        self.child.kill()
        if self._thread is not None:
            self._thread.join(timeout=10.0)
        self.child.stop()

    def _run(self) -> None:
        done = 0
        while (step := self._queue.get()) is not None:
            with self._lock:
                self._doing = Doing(step.words, done + 1, self._doing.of)
            try:
                answer = self.child.ask(step.asked)
            except OSError:
                answer = None
            with suppress(OSError):  # a full disk: the step shows no result, and can be done again
                step.then(answer)
            done += 1
            with self._lock:
                if done >= self._doing.of:
                    self._doing, done = Doing(), 0
