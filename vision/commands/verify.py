"""`flutegauge verify`: pieces of known size, read again and again, tell what a set-up can decide. Every step says the next."""

from __future__ import annotations

import argparse
import datetime as dt
import hashlib
import math
import re
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from rich.console import Console

from vision.camera_choice import Cameras
from vision.commands.camera_choice import chosen_cameras
from vision.commands.outputs import new_file, new_pdf, write_text
from vision.commands.progress import waiting
from vision.commands.site import circumstances
from vision.errors import FlutegaugeError, UsageError
from vision.pipeline import read_photo
from vision.reading import InstrumentReading, PhotoReading
from vision.verification import Piece, Taken, Verified, verify
from vision.verification_file import (
    Circumstances,
    Entry,
    Session,
    read_pieces,
    read_session,
    result_path,
    result_text,
    session_text,
)

CODE = re.compile(r"[A-Za-z0-9]{1,4}")
FINE, PHOTO_FAILED = 0, 2
FAR_U = 3.0  # a reading of the piece itself lies beyond in one of 370; it is asked about, never left out


class NotReadError(FlutegaugeError):
    """A photo of a piece was not examined; ``kind`` is that of the photo's error, the text its sentence."""

    def __init__(self, kind: str, message: str) -> None:
        super().__init__(message)
        self.kind = kind


def new(arguments: argparse.Namespace) -> int:
    """Begin a verification; return the exit status."""
    if arguments.session.exists():
        goes_on = f"'flutegauge verify next {arguments.session}' goes on with it"
        raise UsageError(f"{arguments.session} exists already and is not replaced: {goes_on}, or name another file")
    new_file(arguments.session, overwrite=False)
    session = begun(read_pieces(arguments.pieces), arguments.person, arguments.times)
    write_text(arguments.session, session_text(session), overwrite=False)
    people = session.people
    total = len(session.pieces) * len(people) * session.times
    counts = (f"pieces: {len(session.pieces)}", f"people: {', '.join(people)}", f"{total} photos in all")
    print(f"{arguments.session}: {'; '.join(counts)}")
    print(_next(session, arguments.session))
    return FINE


def begun(pieces: tuple[Piece, ...], codes: Sequence[str], times: int) -> Session:
    """A session that has no reading yet. Raises UsageError."""
    people = tuple(dict.fromkeys(_code(code) for code in codes))
    if not 2 <= times <= 100:
        raise UsageError(f"--times needs 2 to 100 photos of each piece by each person, got {times}")
    return Session(dt.date.today(), times, people, pieces)


def add(arguments: argparse.Namespace) -> int:
    """Read one photo of one piece into the session; return the exit status."""
    session = read_session(arguments.session)
    console = Console(stderr=True, markup=False, highlight=False, emoji=False)
    try:
        with waiting(f"reading {arguments.photo.name}", console):
            session = read_into(
                session, arguments.photo, arguments.piece, arguments.person,
                held=arguments.held, prints=arguments.prints, cameras=chosen_cameras(arguments.camera),
            )  # fmt: skip
    except NotReadError as error:
        console.print(f"{arguments.photo.name} was not added ({error.kind}): {error}")
        return PHOTO_FAILED
    write_text(arguments.session, session_text(session), overwrite=True)
    taken = session.entries[-1].taken
    claimed = "u not claimed" if taken.u_mm is None else f"u {taken.u_mm:.4f}"
    known = _piece(session, taken.piece).known_mm.value
    print(
        f"{taken.piece} by {taken.person}: {taken.value_mm:.4f} mm ({claimed}), known {known:.4f}: {taken.value_mm - known:+.4f} mm"
    )
    doubt = other_piece(session)
    if doubt is not None:
        print(f"{doubt}, take the last [[reading]] out of {arguments.session} and photograph again")
    print(_next(session, arguments.session))
    return FINE


def other_piece(session: Session) -> str | None:
    """A question where the last reading lies far from what is known: a mixed-up piece would spoil the whole result."""
    taken = session.entries[-1].taken
    known = _piece(session, taken.piece).known_mm
    if taken.u_mm is None or abs(taken.value_mm - known.value) <= FAR_U * math.hypot(known.u, taken.u_mm):
        return None
    off = abs(taken.value_mm - known.value) / math.hypot(known.u, taken.u_mm)
    return (
        f"is this '{taken.piece}'? It is off by {off:.0f} times the u of both. If it is, leave the reading: such errors are what is "
        "looked for. If another piece lay there"
    )


def read_into(
    session: Session, photo: Path, piece_name: str, code: str, *, held: bool, prints: Path | None, cameras: Cameras
) -> Session:
    """Read one photo of one piece; the session with it. Raises UsageError; NotReadError where the photo cannot be read."""
    piece, person = _piece(session, piece_name), _code(code)
    if person not in session.people:
        raise UsageError(f"person {person} is not in this verification, which has {', '.join(session.people)}")
    sha = _new_hash(photo, session)
    held = held or piece.kind != "instrument"  # without a handle a pin lies on the paper by itself
    reading = read_photo(photo, given=None, prints=prints, held=held, cameras=cameras)
    if reading.error is not None:
        raise NotReadError(*reading.error)
    value, u = diameter_of(reading, piece, photo.name)
    taken = Taken(piece.name, person, value, u)
    session = session.added(Entry(taken, photo.name, sha, dt.date.today(), circumstances(reading, held)))
    one_set_up(session)  # told now, not after all the photos are taken
    return session


def say_next(arguments: argparse.Namespace) -> int:
    """Say what to photograph next; return the exit status."""
    print(_next(read_session(arguments.session), arguments.session))
    return FINE


def report(arguments: argparse.Namespace) -> int:
    """Work out the verification, keep it beside the camera profile, and write the page; return the exit status."""
    session = read_session(arguments.session)
    with_what = one_set_up(session)
    today = max(entry.made_on for entry in session.entries)
    target = result_path(with_what.profile)
    target.parent.mkdir(parents=True, exist_ok=True)
    new_file(target, overwrite=arguments.overwrite)
    if arguments.pdf is not None:
        new_pdf(arguments.pdf, overwrite=arguments.overwrite)
    result = worked_out(session)
    if arguments.pdf is not None:
        from vision.verification_pdf import write_page  # noqa: PLC0415 - loads the PDF library

        write_page(result, with_what, today, arguments.pdf)
    write_text(target, result_text(result, with_what, today), overwrite=arguments.overwrite)
    print("\n".join(summary(result)))
    missing = sum(count for _, _, count in session.missing())
    if missing:
        print(f"{missing} photos of the plan are missing; the result rests on {len(session.entries)}")
    print(f"kept as {target}; later readings show it" + (f"; page: {arguments.pdf}" if arguments.pdf else ""))
    return FINE


def worked_out(session: Session) -> Verified:
    """What the readings of a session say. Raises UsageError where they are too few."""
    used = [piece for piece in session.pieces if any(entry.taken.piece == piece.name for entry in session.entries)]
    try:
        return verify(used, [entry.taken for entry in session.entries])
    except ValueError as error:
        raise UsageError(str(error)) from error


def summary(result: Verified) -> list[str]:
    """The result in lines for people."""
    lines = [f"what this set-up can decide: {result.statement}", ""]
    for one in result.pieces:
        mark = (
            ""
            if one.worst_e_n is None
            else f", worst E_n {one.worst_e_n:.2f}" + (" (above 1: u is too small)" if one.worst_e_n > 1 else "")
        )
        lines.append(
            f"  {one.piece.name}: bias {one.bias_mm.value:+.4f} mm (u {one.bias_mm.u:.4f}), repeats to {one.spread.within:.4f} mm, "
            f"{one.count} readings{mark}"
        )
    spread = result.spread
    between = "not assessed: one person took part" if spread.between is None else f"{spread.between:.4f} mm"
    lines.append(f"  all pieces: repeatability {spread.within:.4f} mm, between people {between}")
    line = result.line
    change = (
        f"{1000 * line.slope:+.2f} µm per mm of diameter"
        if line.sloped
        else "one size only, so its change is not known"
    )
    lines.append(f"  bias line: {line.level_mm:+.4f} mm at {line.at_mm:.3f} mm, {change}")
    return lines


def diameter_of(reading: PhotoReading, piece: Piece, name: str) -> tuple[float, float | None]:
    """The diameter that a photo gives for its piece, mm, with the u claimed. Raises UsageError when it gives none.

    An instrument: D0. A pin or wire: the median distance of both edges over the middle four fifths of its length.
    """
    if len(reading.instruments) != 1:
        raise UsageError(
            f"{name} shows {len(reading.instruments)} pieces, needs exactly 1: lay one down and photograph again"
        )
    one = reading.instruments[0]
    if piece.kind == "instrument":
        if one.d0_mm is None:
            why = "; ".join(one.notes[:2]) or "no reason noted"
            raise UsageError(f"{name} gives no D0 of '{piece.name}' ({why}): photograph the whole working part again")
        return one.d0_mm.value, one.d0_mm.u
    return _wire(one, name)


def _wire(one: InstrumentReading, name: str) -> tuple[float, float | None]:
    rows = one.trace.profile_mm_of_x
    rows = rows[np.isfinite(rows).all(axis=1)]
    if len(rows) < 50:
        raise UsageError(f"{name} shows both edges at {len(rows)} places, needs 50: in focus, soft light, then again")
    low, high = np.quantile(rows[:, 0], (0.1, 0.9))
    middle = rows[(rows[:, 0] >= low) & (rows[:, 0] <= high)]
    value = float(np.median(middle[:, 1] - middle[:, 2]))
    claimed = next((q for q in (one.shank_width_mm, one.d0_mm, one.tip_width_mm) if q is not None), None)
    return value, None if claimed is None else claimed.u


def _next(session: Session, path: Path) -> str:
    missing = session.missing()
    if not missing:
        return f"all photos are in: run 'flutegauge verify report {path}'"
    person, piece, count = missing[0]
    done = session.times - count
    again = "lay it down" if done == 0 else "take it up, lay it down again"
    laid_down = bool(session.entries) and session.entries[0].with_what.held
    held = " --held" if laid_down and _piece(session, piece).kind == "instrument" else ""
    left = sum(more for _, _, more in missing)
    return (
        f"next ({left} to go): person {person}, piece '{piece}', photo {done + 1} of {session.times}: {again}, photograph it, then run "
        f"'flutegauge verify add {path} PHOTO --piece {piece} --person {person}{held}'"
    )


def one_set_up(session: Session) -> Circumstances:
    """The circumstances all readings share. Raises UsageError naming two that differ."""
    if not session.entries:
        raise UsageError(
            "this verification has no reading yet, needs at least 2 of one piece: 'flutegauge verify next' says how"
        )
    first = session.entries[0]
    for entry in session.entries[1:]:
        if entry.with_what != first.with_what:
            sides = [
                f"{one.photo} ({one.with_what.profile or 'no profile'}, {one.with_what.software}, "
                f"{'held' if one.with_what.held else 'not held'})"
                for one in (first, entry)
            ]
            raise UsageError(
                f"readings of two set-ups are mixed: {sides[0]} and {sides[1]}: one verification speaks of one camera profile, "
                "programme and way of laying; begin a second one"
            )
    return first.with_what


def _piece(session: Session, name: str) -> Piece:
    for piece in session.pieces:
        if piece.name == name:
            return piece
    raise UsageError(f"no piece '{name}' in this verification, which has {', '.join(p.name for p in session.pieces)}")


def _code(text: str) -> str:
    if not CODE.fullmatch(text):
        raise UsageError(f"--person takes a code of 1 to 4 letters or digits, got '{text[:20]}': no names are kept")
    return text.upper()


def _new_hash(photo: Path, session: Session) -> str:
    """The photo's hash. Raises UsageError when the session has the same photo already, or it cannot be read."""
    sha = _hash_of(photo)
    known = next((entry for entry in session.entries if entry.sha256 == sha), None)
    if known is not None:
        raise UsageError(
            f"{photo.name} is the same photo as {known.photo}, which is in already: take the piece up, lay it down again and "
            "photograph it anew"
        )
    return sha


def _hash_of(photo: Path) -> str:
    try:
        return hashlib.sha256(photo.read_bytes()).hexdigest()
    except OSError as error:
        raise UsageError(f"{photo} cannot be read ({error.strerror}): check the name and the folder") from error
