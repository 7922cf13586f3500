"""Guided runs of the camera page, held in memory: what was taken, what comes next. The photos themselves lie in the records at once."""

from __future__ import annotations

import secrets
import threading
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from vision.camera_file import ENDING, kept_profiles
from vision.desk import asked
from vision.desk.intake import settings_of
from vision.desk.jobs import Bench, Job, Task
from vision.desk.live_process import LiveEye
from vision.desk.settings import MEGABYTE, MOST_PHOTO_MB, Desk
from vision.errors import PhotoError
from vision.focal import FULL_FRAME_MM
from vision.live.guide import PHOTOS, Advice, Plan, Run, ended, taken, watch
from vision.live.look import Look
from vision.records.faults import RecordsError
from vision.records.instruments import instrument
from vision.records.photos import keep_photo, photo_path
from vision.records.waiting import write_down

MOST_RUNS = 30
MOST_SHOTS = 6


@dataclass
class LiveRun:
    """One run: its guide's state, how its photos were said to be taken, and the jobs that read them."""

    id: str
    run: Run
    settings: dict[str, Any]
    f35_mm: float | None
    meant: int | None
    jobs: list[Job] = field(default_factory=list)
    combining: list[Job] = field(default_factory=list)  # one for every time, since a photo may arrive after the first
    lock: threading.Lock = field(default_factory=threading.Lock)


class LiveRuns:
    """The runs of this desk and the eye that looks at their frames."""

    def __init__(self, eye: LiveEye) -> None:
        self.eye = eye
        self._runs: dict[str, LiveRun] = {}
        self._lock = threading.Lock()

    def begin(self, desk: Desk, form: Mapping[str, Any]) -> LiveRun:
        """Begin a run as the form says. Raises RecordsError, AskedError."""
        plan = asked.one_of(form, "plan", tuple(PHOTOS)) or "one"
        settings = settings_of(form)
        known = lenses(desk)
        camera = asked.one_of(form, "camera", tuple(known))
        code, meant = asked.text(form, "instrument", 24), None
        if code:
            with desk.records() as records:
                meant = instrument(records, code).id
        if camera:
            settings["camera"] = camera
        made = LiveRun(secrets.token_urlsafe(9), Run(_plan(plan)), settings, known[camera] if camera else None, meant)
        with self._lock:
            while len(self._runs) >= MOST_RUNS:
                del self._runs[next(iter(self._runs))]
            self._runs[made.id] = made
        return made

    def known(self, desk: Desk, name: str) -> LiveRun:
        """Return a run of this desk. Raises RecordsError of kind 'unknown'."""
        run = self._runs.get(name)
        if run is None:
            raise RecordsError("unknown", desk.say("camera.unknown_run"))
        return run

    def watch(self, run: LiveRun, data: bytes, finer: float) -> tuple[Look, Advice, int]:
        """Take one frame in; returns what was seen, what to tell, and the ms it took. Raises PhotoError."""
        look, spent = self.eye.look(data, run.f35_mm)
        with run.lock:
            run.run, advice = watch(run.run, look, finer)
        return look, advice, spent

    def take(self, desk: Desk, run: LiveRun, data: bytes) -> Job:
        """Keep a photo and queue it; with the last one of the plan the combined reading too. Raises RecordsError, PhotoError.

        A photo that was on its way when the run was ended comes late: then all of them are combined once more.
        """
        if len(run.jobs) >= MOST_SHOTS:
            raise RecordsError("invalid", desk.say("camera.enough", most=MOST_SHOTS))
        look = self._seen(run, data)
        with run.lock:
            after = taken(run.run, look)
            job = _read(desk, run, data, after.lays[-1])
            run.jobs.append(job)
            run.run = after
            if run.run.complete and len(run.jobs) > 1:
                run.combining.append(_combine(desk, run))
        return job

    def finish(self, desk: Desk, run: LiveRun) -> None:
        """Combine what was taken, before the plan is done; asked twice, it does so once. Raises RecordsError."""
        with run.lock:
            if len(run.jobs) < 2:
                raise RecordsError("invalid", desk.say("camera.too_few", count=len(run.jobs)))
            if not run.combining:
                run.run = ended(run.run)
                run.combining.append(_combine(desk, run))

    def _seen(self, run: LiveRun, data: bytes) -> Look:
        """The look at the photo itself; a photo that cannot be looked at counts as one that shows nothing, and is kept all the same."""
        try:
            return self.eye.look(data, run.f35_mm)[0]
        except PhotoError:
            return run.run.before or Look(1, 1)


def _plan(text: str) -> Plan:
    return next(plan for plan in PHOTOS if plan == text)


def lenses(desk: Desk) -> dict[str, float]:
    """Kept camera profiles by the names they are kept under, each with its lens, 35 mm equivalent."""
    return {
        path.name.removesuffix(ENDING): FULL_FRAME_MM * profile.focal_px.value / max(profile.key.size_px)
        for path, profile in kept_profiles(desk.cameras)
    }


def _read(desk: Desk, run: LiveRun, data: bytes, lay: int) -> Job:
    if len(data) > MOST_PHOTO_MB * MEGABYTE:
        size = f"{len(data) / MEGABYTE:.0f}"
        raise RecordsError("invalid", desk.say("upload.too_large", name=desk.say("camera.title"), size=size, most=MOST_PHOTO_MB))
    name = f"camera-{run.id[:5]}-{len(run.jobs) + 1}.jpg"
    with desk.records() as records:
        kept = keep_photo(records, data, name)
        path = photo_path(records, kept.sha256)
        assert path is not None  # noqa: S101 - just kept
        number = write_down(records, kept.sha256, name, run.settings, run.meant)
    group = None if run.run.plan == "one" else run.id
    told = lay if run.run.plan == "turns" else None  # two views of a run for the height are held to it by their place
    return _bench(desk).add((Task(path, name, kept.sha256, run.settings, run.meant, None, number, group, told),))


def _combine(desk: Desk, run: LiveRun) -> Job:
    first = run.jobs[0].tasks[0]
    task = Task(first.path, desk.say("camera.together"), first.photo_sha256, run.settings, group=run.id, combine=True)
    return _bench(desk).add((task,))


def _bench(desk: Desk) -> Bench:
    assert desk.bench is not None  # noqa: S101 - the app has one
    return desk.bench
