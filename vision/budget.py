"""Quantities -> uncertainty budgets: contributions with their sensitivities and shares, and correlations (leaf).

JCGM 100:2008: u_c^2 is the sum of the squared contributions c_i u(x_i) (5.1.2); estimates that share a cause are correlated
(5.2, F.1.2.3); U = k u_c with k = 2, about 95 % where no single contribution rules and all rest on many looks (G.6.6;
the Guide is from memory). Covariances of several results go by C V C^T (JCGM 102:2011, 6.2, from memory).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.quantity import Quantity, combined

Array = NDArray[np.floating[Any]]
COVERAGE_K = 2.0
RULES_AT = 0.7  # share of the variance from which the shape of that one contribution decides the coverage
LONG_MM = 16.0  # D16 = D0 + 16 taper
CONE = ("d0_mm", "d16_mm", "taper_mm_per_mm")
COMPARED = (*CONE, "length_mm", "pitch_mm")  # what is judged or compared together


@dataclass(frozen=True)
class Cause:
    """What a label of a budget stands for. ``relative``: its u is a share of the value, so the value is the sensitivity.

    ``common``: one error moves every quantity of the instrument the same way. ``smaller``: what makes it smaller.
    """

    words: str
    relative: bool = False
    common: bool = False
    smaller: str = ""


_SHEET = "measure the print's check lines (flutegauge sheet check)"
_VIEW = "keep more of the printed ribbons in view and in focus, and photograph square on"
_LIGHT = "use softer light, focus on the shaft, move closer; a wire of known diameter beside it shows this bias (--check-wire)"
CAUSES = {
    "print scale": Cause("length of the printed sheet", True, True, _SHEET),
    "marker fit": Cause("sheet's place in the picture: tilt, lens, saddles", True, True, _VIEW),
    "stated scale": Cause("the scale stated with --px-per-mm", True, True, "state it better (--px-per-mm-u)"),
    "scale": Cause("print and place of the sheet", True, True, _SHEET),
    "height": Cause("height above the sheet and camera's distance", True, True, "hold the shank level (--held), or stand back and zoom in"),
    "tilt": Cause("tilt of the view", True, True, _VIEW),
    "lens": Cause("lens distortion", True, True, _VIEW),
    "edge model": Cause("where the outline lies: blur, mirrored paper", smaller=_LIGHT),
    "blur": Cause("blur of the outline", smaller=_LIGHT),
    "smoothing": Cause("smoothing by software", smaller="switch noise filters and beautifying off, and take the camera's original file"),
    "check piece": Cause("u of the check piece's bias", smaller="use a bright wire that is known well and lies as the instrument does"),
    "fit": Cause("scatter about the fit: crest phase, repeatability", smaller="move closer, with all of the working part in view"),
    "crest phase": Cause("where the crests fall", smaller="turn the instrument and photograph again"),
    "repeatability": Cause("scatter of repeated readings", smaller="photograph again"),
    "tip": Cause("where the metal ends", smaller="focus on the tip and move closer"),
    "place": Cause("where along the axis it lies", smaller="move closer, and focus on the shaft and the handle's front"),
}


@dataclass(frozen=True)
class Contribution:
    """One line: input with its own standard uncertainty, sensitivity, |c| u in the quantity's unit, share of the variance."""

    label: str
    input_u: float
    relative: bool
    sensitivity: float
    u: float
    share: float


@dataclass(frozen=True)
class Budget:
    """A quantity's contributions, the largest first."""

    field: str
    quantity: Quantity
    lines: tuple[Contribution, ...]

    @property
    def expanded_u(self) -> float:
        """U = 2 u."""
        return COVERAGE_K * self.quantity.u

    @property
    def ruling(self) -> Contribution | None:
        """The contribution that makes most of the variance, None when none does."""
        return self.lines[0] if self.lines and self.lines[0].share >= RULES_AT else None


def budget_of(field: str, quantity: Quantity, scale: Quantity | None = None) -> Budget | None:
    """Return a quantity's budget, None when no parts are recorded.

    ``scale`` is the photo's px per mm with its parts: a part called 'scale' is then told apart into print and place.
    """
    if not quantity.parts:
        return None
    whole = _told_apart(quantity, scale)
    variance = sum(u * u for _, u in whole.parts)
    known = _input_of_print(scale)
    lines = [_line(field, whole, label, u, variance, known) for label, u in whole.parts if u > 0.0]
    return Budget(field, whole, tuple(sorted(lines, key=lambda line: -line.u)))


def cause_of(label: str) -> Cause:
    """Return what a label stands for; a label this version does not know stands for itself."""
    return CAUSES.get(label, Cause(label))


def propagated(sensitivities: Array, covariance: Array) -> Array:
    """Return the (M, M) covariance of M results from (M, N) sensitivities and the (N, N) covariance of N inputs: C V C^T."""
    return np.asarray(sensitivities @ covariance @ sensitivities.T)


def correlation_matrix(covariance: Array) -> Array:
    """Return the correlation coefficients of a covariance; results without uncertainty are uncorrelated."""
    u = np.sqrt(np.maximum(np.diag(covariance), 0.0))
    return np.asarray(covariance / np.where(np.outer(u, u) > 0.0, np.outer(u, u), 1.0))


def correlations(quantities: Mapping[str, Quantity | None]) -> dict[str, dict[str, float]]:
    """Return r of every pair of the compared quantities, by field: {'d0_mm': {'d16_mm': 0.9, ...}, ...}.

    A pair whose shared causes are not known (D0 with taper where D16 is missing) is left out.
    """
    fields = [name for name in COMPARED if (q := quantities.get(name)) is not None and q.parts]
    parts = [dict(quantities[name].parts) for name in fields]  # type: ignore[union-attr]  # None was left out above
    r = correlation_matrix(_joint(fields, parts))
    found: dict[str, dict[str, float]] = {}
    for i, name in enumerate(fields):
        for j in range(i + 1, len(fields)):
            if {name, fields[j]} != {CONE[0], CONE[2]} or CONE[1] in fields:
                found.setdefault(name, {})[fields[j]] = float(r[i, j])
    return found


def cone_covariance(u_d0: float, u_d16: float, u_taper: float) -> Array:
    """Return the (3, 3) covariance of D0, D16 and taper under one cause.

    D16 = D0 + 16 taper holds exactly, so the three variances fix the covariances (the law of cosines for spreads).
    """
    a, b, c = u_d0**2, u_d16**2, (LONG_MM * u_taper) ** 2
    d0_d16 = _kept((a + b - c) / 2.0, u_d0, u_d16)
    d0_taper = _kept((b - a - c) / (2.0 * LONG_MM), u_d0, u_taper)
    d16_taper = _kept((b - a + c) / (2.0 * LONG_MM), u_d16, u_taper)
    return np.array([[a, d0_d16, d0_taper], [d0_d16, b, d16_taper], [d0_taper, d16_taper, u_taper**2]])


def _joint(fields: list[str], parts: list[dict[str, float]]) -> Array:
    """Sum the covariances of all causes, each with its own pattern of what it moves together."""
    total = np.zeros((len(fields), len(fields)))
    for label in dict.fromkeys(label for own in parts for label in own):
        u = np.array([own.get(label, 0.0) for own in parts])
        joint = np.outer(u, u) if cause_of(label).common else np.diag(u * u)
        if all(name in fields for name in CONE):
            at = [fields.index(name) for name in CONE]
            joint[np.ix_(at, at)] = cone_covariance(*u[at])
        total += joint
    return total


def _kept(covariance: float, u_a: float, u_b: float) -> float:
    return min(max(covariance, -u_a * u_b), u_a * u_b)


def _told_apart(quantity: Quantity, scale: Quantity | None) -> Quantity:
    """Split 'scale' into print (one share of every length) and place of the sheet in the picture."""
    own = dict(quantity.parts)
    if scale is None or "scale" not in own:
        return quantity
    names = dict(scale.parts)
    if "print scale" not in names:
        return quantity
    share = names["print scale"] / scale.value * abs(quantity.value)
    if share > own["scale"]:  # less than the whole value leans on the scale, as after a correction by a check piece
        share = own["scale"] * names["print scale"] / max(math.hypot(*names.values()), names["print scale"])
    rest = math.sqrt(max(own["scale"] ** 2 - share**2, 0.0))
    others = [(label, u) for label, u in quantity.parts if label != "scale"]
    return combined(quantity.value, [("print scale", share), ("marker fit", rest), *others])


def _input_of_print(scale: Quantity | None) -> float | None:
    """Relative u of the print itself, where the photo's scale tells it."""
    part = dict(scale.parts).get("print scale", 0.0) if scale is not None else 0.0
    return part / scale.value if scale is not None and part > 0.0 else None


def _line(field: str, quantity: Quantity, label: str, u: float, variance: float, of_print: float | None) -> Contribution:
    """Work back from a contribution to its input: u = |c| u(x), with c from what the label stands for."""
    relative = cause_of(label).relative and quantity.value != 0.0
    sensitivity = abs(quantity.value) if relative else 1.0
    if label == "print scale" and of_print is not None:
        sensitivity = u / of_print
    elif not relative and field == CONE[2] and label != "fit":
        sensitivity = 1.0 / LONG_MM  # an outline that drifts by so much over 16 mm
    return Contribution(label, u / sensitivity, relative, sensitivity, u, u * u / variance)
