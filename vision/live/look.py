"""Frame -> Look: every number that the coach judges by, and where it found them. Some 100 ms of one core."""

from __future__ import annotations

import io
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from vision.errors import PhotoError
from vision.exif import CameraInfo
from vision.live.focus import blur_at_instrument, blur_of_sheet
from vision.live.sight import Sight, see_sheet
from vision.live.subject import Subject, see_subjects
from vision.photo import Photo

Json = dict[str, Any]
Point = tuple[float, float]
MOST_SIDE_PX = 8192
MOST_PX = 2400  # a larger frame, for instance the photo itself, is judged reduced to this
LEAST_SIDE_PX = 120
DRAWN = 12  # points of the axis that are shown


@dataclass(frozen=True)
class Look:
    """What one frame shows; px of the frame. None: not seen.

    ``homography``: page mm to px, row by row. ``camera_mm``: its height above the sheet, ``foot_mm`` the place below it; both rest on a
    usual lens where none was named. ``things``: how many instrument-like things lie there; the rest speaks of the longest.
    ``seen_mm`` of metal are in the frame, the tip ``margin_mm`` inside. ``blur_px`` at the instrument, ``sheet_blur_px`` on the sheet.
    ``paper``: linear light of the paper, ``clipped`` the share of it at the limit, ``glare`` the share that mirrors near the instrument.
    """

    width_px: int
    height_px: int
    markers: int = 0
    sheet: str | None = None
    homography: tuple[float, ...] | None = None
    px_per_mm: float | None = None
    tilt_deg: float | None = None
    foot_mm: Point | None = None
    camera_mm: float | None = None
    things: int = 0
    axis_px: tuple[Point, ...] = ()
    seen_mm: float | None = None
    margin_mm: float | None = None
    whole: bool = False
    blur_px: float | None = None
    sheet_blur_px: float | None = None
    paper: float | None = None
    clipped: float | None = None
    glare: float | None = None

    def as_json(self) -> Json:
        """Return it as plain values."""
        return asdict(self)


def look_from(made: Json) -> Look:
    """Return a Look from its plain values."""
    points = {name: None if made[name] is None else tuple(made[name]) for name in ("homography", "foot_mm")}
    return Look(**made | points | {"axis_px": tuple((x, y) for x, y in made["axis_px"])})


def frame_of(data: bytes) -> Photo:
    """Decode a frame: JPEG alone, checked for its size before it is decoded. Raises PhotoError 'not-a-picture' or 'too-large'."""
    try:
        with Image.open(io.BytesIO(data), formats=("JPEG",)) as image:
            if max(image.size) > MOST_SIDE_PX or min(image.size) < LEAST_SIDE_PX:
                raise PhotoError(
                    "too-large",
                    f"a frame has {image.width} × {image.height} px, needs {LEAST_SIDE_PX} to {MOST_SIDE_PX} px a side: "
                    "choose another size in the camera",
                )
            rgb = np.asarray(image.convert("RGB"), dtype=np.uint8)
    except (OSError, SyntaxError, ValueError) as error:
        raise PhotoError("not-a-picture", f"a frame is no whole JPEG ({error}): send it again") from error
    return Photo(Path("frame.jpg"), rgb, CameraInfo())


def look_at(frame: Photo, f35_mm: float | None = None, known: str | None = None) -> Look:
    """Look at one frame. One larger than some 2400 px is judged reduced, and px count in the reduced one.

    ``known``: the sheet seen in the last frame, looked for first.
    """
    small = _reduced(frame)
    sight = see_sheet(small, f35_mm, known)
    if sight is None:
        return Look(small.width_px, small.height_px, paper=float(np.percentile(small.rgb[::8, ::8], 70) / 255.0) ** 2.2)
    subjects, light = see_subjects(sight)
    longest = subjects[0] if subjects else None
    paper = None if light is None else light.paper
    return Look(
        small.width_px,
        small.height_px,
        markers=sight.markers,
        sheet=None if sight.scale.sheet is None else sight.scale.sheet.id,
        homography=tuple(float(v) for v in sight.homography.ravel()),
        px_per_mm=sight.px_per_mm,
        tilt_deg=sight.camera.tilt_deg,
        foot_mm=sight.camera.foot_mm,
        camera_mm=sight.camera.height_mm.value,
        things=len(subjects),
        axis_px=() if longest is None else _drawn(longest),
        seen_mm=None if longest is None else longest.seen_mm,
        margin_mm=None if longest is None else longest.margin_mm,
        whole=longest is not None and longest.whole,
        blur_px=_blur(sight, longest, paper),
        sheet_blur_px=blur_of_sheet(sight),
        paper=paper,
        clipped=None if light is None else light.clipped,
        glare=None if light is None else light.glare,
    )


def _blur(sight: Sight, subject: Subject | None, paper: float | None) -> float | None:
    return None if subject is None or paper is None else blur_at_instrument(sight, subject, paper)


def _drawn(subject: Subject) -> tuple[Point, ...]:
    at = np.unique(np.linspace(0, len(subject.axis_px) - 1, DRAWN).astype(int))
    return tuple((float(x), float(y)) for x, y in subject.axis_px[at])


def _reduced(frame: Photo) -> Photo:
    shrink = max(frame.width_px, frame.height_px) / MOST_PX
    if shrink <= 1.0:
        return frame
    size = round(frame.width_px / shrink), round(frame.height_px / shrink)
    rgb: NDArray[np.uint8] = np.asarray(cv2.resize(frame.rgb, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)
    return Photo(frame.path, rgb, frame.camera)
