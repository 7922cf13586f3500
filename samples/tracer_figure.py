"""The figure of samples/SECOND-OPINION.md: profiles across one wire by both renderers, and their numbers."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.figure import Figure

from samples.arrays import CPU
from samples.light import Light
from samples.stage import set_stage
from samples.tracer_rays import Tracing
from samples.tracer_wire import (
    BLACK,
    OFF,
    ROOM,
    SCREEN,
    WINDOW,
    Profile,
    edges_of,
    mirrored_from,
    own_profile,
    paper_level,
    share_of,
    traced_profile,
    wire_scene,
)

OURS, THEIRS, EDGE = "#1f5fa8", "#c8552b", "#666666"
COLUMNS = 8
CUT_AT = 2.0
"""Levels above this, the highlight's, are cut off in the drawing."""


@dataclass(frozen=True)
class Case:
    """One panel: both profiles in shares of bare paper (or of the bright window), with and without `black` paper.

    `shown`: the part of the profile that is drawn, radii.
    """

    title: str
    own: Profile
    traced: Profile
    own_black: Profile | None = None
    traced_black: Profile | None = None
    shown: tuple[float, float] = (-2.5, 2.5)

    def rms(self, low: float = 0.0, high: float = 9.0) -> float:
        """Root mean square of the difference, in % of paper, between two distances from the axis (radii)."""
        part = (np.abs(self.own.at) >= low) & (np.abs(self.own.at) < high)
        return float(100 * np.sqrt(np.mean((self.own.level - self.traced.level)[part] ** 2)))

    def told(self) -> list[str]:
        """The numbers, one a line."""
        ours, theirs = edges_of(self.own), edges_of(self.traced)
        zones = f"{self.rms(0, 0.7):.1f} on metal, {self.rms(0.7, 0.99):.1f} in the rim, {self.rms(1.01):.1f} beside"
        begins = mirrored_from(self.own, self.own_black), mirrored_from(self.traced, self.traced_black)
        shares = [100 * (1 - b) for b in begins]
        return [
            f"rms difference {self.rms():.1f} % of paper:",
            f"    {zones}",
            f"highlight {self.own.level.max():.2f} (ours), {self.traced.level.max():.2f}",
            f"first step at {ours.first:.3f} R (ours), {theirs.first:.3f} R",
            f"step's height {100 * ours.step:.0f} % (ours), {100 * theirs.step:.0f} % of paper",
            f"steepest after blur at {ours.steepest:.2f} R (ours), {theirs.steepest:.2f} R",
            f"mirrored: the outer {shares[0]:.1f} % (ours), {shares[1]:.1f} % of the radius",
        ]


def cases(per_pixel: int) -> list[Case]:
    """The wire in an even room, beside a window, and over a raised backlight."""
    on_paper = (("Even room", ROOM), ("Window on the right", WINDOW))
    out = [_on_paper(title, light, per_pixel) for title, light in on_paper]
    light = replace(OFF, backlight=SCREEN)
    scene = wire_scene(light, alpha=0.01, px_per_mm=1500.0)
    own, traced = own_profile(scene), traced_profile(scene, Tracing(per_pixel, seed=5), COLUMNS)
    return [*out, Case("Raised backlight, polished", own, traced, shown=(0.95, 1.02))]


def _on_paper(title: str, light: Light, per_pixel: int) -> Case:
    how = Tracing(per_pixel, seed=3)
    white, black = wire_scene(light), wire_scene(light, BLACK)
    bare = paper_level(set_stage(white, CPU))
    own, traced = own_profile(white), traced_profile(white, how, COLUMNS)
    own_black, traced_black = own_profile(black), traced_profile(black, how, COLUMNS)
    return Case(
        title, share_of(own, bare), share_of(traced, bare), share_of(own_black, bare), share_of(traced_black, bare)
    )


def draw_figure(file: Path, per_pixel: int) -> Iterable[Path]:
    """Render, draw and print the numbers; gives the file's path."""
    every = cases(per_pixel)
    figure = Figure(figsize=(12.5, 6), dpi=90, layout="constrained")
    grid = figure.subplots(2, len(every), sharex="col", height_ratios=(3, 1))
    for column, case in zip(np.atleast_2d(grid).T, every, strict=True):
        _panel(column[0], column[1], case)
        print(case.title, *case.told(), sep="\n  ")
    figure.savefig(file)
    return [file]


def _panel(above: Any, below: Any, case: Case) -> None:
    above.plot(case.own.at, case.own.level, color=OURS, lw=1.3, label="samples (ours)")
    above.plot(case.traced.at, case.traced.level, color=THEIRS, lw=1.0, label="Mitsuba 3")
    below.plot(case.own.at, 100 * (case.traced.level - case.own.level), color=EDGE, lw=0.9)
    for axes in (above, below):
        for side in (1,) if case.shown[0] > 0 else (-1, 1):
            axes.axvline(side, color=EDGE, lw=0.8, ls=":")
        axes.set_xlim(*case.shown)
    above.set_title(case.title + "\n" + "\n".join(case.told()), fontsize=8, loc="left")
    above.set_ylim(0.0, 1.08 * min(float(case.own.level.max()), CUT_AT))
    above.set_ylabel("level, share of bare paper")
    if case.shown[0] > 0:
        above.legend(fontsize=8, loc="upper left")
    below.set_ylabel("difference, %")
    below.set_xlabel("across the wire, radii (dotted: true edge)")
