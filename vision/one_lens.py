"""Stage 6k: Scales of photos by one camera -> the same, with the focal length that the view from aside tells all of them.

Without a record each photo stands alone with what its own view tells, which is next to nothing where the camera looks straight
down. Two views taken for one reading share their lens, so what the slanted one tells holds for the other too.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from vision.camera import stand
from vision.quantity import Quantity
from vision.scale import Scale
from vision.sighting import LONG_SIDE, focal_px

TELLS_U = 0.25  # relative; a view that knows the focal length worse tells little more than what is usual
REFOCUSED_U = 0.03  # the focal length grows as a lens is focused nearer; common practice, no source


def one_lens(scales: Sequence[Scale]) -> list[Scale]:
    """Return the scales with cameras that share the surest focal length; unchanged where records or profiles name it.

    Photos of other sizes in px are left alone: another camera, or another setting of it.
    """
    unnamed = [one for one in scales if _unnamed(one)]
    if not unnamed:
        return list(scales)
    surest = min(unnamed, key=_u)
    if _u(surest) > TELLS_U:
        return list(scales)
    focal, u = focal_px(surest), float((_u(surest) ** 2 + REFOCUSED_U**2) ** 0.5)
    return [_seen_by(one, focal, u) if _unnamed(one) and one.centre_px == surest.centre_px and _u(one) > u else one for one in scales]


def _unnamed(scale: Scale) -> bool:
    return scale.sheet is not None and scale.profile is None and not scale.camera.height_known


def _u(scale: Scale) -> float:
    return scale.camera.height_mm.u / scale.camera.height_mm.value


def _seen_by(scale: Scale, focal: float, u: float) -> Scale:
    """The scale with its camera placed anew by this focal length, px, of this relative u."""
    camera = stand(scale.homography, scale.centre_px, LONG_SIDE, focal)
    height = Quantity(camera.height_mm.value, u * camera.height_mm.value)
    return replace(scale, camera=replace(camera, height_mm=height, height_known=False))
