"""Stage 7 of 9: Dimensions, Blank evidence, handle colour -> Identity. Family and ISO size with probabilities that abstain."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Literal

from vision.blank import BlankEvidence
from vision.clues import GRIPPED, NOTHING_ELSE, Extra, figure_looks, learned_look, outline_looks
from vision.dimensions import Dimensions
from vision.handle import HandleColour
from vision.hypotheses import Look, Pair, families, posterior, says, sections
from vision.named import Named
from vision.nominal import COLOURS, half_sizes_of_colour, sizes_of_colour
from vision.quantity import Quantity
from vision.reading import Choice, Clue
from vision.sizing import weigh_sizes

Section = Literal["square", "triangle", "rhombus", "round"]
DECIDED = 0.8  # below this no size and no section is named
# The same of a size in an overview: from 0.7 on 602 of 607 were right (644 instruments of 41 development trays), and a person sorts by it.
COARSE_SIZE_DECIDED = 0.7
# Families have three rivals, not twenty: named from here on, always with the probability. Of 31 development renders whose best
# family had 0.6 to 0.7, 30 were right (seeds 400-8779).
FAMILY_DECIDED = 0.6
# Share of each clue's log that counts: looks at one outline share its errors, figures are of lots that nobody here has
# measured, and the network sees the same outline. Set on development renders by tests/study/identity.py --fit.
OUTLINE_WEIGHT, FIGURE_WEIGHT, NETWORK_WEIGHT = 0.5, 0.8, 1.0
# The same in an overview, where outlines are a few px wide, glints and shadows make crests that are none, and the network errs with
# them: far less counts, clue by clue, and then shape and network may be multiplied even where they contradict each other. Fitted on
# 639 instruments of 46 trays at 12 to 30 px/mm (seeds 4300 to 4357, 15029 to 15051, checks 16000 to 16014): five-fold log loss 0.27, 0.50
# with the weights above.
COARSE_WEIGHTS: Mapping[str, float] = {
    "both edges' phase and swing": 0.17,
    "lean of the crests": 0.06,
    "regularity of the crests": 0.0,
    "isolated spikes": 0.48,
    "spacing of the edges against size": 0.69,
    "spacing of the flutes' shading": 1.0,  # came later, set by hand: the log loss above is without it
    "angle of the groove": 0.54,
    "taper": 0.68,
    "length of the working part": 0.54,
}
COARSE_NETWORK = 0.55
DISAGREE = 0.5  # chance that shape and network contradict each other, from which on the reading says so
CONTRADICTS = 0.02  # chance that the metal leaves to all sizes of the handle's colour, below which the two contradict each other
DOUBTS = 0.1  # the same, below which no size is sure: one of the two is astray, and nobody knows which
NO_COLOUR = HandleColour({}, None)
MOST = 0.995  # no photo is surer than that
MOST_DIM = 0.85  # nor one in which the outline itself is in doubt than this
# Nor is a size by one width, or by the handle, alone: one piece in twenty is out of tolerance or its outline astray (accuracy study), and
# nothing else in the picture would tell.
MOST_ALONE = 0.89
# K-files and reamers differ in nothing but how closely their edges lie for their size. Everything else (the network, how common each is)
# makes one at most so much likelier than the other, log odds, beyond what that spacing says: of 7 on triangular blanks between the two
# (383 renders of both families, seeds 120000 to 136320), it was right about 4, three of the others at 0.96 to 0.995.
SPACING, BESIDE_SPACING = "spacing of the edges against size", 1.4


@dataclass(frozen=True)
class Weights:
    """How much of the logs of outline, figures and network count; 0 leaves one out (ablation)."""

    outline: float = OUTLINE_WEIGHT
    figures: float = FIGURE_WEIGHT
    network: float = NETWORK_WEIGHT


USUAL = Weights()
Weighed = tuple[Look, float]


@dataclass(frozen=True)
class Identity:
    """Family, size and section with probabilities, what contradicts what, and the clues they rest on."""

    family: Choice
    size: Choice
    section: Section | None
    notes: tuple[str, ...]
    family_clues: tuple[Clue, ...] = ()
    size_clues: tuple[Clue, ...] = ()


def identify(
    dimensions: Dimensions,
    evidence: BlankEvidence,
    colour: HandleColour,
    seen: Named | None = None,
    *,
    tip_lost: bool = False,
    extra: Extra = NOTHING_ELSE,
    weights: Weights = USUAL,
    dim: bool = False,
) -> Identity:
    """Name the instrument. ``seen``: what the strip network takes it for; ``extra``: hand, end and handle as seen; ``dim``: the
    outline is in doubt, so nothing is sure.

    Size fuses diameter, shank and handle colour; with a lost tip the diameter at the end says nothing.
    """
    in_view = dimensions.length_mm is not None
    extra = replace(extra, coloured=True if colour.word in COLOURS else False if in_view else None)
    looks, learned = _weighed(dimensions, evidence, seen, extra, weights)
    chances, dispute = _fused(looks, learned, may_clash=not extra.coarse)
    if not extra.coarse:
        chances = _held_to_spacing(chances, looks)
    most = MOST_DIM if dim else MOST
    family = _choice(families(chances), evidence.words, FAMILY_DECIDED, most)
    diameter = None if tip_lost else dimensions.d0_mm
    shank = dimensions.shank_width_mm or _in_doubt(extra.wire_mm, dimensions.doubt_mm)
    sized = weigh_sizes(diameter, shank, colour, broach=family.value == "barbed-broach", coarse=extra.coarse)
    other = families(chances)["other"]  # wires, needles and screws have no size of this system
    sizable = 1.0 - other * (GRIPPED if colour.word in COLOURS else 1.0)
    left = _left_to_colour(diameter, shank, colour, broach=family.value == "barbed-broach")
    most = min(most, MOST_DIM) if left is not None and left < DOUBTS else most
    most = min(most, MOST_ALONE) if len(sized.words) < 2 else most
    decided = COARSE_SIZE_DECIDED if extra.coarse else DECIDED
    size = _choice({str(size): share * sizable for size, share in sized.shares.items()}, sized.words, decided, most)
    number = None if size.value is None else int(size.value)
    every = looks if learned is None else [*looks, learned]
    return Identity(
        family,
        Choice(number, size.probability, size.others, size.evidence),
        _section(sections(chances)),
        (*dispute, *_contradictions(dimensions, diameter, colour, family)),
        tuple(Clue(look.what, look.seen, says(look), look.source, learned=look.learned) for look, _ in every),
        sized.clues,
    )


def _in_doubt(wire: Quantity | None, doubt_mm: float | None) -> Quantity | None:
    """The wire near the handle, as much in doubt as every width whose outlines contradict one another."""
    return wire if wire is None or doubt_mm is None else replace(wire, u=math.hypot(wire.u, doubt_mm), parts=())


def _weighed(
    dimensions: Dimensions, evidence: BlankEvidence, seen: Named | None, extra: Extra, weights: Weights
) -> tuple[list[Weighed], Weighed | None]:
    """Every look at the shape, and the network's, with the share of its log that counts at this scale."""
    some = [(outline_looks(evidence), weights.outline), (figure_looks(dimensions, extra), weights.figures)]
    usual = [(look, weight) for looks, weight in some for look in looks]
    network = weights.network
    if extra.coarse:
        usual = [(look, COARSE_WEIGHTS.get(look.what, weight) if weight else 0.0) for look, weight in usual]
        network = COARSE_NETWORK * network
    return usual, None if seen is None else (learned_look(seen), network)


def _fused(looks: list[Weighed], learned: Weighed | None, *, may_clash: bool) -> tuple[dict[Pair, float], tuple[str, ...]]:
    """Chances of all pairs from shape and network. Where the two contradict each other the product of both means little:
    as far as they do, their mean takes its place, and a note says so."""
    shape = posterior(looks)
    if learned is None or learned[1] == 0.0:
        return shape, ()
    network, both = posterior([learned]), posterior([*looks, learned])
    by_shape, by_network = families(shape), families(network)
    first, other = max(by_shape, key=by_shape.__getitem__), max(by_network, key=by_network.__getitem__)
    if first == other or not may_clash:
        return both, ()
    clash = by_shape[first] * by_network[other]
    mixed = {pair: (1.0 - clash) * both[pair] + clash * (shape[pair] + network[pair]) / 2.0 for pair in both}
    if clash < DISAGREE:
        return mixed, ()
    told = f"{first} ({100.0 * by_shape[first]:.0f} %), the network {other} ({100.0 * by_network[other]:.0f} %)"
    return mixed, (f"shape and network disagree: the measured shape says {told}; the family is less sure for it",)


def _held_to_spacing(chances: Mapping[Pair, float], looks: list[Weighed]) -> dict[Pair, float]:
    """The same with K-file against reamer no surer than the spacing of their edges allows; as it was where that was not measured."""
    said = next(((says(look), weight) for look, weight in looks if look.what == SPACING), None)
    both = families(chances)
    if said is None or min(both["k-file"], both["reamer"]) <= 0.0:
        return dict(chances)
    spacing = said[1] * math.log(said[0]["k-file"] / said[0]["reamer"])
    odds = math.log(both["k-file"] / both["reamer"])
    share = 1.0 / (1.0 + math.exp(-min(max(odds, min(spacing, 0.0) - BESIDE_SPACING), max(spacing, 0.0) + BESIDE_SPACING)))
    total = both["k-file"] + both["reamer"]
    factor = {"k-file": total * share / both["k-file"], "reamer": total * (1.0 - share) / both["reamer"]}
    return {(family, kind): value * factor.get(family, 1.0) for (family, kind), value in chances.items()}


def _choice(shares: Mapping[str, float], words: tuple[str, ...], decided: float, most: float) -> Choice:
    if not shares:
        return Choice(None, 0.0, {}, words)
    best = max(shares, key=lambda name: shares[name])
    probability = min(shares[best], most)
    others = {n: round(s, 3) for n, s in sorted(shares.items(), key=lambda i: -i[1]) if n != best and s >= 0.005}
    if probability < decided:
        return Choice(None, probability, {best: round(probability, 3)} | others, words)
    return Choice(best, probability, others, words)


def _section(shares: Mapping[str, float]) -> Section | None:
    best = max(shares, key=lambda name: shares[name])
    if shares[best] < DECIDED:
        return None
    return "square" if best == "square" else "triangle" if best == "triangle" else "rhombus" if best == "rhombus" else "round"


def _contradictions(dimensions: Dimensions, diameter: Quantity | None, colour: HandleColour, family: Choice) -> list[str]:
    broach = family.value == "barbed-broach"
    notes = []
    if broach:
        notes.append("broach sizes come from a table that nobody here has read: taken from memory, conformity not judged")
    left = _left_to_colour(diameter, dimensions.shank_width_mm, colour, broach=broach)
    if diameter is not None and left is not None and left < CONTRADICTS:
        named = "/".join(f"{s:02d}" for s in sizes_of_colour(colour.word))
        notes.append(f"handle says {named}, metal measures {diameter.value * 100.0:.0f}: do not trust the handle")
    return notes


def _left_to_colour(diameter: Quantity | None, shank: Quantity | None, colour: HandleColour, *, broach: bool) -> float | None:
    """Chance that the metal alone leaves to all sizes that wear the handle's colour; None where either says nothing."""
    carried = sizes_of_colour(colour.word)
    if not carried or (diameter is None and shank is None):
        return None
    wearing = {*carried, *half_sizes_of_colour(colour.word)}
    metal = weigh_sizes(diameter, shank, NO_COLOUR, broach=broach)
    return sum(share for size, share in metal.shares.items() if size in wearing)
