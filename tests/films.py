"""Short films for a browser's fake camera, made of frames: MJPEG, one JPEG after the other."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

ROOT = Path(__file__).resolve().parent.parent
Image = NDArray[np.uint8]
FPS = 10


def film(path: Path, scenes: Sequence[tuple[Image, float]]) -> Path:
    """Write frames (BGR), each for so many seconds; a browser plays them over and over.

    The fake camera takes MJPEG for video of limited range (16 to 235, ITU-R BT.601, from memory) and stretches it, so the frames are
    squeezed first.
    """
    with path.open("wb") as out:
        for frame, seconds in scenes:
            squeezed = np.round(16.0 + frame * (219.0 / 255.0)).astype(np.uint8)
            data = cv2.imencode(".jpg", squeezed, [cv2.IMWRITE_JPEG_QUALITY, 93])[1].tobytes()
            for _ in range(max(round(FPS * seconds), 1)):
                out.write(data)
    return path


def sample_frame(name: str = "k-file-25-flat", size: tuple[int, int] = (1920, 1080), finer: float = 1.35) -> Image:
    """The middle of a sample photo as a camera of ``size`` would show it, ``finer`` times coarser than the photo.

    The middle, for a camera's lens looks there: any other part looks as seen from aside.
    """
    photo = cv2.imread(str(ROOT / "samples" / "photos" / f"{name}.jpg"))
    width, height = round(size[0] * finer), round(size[1] * finer)
    top, left = (max((have - want) // 2, 0) for have, want in zip(photo.shape[:2], (height, width), strict=True))
    part = photo[top : top + height, left : left + width]
    return np.asarray(cv2.resize(part, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)
