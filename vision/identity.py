"""Stage 7 of 9: Dimensions, Blank evidence, handle colour -> Identity. Family and ISO size with probabilities that abstain."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from vision.blank import BlankEvidence
from vision.dimensions import Dimensions
from vision.handle import HandleColour
from vision.named import LEAST, TWISTED, Named
from vision.nominal import BROACH_SIZES, COLOUR_OF_SIZE, SIZES
from vision.quantity import Quantity
from vision.reading import Choice

Section = Literal["square", "triangle", "rhombus", "round"]
DECIDED = 0.8  # below this no size and no section is named
FAMILY_DECIDED = 0.7  # families have three rivals, not twenty: named from here on, always with the probability
# Edges a mm at small and large sizes; K-type 1.97 to 0.88, reamer 0.80 to 0.28: from memory, makers overlap.
K_EDGES, REAMER_EDGES = (1.97, 0.88), (0.80, 0.28)
EDGES_SPREAD = 0.20  # relative lot spread about those lines
TRIANGULAR_K = 0.5  # K-types on triangular blanks exist (sources disagree from which size on), so section alone decides little
SQUARE_REAMER = 0.08  # small reamers on square blanks: common practice, no source
# Spread of D0 about nominal: ±0.02 mm tolerance (read for pluggers) taken as rectangular, and pieces out of tolerance.
SPREAD_MM, TAIL = 0.012, 0.03
SEEN_WEIGHT = 0.7  # of the network's say between K-type and reamer beside section and spacing, which it sees as well
# A colour beside a diameter too vague to bear it out: white is taken for grey in poor light, and handles are changed.
COLOUR_ALONE, TELLING_MM = 0.6, 0.06
COLOUR_TRUST = 0.97  # a handle may be wrong, faded or repaired


@dataclass(frozen=True)
class Identity:
    """Family, size and section with probabilities, and what contradicts what."""

    family: Choice
    size: Choice
    section: Section | None
    notes: tuple[str, ...]


def identify(
    dimensions: Dimensions, evidence: BlankEvidence, colour: HandleColour, seen: Named | None = None, *, tip_lost: bool = False
) -> Identity:
    """Name the instrument. ``seen``: what the strip network takes it for.

    Size fuses diameter and handle colour; with a lost tip the diameter at the end says nothing."""
    family = _family(dimensions, evidence, seen)
    sizes = BROACH_SIZES if family.value == "barbed-broach" else SIZES
    diameter = None if tip_lost else dimensions.d0_mm
    size = _size(diameter, colour, sizes)
    return Identity(family, size, _section(evidence), tuple(_contradictions(dimensions, colour, family)))


def _family(dimensions: Dimensions, evidence: BlankEvidence, seen: Named | None) -> Choice:
    shares = evidence.shares
    twisted = {name: shares.get(name, 0.0) for name in TWISTED}
    k, reamer = _k_or_reamer(dimensions, twisted)
    weights = {
        "k-file": k,
        "reamer": reamer,
        "hedstroem-file": shares.get("groove", 0.0),
        "barbed-broach": shares.get("barbed", 0.0),
        "other": shares.get("plain", 0.0),
    }
    return _choice(weights if seen is None else _as_seen(weights, seen), evidence.words, FAMILY_DECIDED)


def _as_seen(weights: dict[str, float], seen: Named) -> dict[str, float]:
    """Share each kind's weight among the families that look like it to the network, strangers included."""
    f = {name: max(share, LEAST) for name, share in seen.family.items()}
    twisted = weights["k-file"] + weights["reamer"]
    k, reamer = weights["k-file"] * f["k-file"] ** SEEN_WEIGHT, weights["reamer"] * f["reamer"] ** SEEN_WEIGHT
    other = twisted * f["other"] / (f["k-file"] + f["reamer"] + f["other"])
    both = max(k + reamer, 1e-12)
    plain = f["spreader"] + f["plugger"] + f["other"]
    grooved = f["hedstroem-file"] + f["paste-carrier"]
    return {
        "k-file": (twisted - other) * k / both,
        "reamer": (twisted - other) * reamer / both,
        "hedstroem-file": weights["hedstroem-file"] * f["hedstroem-file"] / grooved,
        "paste-carrier": weights["hedstroem-file"] * f["paste-carrier"] / grooved,
        "barbed-broach": weights["barbed-broach"],
        "spreader": weights["other"] * f["spreader"] / plain,
        "plugger": weights["other"] * f["plugger"] / plain,
        "other": other + weights["other"] * f["other"] / plain,
    }


def _k_or_reamer(dimensions: Dimensions, twisted: dict[str, float]) -> tuple[float, float]:
    """Split the twisted share by section and by crests a mm against size."""
    total = sum(twisted.values())
    if total <= 0.0:
        return 0.0, 0.0
    k_section = twisted["square"] * (1.0 - SQUARE_REAMER) + twisted["rhombus"] + twisted["triangle"] * TRIANGULAR_K
    reamer_section = twisted["square"] * SQUARE_REAMER + twisted["triangle"] * (1.0 - TRIANGULAR_K)
    k, reamer = k_section, reamer_section
    if dimensions.flutes_per_mm is not None and dimensions.d0_mm is not None:
        share = min(max((dimensions.d0_mm.value - 0.15) / (1.40 - 0.15), 0.0), 1.0)
        seen = math.log(dimensions.flutes_per_mm.value)
        k *= math.exp(_edges_term(seen, K_EDGES, share))
        reamer *= math.exp(_edges_term(seen, REAMER_EDGES, share))
    together = k + reamer
    return (total * k / together, total * reamer / together) if together > 0.0 else (0.0, 0.0)


def _edges_term(seen_log: float, line: tuple[float, float], share: float) -> float:
    expected = math.log(line[0]) + share * (math.log(line[1]) - math.log(line[0]))
    return -0.5 * min(((seen_log - expected) / EDGES_SPREAD) ** 2, 18.0)


def _size(diameter: Quantity | None, colour: HandleColour, sizes: tuple[int, ...]) -> Choice:
    weights, words = {}, []
    if diameter is not None:
        words.append("diameter")
    if colour.word is not None and colour.word not in ("bleached", "other"):
        words.append("handle colour")
    if not words:
        return Choice(None, 0.0, {}, ())
    for size in sizes:
        weight = 1.0
        if diameter is not None:
            weight *= _diameter_weight(diameter, size / 100.0)
        if "handle colour" in words:
            trust = COLOUR_TRUST if diameter is None or diameter.u < TELLING_MM else COLOUR_ALONE
            weight *= trust * colour.shares.get(COLOUR_OF_SIZE[size], 0.0) + (1.0 - trust) / len(sizes)
        weights[str(size)] = weight
    choice = _choice(weights, tuple(words))
    value = int(choice.value) if choice.value is not None else None
    return Choice(value, choice.probability, choice.others, choice.evidence)


def _diameter_weight(diameter: Quantity, nominal: float) -> float:
    spread = math.hypot(diameter.u, SPREAD_MM)
    z = (diameter.value - nominal) / spread
    far = (diameter.value - nominal) / (4.0 * spread)
    return (1.0 - TAIL) * math.exp(-0.5 * z * z) / spread + TAIL * math.exp(-0.5 * far * far) / (4.0 * spread)


def _choice(weights: dict[str, float], words: tuple[str, ...], decided: float = DECIDED) -> Choice:
    total = sum(weights.values())
    if total <= 0.0:
        return Choice(None, 0.0, {}, words)
    shares = {name: weight / total for name, weight in weights.items()}
    best = max(shares, key=lambda name: shares[name])
    probability = min(shares[best], 0.995)
    others = {n: round(s, 3) for n, s in sorted(shares.items(), key=lambda i: -i[1]) if n != best and s >= 0.005}
    if probability < decided:
        return Choice(None, probability, {best: round(probability, 3)} | others, words)
    return Choice(best, probability, others, words)


def _section(evidence: BlankEvidence) -> Section | None:
    best = evidence.best
    if evidence.shares[best] < DECIDED:
        return None
    if best in ("groove", "barbed", "plain"):
        return "round"
    return "square" if best == "square" else "triangle" if best == "triangle" else "rhombus"


def _contradictions(dimensions: Dimensions, colour: HandleColour, family: Choice) -> list[str]:
    notes = []
    if family.value == "barbed-broach":
        notes.append("broach sizes come from a table that nobody here has read: taken from memory, conformity not judged")
    carried = [s for s, name in COLOUR_OF_SIZE.items() if name == colour.word]
    if carried and dimensions.d0_mm is not None:
        nearest = min(carried, key=lambda s: abs(s / 100.0 - dimensions.d0_mm.value) if dimensions.d0_mm else 0.0)
        if abs(nearest / 100.0 - dimensions.d0_mm.value) > 3.0 * math.hypot(dimensions.d0_mm.u, SPREAD_MM):
            named = "/".join(str(s) for s in carried)
            notes.append(f"handle says {named}, metal measures {dimensions.d0_mm.value * 100.0:.0f}: do not trust the handle")
    return notes
