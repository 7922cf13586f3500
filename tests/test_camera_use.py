"""A camera profile from six photos of the sheet, used on others: height known, other settings and other lenses refused."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from command_line import status_of, usage_error
from sheet_photos import TOUR, Lean, save_view
from test_scale import CENTRE_PX, FOCAL_PX, GRID_PX, UM

from calib.prints import UNCHECKED_U
from vision.camera_choice import NO_CAMERAS, Cameras
from vision.camera_file import ENDING, profile_text, read_profile
from vision.camera_use import Refused, with_profile
from vision.errors import PhotoError, UsageError
from vision.findscale import find_scale
from vision.photo import load_photo
from vision.reading import PhotoReading

NOWHERE = "no/such/print-checks.json"
STEEP = Lean(32.0, tilt_deg=14.0, turn_deg=20.0, over_mm=(90.0, 120.0), lean_deg=30.0)


@pytest.fixture(scope="module")
def desk(tmp_path_factory):
    """A settings folder with the profile 'desk', made by the command from six photos, and the folder of the photos."""
    place = tmp_path_factory.mktemp("desk")
    photos = [save_view(place / f"v{number}.jpg", view) for number, view in enumerate(TOUR)]
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("platformdirs.user_config_path", lambda name, **_: place / name)
        assert status_of("camera", "calibrate", *photos, "--name", "desk", "--picture", place / "pictures") == 0
    return place


@pytest.fixture
def settings(desk, monkeypatch):
    monkeypatch.setattr("platformdirs.user_config_path", lambda name, **_: desk / name)
    return desk


def kept(desk):
    return desk / "flutegauge" / "cameras" / f"desk{ENDING}"


def scale_of(path, cameras):
    return find_scale(load_photo(path), given=None, prints=None, cameras=cameras)


def test_six_photos_give_the_lens(desk):
    """Focal length within 2 u of the camera's own and known to 0.3 %; corners miss by hundredths of a px; nothing missing."""
    profile = read_profile(kept(desk))

    assert abs(profile.focal_px.value - FOCAL_PX) < 2.0 * profile.focal_px.u
    assert profile.focal_px.u / FOCAL_PX < 0.003
    assert profile.k1.value == pytest.approx(0.02, abs=2.0 * profile.k1.u)
    assert profile.residual_px < 0.1
    assert profile.advice == ()
    assert {path.name for path in (desk / "pictures").iterdir()} == {"camera-residuals.png", "camera-coverage.png"}


@pytest.mark.parametrize("view", [Lean(40.0, tilt_deg=4.0, turn_deg=30.0), STEEP], ids=["square-on", "tilted"])
def test_height_and_foot_of_another_photo(settings, view):
    """The camera's height comes back within 2 u, several times surer than by the photo's record; the mapping stays right."""
    path = save_view(settings / "other.jpg", view)
    profile = read_profile(kept(settings))
    known, guessed = scale_of(path, Cameras((profile,))), scale_of(path, NO_CAMERAS)
    place = view.place()

    assert known.profile == "desk"
    assert guessed.profile is None
    height = known.camera.height_mm
    assert abs(height.value - abs(place[2])) < 2.0 * height.u
    lens_u, print_u = (u for _, u in height.parts)
    assert lens_u < 0.01 * height.value < 0.3 * guessed.camera.height_mm.u
    assert print_u == pytest.approx(UNCHECKED_U * height.value)
    assert known.camera.foot_mm == pytest.approx(tuple(place[:2]), abs=0.6)
    assert known.camera.tilt_deg == pytest.approx(abs(view.tilt_deg), abs=0.5)
    assert np.abs(known.to_plane_mm(GRID_PX) - view.page_mm(GRID_PX)).max() < 4.0 * UM
    assert known.px_per_mm_at(CENTRE_PX).value == pytest.approx(guessed.px_per_mm_at(CENTRE_PX).value, rel=1e-3)


@pytest.mark.parametrize("orientation", [3, 6])
def test_a_photo_stored_turned_is_the_same_camera(settings, orientation):
    """Half a turn takes the lens's centre with it; where the sensor's frame is another one, its place counts as unsure."""
    path = save_view(settings / "turned.jpg", STEEP, orientation=orientation)
    scale = scale_of(path, Cameras((read_profile(kept(settings)),), named=True))

    assert scale.camera.height_mm.value == pytest.approx(abs(STEEP.place()[2]), rel=0.01)


def test_other_zoom_is_not_used_and_named_it_is_refused(settings):
    path = save_view(settings / "zoomed.jpg", STEEP, zoom=2.0)
    profile = read_profile(kept(settings))

    assert scale_of(path, Cameras((profile,))).profile is None
    with pytest.raises(PhotoError) as caught:
        scale_of(path, Cameras((profile,), named=True))
    assert caught.value.kind == "camera-profile"
    assert "digital zoom is 2, the profile's 1" in caught.value.message


def test_a_lens_that_does_not_fit_is_refused_with_both_numbers(settings):
    """The corners of a tilted view contradict a focal length that is 6 % too long; the record is used instead, and it is said."""
    path = save_view(settings / "lens.jpg", STEEP)
    profile = read_profile(kept(settings))
    wrong = replace(profile, focal_px=replace(profile.focal_px, value=1.06 * profile.focal_px.value))
    scale = scale_of(path, Cameras((wrong,)))

    assert scale.profile is None
    assert scale.profile_refused is not None
    found, most = (
        float(word.strip(","))
        for word in scale.profile_refused.split()
        if word.strip(",").replace(".", "").isdigit() and "." in word
    )
    assert found > most == pytest.approx(16.3, abs=0.05)  # chi-square, 3 degrees of freedom, 0.1 % (any table)


def test_other_picture_size_says_both(settings):
    photo = load_photo(save_view(settings / "size.jpg", STEEP))
    profile = read_profile(kept(settings))
    scale = scale_of(settings / "size.jpg", NO_CAMERAS)
    refused = with_profile(scale, photo.camera, (640, 480), profile)

    assert isinstance(refused, Refused)
    assert "640 × 480 px" in refused.why
    assert "1280 × 960 px" in refused.why


def test_the_file_reads_back_as_it_was(settings, tmp_path):
    profile = read_profile(kept(settings))
    again = tmp_path / "again.toml"
    again.write_text(profile_text(profile), encoding="utf-8")

    assert read_profile(again) == profile


@pytest.mark.parametrize(
    ("harm", "said"),
    [
        (lambda text: text[:-6], "cannot be read"),
        (lambda text: text.replace("camera/1", "camera/9"), "flutegauge-camera/9"),
        (lambda text: text.replace("focal_px_u", "focal_px_v"), "no field 'focal_px_u'"),
        (lambda text: text.replace("k1_u = 0", "k1_u = -9"), "damaged"),
        (lambda text: text.replace("[1.0, ", "[5.0, ", 1), "correlation"),
    ],
)
def test_a_damaged_file_says_what_is_wrong(settings, tmp_path, harm, said):
    path = tmp_path / "harmed.camera.toml"
    path.write_text(harm(kept(settings).read_text(encoding="utf-8")), encoding="utf-8")
    with pytest.raises(UsageError) as caught:
        read_profile(path)

    assert said in str(caught.value)


def test_a_damaged_kept_file_stops_no_one_who_names_another(settings, monkeypatch, capsys):
    path = settings / "flutegauge" / "cameras" / f"broken{ENDING}"
    path.write_text("broken", encoding="utf-8")
    monkeypatch.setattr(
        "vision.commands.measure.read_photo", lambda *_, **__: PhotoReading("v0.jpg", ("no-sheet", "x"), None)
    )
    said = usage_error(capsys, "measure", settings / "v0.jpg")
    assert "broken.camera.toml cannot be read" in said
    assert "or 'none'" in said
    assert status_of("measure", settings / "v0.jpg", "--camera", "none") == 2
    path.unlink()


@pytest.mark.usefixtures("settings")
def test_list_and_show(capsys):
    assert status_of("camera", "list") == 0
    assert "desk: Invented T1, 1280 × 960 px, focal length to 0.2" in capsys.readouterr().out
    assert status_of("camera", "show", "desk") == 0
    shown = capsys.readouterr().out
    assert "made from        6 photos" in shown
    assert "print            NOT checked" in shown


def test_wrong_use_is_one_sentence(settings, tmp_path, capsys):
    photos = [settings / f"v{number}.jpg" for number in range(3)]
    stranger = save_view(tmp_path / "stranger.jpg", TOUR[0], model="T2")

    assert "at least 3 photos of the sheet, has 2" in usage_error(capsys, "camera", "calibrate", *photos[:2])
    said = usage_error(capsys, "camera", "calibrate", *photos[:2], stranger)
    assert "stranger.jpg is not of one camera and zoom with v0.jpg" in said
    before = kept(settings).read_bytes()
    assert "exists already" in usage_error(capsys, "camera", "calibrate", *photos, "--name", "desk")
    assert kept(settings).read_bytes() == before
    assert "kept are desk" in usage_error(capsys, "camera", "show", "chair")
    assert "found no camera profile 'chair'" in usage_error(capsys, "measure", photos[0], "--camera", "chair")


@pytest.mark.usefixtures("settings")
def test_views_from_above_alone_are_refused_with_what_is_missing(tmp_path, capsys):
    flat = [
        save_view(tmp_path / f"flat{number}.jpg", Lean(26.0 + number, tilt_deg=0.3, turn_deg=70.0 * number))
        for number in range(3)
    ]
    said = usage_error(capsys, "camera", "calibrate", *flat, "--out", tmp_path / "flat.toml")

    assert "needs 4 % or better" in said
    assert "no view tilted by 15 deg or more to the left" in said
    assert not (tmp_path / "flat.toml").exists()
