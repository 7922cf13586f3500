"""Photos that arrive -> kept in the records and queued to be read."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from vision.desk import asked
from vision.desk.jobs import Bench, Job, Task
from vision.desk.settings import MEGABYTE, MOST_PHOTO_MB, MOST_PHOTOS, Desk
from vision.errors import PhotoError
from vision.records.database import Records
from vision.records.faults import RecordsError
from vision.records.instruments import instrument
from vision.records.photos import keep_photo, photo_path
from vision.records.readings import KeptReading, reading
from vision.records.waiting import Waiting, forget, waiting, write_down

Arrived = Sequence[tuple[str | None, bytes]]


def take_in(desk: Desk, photos: Arrived, form: Mapping[str, Any]) -> Job:
    """Keep photos and queue them; a file that is no photo becomes a sentence of the job. Raises RecordsError if none is one."""
    if not photos:
        raise RecordsError("invalid", desk.say("upload.none"))
    if len(photos) > MOST_PHOTOS:
        raise RecordsError("invalid", desk.say("upload.too_many", count=len(photos), most=MOST_PHOTOS))
    wishes = settings_of(form)
    tasks, problems = [], []
    with desk.records() as records:
        code = asked.text(form, "instrument", 24)
        meant = instrument(records, code).id if code else None
        for number, (given, data) in enumerate(photos, start=1):
            name = asked.safe_name(given, number)
            try:
                tasks.append(_task(desk, records, name, data, wishes, meant))
            except PhotoError as error:
                problems.append(desk.say("upload.not_photo", name=name, why=error.message))
    if not tasks:
        raise RecordsError("invalid", " ".join(problems))
    return _bench(desk).add(tuple(tasks), problems)


def read_again(desk: Desk, numbers: Sequence[int]) -> Job:
    """Queue the photos of old readings. Raises RecordsError."""
    with desk.records() as records:
        tasks = tuple(_task_again(desk, records, reading(records, number)) for number in numbers[:MOST_PHOTOS])
    return _bench(desk).add(tasks)


def read_waiting(desk: Desk) -> Job:
    """Queue the photos that an earlier run took in and never read. Raises RecordsError."""
    tasks = []
    with desk.records() as records:
        for one in left_over(desk, records)[:MOST_PHOTOS]:
            path = photo_path(records, one.photo_sha256)
            if path is not None:
                tasks.append(
                    Task(path, one.name, one.photo_sha256, one.settings, one.instrument_id, one.read_again_of, one.id)
                )
    if not tasks:
        raise RecordsError("unknown", desk.say("waiting.none"))
    return _bench(desk).add(tuple(tasks))


def left_over(desk: Desk, records: Records) -> list[Waiting]:
    """Return what waits and is in no job of this run."""
    busy = _bench(desk).at_work_on()
    return [one for one in waiting(records) if one.id not in busy]


def drop_waiting(desk: Desk) -> None:
    """Let the photos go that an earlier run took in and never read. Raises RecordsError."""
    with desk.records() as records:
        forget(records, [one.id for one in left_over(desk, records)])


def cancel(desk: Desk, job: Job) -> None:
    """End a job now and drop the photos that it had not read."""
    _bench(desk).cancel(job)
    with desk.records() as records:
        forget(records, [task.waiting_id for task in job.tasks if task.waiting_id is not None])


def _task_again(desk: Desk, records: Records, old: KeptReading) -> Task:
    path = None if old.photo_sha256 is None else photo_path(records, old.photo_sha256)
    if path is None or old.photo_sha256 is None:
        raise RecordsError("unknown", desk.say("reading.picture_gone"))
    settings: dict[str, Any] = {
        name: old.settings[name] for name in ("held", "px_per_mm", "px_per_mm_u") if name in old.settings
    }
    if "tray" in old.settings:
        settings["tray"] = True
    number = write_down(records, old.photo_sha256, old.file, settings, None, old.id)
    return Task(path, old.file, old.photo_sha256, settings, None, old.id, number)


def settings_of(form: Mapping[str, Any]) -> dict[str, Any]:
    """Return how the photos were taken, as far as it was said. Raises RecordsError of kind 'invalid'."""
    made: dict[str, Any] = {"held": form.get("held") in ("1", "on", True, "true")}
    scale, u = asked.number(form, "px_per_mm", 1.0, 2000.0), asked.number(form, "px_per_mm_u", 0.0, 2000.0)
    if scale is None and u is not None:
        raise asked.AskedError("both")
    if form.get("tray") == "1":
        made["tray"] = True  # what is told of each instrument is kept for sorting and checking
    if scale is not None:
        made |= {"px_per_mm": scale, "px_per_mm_u": u}
    return made


def _task(desk: Desk, records: Records, name: str, data: bytes, wishes: Mapping[str, Any], meant: int | None) -> Task:
    if len(data) > MOST_PHOTO_MB * MEGABYTE:
        size = f"{len(data) / MEGABYTE:.0f}"
        raise PhotoError("too-large", desk.say("upload.too_large", name=name, size=size, most=MOST_PHOTO_MB))
    kept = keep_photo(records, data, name)
    path = photo_path(records, kept.sha256)
    assert path is not None  # noqa: S101 - just kept
    number = write_down(records, kept.sha256, name, wishes, meant)
    return Task(path, name, kept.sha256, wishes, meant, None, number)


def _bench(desk: Desk) -> Bench:
    assert desk.bench is not None  # noqa: S101 - the app has one
    return desk.bench
