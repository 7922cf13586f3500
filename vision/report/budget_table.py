"""Budgets -> terminal: for each quantity its contributions, numbers first, a bar of '#' last; what to do about the largest."""

from __future__ import annotations

from collections.abc import Iterator

from rich.console import Console
from rich.table import Table
from rich.text import Text

from vision.budget import COMPARED, CONE, Budget, Contribution, budget_of, cause_of, correlations
from vision.quantity import Quantity
from vision.reading import InstrumentReading, ScaleReading
from vision.report.words import MEASURED, name_text, percent, quantity_texts

BAR = 16  # signs for the whole variance
UNITS = {field: unit for field, _, unit in MEASURED}
NAMES = {field: name for field, name, _ in MEASURED}
RULE = (
    "U = 2 u covers the true value about 19 times in 20 where no single contribution rules; shares are of the variance u², "
    "the contributions add as squares"
)


def budgets_of(one: InstrumentReading, scale: ScaleReading | None) -> tuple[Budget, ...]:
    """Return the budgets of every measured quantity that has one, in the order of the report."""
    px_per_mm = scale.px_per_mm if scale is not None else None
    made = (budget_of(field, q, px_per_mm) for field in NAMES if (q := getattr(one, field)) is not None)
    return tuple(budget for budget in made if budget is not None)


def print_budgets(one: InstrumentReading, scale: ScaleReading | None, console: Console) -> None:
    """Print one instrument's budgets, their correlations, and what would make the largest contributions smaller."""
    budgets = budgets_of(one, scale)
    console.print(Text(f"{one.id}  {name_text(one)}: uncertainty budget", "bold"))
    if not budgets:
        console.print(Text("no quantity with recorded contributions"))
        return
    for budget in budgets:
        console.print(Text(headline(budget)))
        console.print(_lines(budget))
    console.print(_notes([*advice_lines(budgets), *correlation_lines(one), *_without(one), RULE]))
    console.print()


def headline(budget: Budget) -> str:
    """Return 'D0 0.2531 mm, u 0.0030, U = 2 u = 0.0060'; u and U in the unit of the value."""
    value, u = quantity_texts(budget.quantity)
    _, expanded = quantity_texts(Quantity(0.0, budget.expanded_u))
    return f"{NAMES[budget.field]} {value} {UNITS[budget.field]}, u {u}, U = 2 u = {expanded}"


def input_text(line: Contribution, field: str) -> tuple[str, str]:
    """Return the input's own u and its sensitivity as text: ('0.79 %', '0.253 mm') or ('0.0020 mm', '1')."""
    unit = UNITS[field]
    if line.relative:
        return f"{_short(100.0 * line.input_u)} %", f"{line.sensitivity:.3g} {unit}"
    if line.sensitivity == 1.0:
        return f"{_short(line.input_u)} {unit}", "1"
    return f"{_short(line.input_u)} mm", f"1/{1.0 / line.sensitivity:.3g} mm"


def contribution_text(line: Contribution) -> str:
    """Return the contribution to u in the quantity's unit, two significant digits."""
    return _short(line.u)


def advice_lines(budgets: tuple[Budget, ...]) -> Iterator[str]:
    """Say what is largest in which quantity and what makes it smaller, one sentence a cause."""
    largest: dict[str, list[str]] = {}
    for budget in budgets:
        largest.setdefault(budget.lines[0].label, []).append(
            f"{NAMES[budget.field]} {percent(budget.lines[0].share)}"
        )
    for label, names in largest.items():
        smaller = cause_of(label).smaller
        yield f"largest, {label}: {', '.join(names)}" + (f"; to make it smaller: {smaller}" if smaller else "")
    ruled = [NAMES[budget.field] for budget in budgets if budget.ruling is not None]
    if ruled:
        yield f"one contribution rules {', '.join(ruled)}: how often ±U covers it then rests on the shape of that one"


def correlation_lines(one: InstrumentReading) -> Iterator[str]:
    """Say how the errors of two quantities go together: what they share moves both."""
    pairs = [
        f"{NAMES[a]} with {NAMES[b]} {r:.3f}"
        for a, others in correlations({name: getattr(one, name) for name in COMPARED}).items()
        for b, r in others.items()
    ]
    if pairs:
        yield f"correlation r of errors (shared print, height, outline): {', '.join(pairs)}"
    if all(getattr(one, name) is not None for name in CONE) and pairs:
        yield "D16 = D0 + 16 taper holds in these figures: their u agree only with the correlations counted in"


def _without(one: InstrumentReading) -> Iterator[str]:
    plain = [NAMES[field] for field in NAMES if (q := getattr(one, field)) is not None and not q.parts]
    if plain:
        yield f"u stated as a whole, without contributions: {', '.join(plain)}"


def _lines(budget: Budget) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="underline")
    for name in ("contribution", "its own u", "sensitivity", f"in u, {UNITS[budget.field]}", "share"):
        table.add_column(name, no_wrap=True, min_width=11 if name != "share" else 6)
    table.add_column("", no_wrap=True)
    for line in budget.lines:
        row = (line.label, *input_text(line, budget.field), contribution_text(line), percent(line.share))
        table.add_row(*(Text(cell) for cell in (*row, "#" * round(BAR * line.share))))
    return table


def _notes(lines: list[str]) -> Table:
    grid = Table.grid(padding=(0, 2, 0, 0), pad_edge=False)
    grid.add_column(no_wrap=True, min_width=7)
    grid.add_column(overflow="fold")
    for line in lines:
        grid.add_row(Text("budget"), Text(line))
    return grid


def _short(u: float) -> str:
    return quantity_texts(Quantity(0.0, u))[1]
