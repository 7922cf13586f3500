"""Photos waiting to be read, one after the other in a process of its own, with progress and a cancel that works."""

from __future__ import annotations

import queue
import secrets
import statistics
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from vision.desk.child import Child

Json = dict[str, Any]
LIMIT_S = 300.0
MOST_KEPT = 200


@dataclass(frozen=True)
class Task:
    """One photo to be read: where it lies, under which name, and what was said about it."""

    path: Path
    name: str
    photo_sha256: str
    settings: Mapping[str, Any] = field(default_factory=dict)
    instrument_id: int | None = None
    read_again_of: int | None = None
    waiting_id: int | None = None  # its entry among the photos that wait
    group: str | None = None  # photos of one instrument, which the measuring process keeps to combine them
    lay: int | None = None  # photos of one number show it untouched
    combine: bool = False  # no photo more, but the combined reading of its group


@dataclass
class Job:
    """Tasks that belong together. ``state``: 'waiting', 'reading', 'done' or 'cancelled'. Numbers of readings, and of combined ones."""

    id: str
    tasks: tuple[Task, ...]
    state: str = "waiting"
    at: int = 0
    began: float = 0.0
    ended: float = 0.0
    readings: list[int] = field(default_factory=list)
    problems: list[str] = field(default_factory=list)
    combined: list[int] = field(default_factory=list)


Keep = Callable[[Task, Json], int]
GiveUp = Callable[[Task], None]


class Bench:
    """Reads jobs in order. ``keep`` puts an answer into the records and returns the reading's number.

    ``give_up`` is told of a photo that ended the process or took too long: it must not come back at every start.
    """

    def __init__(
        self, keep: Keep, *, crashed: str, too_long: str, limit_s: float = LIMIT_S, give_up: GiveUp | None = None
    ) -> None:
        self._keep, self._crashed, self._too_long = keep, crashed, too_long
        self._give_up = give_up
        self._queue: queue.Queue[Job | None] = queue.Queue()
        self._jobs: dict[str, Job] = {}
        self._lock = threading.Lock()
        self.child = Child("vision.desk.worker", limit_s)
        self._reading: Job | None = None
        self._durations: list[float] = []
        self._thread = threading.Thread(target=self._run, name="bench", daemon=True)
        self._thread.start()

    def add(self, tasks: tuple[Task, ...], problems: Sequence[str] = ()) -> Job:
        """Queue photos; returns at once. ``problems``: sentences on files that came with them and are no photos."""
        job = Job(secrets.token_urlsafe(9), tasks, problems=list(problems))
        with self._lock:
            self._jobs[job.id] = job
            for old in [one for one in self._jobs.values() if one.state in ("done", "cancelled")][:-MOST_KEPT]:
                del self._jobs[old.id]
        self._queue.put(job)
        return job

    def job(self, name: str) -> Job | None:
        """Return a job of this run of the desk."""
        return self._jobs.get(name)

    def cancel(self, job: Job) -> None:
        """End a job now: the measuring process is killed if it works on it. What was read before stays."""
        with self._lock:
            if job.state in ("done", "cancelled"):
                return
            job.state, job.ended = "cancelled", time.monotonic()
            if self._reading is job:
                self.child.kill()

    def at_work_on(self) -> set[int]:
        """Return the waiting entries of the jobs of this run that have not ended."""
        with self._lock:
            open_jobs = [job for job in self._jobs.values() if job.state in ("waiting", "reading")]
        return {task.waiting_id for job in open_jobs for task in job.tasks if task.waiting_id is not None}

    def usual_s(self) -> float | None:
        """Return how long a photo usually takes; None before the first."""
        return statistics.median(self._durations[-9:]) if self._durations else None

    def warm_up(self) -> None:
        """Start the measuring process before it is needed, so that the first photo does not wait for its libraries."""
        self._queue.put(Job("warm-up", ()))

    def close(self) -> None:
        """End the thread and the measuring process."""
        for job in self._jobs.values():
            self.cancel(job)
        self._queue.put(None)
        self.child.kill()  # it may still be starting, which nobody waits for any more
        self._thread.join(timeout=10.0)
        self.child.stop()

    def _run(self) -> None:
        while (job := self._queue.get()) is not None:
            if not job.tasks:
                with suppress(OSError):
                    self.child.ready()
                continue
            with self._lock:
                if job.state == "cancelled":
                    continue
                self._reading, job.state, job.began = job, "reading", time.monotonic()
            for number, task in enumerate(job.tasks):
                job.at = number
                if job.state == "cancelled":
                    break
                self._read(job, task)
            with self._lock:
                self._reading = None
                if job.state != "cancelled":
                    job.state, job.ended = "done", time.monotonic()

    def _read(self, job: Job, task: Task) -> None:
        """Read one photo and keep it; whatever goes wrong becomes a sentence of the job, and the next photo goes on."""
        began = time.monotonic()
        try:
            asked = {"path": str(task.path), "name": task.name, "group": task.group, "lay": task.lay, "combine": task.combine}
            answer = self.child.ask(asked | dict(task.settings))
            if job.state == "cancelled":
                return
            if answer is None:
                why = self._too_long if time.monotonic() - began >= self.child.limit_s else self._crashed
                job.problems.append(f"{task.name}: {why}")
                if self._give_up is not None:
                    self._give_up(task)
                return
            job.problems += answer.get("problems", [])
            if not task.combine:
                job.readings.append(self._keep(task, answer))
            elif answer["document"]["combined"]:
                job.combined.append(self._keep(task, answer))
        except Exception as error:  # the bench must outlive any one photo
            job.problems.append(f"{task.name}: {error}")
        self._durations.append(time.monotonic() - began)
