"""Draws things that are not files, reamers or broaches but lie among them: spreaders, needles, screws and the like.

Their sizes are invented, within what such things measure.
"""

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from samples.draw_instrument import draw_finish, draw_handle, draw_instrument, draw_stop
from samples.instrument import Arc, Finish, Handle, Instrument, Twist
from samples.iso import COLOURS

STRANGERS = ("spreader", "plugger", "paste-carrier", "wire", "needle", "rotary-file", "screw")
"""What may lie on a tray."""

ALL_STRANGERS = (*STRANGERS, "paper-clip", "pencil-lead")


def draw_stranger(rng: np.random.Generator, kind: str | None = None) -> Instrument:
    """A stranger of the kind (one of ALL_STRANGERS; drawn from STRANGERS unless given). Raises ValueError for an unknown
    kind.
    """
    kind = kind or STRANGERS[int(rng.integers(len(STRANGERS)))]
    if kind not in _DRAW:
        raise ValueError(f"no stranger {kind!r}: choose from {', '.join(ALL_STRANGERS)}")
    return replace(_DRAW[kind](rng), stranger=kind)


def with_own_end(rng: np.random.Generator, stranger: Instrument) -> Instrument:
    """The stranger with the end that such a thing has, where that is no file's handle: a bare wire, a needle's hub."""
    if stranger.stranger == "needle":
        return replace(stranger, handle=_hub(rng))
    if stranger.stranger in ("wire", "paper-clip", "pencil-lead"):
        return _bare(stranger)
    return stranger


def _hub(rng: np.random.Generator) -> Handle:
    """A cone with a collar, as on hypodermic needles."""
    colour = str(rng.choice(["white", "yellow", "blue", "green", "grey", "purple"]))
    profile = ((0.0, 0.9), (1.6, 1.2), (2.2, 1.7), (8.5, 2.2), (8.7, 3.1), (9.8, 3.1), (10.0, 2.9))
    return replace(draw_handle(rng, colour, "plain"), shape="hub", profile=profile)


def _bare(stranger: Instrument) -> Instrument:
    """No handle: a thin end face of the rod stands for it, in the rod's own grey."""
    radius = stranger.shank_width_mm / 2
    red, green, blue = (0.4 * f for f in stranger.finish.f0)
    end = Handle("other", "bare end", (red, green, blue), ((0.0, radius), (0.08, radius)))
    return replace(stranger, handle=end, stop=None)


def _round(rng: np.random.Generator, d0_mm: float, taper: float, length_mm: float, part_mm: float) -> Instrument:
    base = draw_instrument(rng, "k-file", 25, 25)
    plain = replace(
        base,
        family="other",
        size=0,
        cross_section="round",
        twist=None,
        blank_d0_mm=d0_mm,
        taper_mm_per_mm=taper,
        blank_length_mm=length_mm,
        blank_working_part_mm=part_mm,
        shank_width_mm=d0_mm + taper * part_mm,
        tip_kind="cone",
        stop=None,
        finish=draw_finish(rng),
    )
    return replace(plain, stop=draw_stop(rng, plain))


def _spreader(rng: np.random.Generator) -> Instrument:
    size = int(rng.choice([15, 20, 25, 30, 35, 40]))
    base = _round(rng, size / 100, 0.02, float(rng.choice([21, 25])) + float(rng.normal(0, 0.2)), 17.0)
    handle = draw_handle(rng, COLOURS[size])
    return replace(base, family="spreader", size=size, tip_angle_deg=float(rng.uniform(25, 45)), handle=handle)


def _plugger(rng: np.random.Generator) -> Instrument:
    size = int(rng.choice([30, 40, 50, 60, 70, 80]))
    taper = 0.02 if rng.random() < 0.6 else 0.0
    base = _round(rng, size / 100, taper, float(rng.choice([21, 25])) + float(rng.normal(0, 0.2)), 17.0)
    handle = draw_handle(rng, COLOURS[size])
    flat = replace(base, family="plugger", size=size, tip_angle_deg=170.0, tip_blunt_mm=0.45 * size / 100)
    return replace(flat, handle=handle)


def _paste_carrier(rng: np.random.Generator) -> Instrument:
    """A spiral of flat wire: drawn as a left-hand groove that leaves a thin core."""
    size = int(rng.choice([25, 30, 35, 40]))
    base = _round(rng, size / 100, 0.02, float(rng.choice([17, 21, 25])), 12.0)
    return replace(
        base,
        family="paste-carrier",
        size=size,
        twist=Twist(float(rng.uniform(0.9, 1.5)), seed=int(rng.integers(1 << 30))),
        twist_hand="left",
        core_ratio=0.4,
        steep_share=0.42,
        crest_share=0.06,
        tip_angle_deg=120.0,
        tip_blunt_mm=0.05,
        handle=_latch(rng),
        stop=None,
    )


def _wire(rng: np.random.Generator) -> Instrument:
    thick = float(rng.uniform(0.2, 0.9))
    base = _round(rng, thick, 0.0, float(rng.uniform(18, 32)), 16.0)
    return replace(base, tip_angle_deg=170.0, tip_blunt_mm=0.48 * thick)


def _paper_clip(rng: np.random.Generator) -> Instrument:
    """A piece of an opened paper clip: bright wire, one bend of some 4 to 7 mm radius left in it."""
    thick = float(rng.uniform(0.75, 1.05))
    base = _round(rng, thick, 0.0, float(rng.uniform(20, 33)), 16.0)
    radius, start = float(rng.uniform(4, 7)), float(rng.uniform(1.5, 5))
    bend = Arc(radius, start, start + radius * float(rng.uniform(0.5, 1.2)), float(rng.uniform(0, 360)))
    return replace(base, tip_angle_deg=170.0, tip_blunt_mm=0.48 * thick, pre_curve=bend, stop=None)


def _pencil_lead(rng: np.random.Generator) -> Instrument:
    """Graphite and clay: dark, dull, 0.5 to 0.9 mm thick, the end broken straight."""
    thick = float(rng.choice([0.5, 0.7, 0.9]))
    base = _round(rng, thick, 0.0, float(rng.uniform(18, 33)), 16.0)
    grey = float(rng.uniform(0.07, 0.16))
    dull = Finish((grey, grey, 1.03 * grey), float(rng.uniform(0.3, 0.45)), 0.0)
    return replace(base, tip_angle_deg=170.0, tip_blunt_mm=0.48 * thick, stop=None, finish=dull)


def _needle(rng: np.random.Generator) -> Instrument:
    """An irrigation needle: a tube, ground at a slant."""
    thick = float(rng.choice([0.3, 0.4, 0.5, 0.6, 0.7, 0.8]))
    base = _round(rng, thick, 0.0, float(rng.uniform(20, 31)), 16.0)
    return replace(base, tip_angle_deg=178.0, tip_blunt_mm=0.5 * thick, bevel_deg=float(rng.uniform(45, 70)), stop=None)


def _rotary_file(rng: np.random.Generator) -> Instrument:
    """A machine-driven file: triangular, taper 4 to 6 %, on a 2.35 mm shank (the common latch-type shank)."""
    size = int(rng.choice([20, 25, 30, 40]))
    base = draw_instrument(rng, "k-file", size, 25)
    taper = float(rng.choice([0.04, 0.06]))
    slim = replace(
        base,
        family="other",
        cross_section="triangle",
        taper_mm_per_mm=taper,
        blank_length_mm=float(rng.choice([21, 25])),
        shank_width_mm=base.blank_d0_mm + taper * base.blank_working_part_mm,
        twist=Twist(float(rng.uniform(0.9, 1.6)), float(rng.uniform(0.01, 0.04)), 1.0, seed=int(rng.integers(1 << 30))),
        handle=_latch(rng),
    )
    return replace(slim, stop=draw_stop(rng, slim))


def _screw(rng: np.random.Generator) -> Instrument:
    thick = float(rng.uniform(0.8, 1.4))
    base = _round(rng, thick, 0.0, float(rng.uniform(6, 12)), 5.0)
    profile = ((0.0, thick * 0.9), (0.2, thick), (1.0, thick), (1.3, thick * 0.6))
    return replace(
        base,
        blank_working_part_mm=base.blank_length_mm - 0.3,
        twist=Twist(float(rng.uniform(0.3, 0.45)), seed=int(rng.integers(1 << 30))),
        family="other",
        core_ratio=0.72,
        steep_share=0.42,
        crest_share=0.06,
        tip_angle_deg=90.0,
        handle=Handle("other", "screw-head", (0.45, 0.44, 0.42), profile),
        stop=None,
    )


def _latch(rng: np.random.Generator) -> Handle:
    """A metal shank 2.35 mm thick with a step, drawn as bright plastic."""
    r, n = 2.35 / 2, float(rng.uniform(11, 13))
    profile = (
        (0.0, 0.6),
        (1.5, 0.75),
        (1.7, r),
        (n - 3, r),
        (n - 2.9, 0.85),
        (n - 2.0, 0.85),
        (n - 1.9, r),
        (n, r - 0.1),
    )
    return Handle("other", "latch", (0.5, 0.47, 0.35), profile)


_DRAW: dict[str, Callable[[np.random.Generator], Instrument]] = {
    "spreader": _spreader,
    "plugger": _plugger,
    "paste-carrier": _paste_carrier,
    "wire": _wire,
    "needle": _needle,
    "rotary-file": _rotary_file,
    "screw": _screw,
    "paper-clip": _paper_clip,
    "pencil-lead": _pencil_lead,
}
