"""What is to be printed: tags of instruments and kits, and labels of slots."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from vision.records.database import Records
from vision.records.faults import RecordsError
from vision.records.instruments import instrument, kit
from vision.records.tags import give_tag


@dataclass(frozen=True)
class Label:
    """Something to cut out: a tag with its number and code, or (number None) a plain label of a slot."""

    text: str
    number: int | None = None


@dataclass(frozen=True)
class Given:
    """A tag that was given out."""

    number: int
    code: str
    kit: bool


def labels_for(records: Records, codes: Sequence[str], kit_code: str | None, slots: int) -> list[Label]:
    """Return the labels, giving out tags where there is none yet. Raises RecordsError."""
    made = [Label(code, give_tag(records, instrument_id=instrument(records, code).id)) for code in dict.fromkeys(codes)]
    if kit_code is not None:
        made.append(Label(kit_code, give_tag(records, kit_id=kit(records, kit_code, make=True).id)))
    made += [Label(f"{kit_code} {slot}" if kit_code else str(slot)) for slot in range(1, slots + 1)]
    if not made:
        raise RecordsError("invalid", "nothing was asked for: name at least one instrument, a kit or a number of slots")
    return made


def tags_given(records: Records) -> list[Given]:
    """Return every tag that was given out, by number."""
    rows = records.db.execute(
        "SELECT tag.number, coalesce(instrument.code, kit.code) AS code, tag.kit_id IS NOT NULL AS kit FROM tag "
        "LEFT JOIN instrument ON instrument.id = tag.instrument_id LEFT JOIN kit ON kit.id = tag.kit_id ORDER BY tag.number"
    )
    return [Given(row["number"], row["code"], bool(row["kit"])) for row in rows]
