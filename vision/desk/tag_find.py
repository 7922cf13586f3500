"""Photo -> code tags seen in it. Their codes are of another family than the sheet's, so neither is taken for the other."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.desk.tag_codes import dictionary
from vision.photo import load_photo

# Longest side of the picture searched. A tag of 8 mm then has 3 px a module even in a photo of a whole page.
LONGEST_PX = 1800


def tags_in(path: Path) -> list[dict[str, Any]]:
    """Return the tags of a photo: number and (4, 2) corners in px of the upright photo. Raises PhotoError."""
    return find_tags(cv2.cvtColor(load_photo(path).rgb, cv2.COLOR_RGB2GRAY))


def find_tags(grey: Any) -> list[dict[str, Any]]:
    """Return the tags of an (H, W) uint8 grey picture, each number once, by number."""
    factor = max(max(grey.shape) / LONGEST_PX, 1.0)
    size = (round(grey.shape[1] / factor), round(grey.shape[0] / factor))
    small = grey if factor == 1.0 else cv2.resize(grey, size, interpolation=cv2.INTER_AREA)
    corners, ids, _ = cv2.aruco.ArucoDetector(dictionary(), _parameters()).detectMarkers(small)
    found: dict[int, NDArray[np.float64]] = {}
    for number, corner in zip([] if ids is None else np.asarray(ids).ravel(), corners, strict=True):
        # A pixel centre at small (0, 0) lies at (factor - 1) / 2 in the full picture.
        found[int(number)] = (np.asarray(corner, dtype=float).reshape(4, 2) + 0.5) * factor - 0.5
    return [{"number": number, "corners_px": np.round(corner, 1).tolist()} for number, corner in sorted(found.items())]


def _parameters() -> cv2.aruco.DetectorParameters:
    parameters = cv2.aruco.DetectorParameters()
    parameters.minMarkerPerimeterRate = 0.04
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    parameters.adaptiveThreshWinSizeMin = 11
    parameters.adaptiveThreshWinSizeMax = 31
    parameters.adaptiveThreshWinSizeStep = 20
    parameters.errorCorrectionRate = 0.3  # a wrong instrument is worse than a tag not read
    return parameters
