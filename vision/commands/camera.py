"""`flutegauge camera`: works out, lists and shows camera profiles. No measuring happens here."""

from __future__ import annotations

import argparse
import re
from pathlib import Path

import numpy as np
from rich.console import Console

from calib.errors import CalibError
from vision.camera_file import ENDING, folder, kept_profiles, profile_text, read_profile
from vision.camera_profile import CameraKey, CameraProfile, difference, growth_prior, key_of, profile_of
from vision.camera_use import saddle_view
from vision.camera_views import Seen, advice, what_was_seen
from vision.commands.camera_choice import named_profile
from vision.commands.outputs import new_file, picture_folder, write_text
from vision.commands.progress import waiting
from vision.errors import PhotoError, UsageError
from vision.findscale import find_scale
from vision.focal import FULL_FRAME_MM, USUAL_F35_MM
from vision.lens import View, turn_upright
from vision.lens_fit import LensFit, Priors, fit_lens
from vision.photo import Photo, load_photo
from vision.quantity import Quantity, rounded
from vision.report.document import version
from vision.scale import Scale

LEAST_PHOTOS = 3  # two give the focal length; the third tells whether they agree
WORST_F = 0.04  # what a photo's own record is good for
PICTURES = ("camera-residuals.png", "camera-coverage.png")
Taken = tuple[Photo, Scale]


def calibrate(arguments: argparse.Namespace) -> int:
    """Work out a profile from photos of the sheet and keep it; return the exit status."""
    photos: list[Path] = arguments.photos
    if len(photos) < LEAST_PHOTOS:
        raise UsageError(
            f"a camera profile needs at least {LEAST_PHOTOS} photos of the sheet, has {len(photos)}: 6 are better"
        )
    if arguments.out is not None:
        new_file(arguments.out, overwrite=arguments.overwrite, inputs=photos)
    if arguments.picture is not None:
        there = [arguments.picture / name for name in PICTURES if (arguments.picture / name).exists()]
        picture_folder(arguments.picture, there, overwrite=arguments.overwrite, inputs=photos)
    console = Console(stderr=True, markup=False, highlight=False, emoji=False)
    taken = []
    for number, photo in enumerate(photos, start=1):
        with waiting(f"reading {photo.name} ({number} of {len(photos)})", console):
            taken.append(take_view(photo, arguments.prints))
    target = _target(arguments, one_camera(taken))
    fit, seen, profile = work_out(taken, target.name.removesuffix(ENDING).removesuffix(".toml"))
    refuse_vague(profile)
    target.parent.mkdir(parents=True, exist_ok=True)
    write_text(target, profile_text(profile), overwrite=arguments.overwrite)
    print(f"kept as {target}")
    print(summary(profile))
    if arguments.picture is not None:
        draw(fit, seen, profile, arguments.picture)
        print(f"pictures: {arguments.picture / PICTURES[0]}, {arguments.picture / PICTURES[1]}")
    return 0


def work_out(taken: list[Taken], name: str) -> tuple[LensFit, Seen, CameraProfile]:
    """Work out a profile under that name from photos of one camera. Raises UsageError where they are of two."""
    key = one_camera(taken)
    fit, sensor_px = _fit(taken, key)
    seen = what_was_seen(fit, sensor_px)
    profile = profile_of(
        fit,
        name=name,
        key=key,
        made_by=f"flutegauge {version()}",
        landscape=sensor_px[0] >= sensor_px[1],
        checked=all(bool(scale.print_checked) for _, scale in taken),
        advice=advice(fit, seen),
    )
    return fit, seen, profile


def list_kept(_: argparse.Namespace) -> int:
    """Print one line a kept profile."""
    kept = kept_profiles()
    for path, profile in kept:
        camera = " ".join(part for part in (profile.key.make, profile.key.model) if part) or "camera not recorded"
        size = "{} × {} px".format(*profile.key.size_px)
        share = 100.0 * profile.focal_px.u / profile.focal_px.value
        print(f"{path.name.removesuffix(ENDING)}: {camera}, {size}, focal length to {share:.2f} %, {profile.made_on}")
    if not kept:
        print(f"no camera profile in {folder()}: 'flutegauge camera calibrate PHOTOS...' makes one")
    return 0


def show(arguments: argparse.Namespace) -> int:
    """Print one profile in words."""
    print(summary(read_profile(named_profile(arguments.profile))))
    return 0


def summary(profile: CameraProfile) -> str:
    """The profile for people, one value a line with its u."""
    key = profile.key
    low, high = profile.px_per_mm_range
    lines = [
        f"camera profile '{profile.name}' of {profile.made_on}, made by {profile.made_by}",
        f"  camera           {' '.join(p for p in (key.make, key.model, key.lens) if p) or 'not recorded'}",
        f"  picture          {key.size_px[0]} × {key.size_px[1]} px"
        + (f", lens {key.focal_mm:g} mm" if key.focal_mm else "")
        + (f", digital zoom {key.digital_zoom:g}" if key.digital_zoom else ""),
        f"  focal length     {_words(profile.focal_px)} px ({100 * profile.focal_px.u / profile.focal_px.value:.2f} %) "
        f"at {profile.at_px_per_mm:.1f} px/mm",
        f"  growth by focus  {_words(profile.growth_mm)} px for each px/mm",
        f"  lens's centre    {_words(profile.centre_x_px)} px right, {_words(profile.centre_y_px)} px below the middle",
        f"  distortion k1    {_words(profile.k1)}",
        f"  made from        {len(profile.photos)} photos, {profile.saddles} corners, {low:.0f} to {high:.0f} px/mm; corners "
        f"miss by {profile.residual_px:.2f} px",
    ]
    if not profile.print_checked:
        lines.append("  print            NOT checked: heights carry up to 1 %; run 'flutegauge sheet check'")
    return "\n".join(lines + [f"  missing          {line}" for line in profile.advice])


def take_view(path: Path, prints: Path | None) -> Taken:
    """Read one photo of the empty sheet. Raises UsageError in one sentence."""
    try:
        photo = load_photo(path)
        return photo, find_scale(photo, given=None, prints=prints)
    except PhotoError as error:
        raise UsageError(f"{path.name}: {error.message}") from error
    except CalibError as error:
        raise UsageError(str(error)) from error


def one_camera(taken: list[Taken]) -> CameraKey:
    """The key that all photos share. Raises UsageError naming the two that differ."""
    keys = [key_of(photo.camera, photo.width_px, photo.height_px) for photo, _ in taken]
    for (photo, scale), key in zip(taken[1:], keys[1:], strict=True):
        unlike = difference(keys[0], key)
        if unlike is not None:
            sides = unlike.replace("the profile's", "the first one's").replace(
                "the profile was made from", "the first has"
            )
            raise UsageError(f"{photo.path.name} is not of one camera and zoom with {taken[0][0].path.name}: {sides}: leave it out")
        if scale.sheet is not taken[0][1].sheet:
            raise UsageError(
                f"{photo.path.name} shows another sheet than {taken[0][0].path.name}: use one print for all"
            )
    return keys[0]


def _fit(taken: list[Taken], key: CameraKey) -> tuple[LensFit, tuple[int, int]]:
    views: list[View] = [saddle_view(scale, photo.camera, photo.path.name) for photo, scale in taken]
    guess = key.size_px[0] * (key.f35_mm or USUAL_F35_MM) / FULL_FRAME_MM
    at = float(np.median([view.px_per_mm for view in views]))
    first, scale = taken[0]
    squeeze_u = float(np.hypot(*scale.print_u))
    fit = fit_lens(views, Priors(growth_prior(key, guess, at), squeeze_u, key.size_px[0], scale.radius_px), guess)
    on_sensor = np.abs(
        turn_upright(first.camera.orientation).T @ np.array([first.width_px, first.height_px], dtype=float)
    )
    return fit, (int(on_sensor[0]), int(on_sensor[1]))


def refuse_vague(profile: CameraProfile) -> None:
    """Raise UsageError, with what is missing, where the focal length is no better known than a photo's own record tells."""
    share = profile.focal_px.u / profile.focal_px.value
    if share > WORST_F:
        most = "; ".join(profile.advice[:2]) or "add tilted views"
        raise UsageError(
            f"these photos give the focal length to {100 * share:.1f} %, needs {100 * WORST_F:.0f} % or better (no better than "
            f"the photo's own record otherwise); nothing was kept: {most}"
        )


def _target(arguments: argparse.Namespace, key: CameraKey) -> Path:
    if arguments.out is not None:
        return Path(arguments.out)
    name = arguments.name or " ".join(p for p in (key.model, f"{key.focal_mm:g}mm" if key.focal_mm else None) if p)
    safe = re.sub(r"[^\w.+-]+", "-", name or "camera").strip("-.") or "camera"
    target = folder() / f"{safe}{ENDING}"
    if target.exists() and not arguments.overwrite:
        raise UsageError(f"{target} exists already: give another --name, or add --overwrite to replace it")
    return target


def draw(fit: LensFit, seen: Seen, profile: CameraProfile, place: Path) -> None:
    """Draw residuals and coverage into a folder."""
    from vision.commands.camera_pictures import draw_coverage, draw_residuals  # noqa: PLC0415 - loads the plotting library

    draw_residuals(fit, profile, place / PICTURES[0])
    draw_coverage(fit, seen, profile, place / PICTURES[1])


def _words(quantity: Quantity) -> str:
    value, u = rounded(quantity)
    return f"{value:g} (u {u:g})"
