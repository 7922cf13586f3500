"""From px to mm at the instrument's own height, against points projected by OpenCV's pinhole camera."""

import cv2
import numpy as np
import pytest

from vision.camera import stand
from vision.edges import Edges
from vision.place import rim_shift_mm, to_profile
from vision.pose import ON_PLANE, Height
from vision.quantity import Quantity
from vision.scale import Camera, Scale
from vision.strip import Strip, normals

WIDTH_PX, HEIGHT_PX, F35_MM = 4000, 3000, 26.0
FOCAL_PX = WIDTH_PX * F35_MM / 36.0
CENTRE_PX = ((WIDTH_PX - 1) / 2.0, (HEIGHT_PX - 1) / 2.0)
LENGTH_MM, HANDLE_RADIUS_MM = 25.0, 1.9
TIP_MM = np.array([60.0, 80.0])  # where the tip lies on the page; the instrument runs along page x


class View:
    """A pinhole camera over the page, in OpenCV's own terms: page x right, y down, so a height h is z = -h."""

    def __init__(self, height_mm, over_mm, tilt_deg=0.0, turn_deg=0.0):
        turn = cv2.Rodrigues(np.radians([0.0, 0.0, turn_deg]))[0]
        self.rotation = cv2.Rodrigues(np.radians([tilt_deg, 0.0, 0.0]))[0] @ turn
        place = np.array([*over_mm, -height_mm])
        self.shift = -self.rotation @ place
        self.matrix = np.array([[FOCAL_PX, 0, CENTRE_PX[0]], [0, FOCAL_PX, CENTRE_PX[1]], [0, 0, 1]])

    def px(self, x, y, height):
        points = np.column_stack([np.broadcast_to(v, np.shape(x)) for v in (x, y, -np.asarray(height))])
        seen, _ = cv2.projectPoints(points, cv2.Rodrigues(self.rotation)[0], self.shift, self.matrix, None)
        return seen.reshape(-1, 2)

    def scale(self):
        homography = self.matrix @ np.column_stack([self.rotation[:, 0], self.rotation[:, 1], self.shift])
        homography /= homography[2, 2]
        camera = stand(homography, CENTRE_PX, WIDTH_PX, F35_MM)
        empty = np.empty((0, 2))
        return Scale(
            homography, 0.0, CENTRE_PX, 2500.0, np.zeros((9, 9)), (0.0, 0.0), None, None, (1.0, 1.0), camera, 0.0, empty
        )


def outline(view, tip_z, handle_z, d0_mm, taper):
    """Both edges of a flat tapered strip that rises from tip to handle, and the columns of tip, 16 mm and handle."""
    along = np.linspace(-0.5, LENGTH_MM + 0.5, 5201)
    slope = (handle_z - tip_z) / LENGTH_MM
    x, z = TIP_MM[0] + along * np.sqrt(1.0 - slope**2), tip_z + slope * along
    half = (d0_mm + taper * along) / 2.0
    dense, up, low = (view.px(x, TIP_MM[1] + s * half, z) for s in (0, 1, -1))
    length = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(dense, axis=0), axis=1))])
    at = np.arange(0.0, length[-1])
    axis = np.column_stack([np.interp(at, length, dense[:, k]) for k in (0, 1)])
    direction = (dense[-1] - dense[0]) / np.linalg.norm(dense[-1] - dense[0])
    across = np.array([-direction[1], direction[0]])
    offset = [np.interp(at, (e - dense[0]) @ direction, (e - dense[0]) @ across) for e in (up, low)]
    strip = Strip(np.zeros((3, len(at)), np.float32), axis, normals(axis), np.ones(len(at), bool))
    edges = Edges(strip, offset[0], offset[1], np.ones((2, len(at))), 1.0, 1.0)
    return edges, np.interp([0.0, 16.0, LENGTH_MM], along, length)


def read(view, seen, height):
    """What the profile says: D0, diameter at the true 16 mm station, taper over 2 to 20 mm, length."""
    edges, (tip, at_16, front) = seen
    profile = to_profile(edges, view.scale(), height, tip, front)
    width = profile.upper_mm - profile.lower_mm
    part = (profile.x_mm > 2.0) & (profile.x_mm < 20.0)
    taper, d0 = np.polyfit(profile.x_mm[part], width[part], 1)
    length = float(np.interp(front, profile.column, profile.x_mm))
    return d0, float(np.interp(at_16, profile.column, width)), taper, length


def exactly(tip_z, handle_z):
    return Height(tip_z, handle_z, 0.0, 0.0, 0.0, "known")


HOVERING = {30: 6.8, 40: 5.0, 80: 2.4, 120: 1.6, 250: 0.8}  # per cent; closed form z/(Z - z) at z = 1.9 mm


@pytest.mark.parametrize(("height_mm", "percent"), HOVERING.items(), ids=str)
def test_a_hovering_shaft_reads_large(height_mm, percent):
    """A shaft level at 1.9 mm that is taken to lie on the paper reads z/(Z - z) large: 5.0 % from 40 mm away."""
    view = View(height_mm, TIP_MM + [LENGTH_MM / 2, 0.0])
    seen = outline(view, HANDLE_RADIUS_MM, HANDLE_RADIUS_MM, 0.60, 0.02)
    d0, d16, taper, length = read(view, seen, ON_PLANE)
    factor = height_mm / (height_mm - HANDLE_RADIUS_MM)

    assert 100.0 * (factor - 1.0) == pytest.approx(percent, abs=0.05)
    assert d0 == pytest.approx(0.60 * factor, abs=1e-4)
    assert d16 == pytest.approx(0.92 * factor, abs=1e-4)
    assert taper == pytest.approx(0.02, abs=1e-5)  # a ratio: not magnified
    assert length == pytest.approx(LENGTH_MM * factor, abs=1e-3)


@pytest.mark.parametrize("height_mm", HOVERING)
@pytest.mark.parametrize(("tip_z", "handle_z"), [(1.9, 1.9), (0.125, 1.9), (0.3, 0.3)])
@pytest.mark.parametrize(("tilt_deg", "turn_deg"), [(0.0, 0.0), (6.0, 35.0), (-8.0, 110.0)])
def test_a_known_height_gives_the_true_size(height_mm, tip_z, handle_z, tilt_deg, turn_deg):
    """With the height known, level or rising, diameter, taper and length come back from any view up to 8 degrees."""
    view = View(height_mm, TIP_MM + [LENGTH_MM / 2, 0.0], tilt_deg, turn_deg)
    seen = outline(view, tip_z, handle_z, 0.25, 0.02)
    d0, d16, taper, length = read(view, seen, exactly(tip_z, handle_z))

    # Height is taken to grow evenly along the columns; perspective bends that a little: 1.4 µm at 30 mm and 8 degrees.
    assert d0 == pytest.approx(0.25, abs=2e-3)
    assert d16 == pytest.approx(0.25 + 0.32, abs=2e-3)
    assert taper == pytest.approx(0.02, rel=5e-3)
    assert length == pytest.approx(LENGTH_MM, abs=2e-3)


TIPPED = {30: (25, 25.8), 40: (18.5, 25.6), 80: (9, 25.25), 120: (6, 25.14), 250: (3, 25.03)}


@pytest.mark.parametrize(("height_mm", "expected"), TIPPED.items(), ids=str)
def test_a_shaft_resting_on_its_tip_gains_taper(height_mm, expected):
    """A size 25 with its tip on the paper and its handle 1.9 mm up reads thick toward the handle, long, and steep."""
    view = View(height_mm, TIP_MM + [LENGTH_MM / 2, 0.0])
    d0, d16, taper, length = read(view, outline(view, 0.125, HANDLE_RADIUS_MM, 0.25, 0.02), ON_PLANE)
    rise_at_16 = 0.125 + 16.0 * (HANDLE_RADIUS_MM - 0.125) / LENGTH_MM

    assert 1e3 * 0.57 * rise_at_16 / (height_mm - rise_at_16) == pytest.approx(expected[0], abs=0.5)  # closed form
    assert 1e3 * (d16 - 0.57) == pytest.approx(expected[0], abs=1.0)
    assert length == pytest.approx(expected[1], abs=0.05)
    assert d0 == pytest.approx(0.25, abs=2e-3)
    assert taper > 0.02


def test_uncertain_height_is_uncertain_size():
    """The relative u of every width is that of 1 - z/Z: u(z)/Z and z/Z u(Z)/Z in quadrature (JCGM 100:2008, 5.1.2)."""
    view = View(48.0, TIP_MM + [LENGTH_MM / 2, 0.0])
    height = Height(0.8, 2.0, 0.4, 0.1, 0.3, "carried")
    edges, (tip, _, front) = outline(view, 0.8, 2.0, 0.25, 0.02)
    profile = to_profile(edges, view.scale(), height, tip, front)
    draw = np.random.default_rng(8)
    ends = draw.multivariate_normal([0.8, 2.0], [[0.16, 0.3 * 0.04], [0.3 * 0.04, 0.01]], 40_000)
    distance = draw.normal(48.0, view.scale().camera.height_mm.u, len(ends))
    simulated = float((1.0 - (0.6 * ends[:, 0] + 0.4 * ends[:, 1]) / distance).std())

    assert profile.magnification_u == pytest.approx(simulated, rel=0.03)


def test_a_stated_scale_is_taken_as_it_stands():
    """With a scale stated at the instrument (camera at infinity) px over px/mm is mm, with nothing added for height."""
    axis = np.column_stack([np.arange(400.0) + 50.0, np.full(400, 80.0)])
    far = Camera((0.0, 0.0), Quantity(1e9, 0.0), 0.0, height_known=False)
    scale = Scale(
        np.diag([20.0, 20.0, 1.0]), 0.0, CENTRE_PX, 2500.0, np.zeros((9, 9)), (0, 0), None, None, (1, 1), far, 0.0, axis
    )
    strip = Strip(np.zeros((3, 400), np.float32), axis, normals(axis), np.ones(400, bool))
    upper = np.where(np.arange(400) == 7, np.nan, 6.0)
    profile = to_profile(
        Edges(strip, upper, np.full(400, -4.0), np.ones((2, 400)), 1.0, 1.0), scale, ON_PLANE, 100.0, 390.0
    )

    assert profile.x_mm == pytest.approx((np.arange(400.0) - 100.0) / 20.0)
    assert np.flatnonzero(np.isnan(profile.upper_mm)).tolist() == [7]  # a gap stays a gap
    assert np.nanmedian(profile.upper_mm) == pytest.approx(0.30)
    assert profile.lower_mm == pytest.approx(-0.20)
    assert profile.px_per_mm == pytest.approx(20.0)
    assert profile.magnification_u == 0.0
    assert profile.column_at(1.0) == pytest.approx(120.0)


@pytest.mark.parametrize("height_mm", [30, 60, 150])
@pytest.mark.parametrize("off_mm", [-20.0, 6.0, 12.5, 20.0])
def test_the_rim_of_a_disc_is_met_before_its_middle(height_mm, off_mm):
    """A handle's front, seen at a slant, is first met this far before its middle: against a circle projected point by point."""
    z, radius, seen_from = 1.9, 1.95, 0.3
    view = View(height_mm, TIP_MM + [LENGTH_MM - off_mm, 0.0])
    scale = view.scale()
    turn = np.linspace(0.0, 2.0 * np.pi, 3601)
    front = TIP_MM[0] + LENGTH_MM
    rim = view.px(np.full_like(turn, front), TIP_MM[1] + radius * np.sin(turn), z + radius * np.cos(turn))
    at, toward = view.px(np.array([front, front + 1.0]), TIP_MM[1], z)
    # Where each point of the rim seems to lie if it is taken to be at the axis's own height.
    foot = np.asarray(scale.camera.foot_mm)
    seen = foot + (scale.to_plane_mm(rim) - foot) * (1.0 - z / height_mm)
    near = np.abs(np.abs(seen[:, 1] - TIP_MM[1]) - seen_from) < 0.02
    first = seen[near, 0].min()
    shift = rim_shift_mm(scale, at, toward, radius, seen_from, z)

    # The closed form is of first order: parts of r/(Z - z) and z/(Z - z) of itself are left out.
    assert shift == pytest.approx(front - first, rel=(radius + z) / (height_mm - z - radius))
    assert shift > 0.0
    assert rim_shift_mm(scale, at, toward, radius, radius, z) == pytest.approx(0.0, abs=1e-9)


def test_seen_from_straight_above_a_disc_shows_no_rim():
    """With the camera above the handle's front, its face is seen edge on and nothing is added."""
    view = View(40.0, TIP_MM + [LENGTH_MM, 0.0])
    at, toward = view.px(np.array([TIP_MM[0] + LENGTH_MM, TIP_MM[0] + LENGTH_MM + 1.0]), TIP_MM[1], 1.9)

    assert rim_shift_mm(view.scale(), at, toward, 1.95, 0.3, 1.9) == pytest.approx(0.0, abs=1e-6)
