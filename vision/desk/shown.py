"""A reading's JSON -> what a page shows of it, in the order numbers, how sure, why. Works on readings of any version."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from vision.budget import CAUSES, Cause
from vision.desk.wording import said_or
from vision.quantity import Quantity
from vision.report.words import CONFORMITY_OF, MEASURED, STRENGTH_UNITS, number_text, quantity_texts, size_text
from vision.report.words import percent as percent_of

Json = dict[str, Any]
Words = Mapping[str, str]
LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
KEY_NUMBERS = ("d0_mm", "taper_mm_per_mm", "length_mm", "d16_mm")
BROACH_KINDS = {"barbs-folded", "barbs-missing"}


@dataclass(frozen=True)
class Part:
    """One contribution to u; ``share_percent`` of u squared; ``words`` what it stands for, ``smaller`` what helps."""

    label: str
    value: str
    share_percent: int
    words: str
    smaller: str


@dataclass(frozen=True)
class Row:
    """One quantity: value and u as text, or None where it was not measured."""

    name: str
    words: str
    unit: str
    value: str | None
    u: str | None
    verdict: str | None
    limits: str | None
    parts: tuple[Part, ...]


@dataclass(frozen=True)
class Sure:
    """A decided word, how sure it is, what spoke for it and what else it could be."""

    what: str
    value: str
    percent: str | None
    evidence: tuple[str, ...]
    others: str
    decided: bool


@dataclass(frozen=True)
class Found:
    """A finding with the letter that marks it in the picture."""

    letter: str
    kind: str
    strength: str
    where: tuple[float, float]
    percent: str


@dataclass(frozen=True)
class Visible:
    """What the photo could have shown at best, and the kinds of damage it could not show at any size."""

    share: str
    smallest: tuple[str, ...]
    not_at_all: tuple[str, ...]


def name_of(one: Json, words: Words) -> str:
    """Return what the instrument is, in a few words."""
    family = one["family"]["value"]
    named = said_or(words, f"families.{family}", str(family)) if family else words["words.family_open"]
    return f"{named}, {size_of(one['size']['value'], words)}"


def size_of(size: int | None, words: Words) -> str:
    """Return 'size 25', or that it was not decided."""
    return words["words.size_open"] if size is None else words["words.size"].format(size=size_text(size))


def call_of(call: str, words: Words) -> str:
    """Return the call in the catalogue's words."""
    return said_or(words, f"calls.{call.replace(' ', '-')}", call)


def rows_of(one: Json, words: Words) -> list[Row]:
    """Return every quantity in its fixed order."""
    return [_row(one, name, unit, words) for name, _, unit in MEASURED]


def key_rows(rows: Sequence[Row]) -> list[Row]:
    """Return the few numbers that are shown first and large, those that were measured."""
    by_name = {row.name: row for row in rows}
    return [by_name[name] for name in KEY_NUMBERS if name in by_name and by_name[name].value is not None][:3]


def sure_of(one: Json, words: Words) -> list[Sure]:
    """Return family and size with their probabilities."""
    return [
        _sure(one["family"], words["reading.sure_family"], words),
        _sure(one["size"], words["reading.sure_size"], words),
    ]


def found_in(one: Json, words: Words) -> list[Found]:
    """Return the findings with their letters."""
    made = []
    for letter, finding in zip(LETTERS, one["condition"]["findings"], strict=False):
        value, u = texts(finding["strength"])
        made.append(
            Found(
                letter,
                said_or(words, f"findings.{finding['kind']}", finding["kind"]),
                f"{value} (u {u}) {finding['strength_unit']}",
                (finding["from_mm"], finding["to_mm"]),
                percent(finding["probability"]),
            )
        )
    return made


def visible_in(one: Json, words: Words) -> Visible:
    """Return what was visible and what was not."""
    condition, broach = one["condition"], one["family"]["value"] == "barbed-broach"
    seen: Json = condition["smallest_visible"]
    smallest = []
    for kind, limit in seen.items():
        text = f"{_kind(kind, words)} {number_text(limit['value'])} {STRENGTH_UNITS.get(kind, '')}".rstrip()
        over = limit.get("over_mm")
        smallest.append(text if over is None else f"{text} {words['reading.over'].format(mm=number_text(over))}")
    kinds = [kind for kind in STRENGTH_UNITS if kind not in seen and (broach or kind not in BROACH_KINDS)]
    return Visible(
        f"{100 * condition['seen_share']:.0f} %", tuple(smallest), tuple(_kind(kind, words) for kind in kinds)
    )


def texts(quantity: Json) -> tuple[str, str]:
    """Return value and u as text by the one rule for digits."""
    return quantity_texts(Quantity(quantity["value"], quantity["u"]))


def percent(probability: float) -> str:
    """Return a probability in whole percent; the JSON has three decimals, so its 1.0 is 'more than 99 %' and no certainty."""
    return percent_of(min(max(probability, 0.001), 0.999))


def _kind(kind: str, words: Words) -> str:
    return said_or(words, f"findings.{kind}", kind)


def _row(one: Json, name: str, unit: str, words: Words) -> Row:
    said = said_or(words, f"words.{name}", name)
    quantity = one.get(name)
    key = CONFORMITY_OF.get(name, "")
    if quantity is None:
        return Row(name, said, unit, None, None, None, None, ())
    value, u = texts(quantity)
    verdict = one["conformity"].get(key)
    parts = one.get("uncertainty_parts", {}).get(name, {})
    return Row(
        name,
        said,
        unit,
        value,
        u,
        verdict and said_or(words, f"verdicts.{verdict}", verdict),
        _limits(one, key),
        _parts(parts),
    )


def _limits(one: Json, key: str) -> str | None:
    """Return 'nominal ± half width' where a limit was read."""
    limit = one.get("conformity_limits", {}).get(key)
    if not limit or not limit.get("within") or limit.get("nominal") is None:
        return None
    return f"{limit['nominal']:g} ± {limit['within']['half_width']:g}"


def _parts(parts: Mapping[str, float]) -> tuple[Part, ...]:
    total = sum(u * u for u in parts.values())
    if not total:
        return ()
    ranked = sorted(parts.items(), key=lambda part: -part[1])
    return tuple(_part(label, u, u * u / total) for label, u in ranked)


def _part(label: str, u: float, share: float) -> Part:
    cause = CAUSES.get(label, Cause(""))  # readings of other versions may name causes that this one does not know
    return Part(label, f"{u:.2g}", round(100 * share), cause.words, cause.smaller)


def _sure(choice: Json, what: str, words: Words) -> Sure:
    families = what == words["reading.sure_family"]
    value = choice["value"]
    named = (
        (_family(value, words) if families else size_text(value)) if value is not None else words["reading.not_decided"]
    )
    others = ", ".join(
        f"{_family(name, words) if families else name} {percent(p)}" for name, p in choice["others"].items() if p > 0.0
    )
    sure = percent(choice["probability"]) if value is not None else None
    return Sure(what, named, sure, tuple(choice.get("evidence") or ()), others, value is not None)


def _family(value: str, words: Words) -> str:
    return said_or(words, f"families.{value}", value)
