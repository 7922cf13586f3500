"""Figures of an accuracy study: errors, coverage of ± 2u, and what was called by another name."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

# Quantity, factor to the printed unit, unit.
PRINTED = (
    ("d0_mm", 1000.0, "um"),
    ("d16_mm", 1000.0, "um"),
    ("shank_width_mm", 1000.0, "um"),
    ("taper_mm_per_mm", 1.0, "mm/mm"),
    ("length_mm", 1.0, "mm"),
    ("working_part_mm", 1.0, "mm"),
    ("pitch_mm", None, "%"),
    ("helix_angle_deg", 1.0, "deg"),
)


def print_figures(pose: str, rows: Sequence[dict[str, Any]]) -> None:
    """Print one table of errors and one list of misnamed instruments; the first reading of a photo counts."""
    print(f"\n{pose}: {len(rows)} photos, exactly one instrument found in {sum(len(row['instruments']) == 1 for row in rows)}")
    print(f"{'quantity':18s} {'n':>3s} {'median |error|':>15s} {'95 %':>10s} {'median':>10s} {'median u':>10s} {'within 2u':>10s}")
    for name, factor, unit in PRINTED:
        _print_quantity(rows, name, factor, unit)
    _print_names(rows)


def errors(rows: Sequence[dict[str, Any]], name: str, factor: float | None) -> tuple[np.ndarray, np.ndarray]:
    """Errors and their u in the printed unit (percent of the truth when ``factor`` is None)."""
    found = []
    for row in rows:
        truth = row["truth"].get(name)
        if not row["instruments"] or truth is None:
            continue
        quantity = getattr(row["instruments"][0], name)
        if quantity is not None:
            scale = factor if factor is not None else 100.0 / truth
            found.append(((quantity.value - truth) * scale, quantity.u * scale))
    pairs = np.array(found).reshape(-1, 2)
    return pairs[:, 0], pairs[:, 1]


def _print_quantity(rows: Sequence[dict[str, Any]], name: str, factor: float | None, unit: str) -> None:
    error, u = errors(rows, name, factor)
    if len(error) == 0:
        return
    size = np.abs(error)
    inside = np.mean(size <= 2.0 * u)
    print(
        f"{name:18s} {len(error):3d} {np.median(size):12.4g} {unit:>5s} {np.percentile(size, 95):7.4g} "
        f"{np.median(error):+10.4g} {np.median(u):10.4g} {inside:10.2f}"
    )


def _print_names(rows: Sequence[dict[str, Any]]) -> None:
    right = {"family": 0, "size": 0}
    for row in rows:
        truth = row["truth"]
        first = row["instruments"][0] if row["instruments"] else None
        for what in right:
            said = getattr(first, what).value if first else None
            right[what] += said == truth[what]
            if said != truth[what]:
                print(f"  seed {row['seed']}: {what} {truth[what]} read as {said} {row['error'] or ''}")
    print(f"family right {right['family']}, size right {right['size']} of {len(rows)}")
