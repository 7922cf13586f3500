"""Stage 2k: Scale -> does the sheet lie flat, and is it printed alike along and across? What its own print says of both.

A plane and a lens explain where every corner of a flat sheet is seen. Corners of one that is bowed, creased or wavy lie off, and
the distances between neighbours come out wrong by as much as any other length there: that share is carried as uncertainty.

Seen square on, a sheet that was copied unequally looks like one that leans, but without the lines running together that leaning
brings; how much they should is known from the focal length. The ratio of both scales follows (the image of the absolute conic,
Hartley and Zisserman, Multiple View Geometry, 8.6, from memory), and what it differs from 1 by is carried on both axes.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from vision.camera import FOCAL_U
from vision.focal import FULL_FRAME_MM as FULL_FRAME
from vision.focal import USUAL_F35_MM, USUAL_F35_U
from vision.quantity import Quantity
from vision.scale import Scale

Array = NDArray[np.floating[Any]]
APART_MM = (2.5, 12.0)  # neighbours: far enough that a corner's own error counts little, near enough to be local
CORNER_PX = 0.1  # error of one corner in an ordinary photo (the tests of the saddles: typically 0.03, at most 0.1)
TOLD_SHARE = 0.003  # from here on the reading says that the sheet is not flat; half of what an unchecked print carries at best
UNEQUAL_SHARE = 0.02  # prints at 100 % lie within 1 % either way, so their two scales differ by no more
RATIO_U = 0.001  # pixels that are not quite square, a lens that is not quite round; common practice, no source
CENTRE_SHARE = 0.01  # of the long side: where the lens looks, in a whole picture; common practice, no source


def checked_sheet(scale: Scale, f35_mm: float | None, size_px: tuple[int, int]) -> Scale:
    """Return the scale with what bows and unequal copies cost added to ``print_u``, and sentences for what is told.

    ``size_px``: width and height of the photo. A sheet of which too little is seen to tell counts as flat.
    """
    uneven, unequal = unevenness(scale), _unequal(scale, f35_mm, size_px)
    warnings = [_not_flat(uneven)] if uneven > TOLD_SHARE else []
    warnings += [_not_equal(unequal, checked=bool(scale.print_checked))] if unequal else []
    across, along = (float(np.sqrt(u**2 + uneven**2 + unequal**2)) for u in scale.print_u)
    return replace(scale, print_u=(across, along), warnings=tuple(warnings))


def _unequal(scale: Scale, f35_mm: float | None, size_px: tuple[int, int]) -> float:
    """How much longer across than along the sheet is printed, beyond what its print check or a usual print lets expect; or 0."""
    ratio = stretch(scale, f35_mm, size_px)
    known = 3.0 * float(np.hypot(*scale.print_u)) if scale.print_checked else UNEQUAL_SHARE
    return ratio.value - 1.0 if abs(ratio.value - 1.0) > float(np.hypot(known, 3.0 * ratio.u)) else 0.0


def _not_flat(share: float) -> str:
    return (
        f"the sheet does not lie flat: lengths of its own print come out {100 * share:.1f} % off, which every u carries: "
        "press it flat or tape it down, and photograph again"
    )


def _not_equal(share: float, *, checked: bool) -> str:
    known = "; the kept print check says otherwise, so this seems another print: measure this one's" if checked else ": measure its"
    longer, shorter = ("across", "along") if share > 0.0 else ("along", "across")
    return (
        f"the sheet is printed {100 * abs(share):.1f} % longer {longer} the page than {shorter} it, which every u carries"
        f"{known} check lines (flutegauge sheet check), or print it again at 100 %"
    )


def unevenness(scale: Scale) -> float:
    """Return by which share distances between neighbouring corners are off, root mean square beyond the corners' own error."""
    seen = scale.to_plane_mm(scale.saddles_px)
    pairs = np.array(sorted(cKDTree(scale.saddles_mm).query_pairs(APART_MM[1])), dtype=int).reshape(-1, 2)
    true = np.linalg.norm(scale.saddles_mm[pairs[:, 0]] - scale.saddles_mm[pairs[:, 1]], axis=1)
    pairs, true = pairs[true > APART_MM[0]], true[true > APART_MM[0]]
    if len(pairs) < 3:
        return 0.0
    off = np.linalg.norm(seen[pairs[:, 0]] - seen[pairs[:, 1]], axis=1) / true - 1.0
    own = np.sqrt(2.0) * CORNER_PX / _px_per_mm(scale) / true
    return float(np.sqrt(max(np.mean(off**2 - own**2), 0.0)))


def _px_per_mm(scale: Scale) -> float:
    middle = scale.saddles_mm.mean(axis=0)
    around = scale.to_px(middle + np.array([[0.0, 0.0], [0.1, 0.0], [0.0, 0.1]]))
    return float(np.sqrt(abs(np.linalg.det(around[1:] - around[0]))) / 0.1)


def stretch(scale: Scale, f35_mm: float | None, size_px: tuple[int, int]) -> Quantity:
    """Return the page's scale across over that along, as the view tells it, with its standard uncertainty."""
    focal = max(size_px) * (f35_mm or USUAL_F35_MM) / FULL_FRAME
    at = np.array([focal, *scale.centre_px])
    spread = np.array([focal * (FOCAL_U if f35_mm else USUAL_F35_U), *[CENTRE_SHARE * max(size_px)] * 2])
    value = _ratio(scale.homography, at)
    camera = [_ratio(scale.homography, at + step) - value for step in np.diag(spread)]
    entries = scale.homography.ravel()[:8]
    slopes = np.zeros(9)
    for k in range(8):
        step = np.zeros(8)
        step[k] = 1e-6 * max(abs(entries[k]), 1e-6)
        slopes[k] = (_ratio(np.append(entries + step, 1.0).reshape(3, 3), at) - value) / step[k]
    fit = float(slopes @ scale.covariance @ slopes)
    return Quantity(value, float(np.sqrt(fit + np.sum(np.square(camera)) + RATIO_U**2)))


def _ratio(homography: Array, camera: Array) -> float:
    """Scale across over along of a camera with (focal length, centre x, centre y) in px."""
    focal, cx, cy = camera
    inverse = np.array([[1 / focal, 0, -cx / focal], [0, 1 / focal, -cy / focal], [0, 0, 1]])
    columns = inverse @ homography
    return float(np.linalg.norm(columns[:, 1]) / np.linalg.norm(columns[:, 0])) ** -1
