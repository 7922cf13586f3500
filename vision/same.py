"""Stage 6n: did the instrument lie untouched between the photos? Its place on the sheet and its twist tell.

Statistic: the sum of squared deviations over their standard uncertainties, against chi-square (common practice). Its
terms, each one a question:

ends    are the heights of tip and front that the photos' parallax asks for such as an instrument at rest has?
tip     does the tip, put down from that height, lie at the same place along the axis in every photo? (One tip in twenty
        may be misread, so a tip alone never decides.)
lines   do all mid lines meet in one axis? (Two always do, unless the camera stood still.)
twist   do the crests turn from photo to photo by the angle through which the camera went round the axis? Right- and
        left-handed twist shift them opposite ways, so a camera moved far enough tells the hand.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtri

from vision.lifted import Lifted
from vision.pose import Height
from vision.sighting import Sighting

Array = NDArray[np.floating[Any]]
ALARM = 0.001  # share of untouched instruments that would be taken for moved
PLACE_U_MM, TURN_U_RAD = 0.03, 0.07  # along the axis between photos; of a fitted twist's phase
STILL = 0.05  # parallax below which the camera stood still
MISREAD, MISREAD_WIDE = 0.05, 10.0  # share of tips read wrongly (a glint, a shadow), and how many u wide those scatter
MOST_TURN_DEG, MOST_WAY_MM = 12.0, 12.0  # what parallax can do to a shaft that lies still, seen from 40 mm and more
HAND_APART = 9.0  # chi-square by which one hand must fit better than the other
HAND_FITS = 6.6


@dataclass(frozen=True)
class Turns:
    """Twist of one photo's outline: stations from the tip, theta in rad, crests a turn; and the camera's angle round the axis."""

    x_mm: Array
    theta_rad: Array
    corners: int
    camera_rad: float


@dataclass(frozen=True)
class Untouched:
    """The statistic with its limit and degrees of freedom, its terms, and the hand of twist if the photos tell it."""

    statistic: float
    limit: float
    freedom: int
    terms: dict[str, float]
    hand: Literal["right", "left"] | None

    @property
    def untouched(self) -> bool:
        """Whether nothing speaks against an instrument that lay where it was."""
        return self.statistic <= self.limit

    @property
    def words(self) -> str:
        """The statistic, its limit and its terms in one line."""
        told = ", ".join(f"{name} {value:.1f}" for name, value in self.terms.items())
        return f"chi-square {self.statistic:.1f} against a limit of {self.limit:.1f} ({self.freedom} degrees of freedom: {told})"


def plainly_moved(sightings: Sequence[Sighting]) -> str | None:
    """Say how far the shaft has turned or moved on the sheet where that is far beyond any parallax; None where it is not."""
    lines = [one.line_mm for one in sightings if len(one.line_mm) > 2]
    ways = [(line[-1] - line[0]) / np.linalg.norm(line[-1] - line[0]) for line in lines]
    for way, line in zip(ways[1:], lines[1:], strict=True):
        turn = float(np.degrees(np.arccos(np.clip(ways[0] @ way, -1.0, 1.0))))
        apart = float(np.linalg.norm(line.mean(axis=0) - lines[0].mean(axis=0)))
        if turn > MOST_TURN_DEG or apart > MOST_WAY_MM:
            return (
                f"it was moved between the photos: on the sheet its axis lies {turn:.0f} deg turned and {apart:.0f} mm away, "
                f"where a shaft left alone could seem to by {MOST_TURN_DEG:.0f} deg and {MOST_WAY_MM:.0f} mm at most; readings are pooled"
            )
    return None


def judge_untouched(
    lifted: Lifted, sightings: Sequence[Sighting], poses: Sequence[Height], turns: Sequence[Turns | None]
) -> Untouched:
    """Test whether all photos show one instrument that was not moved. ``poses``: those that a resting instrument may have."""
    axis = lifted.axis
    terms, freedom = {"ends": min(_ends(lifted, pose) for pose in poses)}, 2
    tips = _tips(lifted, sightings)
    if len(tips) > 1:
        weight = 1.0 / tips[:, 1] ** 2
        mean = np.average(tips[:, 0], weights=weight)
        spare = len(tips) / (len(tips) - 1.0)  # each lies nearer the common mean than the truth
        terms["tip"] = sum(map(_tailed, spare * weight * (tips[:, 0] - mean) ** 2)) / spare
        freedom += len(tips) - 1
    spare_lines = len(sightings) - (2 if axis.parallax > STILL else 1)
    if spare_lines and len(axis.misses_mm) == len(sightings):
        terms["lines"], freedom = _lines(lifted, sightings), freedom + 2 * spare_lines
    right, left, known = _twists(turns, tips) if len(tips) == len(sightings) else (0.0, 0.0, 0)
    if known:
        terms["twist"], freedom = min(right, left), freedom + known
    hand: Literal["right", "left"] | None = None
    if known and abs(right - left) > HAND_APART and min(right, left) < HAND_FITS * known:
        hand = "right" if right < left else "left"
    return Untouched(sum(terms.values()), float(chdtri(freedom, ALARM)), freedom, terms, hand)


def _ends(lifted: Lifted, pose: Height) -> float:
    shared = pose.shared * pose.u_tip_mm * pose.u_handle_mm
    spread = np.array([[pose.u_tip_mm**2, shared], [shared, pose.u_handle_mm**2]]) + lifted.covariance[:2, :2]
    off = lifted.axis.ends_mm[:2] - [pose.tip_mm, pose.handle_mm]
    return float(off @ np.linalg.solve(spread, off))


def _tips(lifted: Lifted, sightings: Sequence[Sighting]) -> Array:
    """Rows: place of the tip along the axis, put down from its height, and its u."""
    axis = lifted.axis
    z, u_z = float(axis.ends_mm[0]), float(np.sqrt(lifted.covariance[0, 0]))
    rows = []
    for one in sightings:
        if one.tip_mm is None:
            continue
        at = float((one.under(one.tip_mm[None, :], z)[0] - axis.origin_mm) @ axis.along)
        lever = float((one.tip_mm - np.asarray(one.foot_mm)) @ axis.along) / one.height_mm
        rows.append((at, float(np.hypot(one.u_tip_mm, lever * min(u_z, 2.0)))))
    return np.array(rows).reshape(-1, 2)


def _tailed(squared: float) -> float:
    """Squared deviation of something that is now and then misread: -2 log of a narrow and a wide normal law, 0 at 0."""

    def law(square: float) -> float:
        wide = np.exp(-0.5 * square / MISREAD_WIDE**2) / MISREAD_WIDE
        return float((1.0 - MISREAD) * np.exp(-0.5 * square) + MISREAD * wide)

    return -2.0 * float(np.log(law(squared) / law(0.0)))


def _lines(lifted: Lifted, sightings: Sequence[Sighting]) -> float:
    """How far each photo's line lies off the common axis at both ends, over its u."""
    total = 0.0
    for one, miss, share in zip(sightings, lifted.axis.misses_mm, lifted.axis.stations, strict=True):
        slope, start = np.polyfit(share, miss, 1)
        total += (start**2 + (start + slope) ** 2) / one.u_line_mm**2
    return float(total)


def _twists(turns: Sequence[Turns | None], tips: Array) -> tuple[float, float, int]:
    """Chi-square of the turn between the first photo and each other, for right- and left-handed twist, and their number."""
    first = turns[0] if turns else None
    right = left = 0.0
    known = 0
    for k, other in enumerate(turns[1:], start=1):
        if first is None or other is None:
            continue
        seen = turned_by(first, other, float(tips[k, 0] - tips[0, 0]))
        if seen is None:
            continue
        by, u = seen
        went = other.camera_rad - first.camera_rad
        period = 2.0 * np.pi / first.corners
        right += (_wrapped(by + went, period) / u) ** 2
        left += (_wrapped(by - went, period) / u) ** 2
        known += 1
    return right, left, known


def turned_by(first: Turns, other: Turns, step_mm: float = 0.0) -> tuple[float, float] | None:
    """Turn of the outline's twist from one photo to another, rad within one crest, and its u; None when not comparable.

    ``step_mm``: how much further along the page the other's x = 0 lies.
    """
    low = max(first.x_mm[0], other.x_mm[0] + step_mm)
    high = min(first.x_mm[-1], other.x_mm[-1] + step_mm)
    if first.corners != other.corners or high - low < 3.0:
        return None
    x = np.linspace(low, high, 100)
    apart = np.interp(x - step_mm, other.x_mm, other.theta_rad) - np.interp(x, first.x_mm, first.theta_rad)
    mean = np.exp(1j * first.corners * apart).mean()
    if abs(mean) < 0.8:  # the two twists do not even run alongside
        return None
    rate = abs(float(np.polyfit(first.x_mm, first.theta_rad, 1)[0]))
    return float(np.angle(mean)) / first.corners, float(np.hypot(TURN_U_RAD, PLACE_U_MM * rate))


def _wrapped(angle: float, period: float) -> float:
    return float((angle + period / 2.0) % period - period / 2.0)
