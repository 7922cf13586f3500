"""Stage 8f: a verification under way, its list of pieces and its result, as plain TOML files.

The list of pieces that a person writes:

    [[piece]]
    name = "pin-50"
    kind = "pin"            # pin, wire or instrument
    diameter_mm = 0.500
    u_mm = 0.001

    [[piece]]
    name = "new-25"
    kind = "instrument"
    size = 25               # a new instrument: D0 0.25 mm, u from its limits
"""

from __future__ import annotations

import datetime as dt
import json
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from vision.camera_file import folder
from vision.errors import UsageError
from vision.nominal import SIZES, diameter_limit
from vision.quantity import Quantity
from vision.reading import SiteCheck
from vision.verification import Piece, Taken, Verified

SESSION, RESULT = "flutegauge-verification-session/1", "flutegauge-verification/1"
ENDING = ".verification.toml"
NO_PROFILE = "no-profile"
KINDS = ("pin", "wire", "instrument")
STALE_DAYS = 180  # our own choice


@dataclass(frozen=True)
class Circumstances:
    """With what a reading was made: camera profile (or None), programme, models, and whether the shaft was held."""

    profile: str | None
    software: str
    models: str
    held: bool


@dataclass(frozen=True)
class Entry:
    """One reading of the session with its photo's name and hash."""

    taken: Taken
    photo: str
    sha256: str
    made_on: dt.date
    with_what: Circumstances


@dataclass(frozen=True)
class Session:
    """A verification under way: pieces, people's codes, and how many photos of each piece by each person are wanted."""

    begun_on: dt.date
    times: int
    people: tuple[str, ...]
    pieces: tuple[Piece, ...]
    entries: tuple[Entry, ...] = ()

    def added(self, entry: Entry) -> Session:
        """The same with one reading more."""
        return replace(self, entries=(*self.entries, entry))

    def missing(self) -> list[tuple[str, str, int]]:
        """What is still to be photographed: person, piece, how many; a person goes through all pieces once, then again."""
        wanted = []
        for person in self.people:
            for piece in self.pieces:
                have = sum(e.taken.person == person and e.taken.piece == piece.name for e in self.entries)
                if have < self.times:
                    wanted.append((person, piece.name, self.times - have))
        return sorted(wanted, key=lambda one: (self.people.index(one[0]), -one[2]))


@dataclass(frozen=True)
class Kept:
    """A result as kept: when, what it says, and with what it was made."""

    made_on: dt.date
    statement: str
    with_what: Circumstances


def read_pieces(path: Path) -> tuple[Piece, ...]:
    """Read the list of pieces. Raises UsageError in one sentence."""
    rows = _load(path, "list of pieces").get("piece", [])
    return pieces_of(rows if isinstance(rows, list) else [], path)


def pieces_of(rows: Sequence[Mapping[str, Any]], path: Path | str) -> tuple[Piece, ...]:
    """The pieces of such rows; ``path`` names their place. Raises UsageError in one sentence."""
    pieces = tuple(_listed(row, path) for row in rows)
    if not pieces:
        raise UsageError(f"{path} lists no piece: add at least one [[piece]] with name, kind, diameter_mm and u_mm")
    names = [piece.name for piece in pieces]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise UsageError(f"{path} names {', '.join(twice)} more than once: give every piece a name of its own")
    return pieces


def read_session(path: Path) -> Session:
    """Read a session. Raises UsageError in one sentence."""
    whole = _load(path, "verification")
    if whole.get("format") != SESSION:
        raise UsageError(
            f"{path} is of format {whole.get('format', 'none')}, needs {SESSION}: 'flutegauge verify new' makes one"
        )
    try:
        return Session(
            begun_on=_date(whole["begun_on"]),
            times=int(whole["times"]),
            people=tuple(str(code) for code in whole["people"]),
            pieces=tuple(
                Piece(str(row["name"]), str(row["kind"]), Quantity(float(row["known_mm"]), float(row["u_mm"])))
                for row in whole["piece"]
            ),
            entries=tuple(_entry(row) for row in whole.get("reading", [])),
        )
    except (KeyError, TypeError, ValueError) as error:
        raise UsageError(
            f"verification {path} is damaged ({error}): begin anew with 'flutegauge verify new'"
        ) from error


def session_text(session: Session) -> str:
    """The whole session file."""
    lines = [f"format = {_toml(SESSION)}", f"begun_on = {session.begun_on.isoformat()}", f"times = {session.times}"]
    lines += [f"people = {_toml(list(session.people))}"]
    for piece in session.pieces:
        lines += ["", "[[piece]]", f"name = {_toml(piece.name)}", f"kind = {_toml(piece.kind)}"]
        lines += [f"known_mm = {piece.known_mm.value!r}", f"u_mm = {piece.known_mm.u!r}"]
    for entry in session.entries:
        lines += ["", "[[reading]]", f"piece = {_toml(entry.taken.piece)}", f"person = {_toml(entry.taken.person)}"]
        lines += [f"value_mm = {round(entry.taken.value_mm, 6)!r}"]
        lines += [f"u_mm = {round(entry.taken.u_mm, 6)!r}"] if entry.taken.u_mm is not None else []
        lines += [f"photo = {_toml(entry.photo)}", f"sha256 = {_toml(entry.sha256)}"]
        lines += [f"made_on = {entry.made_on.isoformat()}", *_circumstances(entry.with_what)]
    return "\n".join(lines) + "\n"


def result_text(result: Verified, with_what: Circumstances, made_on: dt.date) -> str:
    """The result file: statement first, then every figure it rests on."""
    spread, line = result.spread, result.line
    lines = [
        "# What a set-up was found to be able to decide. u: standard uncertainty (k = 1).",
        f"format = {_toml(RESULT)}",
    ]
    lines += [f"made_on = {made_on.isoformat()}", f"statement = {_toml(result.statement)}", *_circumstances(with_what)]
    lines += ["", "[spread_mm]", f"repeatability_sd = {spread.within:.6f}", f"people = {spread.people}"]
    lines += [f"between_people_sd = {spread.between:.6f}"] if spread.between is not None else []
    lines += [f"reproducibility_sd = {spread.both:.6f}", f"degrees_of_freedom = {spread.freedom}"]
    lines += [
        "",
        "[bias_line]",
        f"at_mm = {line.at_mm:.6f}",
        f"level_mm = {line.level_mm:.6f}",
        f"u_level_mm = {line.covariance[0][0] ** 0.5:.6f}",
    ]
    lines += [f"slope = {line.slope:.6f}", f"u_slope = {line.covariance[1][1] ** 0.5:.6f}"] if line.sloped else []
    for one in result.pieces:
        lines += ["", "[[piece]]", f"name = {_toml(one.piece.name)}", f"known_mm = {one.piece.known_mm.value:.6f}"]
        lines += [f"readings = {one.count}", f"mean_mm = {one.mean_mm:.6f}", f"bias_mm = {one.bias_mm.value:.6f}"]
        lines += [f"bias_u_mm = {one.bias_mm.u:.6f}", f"repeatability_sd_mm = {one.spread.within:.6f}"]
        lines += [f"worst_e_n = {one.worst_e_n:.3f}"] if one.worst_e_n is not None else []
    return "\n".join(lines) + "\n"


def result_path(profile: str | None, place: Path | None = None) -> Path:
    """Where a result is kept: beside the camera profile that it was made with."""
    return (place or folder()) / f"{profile or NO_PROFILE}{ENDING}"


def read_result(path: Path) -> Kept:
    """Read the head of a result. Raises UsageError in one sentence."""
    whole = _load(path, "verification")
    try:
        if whole["format"] != RESULT:
            raise ValueError(f"format {whole['format']}, needs {RESULT}")
        return Kept(_date(whole["made_on"]), str(whole["statement"]), _with_what(whole))
    except (KeyError, TypeError, ValueError) as error:
        raise UsageError(
            f"verification {path} is damaged ({error}): move it away, or report the session again"
        ) from error


def site_check(now: Circumstances, today: dt.date, place: Path | None = None) -> SiteCheck | None:
    """What to show beside a reading: the verification of its camera profile, else the newest one; None when there is none.

    Raises UsageError for a damaged file.
    """
    own = result_path(now.profile, place)
    kept = [read_result(path) for path in ([own] if own.is_file() else sorted((place or folder()).glob(f"*{ENDING}")))]
    if not kept:
        return None
    newest = max(kept, key=lambda one: one.made_on)
    return SiteCheck(newest.made_on.isoformat(), newest.statement, tuple(doubts(newest, now, today)))


def doubts(kept: Kept, now: Circumstances, today: dt.date) -> list[str]:
    """Why a verification may no longer hold, one sentence each with both sides."""
    then, lines = kept.with_what, []
    age = (today - kept.made_on).days
    if age > STALE_DAYS:
        lines.append(f"the verification is {age} days old, {STALE_DAYS} at most (our own choice): verify again")
    if then.profile != now.profile:
        sides = [f"camera profile '{one}'" if one else "no camera profile" for one in (then.profile, now.profile)]
        lines.append(f"verified with {sides[0]}, this reading used {sides[1]}: verify this set-up too")
    if then.software != now.software:
        lines.append(f"verified with {then.software}, this is {now.software}: verify again")
    if then.models != now.models:
        lines.append(f"verified with model {then.models}, this reading used {now.models}: verify again")
    if then.held != now.held:
        how = [("held" if held else "not held") for held in (then.held, now.held)]
        lines.append(f"verified with the shaft {how[0]}, here it was {how[1]}: verify this way of laying too")
    return lines


def _listed(row: Mapping[str, Any], path: Path | str) -> Piece:
    name, kind = row.get("name"), row.get("kind")
    if not isinstance(name, str) or not name.strip() or kind not in KINDS:
        raise UsageError(
            f"{path}: a piece has name {name!r} and kind {kind!r}, needs a name and one of {', '.join(KINDS)}"
        )
    if "size" in row:
        if row["size"] not in SIZES:
            raise UsageError(f"{path}, piece '{name}': size {row['size']} is none of {', '.join(map(str, SIZES))}")
        # A rectangular distribution over its limits (JCGM 100:2008, 4.3.7).
        return Piece(
            name, kind, Quantity(row["size"] / 100.0, diameter_limit(row["size"]).within.half_width / 3.0**0.5)
        )
    try:
        known, u = float(row["diameter_mm"]), float(row["u_mm"])
    except (KeyError, TypeError, ValueError):
        raise UsageError(f"{path}, piece '{name}' lacks diameter_mm and u_mm as numbers: add them, or size") from None
    if not (0.03 <= known <= 3.0 and 0.0 < u < 0.2 * known):
        raise UsageError(
            f"{path}, piece '{name}' has {known:g} mm with u {u:g} mm, needs 0.03 to 3 mm with u above 0 and below a fifth of it"
        )
    return Piece(name, kind, Quantity(known, u))


def _load(path: Path, what: str) -> dict[str, Any]:
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise UsageError(f"found no {what} {path}: check the name and the folder") from None
    except (OSError, ValueError, RecursionError) as error:
        raise UsageError(f"{what} {path} cannot be read ({error})") from error


def _entry(row: dict[str, Any]) -> Entry:
    u = float(row["u_mm"]) if "u_mm" in row else None
    taken = Taken(str(row["piece"]), str(row["person"]), float(row["value_mm"]), u)
    return Entry(taken, str(row["photo"]), str(row["sha256"]), _date(row["made_on"]), _with_what(row))


def _circumstances(one: Circumstances) -> list[str]:
    lines = [f"camera_profile = {_toml(one.profile)}"] if one.profile is not None else []
    return [*lines, f"software = {_toml(one.software)}", f"models = {_toml(one.models)}", f"held = {_toml(one.held)}"]


def _with_what(row: dict[str, Any]) -> Circumstances:
    return Circumstances(row.get("camera_profile"), str(row["software"]), str(row["models"]), bool(row["held"]))


def _date(value: object) -> dt.date:
    if not isinstance(value, dt.date):
        raise TypeError(f"{value!r} is no date")
    return value


def _toml(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False)  # JSON's spelling of text, lists and truth is TOML's too
