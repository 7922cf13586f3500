"""A camera profile from rendered photos, with noise, JPEG and an instrument in the way: the lens and the height of another one.

The renderer is the project's own but shares no measuring code with it; its truth is exact.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from command_line import status_of

from samples.photo import write
from samples.population import draw_macro
from vision.camera_choice import NO_CAMERAS, Cameras
from vision.camera_file import read_profile
from vision.findscale import find_scale
from vision.photo import load_photo

SIZE_PX, F35_MM, K1, SEED = (1200, 900), 26.0, 0.008, 4102
FOCAL_PX = SIZE_PX[0] * F35_MM / 36.0
# px/mm, tilt, toward, turn of the picture: tilted four ways about the camera's own axes, nearer and further
VIEWS = ((24.0, 20.0, 0.0, 10.0), (30.0, 18.0, 170.0, 60.0), (24.0, 20.0, 100.0, 200.0), (28.0, 16.0, 280.0, 290.0))


@pytest.fixture(scope="module")
def photos(tmp_path_factory):
    place = tmp_path_factory.mktemp("renders")
    scene = draw_macro(SEED, "k-file", "flat", 24.0, size=25, preset="phone-12mp", light="overcast", image_px=SIZE_PX)
    camera = replace(scene.camera, f35_mm=F35_MM, k1=K1, chroma_px=0.2, tilt_deg=3.0, tilt_to_deg=200.0)
    write(replace(scene, camera=replace(camera, px_per_mm=38.0), supersample=2), place / "other.jpg")
    for number, (scale, tilt, to, turn) in enumerate(VIEWS):
        view = replace(camera, px_per_mm=scale, tilt_deg=tilt, tilt_to_deg=to, turn_deg=turn)
        # Here the instrument only lies in the way of the sheet.
        write(replace(scene, camera=view, blocker=None, supersample=2), place / f"view{number}.jpg")
    return place, replace(camera, px_per_mm=38.0)


def test_lens_and_height_from_rendered_photos(photos):
    place, camera = photos
    target = place / "phone.toml"
    views = [place / f"view{number}.jpg" for number in range(len(VIEWS))]
    assert status_of("camera", "calibrate", *views, "--out", target) == 0
    profile = read_profile(target)

    assert profile.focal_px.u / profile.focal_px.value < 0.01
    # The renderer's focal length does not grow with focus; the profile's may, within its own u.
    assert abs(profile.focal_px.value - FOCAL_PX) < 2.5 * profile.focal_px.u
    assert abs(profile.k1.value - K1) < 2.5 * profile.k1.u
    photo = load_photo(place / "other.jpg")
    known, guessed = (find_scale(photo, given=None, prints=None, cameras=c) for c in (Cameras((profile,)), NO_CAMERAS))
    height = float(camera.position[2])
    assert known.profile == "phone"
    assert abs(known.camera.height_mm.value - height) < 2.0 * known.camera.height_mm.u
    assert known.camera.height_mm.u < 0.4 * guessed.camera.height_mm.u
    assert np.hypot(*(np.array(known.camera.foot_mm) - camera.position[:2])) < 1.0
