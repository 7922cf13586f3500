"""Stage 2 entry: Photo -> Scale, or one clear sentence why this photo has none."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np

from calib.prints import load, other_revisions
from vision.camera import stand
from vision.camera_choice import NO_CAMERAS, Cameras, choose_camera
from vision.errors import PhotoError
from vision.flatness import checked_sheet
from vision.focal import Doubt
from vision.markers import Seen, find_markers, foreign_markers, sheets_of
from vision.photo import Photo
from vision.quantity import Quantity
from vision.scale import Camera, GivenScale, Scale
from vision.sheetfit import fit_sheet, lens_centre


def find_scale(photo: Photo, *, given: GivenScale | None, prints: Path | None, cameras: Cameras = NO_CAMERAS) -> Scale:
    """Find the scale of a photo from the sheet in it, or take the stated one; ``cameras``: the profiles to choose from.

    Raises PhotoError: 'camera-profile', 'no-sheet', 'foreign-sheet', 'two-sheets', 'scrambled-sheet', 'sheet-too-little'.
    """
    if given is not None:
        return _stated(photo, given)
    grey = cv2.cvtColor(photo.rgb, cv2.COLOR_RGB2GRAY)
    seen = find_markers(np.asarray(grey, dtype=np.uint8))
    if not seen:
        raise _no_sheet(np.asarray(grey, dtype=np.uint8))
    _refuse_two(seen)
    sheet, ours = max(sheets_of(seen).values(), key=lambda group: len(group[1]))
    paper = load(sheet.id, prints)
    fit = fit_sheet(np.asarray(grey, dtype=np.uint8), sheet, ours, paper)
    centre, radius = lens_centre(photo.rgb.shape)
    doubt = Doubt(fit.covariance, max(paper.u_x, paper.u_y))
    camera = stand(fit.homography, centre, max(photo.rgb.shape[:2]), photo.camera.f35_mm, doubt)
    scale = Scale(
        homography=fit.homography,
        k1=fit.k1,
        centre_px=centre,
        radius_px=radius,
        covariance=fit.covariance,
        print_u=(paper.u_x, paper.u_y),
        print_checked=paper.checked,
        sheet=sheet,
        print_scale=(paper.scale_x, paper.scale_y),
        camera=camera,
        residual_px=fit.residual_px,
        saddles_mm=fit.saddles_mm,
        saddles_px=fit.saddles_px,
    )
    scale = checked_sheet(scale, photo.camera.f35_mm, (photo.width_px, photo.height_px))
    scale = replace(scale, warnings=(*scale.warnings, *_of_another(sheet.id, prints)))
    return choose_camera(scale, photo, cameras)


def _of_another(sheet_id: str, prints: Path | None) -> list[str]:
    others = other_revisions(sheet_id, prints)
    if not others:
        return []
    return [
        f"the print that was checked is of sheet {' and '.join(others)}, this photo shows {sheet_id}: the check was not used; measure "
        f"this print's check lines and run 'flutegauge sheet check --sheet {sheet_id}'"
    ]


def _stated(photo: Photo, given: GivenScale) -> Scale:
    """Wrap a stated px/mm: it is the scale AT the instrument, so no height correction is due (camera at infinity)."""
    centre, radius = lens_centre(photo.rgb.shape)
    relative = given.u / given.px_per_mm
    return Scale(
        homography=np.diag([given.px_per_mm, given.px_per_mm, 1.0]),
        k1=0.0,
        centre_px=centre,
        radius_px=radius,
        covariance=np.zeros((9, 9)),
        print_u=(relative, relative),
        print_checked=None,
        sheet=None,
        print_scale=(1.0, 1.0),
        camera=Camera((0.0, 0.0), Quantity(1e9, 0.0), 0.0, height_known=False),
        residual_px=0.0,
        saddles_mm=np.empty((0, 2)),
    )


def _refuse_two(seen: list[Seen]) -> None:
    groups = sheets_of(seen)
    strong = [name for name, (_, members) in groups.items() if len(members) >= 3]
    ids = [one.id for one in seen]
    doubled = len(ids) - len(set(ids))
    if len(strong) > 1 or doubled >= 2:
        named = " and ".join(sorted(strong)) if len(strong) > 1 else f"two copies of {strong[0] if strong else 'one'}"
        raise PhotoError(
            "two-sheets", f"this photo shows {named}; needs exactly one scale sheet: take one away and photograph again"
        )


def _no_sheet(grey: np.ndarray[tuple[int, ...], np.dtype[np.uint8]]) -> PhotoError:
    strange = foreign_markers(grey)
    if strange >= 2:
        return PhotoError(
            "foreign-sheet",
            f"found {strange} markers of somebody else's sheet and none of ours: lay the instrument on a sheet "
            "printed by 'flutegauge sheet'",
        )
    return PhotoError(
        "no-sheet",
        "found no marker of the scale sheet, and no scale was stated: lay the instrument on a sheet printed by "
        "'flutegauge sheet', in focus, or state the scale with --px-per-mm",
    )
