"""Pictures of the errors: one figure each against px/mm, tilt, blur, D0, family and set-up, six quantities a figure."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

import matplotlib as mpl
import numpy as np

mpl.use("Agg")
import matplotlib.pyplot as plt
from matplotlib.axes import Axes

from tests.study.cases import GROUPS, Case, Errors, errors
from tests.study.design import FAMILIES
from tests.study.measured import PRINTED, Printed

SHOWN = tuple(PRINTED[k] for k in (0, 1, 3, 4, 5, 6))
# Told apart by shape as well as by ink (Okabe and Ito's inks, which colour-blind readers tell apart).
MARKS = {
    "flat": ("o", "#0072B2"), "two views": ("s", "#009E73"), "free": ("^", "#D55E00"), "free, sizes 50-70": ("v", "#CC79A7"),
    "traced, flat": ("x", "#000000"), "traced, free": ("+", "#E69F00"),
}  # fmt: skip
AGAINST: tuple[tuple[str, str, Callable[[Case], float]], ...] = (
    ("px_per_mm", "px/mm at the sheet", lambda case: case.truth["px_per_mm"]),
    ("tilt", "tilt of the view, degrees", lambda case: case.truth["tilt_deg"]),
    ("blur", "Gaussian width of the blur at the shaft, px", lambda case: case.truth["blur_px"]),
    ("size", "D0, mm", lambda case: case.truth["d0_mm"]),
)
ASKED = ("asked of the median, flat", "asked of 95 %, flat")
ASKED_LINES = "Dashed, dotted: asked of the median and of 95 %, flat"
FEW = 12  # points of a running median


def draw_all(found: Sequence[Case], out: Path) -> list[Path]:
    """Write every figure; returns the files."""
    usual = [case for case in found if case.group in MARKS]
    files = [_against(usual, out / f"errors-by-{name}.png", words, value) for name, words, value in AGAINST]
    families = [(name, [case for case in usual if case.truth["family"] == name]) for name in FAMILIES]
    files.append(_boxes(families, out / "errors-by-family.png", "family"))
    groups = [(name, [case for case in found if case.group == name]) for name in GROUPS[:-1]]
    files.append(_boxes([pair for pair in groups if pair[1]], out / "errors-by-setup.png", "set-up"))
    return files


def _against(found: Sequence[Case], path: Path, words: str, value: Callable[[Case], float]) -> Path:
    figure, axes = plt.subplots(2, 3, figsize=(13, 7.5), layout="constrained")
    for one, ax in zip(SHOWN, axes.flat, strict=True):
        for group, (marker, ink) in MARKS.items():
            got = errors([case for case in found if case.group == group], one.name, one.factor)
            if len(got.error):
                x, size = np.array([value(case) for case in got.cases]), _sizes(got)
                open_ = {"facecolors": "none", "edgecolors": ink} if marker in "os^v" else {"color": ink}
                ax.scatter(x, size, s=14, marker=marker, linewidths=0.7, label=group, **open_)
        _running(ax, [(value(case), e) for case, e in _both(found, one)])
        _finish(ax, one, words)
    handles, labels = axes.flat[0].get_legend_handles_labels()
    figure.legend(handles, labels, loc="outside upper center", ncols=9, frameon=False, fontsize=9)
    figure.savefig(path, dpi=110)
    plt.close(figure)
    return path


def _boxes(parts: Sequence[tuple[str, Sequence[Case]]], path: Path, words: str) -> Path:
    """Boxes of the quartiles, whiskers from the 5th to the 95th percentile, n above."""
    figure, axes = plt.subplots(2, 3, figsize=(13, 8.5), layout="constrained")
    for one, ax in zip(SHOWN, axes.flat, strict=True):
        sizes = [_sizes(errors(members, one.name, one.factor)) for _, members in parts]
        seen = [(name, size) for (name, _), size in zip(parts, sizes, strict=True) if len(size)]
        if seen:
            ax.boxplot(
                [size for _, size in seen], whis=(5, 95), showfliers=False, medianprops={"color": "#000000"},
                tick_labels=[f"{name} ({len(size)})" for name, size in seen],
            )  # fmt: skip
            ax.tick_params(axis="x", rotation=35)
            for label in ax.get_xticklabels():
                label.set_ha("right")
        _finish(ax, one, "")
    figure.suptitle(f"sizes of errors by {words}: quartiles, whiskers 5th to 95th percentile (n). {ASKED_LINES}")
    figure.savefig(path, dpi=110)
    plt.close(figure)
    return path


def _both(found: Sequence[Case], one: Printed) -> list[tuple[Case, float]]:
    got = errors(found, one.name, one.factor)
    return list(zip(got.cases, _sizes(got), strict=True))


def _sizes(got: Errors) -> np.ndarray:
    """Sizes of errors, no smaller than a log axis can show."""
    return np.maximum(np.abs(got.error), 1e-6)


def _running(ax: Axes, pairs: Sequence[tuple[float, float]]) -> None:
    """Median over neighbours in x, all groups together."""
    if len(pairs) < 2 * FEW:
        return
    x, y = np.array(sorted(pairs)).T
    wide = max(len(x) // 8, FEW)
    at = range(0, len(x) - wide + 1, max(wide // 3, 1))
    ax.plot([np.median(x[k : k + wide]) for k in at], [np.median(y[k : k + wide]) for k in at], color="#000000", lw=1.6, label="median")


def _finish(ax: Axes, one: Printed, words: str) -> None:
    ax.set_yscale("log")
    if one.known:
        ax.set_ylim(bottom=one.known[0] / 100.0)
    ax.set_ylabel(f"size of error, {one.unit}")
    ax.set_title(one.words, fontsize=11)
    ax.set_xlabel(words)
    for value, style, label in zip(one.known or (), ("--", ":"), ASKED, strict=False):
        ax.axhline(value, color="#555555", lw=0.9, ls=style, label=label)
    ax.grid(visible=True, which="major", color="#DDDDDD", lw=0.6)
