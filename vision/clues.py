"""Stage 7c: Dimensions and looks -> clues to the family, each a likelihood with a source or a spread seen on development renders.

Each figure enters once: edges a mm stand for the angle too on twisted blanks, the angle for the spacing on a groove.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from vision.blank import BlankEvidence
from vision.dimensions import Dimensions
from vision.hypotheses import PRIOR, Look, Pair
from vision.named import LEAST, Named
from vision.quantity import Quantity
from vision.reading import Hand

# Edges a mm at sizes 15 and 140; K-type 1.97 to 0.88, reamer 0.80 to 0.28: from memory, makers overlap.
K_EDGES, REAMER_EDGES = (1.97, 0.88), (0.80, 0.28)
K_LARGE_MM, REAMER_LARGE_MM = 0.80, 1.40
EDGES_SPREAD = 0.20  # relative lot spread about those lines: common practice, no source
GROOVES_SPREAD = 0.25  # of Hedstroem files about the K-file's line: common practice, no source
GRIPPED = 0.3  # wires, needles, screws and driven files seldom end in a handle of a size's colour: common practice, no source
HAND_COLOURED, DRIVEN_COLOURED = 0.86, 0.1  # white, faded and bleached ones are not told
UNSEEN = -4.0  # log chance of a kind that the outline gave no fit for


@dataclass(frozen=True)
class Extra:
    """What else was looked at. ``blunt``: width at the very end over the width behind it; ``bare``: both ends in view and no
    handle at either; ``coloured``: whether the handle wears a colour of the sizes, None where its front is not in view.
    ``shaded_mm``: distance of crests as the shading has it, in an overview (``coarse``).
    """

    hand: Hand | None = None
    blunt: float | None = None
    bare: bool = False
    coloured: bool | None = None
    wire_mm: Quantity | None = None
    coarse: bool = False
    shaded_mm: float | None = None


NOTHING_ELSE = Extra()


OTHER_ANGLE = 0.2  # share of Hedstroem files whose edges lie otherwise than in the atlas: small ones, lots, no source


def outline_looks(evidence: BlankEvidence) -> list[Look]:
    """Clues to the section: they are looks at one and the same outline."""
    return [_of_kinds(clue.what, clue.seen, clue.logs, clue.source) for clue in evidence.clues]


def figure_looks(dimensions: Dimensions, extra: Extra) -> list[Look]:
    """Clues from what was measured otherwise; those that were not to be had are left out."""
    made = (
        _spacing(dimensions),
        _shading(dimensions, extra.shaded_mm),
        _angle(dimensions),
        _taper(dimensions.taper_mm_per_mm),
        _part(dimensions.working_part_mm),
        _length(dimensions.length_mm),
        _hand(extra.hand),
        _end(extra.blunt),
        _handle(extra),
    )
    return [look for look in made if look is not None]


def learned_look(seen: Named) -> Look:
    """The strip network's say, over families and sections together."""
    logs = {}
    for family, kind in PRIOR:
        section = kind if kind in seen.section else "round"
        share = max(seen.family.get(family, 0.0), LEAST) * max(seen.section[section], LEAST)
        logs[family, kind] = math.log(share)
    family, section = max(seen.family, key=seen.family.__getitem__), max(seen.section, key=seen.section.__getitem__)
    words = f"looks like {family} ({100.0 * seen.family[family]:.0f} %), {section} ({100.0 * seen.section[section]:.0f} %)"
    return Look("the whole strip", words, logs, "strip network, models/README.md", learned=True)


def _of_kinds(what: str, seen: str, logs: dict[str, float], source: str) -> Look:
    least = min(logs.values()) + UNSEEN if what.startswith("both") else 0.0
    return Look(what, seen, {pair: logs.get(pair[1], least) for pair in PRIOR}, source)


def _by(rule: Callable[[str, str], float]) -> dict[Pair, float]:
    return {pair: math.log(max(rule(*pair), 1e-9)) for pair in PRIOR}


def _peak(value: float, mean: float, spread: float, *, tail: float, span: float) -> float:
    """Density of a Gaussian with a flat tail: a share ``tail`` of all lies anywhere within ``span``."""
    return (1.0 - tail) * math.exp(-0.5 * ((value - mean) / spread) ** 2) / (spread * math.sqrt(2.0 * math.pi)) + tail / span


def _spacing(dimensions: Dimensions) -> Look | None:
    flutes, d0 = dimensions.flutes_per_mm, dimensions.d0_mm
    if flutes is None or d0 is None or flutes.value <= 0.0:
        return None
    log, u = math.log(flutes.value), flutes.u / flutes.value
    lines = {"k-file": _edges_line(K_EDGES, K_LARGE_MM, d0.value), "reamer": _edges_line(REAMER_EDGES, REAMER_LARGE_MM, d0.value)}
    spread = math.hypot(EDGES_SPREAD, u)

    def rule(family: str, kind: str) -> float:
        if family in lines and kind in ("square", "triangle", "rhombus"):
            return _peak(log, math.log(lines[family]), spread, tail=0.05, span=3.0)
        return 1.0 / 3.0

    seen = f"{flutes.value:.2f} edges a mm at D0 {d0.value:.2f} mm: K-files have about {lines['k-file']:.2f}, reamers {lines['reamer']:.2f}"
    return Look("spacing of the edges against size", seen, _by(rule), "from memory, makers overlap: lot spread 20 % assumed")


def _shading(dimensions: Dimensions, period_mm: float | None) -> Look | None:
    """The same by the flutes' shading, which holds where outlines are a few px wide; of a rhombus every other flute stands out."""
    if period_mm is None or dimensions.d0_mm is None:
        return None
    log, d0 = -math.log(period_mm), dimensions.d0_mm.value
    k_file, reamer = (math.log(_edges_line(*line, d0)) for line in ((K_EDGES, K_LARGE_MM), (REAMER_EDGES, REAMER_LARGE_MM)))
    means = {
        ("k-file", "square"): k_file, ("k-file", "triangle"): k_file, ("k-file", "rhombus"): k_file - math.log(2.0),
        ("reamer", "square"): reamer, ("reamer", "triangle"): reamer,
    }  # fmt: skip

    def rule(family: str, kind: str) -> float:
        mean = k_file if family == "hedstroem-file" and kind == "groove" else means.get((family, kind))
        spread = GROOVES_SPREAD if family == "hedstroem-file" else EDGES_SPREAD
        return 1.0 / 3.0 if mean is None else _peak(log, mean, spread, tail=0.05, span=3.0)

    usual = f"K-files have one in {math.exp(-k_file):.2f}, reamers in {math.exp(-reamer):.2f}"
    seen = f"a flute in {period_mm:.2f} mm by its shading, at D0 {d0:.2f} mm: {usual}"
    return Look("spacing of the flutes' shading", seen, _by(rule), "from memory, makers overlap: lot spread 20 % assumed, of grooves 25 %")


def _edges_line(line: tuple[float, float], large_mm: float, d0_mm: float) -> float:
    share = min(max((d0_mm - 0.15) / (large_mm - 0.15), -0.1), 1.0)
    return line[0] + share * (line[1] - line[0])


def _angle(dimensions: Dimensions) -> Look | None:
    """Angle of the groove's edge; on twisted blanks it says the same as the spacing and is left out."""
    angle = dimensions.helix_angle_deg
    if angle is None:
        return None
    grooved = {
        "hedstroem-file": _peak(angle.value, 62.5, math.hypot(4.0, angle.u), tail=OTHER_ANGLE, span=70.0),
        "paste-carrier": _peak(angle.value, 50.0, math.hypot(8.0, angle.u), tail=0.1, span=70.0),
        "other": _peak(angle.value, 80.0, math.hypot(6.0, angle.u), tail=0.3, span=70.0),
    }
    logs = _by(lambda family, kind: grooved[family] if kind == "groove" else 1.0 / 70.0)
    seen = f"edges at {angle.value:.0f} deg to the axis: were it a groove, Hedstroem files have 60 to 65"
    return Look("angle of the groove", seen, logs, "an atlas of the field (read) for 60 to 65 deg; paste carriers and screws from memory")


def _taper(taper: Quantity | None) -> Look | None:
    if taper is None:
        return None
    t, u = taper.value, taper.u
    files = _peak(t, 0.020, math.hypot(0.0025, u), tail=0.015, span=0.08)
    level = _peak(t, 0.0, math.hypot(0.0008, u), tail=0.05, span=0.08)
    broach = _peak(t, 0.0085, math.hypot(0.002, u), tail=0.15, span=0.08)
    driven = _peak(t, 0.050, math.hypot(0.012, u), tail=0.1, span=0.08)
    plain = {"spreader": files, "plugger": 0.6 * files + 0.4 * level, "barbed-broach": broach, "other": 0.8 * level + 0.2 / 0.08}

    def rule(family: str, kind: str) -> float:
        if kind in ("plain", "barbed"):
            return plain.get(family, 1.0 / 0.08)
        if family == "other":
            return level if kind == "groove" else driven
        return files if family != "paste-carrier" else 1.0 / 0.08

    seen = f"{t:.4f} mm a mm (u {u:.4f}): files, reamers, spreaders 0.020, broaches 0.007 to 0.010, wire 0"
    return Look("taper", seen, _by(rule), "JIS T 5419:1995 (read) for 0.02 and level pluggers; lecture notes (read) for broaches")


def _part(part: Quantity | None) -> Look | None:
    if part is None:
        return None
    files = _peak(part.value, 16.1, math.hypot(0.8, part.u), tail=0.1, span=25.0)
    broach = _peak(part.value, 11.2, math.hypot(1.0, part.u), tail=0.2, span=25.0)
    rule = {"k-file": files, "reamer": files, "hedstroem-file": files, "spreader": files, "plugger": files, "barbed-broach": broach}
    logs = _by(lambda family, kind: files if kind == "triangle" else rule.get(family, 1.0 / 25.0))
    seen = f"{part.value:.1f} mm: files and reamers 16, broaches 10 to 12"
    return Look("length of the working part", seen, logs, "two teaching texts (read) for 16 mm; broaches from memory")


def _length(length: Quantity | None) -> Look | None:
    if length is None:
        return None
    spread = math.hypot(0.35, length.u)
    lengths = (21.0, 25.0, 28.0, 31.0)
    usual = sum(_peak(length.value, one, spread, tail=0.35, span=25.0) for one in lengths) / len(lengths)
    logs = _by(lambda family, kind: usual if family != "other" or kind == "triangle" else 1.0 / 27.0)
    seen = f"{length.value:.1f} mm: made in 21, 25, 28 and 31 mm"
    return Look("length", seen, logs, "JIS T 5419:1995 (read); other lengths are met and broken tips are short")


def _hand(hand: Hand | None) -> Look | None:
    if hand is None:
        return None
    right = hand == "right"
    usual, carrier = (0.98, 0.2) if right else (0.02, 0.8)
    logs = _by(lambda family, _: carrier if family == "paste-carrier" else usual)
    seen = f"{hand}-handed: files and reamers are right-handed"
    return Look("hand of twist", seen, logs, "follows from their use; paste carriers from memory")


def _end(blunt: float | None) -> Look | None:
    """A cut or flat end against a point; only smooth things are told by it."""
    if blunt is None:
        return None
    flat = 1.0 / (1.0 + math.exp(-(blunt - 0.7) / 0.06))
    share = {"spreader": 0.05, "plugger": 0.85, "other": 0.8, "barbed-broach": 0.2}

    def rule(family: str, kind: str) -> float:
        p = share.get(family, 0.5) if kind in ("plain", "barbed") else 0.5
        return p * flat + (1.0 - p) * (1.0 - flat)

    word = "flat" if flat > 0.6 else "pointed" if flat < 0.4 else "neither flat nor pointed"
    seen = f"{word} ({blunt:.2f} of the width behind it)"
    return Look("end of the metal", seen, _by(rule), "spreaders are pointed, pluggers flat: JIS T 5416, 5419 (read)")


def _handle(extra: Extra) -> Look | None:
    """Bare ends, or a coloured handle. How thick a handle looks is no clue: masks miss by more than a machine shank is thinner."""
    if extra.bare:
        logs = _by(lambda family, _: 0.5 if family == "other" else 0.01)
        return Look("handle", "both ends are bare", logs, "hand instruments have handles")
    if extra.coloured is None:
        return None

    def rule(family: str, kind: str) -> float:
        driven = family == "paste-carrier" or (family == "other" and kind in ("square", "triangle", "rhombus"))
        worn = DRIVEN_COLOURED if driven else GRIPPED if family == "other" else HAND_COLOURED
        return worn if extra.coloured else 1.0 - worn

    seen = f"{'a' if extra.coloured else 'no'} colour of the sizes on it: driven files end in a metal shank"
    return Look("handle", seen, _by(rule), "common practice, no source; shares seen on development renders")
