"""Draws instruments at random: around the nominal figures, with the spread of real lots."""

from dataclasses import replace

import numpy as np

from samples.instrument import Barb, CrossSection, Family, Finish, Handle, Instrument, Stop, Twist
from samples.iso import HANDLE_SHAPES, LENGTHS_MM, PLASTIC, colour_of, edges_per_mm, handle_profile

FAMILIES: tuple[Family, ...] = ("k-file", "reamer", "hedstroem-file", "barbed-broach")
SIZES = (15, 20, 25, 30, 35, 40, 45, 50, 55, 60, 70, 80)
BROACH_SIZES = (20, 25, 30, 35, 40, 50, 60)


def draw_instrument(
    rng: np.random.Generator, family: Family | None = None, size: int | None = None, length_mm: int | None = None
) -> Instrument:
    """A healthy instrument; family, size and length are drawn unless given."""
    family = family or FAMILIES[int(rng.integers(len(FAMILIES)))]
    size = size or int(rng.choice(BROACH_SIZES if family == "barbed-broach" else SIZES))
    nominal = length_mm or int(rng.choice(LENGTHS_MM, p=(0.3, 0.5, 0.1, 0.1)))
    length = nominal + float(rng.normal(0, 0.3))
    d0 = size / 100.0 + float(rng.normal(0, 0.015))
    if family == "barbed-broach":
        return _broach(rng, size, d0, length)
    taper = float(np.clip(rng.normal(0.02, 0.0015), 0.015, 0.026))
    part = float(np.clip(rng.normal(16.1, 0.6), 14.0, min(18.0, length - 2.5)))
    base = Instrument(
        family=family,
        size=size,
        cross_section=_section(rng, family, size),
        blank_d0_mm=max(d0, 0.06),
        taper_mm_per_mm=taper,
        blank_length_mm=length,
        blank_working_part_mm=part,
        shank_width_mm=(max(d0, 0.06) + taper * part) * float(rng.uniform(0.99, 1.05)),
        twist=_twist(rng, family, size),
        handle=draw_handle(rng, colour_of(size)),
        corner_um=float(rng.uniform(2, 15)) * min(1.0, size / 25),
        rhombus_ratio=float(rng.uniform(0.57, 0.84)),
        core_ratio=float(rng.uniform(0.45, 0.58)),
        steep_share=float(rng.uniform(0.06, 0.2)),
        crest_share=float(rng.uniform(0.003, 0.02)),
        runout_mm=float(rng.uniform(0.5, 1.3)),
        tip_angle_deg=float(rng.uniform(60, 90)),
        tip_kind="pyramid" if family != "hedstroem-file" and rng.random() < 0.6 else "cone",
        tip_blunt_mm=float(rng.uniform(0.003, 0.012)),
        finish=draw_finish(rng),
    )
    return replace(base, stop=draw_stop(rng, base))


def _section(rng: np.random.Generator, family: Family, size: int) -> CrossSection:
    if family == "hedstroem-file":
        return "round"
    if family == "reamer":
        return "triangle" if rng.random() < 0.85 else "square"
    flexible = rng.random()
    if flexible < 0.15:
        return "rhombus"
    if flexible < 0.3:
        return "triangle"
    return "triangle" if size > (40 if rng.random() < 0.6 else 25) and rng.random() < 0.8 else "square"


def _twist(rng: np.random.Generator, family: Family, size: int) -> Twist:
    """Lot spread of +-20 %; pitch constant, growing with the diameter (constant angle in part), or drifting.

    One K-file in ten comes from a coarse lot and one reamer in ten from a fine one, so that the two families overlap.
    """
    density = edges_per_mm(family, size) * float(rng.uniform(0.78, 1.2))
    machined = family == "hedstroem-file"
    drift = float(rng.choice([0.0, rng.uniform(0.0, 0.02), rng.normal(0, 0.01)]))
    twist = Twist(
        pitch_mm=1.0 / density,
        drift_per_mm=drift,
        scatter_deg=float(rng.uniform(0.5, 3.0) if machined else rng.uniform(3, 15)),
        scatter_length_mm=float(rng.uniform(1, 4)),
        start_deg=float(rng.uniform(0, 360)),
        seed=int(rng.integers(1 << 30)),
    )
    lot = np.random.default_rng(twist.seed)
    if lot.random() < 0.1:
        odd = {"k-file": 1.3, "reamer": 0.8}.get(family, 1.0)
        twist = replace(twist, pitch_mm=twist.pitch_mm * odd)
    if lot.random() < 0.15:
        twist = replace(twist, drift_per_mm=float(lot.uniform(0.5, 1.0)) * 0.02 / (size / 100 + 0.16))
    return twist


def _broach(rng: np.random.Generator, size: int, d0: float, length: float) -> Instrument:
    part = float(rng.uniform(10.0, 12.5))
    taper = float(rng.uniform(0.007, 0.010))
    base = Instrument(
        family="barbed-broach",
        size=size,
        cross_section="round",
        blank_d0_mm=d0,
        taper_mm_per_mm=taper,
        blank_length_mm=length,
        blank_working_part_mm=part,
        shank_width_mm=(d0 + taper * part) * float(rng.uniform(1.0, 1.08)),
        twist=None,
        handle=draw_handle(rng, colour_of(size)),
        tip_angle_deg=float(rng.uniform(45, 80)),
        tip_kind="cone",
        tip_blunt_mm=float(rng.uniform(0.01, 0.03)),
        finish=draw_finish(rng),
    )
    return replace(base, barbs=draw_barbs(rng, base), stop=draw_stop(rng, base))


def draw_barbs(rng: np.random.Generator, wire: Instrument) -> tuple[Barb, ...]:
    """Barbs in a rough spiral, all round, the last one rooted so that it ends the working part."""
    count = int(rng.integers(30, 44))
    at = np.linspace(0.9, wire.working_part_mm - 0.45, count) + rng.normal(0, 0.03, count)
    turn = rng.uniform(85, 150)
    angle = (np.arange(count) * turn + rng.normal(0, 12, count)) % 360
    out = []
    for x, phi in zip(at, angle, strict=True):
        d = wire.envelope_mm(float(x))
        out.append(
            Barb(
                x_mm=float(x),
                angle_deg=float(phi),
                length_mm=float(rng.uniform(0.9, 1.4)) * d,
                height_mm=float(rng.uniform(0.34, 0.48)) * d,
                width_mm=float(rng.uniform(0.4, 0.6)) * d,
                thickness_mm=float(rng.uniform(0.17, 0.24)) * d,
            )
        )
    return tuple(out)


def draw_handle(rng: np.random.Generator, colour: str, shape: str | None = None) -> Handle:
    """A handle in the named colour, a little off it as plastics are."""
    shape = shape or str(rng.choice(HANDLE_SHAPES))
    rgb = np.array(PLASTIC[colour]) * rng.uniform(0.8, 1.15) * (1 + rng.normal(0, 0.05, 3))
    red, green, blue = (float(v) for v in np.clip(rgb, 0.01, 0.9))
    profile = handle_profile(shape, float(rng.uniform(3.5, 4.2)), float(rng.uniform(10, 12)))
    return Handle(colour, shape, (red, green, blue), profile)


def draw_stop(rng: np.random.Generator, instrument: Instrument) -> Stop | None:
    """A rubber stop on two thirds of the instruments, anywhere on the rear half of the shaft."""
    if rng.random() < 0.35:
        return None
    thick = float(rng.uniform(1.2, 1.8))
    low, high = 0.6 * instrument.length_mm, instrument.length_mm - thick - 0.2
    colours = [(0.55, 0.02, 0.02), (0.03, 0.03, 0.03), (0.7, 0.68, 0.6), (0.02, 0.1, 0.4), (0.02, 0.25, 0.08)]
    red, green, blue = colours[int(rng.integers(len(colours)))]
    return Stop(float(rng.uniform(low, high)), float(rng.uniform(2.2, 3.2)), thick, (red, green, blue))


def draw_finish(rng: np.random.Generator) -> Finish:
    """Steel from nearly polished to satin."""
    level = float(rng.uniform(0.5, 0.66))
    return Finish(
        f0=(level, level * 0.98, level * 0.945),
        alpha=float(np.exp(rng.uniform(np.log(0.05), np.log(0.28)))),
        grind=float(rng.uniform(0.0, 0.08)),
        grind_period_mm=float(rng.uniform(0.01, 0.03)),
    )
