"""Stage 6k: Scales of photos by one camera -> the same, with the focal length that all of them tell together.

Without a record each photo stands alone with what its own view tells, which is next to nothing where the camera looks straight
down. Views taken for one reading share their lens, so what a slanted one tells holds for the others too.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from vision.camera import stand
from vision.focal import FULL_FRAME_MM, Doubt, Focal, View, focal_shared
from vision.quantity import Quantity
from vision.scale import Scale
from vision.sighting import LONG_SIDE

TELLS_U = 0.25  # relative; views that know the focal length worse tell little more than what is usual
REFOCUSED_U = 0.03  # the focal length grows as a lens is focused nearer; common practice, no source


def one_lens(scales: Sequence[Scale]) -> list[Scale]:
    """Return the scales with cameras that share one focal length; unchanged where records or profiles name it, and a view that tells it
    better by itself keeps its own.

    Photos of other sizes in px than the surest one are left alone: another camera, or another setting of it.
    """
    unnamed = [one for one in scales if _unnamed(one)]
    if not unnamed:
        return list(scales)
    centre = min(unnamed, key=_u).centre_px
    unnamed = [one for one in unnamed if one.centre_px == centre]
    focal = _told(unnamed)
    if focal.u > TELLS_U:
        return list(scales)
    focal_px, u = focal.f35_mm * _long_side_px(unnamed[0]) / FULL_FRAME_MM, float((focal.u**2 + REFOCUSED_U**2) ** 0.5)
    return [_seen_by(one, focal_px, u) if _unnamed(one) and one.centre_px == centre and _u(one) > u else one for one in scales]


def _told(scales: Sequence[Scale]) -> Focal:
    """The focal length that views by one camera tell; the lens looks at the middle of the picture."""
    views = [View(one.homography, Doubt(one.covariance, max(one.print_u)), one.sheet.id if one.sheet else "") for one in scales]
    return focal_shared(views, scales[0].centre_px, _long_side_px(scales[0]))


def _long_side_px(scale: Scale) -> int:
    return round(2.0 * max(scale.centre_px) + 1.0)


def _unnamed(scale: Scale) -> bool:
    return scale.sheet is not None and scale.profile is None and not scale.camera.height_known


def _u(scale: Scale) -> float:
    return scale.camera.height_mm.u / scale.camera.height_mm.value


def _seen_by(scale: Scale, focal: float, u: float) -> Scale:
    """The scale with its camera placed anew by this focal length, px, of this relative u."""
    camera = stand(scale.homography, scale.centre_px, LONG_SIDE, focal)
    height = Quantity(camera.height_mm.value, u * camera.height_mm.value)
    return replace(scale, camera=replace(camera, height_mm=height, height_known=False))
