"""Which camera profiles a command works with, from the option --camera."""

from __future__ import annotations

from pathlib import Path

from vision.camera_choice import NO_CAMERAS, Cameras
from vision.camera_file import ENDING, folder, kept_profiles, read_profile
from vision.errors import UsageError


def chosen_cameras(text: str | None) -> Cameras:
    """All kept profiles when nothing is named, none for 'none', else the one named. Raises UsageError."""
    if text is None:
        try:
            return Cameras(tuple(profile for _, profile in kept_profiles()))
        except UsageError as error:
            raise UsageError(f"{error}; until then name another profile with --camera, or 'none'") from error
    return NO_CAMERAS if text == "none" else Cameras((read_profile(named_profile(text)),), named=True)


def named_profile(text: str) -> Path:
    """The file of a profile given by its path or by the name it is kept under. Raises UsageError naming those kept."""
    if Path(text).is_file():
        return Path(text)
    kept = folder() / f"{text}{ENDING}"
    if kept.is_file():
        return kept
    names = [path.name.removesuffix(ENDING) for path in sorted(folder().glob(f"*{ENDING}"))]
    have = (
        f"kept are {', '.join(names)}" if names else "none is kept: 'flutegauge camera calibrate PHOTOS...' makes one"
    )
    raise UsageError(f"found no camera profile '{text}', neither as a file nor by name; {have}")
