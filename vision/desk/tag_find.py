"""Photo -> code tags seen in it. Their codes are of another family than the sheet's, so neither is taken for the other."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.desk.tag_codes import DICTIONARY
from vision.photo import load_photo
from vision.records.tags import TAGS

LEVELS_PX = (1200, 2600)  # longest side of the pictures searched: a tag is 8 mm, some 100 px even in a photo of a tray


def tags_in(path: Path) -> list[dict[str, Any]]:
    """Return the tags of a photo: number and (4, 2) corners in px of the upright photo. Raises PhotoError."""
    return find_tags(cv2.cvtColor(load_photo(path).rgb, cv2.COLOR_RGB2GRAY))


def find_tags(grey: Any) -> list[dict[str, Any]]:
    """Return the tags of an (H, W) uint8 grey picture, each number once, by number."""
    found: dict[int, NDArray[np.float64]] = {}
    for level in LEVELS_PX:
        factor = max(max(grey.shape) / level, 1.0)
        size = (round(grey.shape[1] / factor), round(grey.shape[0] / factor))
        small = grey if factor == 1.0 else cv2.resize(grey, size, interpolation=cv2.INTER_AREA)
        detector = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(DICTIONARY), _parameters())
        corners, ids, _ = detector.detectMarkers(small)
        for number, corner in zip([] if ids is None else np.asarray(ids).ravel(), corners, strict=True):
            found[int(number)] = (np.asarray(corner, dtype=float).reshape(4, 2) + 0.5) * factor - 0.5
        if factor == 1.0:
            break
    return [
        {"number": number, "corners_px": np.round(corner, 1).tolist()}
        for number, corner in sorted(found.items())
        if number < TAGS
    ]


def _parameters() -> cv2.aruco.DetectorParameters:
    parameters = cv2.aruco.DetectorParameters()
    parameters.errorCorrectionRate = 0.3  # a wrong instrument is worse than a tag not read
    return parameters
