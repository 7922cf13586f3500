"""What comes before any photo, a sentence each: single use, local rules, material; as read, and as the records know better."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from vision.call import LOOK, NO_MATERIAL
from vision.desk.wording import said_or
from vision.records.database import Records
from vision.records.instruments import Instrument
from vision.records.timeline import counts

NITI = "nickel-titanium"


def first_lines(records: Records, words: Mapping[str, str], condition: Mapping[str, Any], meant: Instrument | None) -> list[str]:
    """The lines of ``condition``, as a document has it, with what the records say of the instrument in the place of what was not stated."""
    lines = list(condition.get("before") or (LOOK, NO_MATERIAL))
    if meant is None:
        return lines
    if meant.single_use:
        used = counts(records, meant.id).get("used", 0)
        said = words["instruments.single_use_used"].format(used=used) if used else words["reading.single_use_unused"]
        lines = [said, *(line for line in lines if line != LOOK)]
    if meant.material and NO_MATERIAL in lines:
        material = said_or(words, f"materials.{meant.material.replace(' ', '-')}", meant.material)
        lines[lines.index(NO_MATERIAL)] = words["reading.material"].format(material=material)
        lines += [words["reading.material_parts"]] if meant.material == NITI else []
    return lines
