"""Adds one damage, or a look-alike of one, to an instrument. Strengths are drawn within what use does to steel."""

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from samples.draw_instrument import draw_handle
from samples.instrument import SIDES, Arc, Damage, Handle, Instrument
from samples.iso import PLASTIC

KINDS = (
    "unwound", "overwound", "reverse-wound", "stretched", "kinked", "tip-lost", "crest-chipped", "worn",
    "barbs-folded", "barbs-missing", "stained", "corroded",
)  # fmt: skip
MARKS = ("scratch", "debris")
"""Look-alikes that do no harm."""

STRENGTHS: dict[str, tuple[float, float, str]] = {
    "unwound": (5.0, 720.0, "deg of twist lost"),
    "overwound": (5.0, 720.0, "deg of twist gained"),
    "reverse-wound": (30.0, 1080.0, "deg of twist lost"),
    "stretched": (0.5, 40.0, "% of pitch"),
    "kinked": (1.0, 90.0, "deg"),
    "tip-lost": (0.05, 10.0, "mm"),
    "crest-chipped": (2.0, 100.0, "% of crest height"),
    "worn": (5.0, 100.0, "um of crest radius"),
    "barbs-folded": (1, 20, "barbs"),
    "barbs-missing": (1, 20, "barbs"),
    "stained": (0.002, 3.0, "mm2"),
    "corroded": (0.002, 3.0, "mm2"),
    "debris": (0.002, 0.3, "mm2"),
    "scratch": (-60.0, 60.0, "deg of slant"),
}
"""Strengths that can be asked for. Steel files stand up to two full turns of unwinding (a lecture text); the rest is invented."""

STEEPEST = 0.66
"""Share of a zone's turns that unwinding may take before its middle, where the ramp is steepest (1.5 x), runs backwards."""


def with_damage(
    rng: np.random.Generator, instrument: Instrument, kind: str, strength: float | None = None
) -> Instrument:
    """The instrument with one more damage of `kind`, or a harmless mark of one of MARKS; its strength in the unit of
    readings (drawn unless given). A stated strength is what the truth will say and the shape will have.

    Raises ValueError when this kind cannot happen to this family, or not this strongly.
    """
    if kind not in (*damages_of(instrument), *MARKS):
        raise ValueError(
            f"{kind!r} cannot happen to a {instrument.family}: choose from {', '.join(damages_of(instrument))}"
        )
    low, high, unit = STRENGTHS[kind]
    if strength is not None and not low <= strength <= high:
        raise ValueError(f"{kind} must be {low:g} to {high:g} {unit}, is {strength:g}")
    if kind in MARKS:
        return marked(rng, instrument, kind, strength)
    return _ADD[kind](rng, instrument, strength)


def damages_of(instrument: Instrument) -> tuple[str, ...]:
    """Kinds that can happen to this instrument."""
    if instrument.barbs:
        return ("kinked", "tip-lost", "barbs-folded", "barbs-missing", "stained", "corroded")
    common = ("unwound", "overwound", "reverse-wound", "stretched", "kinked", "tip-lost", "crest-chipped")
    if instrument.cross_section in ("square", "triangle"):
        return (*common, "worn", "stained", "corroded")
    if instrument.cross_section == "rhombus":
        return (*common, "stained", "corroded")
    return ("kinked", "tip-lost", "crest-chipped", "stained", "corroded")


def pre_curved(rng: np.random.Generator, instrument: Instrument, angle_deg: float | None = None) -> Instrument:
    """Bent on purpose: a gentle arc of radius 8 to 25 mm over the last 4 to 12 mm, toward any side."""
    radius = float(rng.uniform(8, 25))
    to = float(rng.uniform(4, 12))
    angle = float(rng.uniform(0, 360)) if angle_deg is None else angle_deg
    return replace(instrument, pre_curve=Arc(radius, 0.0, to, angle))


def used_instrument(rng: np.random.Generator, instrument: Instrument) -> Instrument:
    """What use may have done: in half of the cases one damage or two; pre-curves, slight bows and harmless marks too."""
    out = instrument
    if out.twist is not None and out.cross_section != "round" and out.number <= 40 and rng.random() < 0.25:
        out = pre_curved(rng, out)
    if rng.random() < 0.3:
        out = bowed(rng, out)
    for chance in (0.5, 0.15):
        if rng.random() < chance:
            out = with_damage(rng, out, str(rng.choice(damages_of(out))))
    if rng.random() < 0.3:
        out = marked(rng, out)
    return replace(out, handle=faded(rng, out.handle)) if rng.random() < 0.25 else out


def marked(
    rng: np.random.Generator, instrument: Instrument, kind: str | None = None, strength: float | None = None
) -> Instrument:
    """A scratch (strength: slant, deg) or a crumb of debris (mm2), drawn unless given: look-alikes that do no harm."""
    at, angle = float(rng.uniform(0.5, instrument.length_mm - 4.0)), float(rng.uniform(0, 360))
    seed = int(rng.integers(1 << 30))
    if (kind or ("scratch" if rng.random() < 0.5 else "debris")) == "scratch":
        half, slant = float(rng.uniform(0.3, 1.5)), float(rng.normal(0, 20))
        mark = Damage("scratch", at - half, at + half, slant if strength is None else strength, angle, seed=seed)
    else:
        drawn = float(np.exp(rng.uniform(math.log(0.003), math.log(0.05))))
        area = drawn if strength is None else strength
        half = math.sqrt(area / math.pi)
        mark = Damage("debris", at - half, at + half, area, angle, seed=seed)
    return replace(instrument, marks=(*instrument.marks, mark))


def faded(rng: np.random.Generator, handle: Handle) -> Handle:
    """A handle that has been through the autoclave: its colour half gone; now and then wholly bleached."""
    if rng.random() < 0.2:
        return bleached(rng, handle)
    return paled(handle, float(rng.uniform(0.15, 0.5)))


def paled(handle: Handle, share: float) -> Handle:
    """A handle with `share` (0 to 1) of its colour gone, toward the pale one of bleached plastic."""
    mixed = (1 - share) * np.array(handle.rgb) + share * np.array(PLASTIC["bleached"])
    red, green, blue = (float(v) for v in mixed)
    return replace(handle, rgb=(red, green, blue), faded=1 - (1 - handle.faded) * (1 - share))


def bleached(rng: np.random.Generator, handle: Handle) -> Handle:
    """A handle of the same shape whose colour is wholly gone."""
    return replace(draw_handle(rng, "bleached", handle.shape), moulded=handle.moulded_colour, faded=1.0)


def bowed(rng: np.random.Generator, instrument: Instrument) -> Instrument:
    """A slight bow over the whole shaft, as handling leaves it: radius 150 to 600 mm."""
    arc = Arc(float(rng.uniform(150, 600)), 0.0, instrument.length_mm, float(rng.uniform(0, 360)))
    return replace(instrument, bow=arc)


def _add(instrument: Instrument, *damage: Damage) -> Instrument:
    return replace(instrument, damage=instrument.damage + damage)


def _zone(rng: np.random.Generator) -> tuple[float, float]:
    start = float(rng.uniform(0.4, 2.5))
    return start, start + float(rng.uniform(1.2, 3.0))


def _twisted(kind: str) -> Callable[[np.random.Generator, Instrument, float | None], Instrument]:
    def add(rng: np.random.Generator, instrument: Instrument, strength: float | None) -> Instrument:
        low, high = _zone(rng)
        assert instrument.twist is not None  # noqa: S101 - damages_of() lets only twisted blanks come here
        turns_deg = (high - low) * _turn_deg_per_mm(instrument)
        drawn = {
            "unwound": min(float(np.exp(rng.uniform(math.log(40), math.log(400)))), 0.95 * turns_deg),
            "overwound": float(rng.uniform(40, 250)),
            "reverse-wound": turns_deg * float(rng.uniform(1.15, 1.6)),
        }[kind]
        if strength is not None:
            low, high = _zone_for(instrument, kind, strength, low, high)
        return _add(instrument, Damage(kind, low, high, drawn if strength is None else strength))

    return add


def _turn_deg_per_mm(instrument: Instrument) -> float:
    """Healthy twist per mm at x = 8 mm."""
    assert instrument.twist is not None  # noqa: S101 - asked of twisted blanks only
    return 360.0 / (instrument.twist.pitch_mm * SIDES[instrument.cross_section])


def _zone_for(instrument: Instrument, kind: str, strength: float, low: float, high: float) -> tuple[float, float]:
    """The zone, made long enough that unwinding by `strength` stays unwinding, or short enough that it is reversed."""
    rate = _turn_deg_per_mm(instrument)
    if kind == "unwound":
        high = max(high, low + strength / (STEEPEST * rate))
    elif kind == "reverse-wound":
        high = min(high, low + strength / (1.15 * rate))
    end = instrument.working_part_mm - 2.0
    low, high = low - max(min(high - end, low), 0.0), min(high, end)
    if kind == "unwound" and strength > 1.001 * STEEPEST * rate * (high - low):
        most = STEEPEST * rate * end
        raise ValueError(
            f"a zone of {end:.1f} mm holds {rate * end:.0f} deg of twist: unwind by at most {most:.0f}, not {strength:g} deg"
        )
    return low, high


def _stretch(rng: np.random.Generator, instrument: Instrument, strength: float | None) -> Instrument:
    """The whole working part is drawn out: pitch, part and length grow together."""
    percent = float(rng.uniform(5, 30)) if strength is None else strength
    part = instrument.blank_working_part_mm
    longer = replace(
        instrument,
        blank_working_part_mm=part * (1 + percent / 100),
        blank_length_mm=instrument.blank_length_mm + part * percent / 100,
        taper_mm_per_mm=instrument.taper_mm_per_mm / (1 + percent / 100),
    )
    return _add(longer, Damage("stretched", 0.0, longer.working_part_mm, percent))


def _kink(rng: np.random.Generator, instrument: Instrument, strength: float | None) -> Instrument:
    at = float(rng.uniform(1.0, 10.0))
    degrees = float(rng.uniform(6, 45)) if strength is None else strength
    radius = instrument.envelope_mm(at) * float(rng.uniform(0.8, 2.5))
    half = max(0.5 * math.radians(degrees) * radius, 0.05)
    angle = float(rng.uniform(0, 360))
    return _add(instrument, Damage("kinked", at - 2 * half, at + 2 * half, degrees, angle, radius))


def _lose_tip(rng: np.random.Generator, instrument: Instrument, strength: float | None) -> Instrument:
    """Broken off: positions of everything already on the instrument move with the new end."""
    lost = float(np.exp(rng.uniform(math.log(0.5), math.log(5.0)))) if strength is None else strength
    if strength is None:
        lost = min(lost, instrument.working_part_mm - 1.0)
    elif lost > instrument.working_part_mm - 2.0:
        raise ValueError(f"a working part of {instrument.working_part_mm:.1f} mm cannot lose {lost:g} mm and be sized")
    moved = tuple(
        replace(d, from_mm=d.from_mm - lost, to_mm=d.to_mm - lost)
        for d in instrument.damage
        if 0.5 * (d.from_mm + d.to_mm) > lost or d.kind == "stretched"
    )
    barbs = tuple(replace(b, x_mm=b.x_mm - lost) for b in instrument.barbs if b.x_mm > lost + 0.1)
    stop = instrument.stop and replace(instrument.stop, from_tip_mm=instrument.stop.from_tip_mm - lost)
    skew = float(rng.uniform(0, 35))
    broken = Damage("tip-lost", 0.0, 0.0, lost, float(rng.uniform(0, 360)), skew_deg=skew)
    return replace(instrument, damage=(*moved, broken), barbs=barbs, stop=stop)


def _chip(rng: np.random.Generator, instrument: Instrument, strength: float | None) -> Instrument:
    at = float(rng.uniform(0.8, 10.0))
    half = float(rng.uniform(0.06, 0.22))
    corners = SIDES.get(instrument.cross_section)
    edge = 360.0 / corners * int(rng.integers(corners)) if corners else -360.0 * (1.0 - instrument.steep_share)
    percent = float(rng.uniform(25, 90)) if strength is None else strength
    return _add(instrument, Damage("crest-chipped", at - half, at + half, percent, edge))


def _wear(rng: np.random.Generator, instrument: Instrument, strength: float | None) -> Instrument:
    drawn = max(float(rng.uniform(20, 60)), instrument.corner_um + 5.0)
    radius_um, most = drawn if strength is None else strength, 600.0 * 0.5 * instrument.d0_mm
    if strength is not None and not instrument.corner_um < strength <= most:
        made = f"crests are {instrument.corner_um:.0f} um round as made"
        raise ValueError(f"{made}; this tip can be worn to {most:.0f} um at most, asked for {strength:g}")
    return _add(instrument, Damage("worn", 0.0, float(rng.uniform(2.5, 6.0)), radius_um))


def _hurt_barbs(kind: str, flag: str) -> Callable[[np.random.Generator, Instrument, float | None], Instrument]:
    def add(rng: np.random.Generator, instrument: Instrument, strength: float | None) -> Instrument:
        count = int(rng.integers(1, 9)) if strength is None else round(strength)
        if count > len(instrument.barbs):
            raise ValueError(f"{kind} on {count} barbs: there are {len(instrument.barbs)}")
        first = int(rng.integers(0, max(len(instrument.barbs) - count, 1)))
        hurt = range(first, min(first + count, len(instrument.barbs)))
        barbs = tuple(replace(b, **{flag: True}) if i in hurt else b for i, b in enumerate(instrument.barbs))
        low, high = barbs[hurt[0]].x_mm, barbs[hurt[-1]].x_mm + barbs[hurt[-1]].length_mm
        return _add(replace(instrument, barbs=barbs), Damage(kind, low, high, float(len(hurt))))

    return add


def _spot(kind: str) -> Callable[[np.random.Generator, Instrument, float | None], Instrument]:
    def add(rng: np.random.Generator, instrument: Instrument, strength: float | None) -> Instrument:
        at = float(rng.uniform(0.5, instrument.working_part_mm))
        area = float(np.exp(rng.uniform(math.log(0.02), math.log(0.6)))) if strength is None else strength
        half = 1.4 * math.sqrt(area / math.pi)
        return _add(
            instrument,
            Damage(
                kind, max(at - half, 0.0), at + half, area, float(rng.uniform(0, 360)), seed=int(rng.integers(1 << 30))
            ),
        )

    return add


_ADD: dict[str, Callable[[np.random.Generator, Instrument, float | None], Instrument]] = {
    "unwound": _twisted("unwound"),
    "overwound": _twisted("overwound"),
    "reverse-wound": _twisted("reverse-wound"),
    "stretched": _stretch,
    "kinked": _kink,
    "tip-lost": _lose_tip,
    "crest-chipped": _chip,
    "worn": _wear,
    "barbs-folded": _hurt_barbs("barbs-folded", "folded"),
    "barbs-missing": _hurt_barbs("barbs-missing", "missing"),
    "stained": _spot("stained"),
    "corroded": _spot("corroded"),
}
