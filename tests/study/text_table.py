"""Tables that read well as plain text and as Markdown."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from tests.study.intervals import wilson


def table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """Columns padded to their widest cell, between bars."""
    whole = [list(head), *(list(row) for row in rows)]
    widths = [max(len(row[k]) for row in whole) for k in range(len(head))]
    lines = ["| " + " | ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)) + " |" for row in whole]
    lines.insert(1, "| " + " | ".join("-" * width for width in widths) + " |")
    return "\n".join(lines)


def number(value: float | None) -> str:
    """Three significant digits; a dash for nothing."""
    if value is None or math.isnan(value):
        return "-"
    return "open" if value == float("inf") else f"{value:.3g}"


def span(low: float, high: float) -> str:
    """An interval."""
    return f"{number(low)} to {number(high)}"


def share(hits: int, count: int) -> str:
    """A share in per cent with its count and Wilson interval."""
    if count == 0:
        return "- (0)"
    low, high = wilson(hits, count)
    return f"{100 * hits / count:.1f} % ({hits}/{count}; {100 * low:.1f} to {100 * high:.1f})"
