"""Tables of errors: medians and 95th percentiles against what is asked for, coverage of +-2u, honesty of u."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tests.study.cases import GROUPS, Case, Errors, errors, of_group
from tests.study.intervals import bootstrap, percentile_interval, robust_sd
from tests.study.text_table import number, share, span, table


@dataclass(frozen=True)
class Printed:
    """A quantity as printed: factor to its unit (None: per cent of the truth), and the limits, median and 95th percentile."""

    name: str
    words: str
    factor: float | None
    unit: str
    known: tuple[float, float] | None
    free: tuple[float, float] | None


PRINTED = (
    Printed("d0_mm", "D0", 1000.0, "um", (3.0, 10.0), (5.0, 15.0)),
    Printed("d16_mm", "D16", 1000.0, "um", (3.0, 10.0), (8.0, 20.0)),
    Printed("shank_width_mm", "shank width", 1000.0, "um", (3.0, 10.0), (8.0, 20.0)),
    Printed("taper_mm_per_mm", "taper", 1.0, "mm/mm", (0.0003, 0.001), (0.0006, 0.0018)),
    Printed("pitch_mm", "pitch at 8 mm", None, "%", (0.5, 2.0), (1.5, 3.5)),
    Printed("length_mm", "length", 1.0, "mm", (0.05, 0.2), (0.25, 0.6)),
    Printed("helix_angle_deg", "helix angle at 8 mm", 1.0, "deg", (0.7, 2.0), (1.0, 3.0)),
    Printed("working_part_mm", "working part", 1.0, "mm", None, None),
    Printed("tip_width_mm", "tip width", 1000.0, "um", None, None),
)
COVERAGE, HONEST, MEDIAN_U_UM = (0.93, 0.98), (0.8, 1.15), 5.0


def limits(one: Printed, group: str) -> tuple[float, float] | None:
    """The limits asked for in a group: of flat pieces and two views, or of pieces resting freely."""
    return one.free if "free" in group else one.known


def error_tables(found: Sequence[Case]) -> str:
    """A table of errors and one of uncertainties for every group that has cases."""
    parts = []
    for group in GROUPS[:-1]:
        members = of_group(found, group)
        if members:
            read = sum(case.reading is not None for case in members)
            parts += [f"### {group}\n", f"Read: {share(read, len(members))}. Not read: {_why(members)}.\n"]
            parts += [_errors(members, group) + "\n", _uncertainties(members, group) + "\n"]
    return "\n".join(parts)


def _errors(members: Sequence[Case], group: str) -> str:
    rows = []
    for one in PRINTED:
        got = errors(members, one.name, one.factor)
        if len(got.error):
            rows.append([f"{one.words}, {one.unit}", f"{len(got.error)} of {got.asked}", *_figures(got, limits(one, group))])
    head = ("quantity", "n", "median of size", "95 % interval", "asked", "95th percentile", "95 % interval", "asked", "median error")
    return table(head, rows)


def _figures(got: Errors, asked: tuple[float, float] | None) -> list[str]:
    size = np.abs(got.error)
    cells = []
    for q, most in zip((50, 95), asked or (None, None), strict=True):
        value = float(np.percentile(size, q))
        cells += [number(value), span(*percentile_interval(size, q)), _against(value, most)]
    return [*cells, f"{np.median(got.error):+.3g}"]


def _against(value: float, most: float | None) -> str:
    if most is None:
        return "-"
    return f"{most:g}: {'met' if value <= most else 'MISSED'}"


def _uncertainties(members: Sequence[Case], group: str) -> str:
    rows = []
    for one in PRINTED:
        got = errors(members, one.name, one.factor)
        if len(got.error) < 2:
            continue
        ratio = got.error / got.u
        inside = int((np.abs(ratio) <= 2.0).sum())
        plain, steady = float(np.std(ratio)), robust_sd(ratio)
        rows.append([
            f"{one.words}, {one.unit}",
            _median_u(one, float(np.median(got.u)), group),
            share(inside, len(ratio)),
            _in(inside / len(ratio), COVERAGE),
            f"{plain:.2f} ({span(*bootstrap(ratio, lambda v: float(np.std(v))))})",
            f"{steady:.2f} ({span(*bootstrap(ratio, robust_sd))})",
            _in(plain, HONEST),
        ])  # fmt: skip
    head = ("quantity", "median u", "truth within 2u", "93 to 98 %", "sd of error/u", "the same, robust", "0.8 to 1.15")
    return table(head, rows)


def _median_u(one: Printed, value: float, group: str) -> str:
    asked = f" ({_against(value, MEDIAN_U_UM)})" if (one.name, group) == ("d0_mm", "flat") else ""
    return number(value) + asked


def _in(value: float, asked: tuple[float, float]) -> str:
    return "met" if asked[0] <= value <= asked[1] else "MISSED"


def _why(members: Sequence[Case]) -> str:
    missed = [case for case in members if case.reading is None]
    kinds = sorted({case.error or "nothing found or not combined" for case in missed})
    return ", ".join(f"{kind} {sum((c.error or 'nothing found or not combined') == kind for c in missed)}" for kind in kinds) or "none"
