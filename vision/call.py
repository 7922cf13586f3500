"""Stage 8f: findings, doubts, what was stated before -> the call, by rules that stand in one table (``call_rules.toml``).

A practice may make the table stricter in a file of its own, never looser. What comes before any photo is said first: single
use, local rules, the material.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from importlib.resources import files
from pathlib import Path

from vision.errors import UsageError
from vision.reading import Call, ConditionReading, Finding, InstrumentReading

OWN = "vision/call_rules.toml"
NUMBERS = ("discard_at", "look_at")
PRACTICE = "practice"
PRACTICE_KEYS = ("single_use_up_to_size", "local_rules")
MATERIALS = ("steel", "nickel-titanium", "unknown")
SINGLE_USE = ("used", "new", "no", "unknown")
LOOK = "look for a single-use mark: it and local rules come before this photo"
NO_MATERIAL = "material not stated, counted as nickel-titanium: that can part without any visible sign"


@dataclass(frozen=True)
class Rule:
    """Chances of one kind of finding from which the call is 'discard' and 'look again'."""

    discard_at: float
    look_at: float


@dataclass(frozen=True)
class Rules:
    """The table, kind of finding -> rule; ``single_use_up_to_size``: a practice's own rule; its own words, if it has any."""

    of_kind: Mapping[str, Rule]
    single_use_up_to_size: int | None = None
    local_rules: str | None = None

    def of(self, kind: str) -> Rule:
        """The rule of a kind; the strictest of the table for a kind that it does not name."""
        known = self.of_kind.get(kind)
        return known or Rule(min(r.discard_at for r in self.of_kind.values()), min(r.look_at for r in self.of_kind.values()))


@dataclass(frozen=True)
class Stated:
    """What the user knows and no photo shows: one of MATERIALS, one of SINGLE_USE. Unknown material counts as nickel-titanium."""

    material: str = "unknown"
    single_use: str = "unknown"


@cache
def own_rules() -> Rules:
    """The rules that come with the tool."""
    table = tomllib.loads((files("vision") / "call_rules.toml").read_text(encoding="utf-8"))
    return Rules({kind: Rule(float(row["discard_at"]), float(row["look_at"])) for kind, row in table.items()})


def read_rules(path: Path) -> Rules:
    """A practice's own rules over the tool's. Raises UsageError for a file that cannot be read, or is looser anywhere."""
    try:
        table = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError) as error:
        raise UsageError(f"--rules: cannot read {path}: {error}: name a TOML file") from error
    except (ValueError, RecursionError) as error:  # numbers of thousands of digits and brackets in thousands of brackets, too
        raise UsageError(f"--rules: {path} is no TOML: {error}: mend that line; {OWN} shows the form") from error
    practice = table.pop(PRACTICE, {})
    rules = dict(own_rules().of_kind)
    for kind, row in table.items():
        if kind not in rules:
            raise UsageError(f"--rules: {path} has a rule for '{kind}', known are {', '.join(rules)}: correct the name")
        rules[kind] = _stricter(path, kind, rules[kind], row)
    size, words = _practice(path, practice)
    return Rules(rules, size, words)


def _stricter(path: Path, kind: str, own: Rule, row: object) -> Rule:
    if not isinstance(row, dict) or set(row) - set(NUMBERS):
        raise UsageError(f"--rules: {path}: '{kind}' may hold {' and '.join(NUMBERS)} only")
    numbers = {name: getattr(own, name) for name in NUMBERS}
    for name, value in row.items():
        if isinstance(value, bool) or not isinstance(value, int | float) or not 0.0 < value < 1.0:
            raise UsageError(f"--rules: {path}: {kind}.{name} needs a chance between 0 and 1, is {value!r}")
        if value > numbers[name]:
            raise UsageError(
                f"--rules: {path} is looser than the tool: {kind}.{name} is {value:g}, may be {numbers[name]:g} at most; "
                "a practice can make a rule stricter, never looser: lower it or leave it out"
            )
        numbers[name] = float(value)
    return Rule(numbers["discard_at"], min(numbers["look_at"], numbers["discard_at"]))


def _practice(path: Path, table: object) -> tuple[int | None, str | None]:
    if not isinstance(table, dict) or set(table) - set(PRACTICE_KEYS):
        raise UsageError(f"--rules: {path}: [{PRACTICE}] may hold {' and '.join(PRACTICE_KEYS)} only")
    size, words = table.get("single_use_up_to_size"), table.get("local_rules")
    if size is not None and (isinstance(size, bool) or not isinstance(size, int) or not 0 < size <= 140):
        raise UsageError(f"--rules: {path}: {PRACTICE}.single_use_up_to_size needs an ISO size from 6 to 140, is {size!r}")
    if words is not None and not isinstance(words, str):
        raise UsageError(f"--rules: {path}: {PRACTICE}.local_rules needs a sentence in quotes, is {words!r}")
    return size, words


def call_of(findings: Sequence[Finding], *, unfit: bool, rules: Rules) -> Call:
    """The call: the strictest that any finding asks for; 'look again' too where the photo is ``unfit``."""
    if any(one.probability >= rules.of(one.kind).discard_at for one in findings):
        return "discard"
    odd = any(one.probability >= rules.of(one.kind).look_at for one in findings)
    return "look again" if odd or unfit else "nothing seen"


def restated(one: InstrumentReading, rules: Rules, stated: Stated) -> InstrumentReading:
    """The same reading under a practice's rules and with what the user stated; a call never becomes weaker."""
    condition, size = one.condition, one.size.value
    called = call_of(condition.findings, unfit=condition.call == "look again", rules=rules)
    small = rules.single_use_up_to_size
    used_up = stated.single_use == "used"
    reasons = ("stated: marked for single use, and used",) if used_up else ()
    if condition.call == "discard" or used_up:
        called = "discard"
    before = before_lines(stated, rules, small_for=size if isinstance(size, int) and small is not None and size <= small else None)
    made: ConditionReading = replace(
        condition, call=called, reasons=(*reasons, *condition.reasons), before=before,
        material=stated.material, single_use=stated.single_use,
    )
    return replace(one, condition=made)


def before_lines(stated: Stated, rules: Rules, *, small_for: int | None) -> tuple[str, ...]:
    """What comes before the photo, a sentence each: single use, local rules, material."""
    lines = [
        {
            "used": "stated: marked for single use, and used: it is discarded, whatever this photo shows",
            "new": "stated: marked for single use, not yet used: after one use it is discarded, whatever a photo shows",
            "no": "stated: not marked for single use; local rules on reuse come before this photo",
        }.get(stated.single_use, LOOK)
    ]
    if small_for is not None:
        lines.append(f"local rule: sizes up to {rules.single_use_up_to_size} are for single use; this reads as size {small_for:02d}")
    if rules.local_rules:
        lines.append(f"local rule: {rules.local_rules}")
    if stated.material == "unknown":
        lines.append(NO_MATERIAL)
    elif stated.material == "nickel-titanium":
        lines.append("nickel-titanium: it can part without any visible sign; nothing seen means nothing here")
    return tuple(lines)
