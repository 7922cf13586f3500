"""Reading -> terminal: numbers first, then how sure, then why. Nothing is said by colour alone; 80 columns suffice."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from rich.console import Console
from rich.table import Table
from rich.text import Text

from vision.quantity import Quantity
from vision.reading import Choice, InstrumentReading, PhotoReading, ScaleReading, SiteCheck
from vision.report import cautions
from vision.report.check_lines import check_lines
from vision.report.evidence import RULE, evidence_lines
from vision.report.limits import limit_lines, verdict_text
from vision.report.words import (
    CONFORMITY_OF,
    MEASURED,
    family_text,
    finding_text,
    name_text,
    others_text,
    percent,
    plain,
    quantity_texts,
    size_text,
)

Row = tuple[str, str, str, str]
# The call and its limits share one weight; what is not a reason to act is not stressed.
_WEIGHT = {"discard": "bold", "look again": "bold", "nothing seen": ""}


def print_reading(reading: PhotoReading, console: Console, *, why: bool = False) -> None:
    """Print one photo's reading, or the one sentence why it could not be examined; ``why`` adds limits and sources."""
    console.print(Text(plain(reading.file), "bold underline"))
    if reading.error is not None:
        kind, message = reading.error
        console.print(Text(f"not examined ({kind}): {plain(message)}"))
        console.print()
        return
    if reading.scale is not None:
        console.print(Text(scale_text(reading.scale)))
    if reading.site_check is not None:
        console.print(_labelled([("site", line, "") for line in site_lines(reading.site_check)]))
    if reading.notes:
        console.print(_labelled([("note", note, "") for note in reading.notes]))
    if reading.check_piece is not None:
        console.print(_labelled([("check", line, "") for line in check_lines(reading.check_piece)]))
    if not reading.instruments:
        console.print(Text("no instrument found"))
    for one in reading.instruments:
        console.print()
        print_instrument(one, f"{one.id}  {name_text(one)}", console, why=why)
    console.print()


def print_instrument(one: InstrumentReading, title: str, console: Console, *, why: bool = False) -> None:
    """Print one instrument: its numbers, then its condition with what could be seen, then the notes."""
    console.print(Text(plain(title), "bold"))
    console.print(_numbers(one))
    if why:
        console.print(_evidence(one))
    limits = [("limit", line, "") for line in limit_lines(one)] if why else []
    console.print(_labelled([*limits, *_condition(one)]))


def _evidence(one: InstrumentReading) -> Table:
    """What speaks for the family and the size, one clue a row."""
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="underline")
    table.add_column("why", no_wrap=True, min_width=6)
    table.add_column("clue", overflow="fold", ratio=2)
    table.add_column("seen [ground]", overflow="fold", ratio=5)
    table.add_column("speaks for", overflow="fold", ratio=4)
    before = ""
    for name, what, seen, speaks in evidence_lines(one):
        table.add_row(*(Text(plain(cell)) for cell in ("" if name == before else name, what, seen, speaks)))
        before = name
    if before:
        table.add_row("", "", Text(RULE), "")
    return table


def print_cautions(readings: Sequence[PhotoReading], console: Console) -> None:
    """Print what u means and the short cautions once, at the end of a run."""
    everything = tuple(one for reading in readings for one in reading.instruments)
    lines = [("caution", line, "") for line in cautions.shown_with(everything)]
    if everything:
        lines.insert(0, ("u", "standard uncertainty (k = 1): the true value lies within 2 u about 19 times in 20", ""))
    console.print(_labelled(lines))


def scale_text(scale: ScaleReading) -> str:
    """Return where the scale came from, in one line."""
    value, u = quantity_texts(scale.px_per_mm)
    parts = [f"scale {value} px/mm (u {u})"]
    if scale.source == "given":
        parts.append("as stated on the command line")
    else:
        checked = "print checked" if scale.print_checked else "print NOT checked: u is larger"
        parts.append(f"from sheet {scale.sheet_id}, {checked}")
    if scale.view_tilt_deg is not None:
        parts.append(f"view tilted {scale.view_tilt_deg:.1f} deg")
    if scale.camera_height_mm is not None:
        height, height_u = quantity_texts(scale.camera_height_mm)
        by = f" by camera profile '{scale.camera_profile}'" if scale.camera_profile else ""
        parts.append(f"camera {height} mm (u {height_u}) above the sheet{by}")
    return "; ".join(parts)


def site_lines(check: SiteCheck) -> list[str]:
    """What was verified on site, and why it may no longer hold."""
    return [f"verified on site on {check.made_on}: {check.statement}", *check.warnings]


def _numbers(one: InstrumentReading) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="underline")
    table.add_column("what", no_wrap=True, min_width=13)
    table.add_column("reading", overflow="fold", min_width=16)
    table.add_column("how sure", overflow="fold", min_width=9)
    table.add_column("why", overflow="fold")
    for row in (*_identity(one), *_measured(one), *_looks(one)):
        table.add_row(*(Text(plain(cell)) for cell in row))
    return table


def _identity(one: InstrumentReading) -> Iterator[Row]:
    for name, choice, families in (("family", one.family, True), ("size (ISO)", one.size, False)):
        value = family_text(choice.value) if families else size_text(choice.value)
        sure = percent(choice.probability) if choice.value is not None else ""
        yield name, value, sure, _why(choice, families=families)


def _why(choice: Choice, *, families: bool) -> str:
    parts = []
    if choice.evidence:
        parts.append("from " + ", ".join(choice.evidence))
    if choice.others:
        leading = "else " if choice.value is not None else "could be "
        parts.append(leading + others_text(choice, families=families))
    return "; ".join(parts)


def _measured(one: InstrumentReading) -> Iterator[Row]:
    for field, name, unit in MEASURED:
        quantity: Quantity | None = getattr(one, field)
        key = CONFORMITY_OF.get(field, "")
        verdict, judgement = one.conformity.get(key), one.judged.get(key)
        if quantity is None:
            yield name, "not measured", "", ""
        else:
            value, u = quantity_texts(quantity)
            shown = verdict_text(judgement) if verdict and judgement else verdict
            yield name, f"{value} {unit}", f"u {u}", f"size limits: {shown}" if shown else ""


def _looks(one: InstrumentReading) -> Iterator[Row]:
    if one.conformity.get("tip_angle"):
        yield "tip angle", "", "", f"limits: {one.conformity['tip_angle']}"
    yield "section", one.cross_section or "not decided", "", ""
    yield "twist", f"{one.twist_hand}-handed" if one.twist_hand else "hand not decided", "", ""
    colour = one.handle.colour or "no colour told"
    yield "handle", colour, "", "sizes " + ", ".join(map(size_text, one.handle.sizes)) if one.handle.sizes else ""
    sharpness = "blur not measured" if one.blur_px is None else f"blur {one.blur_px:.1f} px"
    yield "picture here", f"{one.local_px_per_mm:.1f} px/mm", "", sharpness


def _condition(one: InstrumentReading) -> Iterator[tuple[str, str, str]]:
    """Yield label, text, style: findings, the call with its reasons, its limits in the same weight, then the notes."""
    for line in one.condition.before:
        yield "first", line, ""
    for finding in one.condition.findings:
        yield "found", f"{finding_text(finding)}; {percent(finding.probability)} sure", ""
    call, reasons = one.condition.call, one.condition.reasons
    yield "call", call + (" - " + "; ".join(reasons) if reasons else ""), _WEIGHT[call]
    yield "limits", cautions.limits_line(one.condition), _WEIGHT[call]
    for note in one.notes:
        yield "note", note, ""


def _labelled(lines: Sequence[tuple[str, str, str]]) -> Table:
    """Lay out lines behind their labels, continuations indented beneath the first word."""
    grid = Table.grid(padding=(0, 2, 0, 0), pad_edge=False)
    grid.add_column(no_wrap=True, min_width=7)
    grid.add_column(overflow="fold")
    for label, line, style in lines:
        grid.add_row(Text(label), Text(plain(line), style))
    return grid
