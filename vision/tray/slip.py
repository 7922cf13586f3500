"""A sorted tray -> a printable slip: what goes where, what stands apart, with room to tick by hand."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from reportlab.platypus import Flowable

from vision.tray.groups import SAYS, Sorted, counted
from vision.tray.looked import TrayPhoto
from vision.tray.pages import gap, heading, table, title, words, write_pages
from vision.tray.warned import cautions


def write_slip(target: Path, tray: Sorted, photos: Sequence[TrayPhoto]) -> None:
    """Write the slip. Raises OSError."""
    failed = [photo for photo in photos if photo.reading.error is not None]
    story: list[Flowable] = [title("Sorting slip"), words(f"Photos: {', '.join(photo.file for photo in photos)}.")]
    if failed:
        story.append(words("PARTIAL: " + "; ".join(f"{p.file} could not be examined ({p.retake})" for p in failed), bold=True))
    story += [gap(), words(f"{counted(tray.total)}.", bold=True), words(SAYS, bold=True), heading("Put away, in this order")]
    rows = [["mark", "what", "count", "numbers in the picture", "done"]]
    rows += [[g.letter, g.name, str(len(g.members)), ", ".join(one.numbers for one in g.members), ""] for g in tray.groups]
    story.append(table(rows, (14, 48, 16, 76, 16), bold_first=True) if tray.groups else words("nothing"))
    if tray.damaged:
        rows = [["number", "what", "what was seen"]] + [[one.numbers, one.best.name, "; ".join(one.best.why)] for one in tray.damaged]
        story += [heading("! Set apart: damage was seen"), table(rows, (24, 48, 98), bold_first=True)]
    if tray.undecided:
        rows = [["number", "what is known", "why; take a close-up of it"]]
        rows += [[one.numbers, one.best.name, "; ".join(one.best.why)] for one in tray.undecided]
        story += [heading("? Undecided: take a close-up"), table(rows, (24, 48, 98), bold_first=True)]
    retake = [photo for photo in photos if photo.retake is not None and photo.reading.error is None]
    if retake:
        story += [heading("Photos to take again"), *(words(f"{photo.file}: {photo.retake}") for photo in retake)]
    story += [words(note, bold=True) for photo in photos for note in photo.left_out]
    write_pages(target, "Sorting slip", story, cautions(one for photo in photos for one in photo.told))
