"""Draws instruments outside the narrow lots of one maker: every size of the trade, or no size at all.

'wide': every listed size and the half sizes, handles faded, bleached or of the wrong colour. 'free': any diameter, taper
and length that hand instruments have had, whatever the size system says, so that nothing learned from it can lean on
nominal figures. Shares are invented unless a source stands beside them.
"""

import math
from dataclasses import replace

import numpy as np

from samples.draw_damage import bleached, bowed, paled
from samples.draw_instrument import (
    BROACH_SIZES,
    FAMILIES,
    draw_barbs,
    draw_finish,
    draw_handle,
    draw_instrument,
    draw_stop,
)
from samples.instrument import SIDES, CrossSection, Family, Handle, Instrument, Population, Twist
from samples.iso import COLOURS, HALF_SIZES, MORE_HANDLE_SHAPES, colour_of, edges_per_mm, handle_profile
from samples.light import Rgb

D0_MM = (0.06, 1.40)
TAPERS = (0.015, 0.065)
BROACH_TAPERS = (0.005, 0.020)
"""From slender broaches to rasps, 0.007 to 0.020 in lecture notes, a little wider."""
LENGTHS_MM = (16.0, 33.0)
THICKEST_MM = 2.4
ANGLES_DEG: dict[str, tuple[float, float]] = {"k-file": (14.0, 48.0), "reamer": (6.0, 38.0), "hedstroem-file": (50, 70)}
"""Edge against the axis at x = 8 mm; from memory 25 to 40 and 10 to 30 degrees, 60 to 65 in an atlas, made wider."""

STOP_COLOURS: tuple[Rgb, ...] = (
    (0.55, 0.02, 0.02), (0.03, 0.03, 0.03), (0.7, 0.68, 0.6), (0.02, 0.1, 0.4), (0.02, 0.25, 0.08), (0.75, 0.25, 0.02),
    (0.75, 0.6, 0.05), (0.2, 0.45, 0.6), (0.3, 0.3, 0.3),
)  # fmt: skip

WRONG_COLOUR, HALF_SIZE, FADED, BLEACHED = 0.04, 0.08, 0.2, 0.05


def draw_of(
    rng: np.random.Generator, population: Population, family: Family | None = None, size: int | None = None
) -> Instrument:
    """An instrument of a population. Raises ValueError for a size asked of the free one, which has none."""
    if population == "nominal":
        return draw_instrument(rng, family, size)
    if population == "wide":
        return draw_wide(rng, family, size)
    if size is not None:
        raise ValueError(
            f"population 'free' has no sizes, asked for {size}: leave size out, or take 'nominal' or 'wide'"
        )
    return draw_free(rng, family)


def draw_wide(rng: np.random.Generator, family: Family | None = None, size: int | None = None) -> Instrument:
    """Sizes 06 to 140 and half sizes (broaches keep their own sizes); the tightest sizes scatter less."""
    family = family or FAMILIES[int(rng.integers(len(FAMILIES)))]
    half = rng.random() < HALF_SIZE
    sizes = BROACH_SIZES if family == "barbed-broach" else sorted(HALF_SIZES if half else COLOURS)
    base = draw_instrument(rng, family, size or int(rng.choice(sizes)))
    d0 = base.size / 100 + float(rng.normal(0, 0.015)) * min(1.0, base.size / 20)
    shank = base.shank_width_mm + d0 - base.blank_d0_mm
    return _finished(rng, replace(base, blank_d0_mm=d0, shank_width_mm=shank, population="wide"))


def draw_free(rng: np.random.Generator, family: Family | None = None) -> Instrument:
    """D0 log-uniform over D0_MM, taper and length uniform; flutes, barbs, tip and handle scaled to fit."""
    family = family or FAMILIES[int(rng.integers(len(FAMILIES)))]
    broach = family == "barbed-broach"
    d0 = float(np.exp(rng.uniform(*np.log(D0_MM))))
    taper, length = float(rng.uniform(*(BROACH_TAPERS if broach else TAPERS))), float(rng.uniform(*LENGTHS_MM))
    share = rng.uniform(0.35, 0.55) if broach else rng.uniform(0.5, 0.85)
    part = float(np.clip(share * length, 8.0, min(length - 2.5, (THICKEST_MM - d0) / taper)))
    base = replace(
        draw_instrument(rng, family),
        size=0,
        population="free",
        blank_d0_mm=d0,
        taper_mm_per_mm=taper,
        blank_length_mm=length,
        blank_working_part_mm=part,
        shank_width_mm=(d0 + taper * part) * float(rng.uniform(0.99, 1.06)),
        barbs=(),
        stop=None,
        corner_um=float(rng.uniform(2, 15)) * float(np.clip(d0 / 0.25, 0.4, 1.6)),
        tip_blunt_mm=float(rng.uniform(0.01, 0.05)) * d0 + 0.002,
        finish=draw_finish(rng),
    )
    return _finished(rng, _barbed(rng, base) if broach else _fluted(rng, base))


def _fluted(rng: np.random.Generator, base: Instrument) -> Instrument:
    section = _section(rng, base.family)
    base = replace(base, cross_section=section, tip_angle_deg=float(rng.uniform(60, 90)))
    return replace(base, twist=_twist(rng, base))


def _section(rng: np.random.Generator, family: Family) -> CrossSection:
    """K-types: a sixth each on triangular and on rhombic blanks; one reamer in seven on a square one."""
    if family == "hedstroem-file":
        return "round"
    if family == "reamer":
        return "square" if rng.random() < 1 / 7 else "triangle"
    pick = rng.random()
    return "triangle" if pick < 1 / 6 else "rhombus" if pick < 1 / 3 else "square"


def _twist(rng: np.random.Generator, base: Instrument) -> Twist:
    """Trade density of an equally thick size with +-20 % of lot spread, within the angles that twisting allows.

    One lot in ten is coarse (K-files) or fine (reamers). Pitch constant, drifting, or growing so that the angle stays.
    """
    machined = base.family == "hedstroem-file"
    at8 = base.blank_d0_mm + 8.0 * base.taper_mm_per_mm
    low, high = (_density(base, at8, math.radians(a)) for a in ANGLES_DEG[base.family])
    like_size = 100.0 * (at8 - 8.0 * 0.02)  # the size of the size system, taper 0.02, that is as thick at 8 mm
    density = edges_per_mm(base.family, like_size) * float(rng.uniform(0.8, 1.2))
    if rng.random() < 0.1:
        density *= {"k-file": 0.77, "reamer": 1.25}.get(base.family, 1.0)
    density = float(np.clip(density, low, high)) if not machined else float(rng.uniform(low, min(high, 2.5 * low)))
    wandering = float(np.clip(rng.normal(0, 0.012), -0.03, 0.03))
    drift = float(rng.choice([0.0, wandering, base.taper_mm_per_mm / at8], p=(0.4, 0.3, 0.3)))
    return Twist(
        pitch_mm=1.0 / min(density, 4.0),
        drift_per_mm=drift,
        scatter_deg=float(rng.uniform(0.5, 3.0) if machined else rng.uniform(3, 15)),
        scatter_length_mm=float(rng.uniform(1, 4)),
        start_deg=float(rng.uniform(0, 360)),
        seed=int(rng.integers(1 << 30)),
    )


def _density(base: Instrument, diameter_mm: float, angle_rad: float) -> float:
    """Edges per mm of an edge at this angle to the axis on this diameter: tan(angle) = pi D / lead."""
    return SIDES.get(base.cross_section, 1) * math.tan(angle_rad) / (math.pi * diameter_mm)


def _barbed(rng: np.random.Generator, base: Instrument) -> Instrument:
    """Barbs as on a broach of any size; on a thick one they are long, and fewer find room."""
    barbs = draw_barbs(rng, base)
    keep = max(1, round(base.envelope_mm(6.0) / 0.7))
    return replace(base, barbs=barbs[(len(barbs) - 1) % keep :: keep])


def _finished(rng: np.random.Generator, base: Instrument) -> Instrument:
    """Handle and stop of any maker, a slight bow on three in ten."""
    colour = colour_of(base.size or min(COLOURS, key=lambda size: abs(size - 100 * base.blank_d0_mm)))
    stop = draw_stop(rng, base)
    if stop is not None:
        rubber = STOP_COLOURS[int(rng.integers(len(STOP_COLOURS)))]
        stop = replace(stop, diameter_mm=max(stop.diameter_mm, base.shank_width_mm + 0.9), rgb=rubber)
    whole = replace(base, handle=_handle(rng, colour, base.shank_width_mm), stop=stop)
    return bowed(rng, whole) if rng.random() < 0.3 else whole


def _handle(rng: np.random.Generator, colour: str, shank_mm: float) -> Handle:
    """In the colour of the size, or now and then of another one; as moulded, faded or bleached."""
    if rng.random() < WRONG_COLOUR:
        colour = str(rng.choice(sorted(set(COLOURS.values()) - {colour})))
    shape = str(rng.choice(MORE_HANDLE_SHAPES))
    drawn = draw_handle(rng, colour, shape)
    profile = handle_profile(shape, max(float(rng.uniform(3.3, 4.6)), shank_mm + 1.4), float(rng.uniform(9, 14)))
    handle, fate = replace(drawn, profile=profile), rng.random()
    if fate < BLEACHED:
        return replace(bleached(rng, handle), profile=profile)
    return paled(handle, float(rng.uniform(0.15, 0.5))) if fate < BLEACHED + FADED else handle
