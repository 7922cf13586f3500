"""The tags' code family: the sheet uses 5 x 5 codes, tags 6 x 6 ones that differ from each other in at least 10 bits."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.records.tags import TAGS

MODULES = 8  # 6 x 6 and a black border of one
_WHOLE = cv2.aruco.DICT_APRILTAG_36h10


def dictionary() -> cv2.aruco.Dictionary:
    """Return the codes of the numbers that are given out; fewer codes are told apart faster."""
    whole = cv2.aruco.getPredefinedDictionary(_WHOLE)
    return cv2.aruco.Dictionary(whole.bytesList[:TAGS], whole.markerSize, whole.maxCorrectionBits)


def modules_of(number: int) -> NDArray[np.bool_]:
    """Return a tag's (MODULES, MODULES) pattern, True where it is black, row 0 at the top."""
    picture = cv2.aruco.generateImageMarker(dictionary(), number, MODULES)
    return np.asarray(picture) < 128
