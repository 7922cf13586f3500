"""Step 4 of setting up: a verification under way as one file, its next photo, and the result with its page.

The file is that of the command 'verify', so a verification begun here can be gone on with there, and the other way round.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from vision.commands.verify import begun
from vision.desk import asked
from vision.desk.settings import MEGABYTE, MOST_PHOTO_MB, Desk
from vision.desk.setup_bench import SetupBench, Step
from vision.errors import UsageError
from vision.records.faults import RecordsError
from vision.verification_file import KINDS, Session, pieces_of, read_session, session_text

Json = dict[str, Any]
FILE, PAGE, TROUBLE = "verification.toml", "verification.pdf", "verification-trouble.txt"
ROWS = 4
LEAST_READINGS = 2


@dataclass(frozen=True)
class Under:
    """A verification under way: ``rows`` of piece, person, how many are in; ``next_one`` the photo to take now; ``readings`` so far."""

    session: Session
    rows: tuple[tuple[str, str, int], ...]
    next_one: tuple[str, str, int] | None
    readings: tuple[tuple[str, str, float, float], ...]
    page: bool
    can_end: bool


def place(desk: Desk) -> Path:
    """The folder of this step."""
    return desk.folder / "setup"


def state(desk: Desk) -> Under | None:
    """Return what is under way; None where nothing is. Raises UsageError for a damaged file."""
    path = place(desk) / FILE
    if not path.is_file():
        return None
    session = read_session(path)
    known = {piece.name: piece.known_mm.value for piece in session.pieces}
    have = {(e.taken.piece, e.taken.person): 0 for e in session.entries}
    for entry in session.entries:
        have[entry.taken.piece, entry.taken.person] += 1
    rows = tuple((piece, person, have.get((piece, person), 0)) for person in session.people for piece in known)
    missing = session.missing()
    next_one = None if not missing else (missing[0][0], missing[0][1], session.times - missing[0][2] + 1)
    readings = tuple((e.taken.piece, e.taken.person, e.taken.value_mm, e.taken.value_mm - known[e.taken.piece]) for e in session.entries)
    return Under(session, rows, next_one, readings, (place(desk) / PAGE).is_file(), max(have.values(), default=0) >= LEAST_READINGS)


def trouble(desk: Desk) -> str | None:
    """Why the last photo or the result did not come, in a sentence."""
    try:
        return (place(desk) / TROUBLE).read_text(encoding="utf-8") or None
    except OSError:
        return None


def begin(desk: Desk, form: Mapping[str, Any]) -> None:
    """Begin as the form says. Raises UsageError, AskedError."""
    rows = [row for number in range(1, ROWS + 1) if (row := _row(form, number)) is not None]
    people = (asked.text(form, "people", 60) or "A").replace(",", " ").split()
    times = asked.whole(form, "times", 2, 20) or 3
    session = begun(pieces_of(rows, desk.say("setup.list")), people, times)
    folder = place(desk)
    folder.mkdir(parents=True, exist_ok=True)
    (folder / FILE).write_text(session_text(session), encoding="utf-8")
    _told(desk, None)


def add(desk: Desk, bench: SetupBench, photos: Sequence[tuple[str | None, bytes]], *, held: bool) -> None:
    """Read one photo as the next of the plan. Raises RecordsError."""
    under = state(desk)
    if under is None or under.next_one is None:
        raise RecordsError("invalid", desk.say("setup.nothing_next"))
    if len(photos) != 1:
        raise RecordsError("invalid", desk.say("setup.one_photo", count=len(photos)))
    (given, data), (person, piece, _) = photos[0], under.next_one
    name = asked.safe_name(given, 1)
    if len(data) > MOST_PHOTO_MB * MEGABYTE:
        size = f"{len(data) / MEGABYTE:.0f}"
        raise RecordsError("invalid", desk.say("upload.too_large", name=name, size=size, most=MOST_PHOTO_MB))
    folder = place(desk) / "verify" / hashlib.sha256(data).hexdigest()[:16]
    folder.mkdir(parents=True, exist_ok=True)
    (folder / name).write_bytes(data)
    asking = {"do": "reading", "photo": str(folder / name), "piece": piece, "person": person, "held": held}
    bench.add([Step(desk.say("setup.looking", name=name), asking | _files(desk), lambda answer: _answered(desk, answer))])


def work_out(desk: Desk, bench: SetupBench) -> None:
    """Work out the result and its page from what is in."""
    asking = {"do": "result", "pdf": str(place(desk) / PAGE)}
    bench.add([Step(desk.say("setup.working_result"), asking | _files(desk), lambda answer: _answered(desk, answer))])


def again(desk: Desk) -> None:
    """Put the verification aside under its day, so that another can begin."""
    path = place(desk) / FILE
    if path.is_file():
        try:
            day = read_session(path).begun_on.isoformat()
        except UsageError:
            day = "damaged"
        number = len(list(place(desk).glob("verification-*.toml"))) + 1
        path.replace(path.with_name(f"verification-{day}-{number}.toml"))
    (place(desk) / PAGE).unlink(missing_ok=True)
    _told(desk, None)


def _row(form: Mapping[str, Any], number: int) -> Json | None:
    name = asked.text(form, f"piece{number}", 24)
    if name is None:
        return None
    row: Json = {"name": name, "kind": asked.one_of(form, f"kind{number}", KINDS) or KINDS[0]}
    size = asked.whole(form, f"size{number}", 1, 200)
    if size is not None:
        return row | {"size": size}
    return row | {
        "diameter_mm": asked.needed(form, f"diameter{number}", 0.03, 3.0),
        "u_mm": asked.needed(form, f"diameter_u{number}", 0.0, 0.6),
    }


def _files(desk: Desk) -> Json:
    return {
        "session": str(place(desk) / FILE),
        "prints": None if desk.prints is None else str(desk.prints),
        "cameras": None if desk.cameras is None else str(desk.cameras),
    }


def _answered(desk: Desk, answer: Json | None) -> None:
    _told(desk, desk.say("job.crashed") if answer is None else answer.get("problem"))


def _told(desk: Desk, text: str | None) -> None:
    (place(desk) / TROUBLE).write_text(text or "", encoding="utf-8")
