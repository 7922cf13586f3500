"""A checked tray -> lines for the terminal and printed pages."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from reportlab.platypus import Flowable, PageBreak

from vision.tray.check import FAULTS, OUTCOMES, Checked, Position, Row
from vision.tray.pages import gap, heading, table, title, words

SAYS = ("'matches list' speaks of family, size, length and place; it cannot clear an instrument. A bend toward or away from the camera "
        "does not show from above: turn each one and look at it from the side.")  # fmt: skip
COUNTS_MM = (22.0, 24.0, 18.0, 14.0, 15.0, 16.0, 15.0, 21.0, 23.0)  # code, then the outcomes, none of which may break


def check_lines(checked: Checked) -> list[str]:
    """The check in sentences: warnings, counts, then every row that does not match."""
    said = [f"warning: {warning}" for warning in checked.warnings]
    said += [f"PARTIAL: {checked.partial}"] if checked.partial else []
    said += [f"list {checked.kit.name}: {summary(checked)}", SAYS]
    for row in checked.rows:
        if row.outcome != "matches list":
            said.append(f"{row.outcome}{f': {_asked(row.position)}' if row.position else ''}{_number(row)}; {row.why}")
    return said


def summary(checked: Checked) -> str:
    """How many of each outcome, the outcomes that occur only."""
    counts = [(outcome, checked.count(outcome)) for outcome in OUTCOMES]
    return ", ".join(f"{count} {outcome}" for outcome, count in counts if count) or "nothing to check"


def check_story(checked: Checked, head: str, photo: str, retake: str | None, left_out: Sequence[str] = ()) -> list[Flowable]:
    """One tray's page. ``left_out``: sentences on what was seen and not counted."""
    story: list[Flowable] = [title(head), words(f"Photo {photo}; list {checked.kit.name}, {checked.kit.total} instruments.")]
    story += [words(f"PARTIAL: {checked.partial}", bold=True)] if checked.partial else []
    story += [words(f"Take the photo again: {retake}", bold=True)] if retake else []
    story += [words(warning, bold=True) for warning in (*checked.warnings, *left_out)]
    story += [gap(), words(summary(checked), bold=True), words(SAYS, bold=True), gap()]
    rows = [["outcome", "the list asks for", "number", "why"]]
    order = sorted(checked.rows, key=lambda row: (row.outcome == "matches list", OUTCOMES.index(row.outcome)))
    rows += [[row.outcome, _asked(row.position), row.seen.numbers if row.seen else "", row.why] for row in order]
    story.append(table(rows, (26, 56, 20, 68), bold_first=True))
    return story


def class_story(trays: Sequence[tuple[str, str, Checked | None, str | None]]) -> list[Flowable]:
    """Several trays: (code, photo, check or None, why to take the photo again). Retakes first, one table, a page each."""
    story: list[Flowable] = [title("Trays of the class")]
    again = [(code, photo, retake) for code, photo, _, retake in trays if retake]
    if again:
        rows = [["code", "photo", "why"], *([c, p, w or ""] for c, p, w in again)]
        story += [heading("Photos to take again first"), table(rows, (20, 50, 100))]
    whole = [checked for _, _, checked, _ in trays if checked is not None]
    counts = [["code", *OUTCOMES], *([code, *_counts(checked)] for code, _, checked, _ in trays)]
    story += [heading("All trays"), table(counts, COUNTS_MM, bold_first=True)]
    story += [heading("What the class gets wrong"), *(words(line) for line in common_faults(whole))]
    for code, photo, checked, retake in trays:
        story.append(PageBreak())
        if checked is None:
            story += [title(f"Tray {code}"), words(f"Photo {photo} could not be examined: {retake}", bold=True)]
        else:
            story += check_story(checked, f"Tray {code}", photo, retake)
    return story


def _counts(checked: Checked | None) -> list[str]:
    if checked is None:
        return ["not examined", *[""] * (len(OUTCOMES) - 1)]
    return [str(checked.count(outcome)) for outcome in OUTCOMES]


def common_faults(trays: Sequence[Checked], most: int = 10) -> list[str]:
    """On how many of the trays each fault occurs, once or more often; the commonest first."""
    counts = Counter(fault for checked in trays for fault in {_fault(row) for row in checked.rows if row.outcome in FAULTS})
    ranked = sorted(counts.items(), key=lambda item: (-item[1], item[0]))[:most]
    return [f"{count} of {len(trays)} trays: {what}" for what, count in ranked] or ["no fault was found on any tray"]


def _fault(row: Row) -> str:
    return f"{row.outcome}: {row.position.name if row.position else row.why.split(' is on the tray')[0]}"


def _asked(position: Position | None) -> str:
    if position is None:
        return "nothing here"
    return position.name if position.slot is None else f"{position.name}, slot {position.slot}"


def _number(row: Row) -> str:
    return f" (number {row.seen.numbers})" if row.seen is not None else ""
