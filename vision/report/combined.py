"""Several photos of one instrument -> terminal: what they say together, each photo's D0 beside the pooled one."""

from __future__ import annotations

from rich.console import Console
from rich.table import Table
from rich.text import Text

from vision.reading import CombinedReading
from vision.report.table import print_instrument
from vision.report.words import name_text, plain, quantity_texts

MODES = {
    "untouched": "untouched between the photos, camera moved",
    "re-laid": "laid down again or turned between the photos",
}


def print_combined(one: CombinedReading, console: Console, *, why: bool = False) -> None:
    """Print the combined reading after those of the single photos; disagreements first, since they ask for an act."""
    console.print(Text(f"Together: {len(one.photos)} photos of one instrument, {MODES[one.mode]}", "bold underline"))
    for sentence in one.disagreements:
        console.print(Text(plain(sentence), "bold"))
    print_instrument(one.instrument, name_text(one.instrument), console, why=why)
    console.print(_each(one))
    console.print()


def print_problems(problems: tuple[str, ...], console: Console) -> None:
    """Print what could not be combined, a sentence each."""
    for problem in problems:
        console.print(Text(f"not combined: {plain(problem)}"))
    if problems:
        console.print()


def _each(one: CombinedReading) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="underline")
    for name in ("D0 of each photo", "mm", "u"):
        table.add_column(name, overflow="fold")
    for name, quantity in (*zip(one.photos, one.d0_each, strict=True), ("together", one.instrument.d0_mm)):
        value, u = quantity_texts(quantity) if quantity is not None else ("not measured", "")
        table.add_row(*(Text(plain(cell)) for cell in (name, value, u)))
    return table
