"""Stage 6m: Scales and mid lines of several photos -> Lifted: the axis height with everything that may be wrong with it.

The uncertainty is found by moving each input by one standard uncertainty and solving again (JCGM 100:2008, 5.1.3 note 2,
from memory): each photo's own mapping, its mid line at both ends, and the focal length, which all photos share.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.pose import Height
from vision.quantity import Quantity, combined
from vision.scale import Scale
from vision.sighting import AxisPx, Sighting, refocused, sight, variants
from vision.triangulate import AxisHeight, triangulate

Array = NDArray[np.floating[Any]]
ENOUGH_PARALLAX = 1.0 / 3.0  # the camera's way across the instrument over its height
WEAK_U_MM = 0.15  # beyond this the usual rest poses tell as much
CAUSES = ("mapping", "mid line", "focal length")
BENT_TIMES, BENT_LEAST_MM = 3.0, 0.1


@dataclass(frozen=True)
class Lifted:
    """Axis height with full covariance (3, 3) of its two ends and sag, labelled parts of u at 0.4 of the length.

    ``ratio`` is the covariance of the same three as they enter every correction, through z / Z alone: an error of the
    focal length moves z and Z together and all but cancels there.
    """

    axis: AxisHeight
    covariance: Array
    ratio: Array
    parts: tuple[tuple[str, float], ...]

    @property
    def weak(self) -> bool:
        """Whether the camera moved too little across the instrument to tell its height."""
        return self.height_mm.u > WEAK_U_MM

    @property
    def height_mm(self) -> Quantity:
        """Height at 0.4 of the length."""
        return combined(float(self.axis.at(np.array([0.4]))[0]), self.parts)

    def height(self, prior: Height) -> Height:
        """Return the height for the correction to mm; where it is weak, the usual rest pose is weighed in."""
        ends, covariance = self.axis.ends_mm, self.ratio
        if self.weak:
            ends, covariance = _informed(ends, self.covariance, prior)
        u = np.sqrt(np.diag(covariance))
        shared = float(covariance[0, 1] / max(u[0] * u[1], 1e-12))
        return Height(float(ends[0]), float(ends[1]), float(u[0]), float(u[1]), shared, "triangulated", sag_mm=float(ends[2]))


def lift(scales: Sequence[Scale], seen: Sequence[AxisPx]) -> Lifted | None:
    """Triangulate the axis and work out its uncertainty; None when fewer than two photos show the mid line."""
    sightings = [sight(scale, one) for scale, one in zip(scales, seen, strict=True)]
    bent = _is_bent(sightings)
    axis = triangulate(sightings, bent=bent)
    if axis is None:
        return None
    moved = _moved(scales, seen, sightings, axis)
    z0 = sightings[0].height_mm
    shifts, ratios, labels = [], [], []
    for label, others in moved:
        again = triangulate(others, bent=bent, begin=axis)
        if again is not None:
            shifts.append(again.ends_mm - axis.ends_mm)
            ratios.append(again.ends_mm * z0 / others[0].height_mm - axis.ends_mm)
            labels.append(label)
    covariance = axis.covariance + sum(np.outer(one, one) for one in shifts)
    ratio = axis.covariance + sum(np.outer(one, one) for one in ratios)
    at = np.array([0.6, 0.4, 0.96])
    effects = [(label, float(at @ shift)) for label, shift in zip(labels, shifts, strict=True)]
    parts = (
        ("scatter", float(np.sqrt(max(at @ axis.covariance @ at, 0.0)))),
        *((name, float(np.sqrt(sum(e * e for label, e in effects if label == name)))) for name in CAUSES),
    )
    return Lifted(axis, np.asarray(covariance), np.asarray(ratio), parts)


def _is_bent(sightings: Sequence[Sighting]) -> bool:
    """Whether the axis clearly curves out of the sheet's plane."""
    curved = triangulate(sightings, bent=True)
    if curved is None:
        return False
    sag, u = float(curved.ends_mm[2]), float(np.sqrt(curved.covariance[2, 2]))
    u = float(np.hypot(u, sightings[0].u_line_mm / max(curved.parallax, 1e-3)))
    return abs(sag) > max(BENT_TIMES * u, BENT_LEAST_MM)


def _moved(
    scales: Sequence[Scale], seen: Sequence[AxisPx], sightings: list[Sighting], axis: AxisHeight
) -> list[tuple[str, list[Sighting]]]:
    """Every input moved by its standard uncertainty in turn."""
    out = []
    across = np.array([-axis.along[1], axis.along[0]])
    for k, (scale, one, sighting) in enumerate(zip(scales, seen, sightings, strict=True)):
        others = [(label, variant) for label, variant in variants(scale, one)]
        share = np.clip((sighting.line_mm - axis.origin_mm) @ axis.along / axis.length_mm, 0.0, 1.0)
        others += [
            ("mid line", replace(sighting, line_mm=sighting.line_mm + (sighting.u_line_mm * weight)[:, None] * across))
            for weight in (1.0 - share, share)
        ]
        out += [(label, [*sightings[:k], variant, *sightings[k + 1 :]]) for label, variant in others]
    out.append(("focal length", [refocused(scale, one) for scale, one in zip(scales, seen, strict=True)]))
    return out


def _informed(ends: Array, covariance: Array, prior: Height) -> tuple[Array, Array]:
    """Weigh two ends against a pose by their inverse covariances; the sag is dropped."""
    shared = prior.shared * prior.u_tip_mm * prior.u_handle_mm
    usual = np.array([[prior.u_tip_mm**2, shared], [shared, prior.u_handle_mm**2]])
    a, b = np.linalg.inv(covariance[:2, :2]), np.linalg.inv(usual)
    together = np.linalg.inv(a + b)
    best = together @ (a @ ends[:2] + b @ np.array([prior.tip_mm, prior.handle_mm]))
    whole = np.zeros((3, 3))
    whole[:2, :2] = together
    return np.append(best, 0.0), whole
