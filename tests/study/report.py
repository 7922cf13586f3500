"""Rows -> figures.md (tables that read as plain text too) and the plots, in one folder."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from statistics import median

from tests.study.calls import call_tables
from tests.study.cases import Case, cases
from tests.study.measured import error_tables
from tests.study.names import name_tables
from tests.study.plots import draw_all
from tests.study.rows import Row
from tests.study.versus import baseline_table, traced_table
from tests.study.worst import worst_tables

TIMES = ("render_s", "render_cpu_s", "read_s", "read_cpu_s")
HEADER = """# Accuracy study

Rendered photos of invented instruments, read by the whole pipeline; the truth is the renderer's. 95 % intervals: Wilson for
shares, order statistics for percentiles, bootstrap for spreads and ratios. Every figure is of the readings that gave a number; the
column n says of how many pieces that have one.
"""


def write_report(rows: Sequence[Row], out: Path) -> str:
    """Write figures.md and the plots; returns the text."""
    out.mkdir(parents=True, exist_ok=True)
    found = cases(rows)
    text = report_text(found, rows)
    (out / "figures.md").write_text(text, encoding="utf-8")
    draw_all(found, out)
    return text


def report_text(found: Sequence[Case], rows: Sequence[Row]) -> str:
    """All tables."""
    return "\n".join([
        HEADER,
        _counts(found, rows),
        "\n## Errors\n",
        error_tables(found),
        "\n## Names\n",
        name_tables(found),
        "\n## Calls\n",
        call_tables(found),
        "\n## Beside a plain threshold\n",
        "The plain way (Otsu's threshold, width of the dark regions, scale of the same sheet) was told by the truth where the",
        "instrument lies, where the working part ends and about how far apart the crests are.\n",
        baseline_table(found),
        "\n## Beside the path tracer\n",
        traced_table(found),
        "\n## Largest errors\n",
        worst_tables(found),
        "",
    ])  # fmt: skip


def _counts(found: Sequence[Case], rows: Sequence[Row]) -> str:
    photos = sum(len(row["photos"]) for row in rows)
    groups = Counter(case.group for case in found)
    times = ", ".join(f"{name} {_a_photo(rows, name):.1f} s" for name in TIMES if any(name in row for row in rows))
    counts = ", ".join(f"{group} {n}" for group, n in groups.items())
    return f"{len(rows)} pieces, {photos} photos: {counts}. A photo at the median: {times}."


def _a_photo(rows: Sequence[Row], name: str) -> float:
    return median(row[name] / len(row["photos"]) for row in rows if name in row)
