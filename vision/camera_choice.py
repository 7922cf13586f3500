"""Stage 2j: which camera profile, if any, a photo's scale is worked out with."""

from __future__ import annotations

from dataclasses import dataclass, replace

from vision.camera_profile import CameraProfile, difference, key_of
from vision.camera_use import Refused, with_profile
from vision.errors import PhotoError
from vision.photo import Photo
from vision.scale import Scale


@dataclass(frozen=True)
class Cameras:
    """The profiles to choose from; ``named``: the user named the one profile, so it must fit."""

    profiles: tuple[CameraProfile, ...]
    named: bool = False


NO_CAMERAS = Cameras(())


def choose_camera(scale: Scale, photo: Photo, cameras: Cameras) -> Scale:
    """Use the newest profile of the photo's camera; one of the user's own naming must fit or the photo is refused.

    A kept profile whose lens does not fit the corners is left out, and ``profile_refused`` says why. A photo that records no
    make and no model matches no kept profile by itself. Raises PhotoError 'camera-profile'.
    """
    size = (photo.width_px, photo.height_px)
    key = key_of(photo.camera, *size)
    if cameras.named:
        made = with_profile(scale, photo.camera, size, cameras.profiles[0])
        if isinstance(made, Refused):
            raise PhotoError("camera-profile", f"{made.why}; or leave --camera out")
        return made
    matching = [one for one in cameras.profiles if difference(one.key, key) is None]
    if not matching or (key.make is None and key.model is None):
        return scale
    newest = max(matching, key=lambda one: one.made_on)
    made = with_profile(scale, photo.camera, size, newest)
    return replace(scale, profile_refused=made.why) if isinstance(made, Refused) else made
