"""Stage 2a: Photo -> coded markers. Finds the sheet's ArUco markers at several picture sizes (OpenCV's detector)."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from calib.sheet import MARKER_DICTIONARY, Sheet, sheet_named, sheet_of_marker
from vision.codes import CELL_PX, CORRECTED, read_codes
from vision.quads import least_side_px, squares

ENOUGH = 12
WINDOWS, WINDOW_STEP = (5, 45), 20  # px: thresholds over 5, 25 and 45 px
# One look at so small a picture, with one threshold, settles most photos, and the first most macros: side of a marker in it below which
# its corners are too rough to start from, and many are missed.
QUICK_PX, QUICK_WINDOW = {700: 18.0, 1400: 12.0}, 45
LEVELS_PX = (1000, 2000, 4000)  # longest side of the pictures searched, coarse to fine
FEW_QUADS = 300  # enough to tell that a sheet is somebody else's
GLANCE_PX = (640, 1280)  # longest side of the pictures that a live frame is searched in
GLANCE_ENOUGH = 3
FOREIGN = ("DICT_4X4_1000", "DICT_6X6_1000", "DICT_7X7_1000", "DICT_ARUCO_ORIGINAL", "DICT_APRILTAG_36h11")


@dataclass(frozen=True)
class Seen:
    """One marker seen: its id and (4, 2) corner px, clockwise from the corner that is top left on the upright page.

    ``coarse_px``: px of the photo in one of the picture that it was seen in; its corners are about so rough.
    """

    id: int
    corners_px: NDArray[np.float64]
    coarse_px: float = 1.0


def find_markers(grey: NDArray[np.uint8]) -> list[Seen]:
    """Find our markers in an (H, W) grey picture; the finest picture in which a marker was seen gives its corners.

    The same id may come back twice when it stands at two places: two sheets, or a copied one.
    """
    seen = _quick_look(grey)
    if seen is not None:
        return seen
    seen = []
    for level, small, factor in _pyramid(grey):
        found = _ours(_detect(small, MARKER_DICTIONARY, factor))
        seen = [old for old in seen if not any(_same(old, new) for new in found)] + found
        if level >= LEVELS_PX[1] and len(seen) >= ENOUGH:
            break
    return seen


def glance(grey: NDArray[np.uint8], sheet: str | None = None) -> list[Seen]:
    """Find our markers in a live frame in some 10 to 40 ms, with one threshold: large and clear ones only, corners to a few px.

    ``sheet``: the one seen last. Every dark square is compared with every code, so its own are tried first.
    """
    seen: list[Seen] = []
    for known in dict.fromkeys((sheet, None)):
        for _, small, factor in _pyramid(grey, GLANCE_PX):
            seen = _ours(_detect(small, MARKER_DICTIONARY, factor, (QUICK_WINDOW, QUICK_WINDOW), sheet=known))
            if len(seen) >= GLANCE_ENOUGH:
                return seen
    return seen


def _quick_look(grey: NDArray[np.uint8]) -> list[Seen] | None:
    """Look with one threshold: corners to a few px of the full picture, enough to start from. None: not clear enough."""
    for level, large_px in QUICK_PX.items():
        small, factor = _shrunk(grey, level)
        seen = _ours(_once(_seen(number, corners, factor) for number, corners in read_codes(small, squares(small, QUICK_WINDOW))))
        sides = [float(np.linalg.norm(one.corners_px[0] - one.corners_px[1])) for one in seen]
        if len(seen) >= ENOUGH and np.median(sides) >= large_px * factor:
            return seen
    return None


def _shrunk(grey: NDArray[np.uint8], longest_px: int) -> tuple[NDArray[np.uint8], float]:
    """The picture at about that size, by a whole factor, which is several times as quick as any other; second: that factor."""
    factor = max(round(max(grey.shape) / longest_px), 1)
    rows, columns = grey.shape[0] // factor, grey.shape[1] // factor
    whole = grey[: rows * factor, : columns * factor]
    small = grey if factor == 1 else cv2.resize(whole, (columns, rows), interpolation=cv2.INTER_AREA)
    return np.asarray(small, dtype=np.uint8), float(factor)


def _once(seen: Iterable[Seen]) -> list[Seen]:
    """Each marker once, as first seen: the inner border of its black rim is a square as well."""
    kept: dict[int, list[Seen]] = {}
    for one in seen:
        if not any(_same(one, other) for other in kept.setdefault(one.id, [])):
            kept[one.id].append(one)
    return [one for those in kept.values() for one in those]


def _ours(seen: list[Seen]) -> list[Seen]:
    return [one for one in seen if sheet_of_marker(one.id) is not None]


def foreign_markers(grey: NDArray[np.uint8]) -> int:
    """Count markers of other common dictionaries: tells somebody else's sheet from no sheet at all."""
    _, small, factor = next(iter(_pyramid(grey, (1600,))))
    least = least_side_px(small, _windows(WINDOWS), FEW_QUADS)
    return max(len(_detect(small, name, factor, least_px=least)) for name in FOREIGN)


def sheets_of(seen: Iterable[Seen]) -> dict[str, tuple[Sheet, list[Seen]]]:
    """Group markers by the sheet and revision that their ids belong to."""
    groups: dict[str, tuple[Sheet, list[Seen]]] = {}
    for one in seen:
        sheet = sheet_of_marker(one.id)
        if sheet is not None:
            groups.setdefault(sheet.id, (sheet, []))[1].append(one)
    return groups


def _pyramid(
    grey: NDArray[np.uint8], levels: tuple[int, ...] = LEVELS_PX
) -> Iterable[tuple[int, NDArray[np.uint8], float]]:
    longest = max(grey.shape)
    for level in levels:
        factor = max(longest / level, 1.0)
        size = (round(grey.shape[1] / factor), round(grey.shape[0] / factor))
        small = grey if factor == 1.0 else cv2.resize(grey, size, interpolation=cv2.INTER_AREA)
        yield level, np.asarray(small, dtype=np.uint8), grey.shape[1] / size[0]
        if factor == 1.0:
            return


def _windows(ends: tuple[int, int]) -> range:
    return range(ends[0], ends[1] + 1, WINDOW_STEP)


def _detect(
    grey: NDArray[np.uint8],
    dictionary: str,
    factor: float,
    windows: tuple[int, int] = WINDOWS,
    least_px: float | None = None,
    sheet: str | None = None,
) -> list[Seen]:
    least = least_px or least_side_px(grey, _windows(windows))
    parameters = cv2.aruco.DetectorParameters()
    parameters.errorCorrectionRate = CORRECTED
    parameters.adaptiveThreshWinSizeMin, parameters.adaptiveThreshWinSizeMax = windows
    parameters.adaptiveThreshWinSizeStep = WINDOW_STEP
    parameters.minMarkerPerimeterRate = 4.0 * least / max(grey.shape)
    parameters.perspectiveRemovePixelPerCell = CELL_PX
    codes, names = _codes(dictionary, sheet)
    corners, ids, _ = cv2.aruco.ArucoDetector(codes, parameters).detectMarkers(grey)
    if ids is None:
        return []
    return [_seen(names[int(i)], np.asarray(c), factor) for i, c in zip(np.asarray(ids).ravel(), corners, strict=True)]


def _seen(number: int, corners: NDArray[Any], factor: float) -> Seen:
    """A marker in the full picture: a pixel centre at small (0, 0) lies at (factor - 1) / 2 there."""
    return Seen(number, (np.asarray(corners, dtype=float).reshape(4, 2) + 0.5) * factor - 0.5, factor)


@cache
def _codes(dictionary: str, sheet: str | None) -> tuple[cv2.aruco.Dictionary, Sequence[int]]:
    """The codes of a dictionary and their ids: all, or those of one sheet."""
    every = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, dictionary))
    if sheet is None:
        return every, range(len(every.bytesList))
    ids = [marker.id for marker in sheet_named(sheet).markers]
    return cv2.aruco.Dictionary(every.bytesList[ids], every.markerSize, every.maxCorrectionBits), ids


def _same(a: Seen, b: Seen) -> bool:
    size = float(np.linalg.norm(a.corners_px[0] - a.corners_px[2]))
    apart = float(np.linalg.norm(a.corners_px.mean(axis=0) - b.corners_px.mean(axis=0)))
    return a.id == b.id and apart < size / 2.0
