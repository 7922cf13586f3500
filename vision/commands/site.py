"""Which verification on site stands beside a reading."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

from vision.errors import UsageError
from vision.net import versions
from vision.reading import PhotoReading
from vision.report.document import version
from vision.verification_file import Circumstances, site_check


def circumstances(reading: PhotoReading, held: bool) -> Circumstances:
    """With what a reading was made."""
    models = ", ".join(f"{name} {sha.removeprefix('sha256:')[:12]}" for name, sha in sorted(versions().items()))
    profile = reading.scale.camera_profile if reading.scale is not None else None
    return Circumstances(profile, f"flutegauge {version()}", models, held)


def with_site_check(reading: PhotoReading, *, held: bool) -> PhotoReading:
    """The reading with the verification that speaks of its set-up; a damaged file becomes a note, the numbers stand."""
    if reading.error is not None:
        return reading
    try:
        return replace(reading, site_check=site_check(circumstances(reading, held), dt.date.today()))
    except UsageError as error:
        return replace(reading, notes=(*reading.notes, str(error)))
