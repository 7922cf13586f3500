"""The tags' code family: the sheet uses 5 x 5 codes, tags 6 x 6 ones that differ from each other in at least 10 bits."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

DICTIONARY = cv2.aruco.DICT_APRILTAG_36h10
MODULES = 8  # 6 x 6 and a black border of one


def modules_of(number: int) -> NDArray[np.bool_]:
    """Return a tag's (MODULES, MODULES) pattern, True where it is black, row 0 at the top."""
    picture = cv2.aruco.generateImageMarker(cv2.aruco.getPredefinedDictionary(DICTIONARY), number, MODULES)
    return np.asarray(picture) < 128
