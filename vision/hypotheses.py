"""Stage 7b: what an instrument can be: pairs of family and kind of section, how common each is taken to be, and how clues add up.

The same blank carries several names: K-types come on triangular blanks, reamers on square ones, a machine-driven file is
a twisted triangle too. So clues speak about pairs, and family and section are each read off as sums over the other.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

Pair = tuple[str, str]
# How common each pair is taken to be before anything is seen: four families alike, one thing in ten a stranger. Sections of
# K-types differ between makers and sources disagree from which size on blanks are triangular; small reamers on square
# blanks are common practice, no source.
PRIOR: dict[Pair, float] = {
    ("k-file", "square"): 0.125,
    ("k-file", "triangle"): 0.070,
    ("k-file", "rhombus"): 0.030,
    ("reamer", "triangle"): 0.195,
    ("reamer", "square"): 0.025,
    ("hedstroem-file", "groove"): 0.225,
    ("barbed-broach", "barbed"): 0.220,
    ("barbed-broach", "plain"): 0.005,  # its barbs folded, worn off or not seen
    ("paste-carrier", "groove"): 0.014,
    ("spreader", "plain"): 0.016,
    ("plugger", "plain"): 0.016,
    ("other", "plain"): 0.030,
    ("other", "barbed"): 0.002,  # a wire with dirt on it
    ("other", "groove"): 0.010,  # a screw
    ("other", "triangle"): 0.015,  # a machine-driven file
    ("other", "square"): 0.002,
}
SECTION_OF = {"groove": "round", "barbed": "round", "plain": "round"}
LEAST_LOG = -12.0  # no single clue rules anything out for good


@dataclass(frozen=True)
class Look:
    """One clue: what was looked at, what was seen, log likelihood of each pair (0: says nothing), and on what ground."""

    what: str
    seen: str
    logs: Mapping[Pair, float]
    source: str
    learned: bool = False


def posterior(looks: Iterable[tuple[Look, float]], prior: Mapping[Pair, float] = PRIOR) -> dict[Pair, float]:
    """Chances of all pairs from clues, each with the share of its log that counts, since clues have causes in common."""
    logs = {pair: math.log(share) for pair, share in prior.items()}
    for look, weight in looks:
        top = max(look.logs.values(), default=0.0)
        for pair in logs:
            logs[pair] += weight * max(look.logs.get(pair, 0.0) - top, LEAST_LOG)
    return normalised(logs)


def normalised(logs: Mapping[Pair, float]) -> dict[Pair, float]:
    """Turn logs to chances that sum to 1."""
    top = max(logs.values())
    weights = {pair: math.exp(log - top) for pair, log in logs.items()}
    total = sum(weights.values())
    return {pair: weight / total for pair, weight in weights.items()}


def families(chances: Mapping[Pair, float]) -> dict[str, float]:
    """Sum over the sections."""
    return _summed(((family, share) for (family, _), share in chances.items()))


def sections(chances: Mapping[Pair, float]) -> dict[str, float]:
    """Sum over the families; groove, barbs and plain wire are all round."""
    return _summed(((SECTION_OF.get(kind, kind), share) for (_, kind), share in chances.items()))


def says(look: Look) -> dict[str, float]:
    """For each family how likely the sight is, the best having 1: its sections weighed as they are common in it."""
    usual = families(PRIOR)
    top = max(look.logs.values(), default=0.0)
    seen: dict[str, float] = {}
    for pair, share in PRIOR.items():
        likely = math.exp(max(look.logs.get(pair, 0.0) - top, LEAST_LOG))
        seen[pair[0]] = seen.get(pair[0], 0.0) + share / usual[pair[0]] * likely
    best = max(seen.values())
    return {family: value / best for family, value in seen.items()}


def _summed(items: Iterable[tuple[str, float]]) -> dict[str, float]:
    total: dict[str, float] = {}
    for name, share in items:
        total[name] = total.get(name, 0.0) + share
    return total
