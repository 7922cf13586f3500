"""Light, shadows, mirror edges and the sensor's noise against closed forms."""

from dataclasses import replace

import numpy as np
import pytest

from samples.arrays import CPU
from samples.bars import Bar, bars_of
from samples.bodies import place
from samples.camera import Camera
from samples.draw_instrument import draw_instrument
from samples.fresnel import COAT_INDEX, METAL_INDEX, coat_passes, conductor
from samples.instrument import Finish, Instrument
from samples.layers import Fragments, in_front
from samples.light import Backlight, Blocker, Light, Lobe
from samples.lit_sheet import irradiance_of
from samples.lobe import beyond, blurs, facets, in_rectangle
from samples.paper import Paper, _spread_ink
from samples.pose import Pose
from samples.render import render_linear
from samples.scene import Laid, Scene
from samples.sensor import Sensor, add_noise, encode
from samples.shadow import axis_table, light_left, light_rays
from samples.stage import set_stage
from samples.thrown import paths

LANE_Y = 38.3  # the middle of the first lane of sheet A4-1
UNIFORM = Light("uniform", (1.0,) * 3, (1.0,) * 3, ())
DARK_OVERHEAD = Light("dim overhead", (1.0,) * 3, (0.12,) * 3, ())
PHONE = Blocker((50.0, LANE_Y), 0.0, 60.0, (40.0, 40.0), 3.0, (0.02,) * 3)


def wire(f0: float = 0.6, alpha: float = 0.02) -> Instrument:
    """A smooth round wire, 0.8 mm thick, 30 mm long."""
    base = draw_instrument(np.random.default_rng(0), "k-file", 40, 25)
    return replace(
        base,
        family="other",
        cross_section="round",
        twist=None,
        blank_d0_mm=0.8,
        taper_mm_per_mm=0.0,
        blank_length_mm=30.0,
        blank_working_part_mm=29.0,
        shank_width_mm=0.8,
        stop=None,
        tip_kind="cone",
        tip_angle_deg=120.0,
        finish=Finish((f0,) * 3, alpha, 0.0),
    )


def wire_scene(light: Light, paper: float, f0: float = 0.6, alpha: float = 0.02, px_per_mm: float = 150.0) -> Scene:
    """The wire on bare paper in the first lane, seen from straight above, 200 mm away, without blur."""
    size = round(2 * px_per_mm)
    camera = Camera(
        "test",
        48,
        size,
        36 * 200 * px_per_mm / size,
        px_per_mm,
        (50.0, LANE_Y),
        focal_mm=0.001,
        blur_px=0.0,
        vignetting=0.0,
    )
    bare = Paper(white=(paper,) * 3, ink=(paper,) * 3, grain=0.0)
    pose = Pose("flat", 35.0, LANE_Y, 0.401, 0.0)
    return Scene("A4-1", (Laid(wire(f0, alpha), pose),), camera, light, bare, Sensor(), None, supersample=4)


def across(scene: Scene) -> tuple[np.ndarray, np.ndarray]:
    """Position across the wire in radii, and green radiance there, averaged along the wire."""
    linear = render_linear(set_stage(scene, CPU))
    size = scene.camera.height_px
    radii = (np.arange(size) - (size - 1) / 2) / scene.camera.px_per_mm / 0.4 * (200 - 0.4) / 200
    return radii, linear[:, 4:-4, 1].mean(1)


def test_outer_29_percent_of_a_mirror_wire_shows_the_sheet():
    """A normal more than 45 degrees from the view mirrors a direction below the horizon: beyond sin 45 = 0.707 R."""
    y, on_white = across(wire_scene(DARK_OVERHEAD, 0.8))
    _, on_black = across(wire_scene(DARK_OVERHEAD, 0.001))
    on_metal = np.abs(y) < 0.985
    shows_sheet = on_metal & (on_white - on_black > 0.1 * on_white.max())

    assert np.abs(y)[shows_sheet].min() == pytest.approx(np.sqrt(0.5), abs=0.02)
    assert np.all(shows_sheet[on_metal & (np.abs(y) > 0.75)])


def test_first_step_is_small_and_the_strongest_gradient_lies_inside():
    y, level = across(replace(wire_scene(DARK_OVERHEAD, 0.8), blocker=PHONE))
    slope = np.abs(np.diff(level))
    middle = 0.5 * (y[1:] + y[:-1])
    near_edge = np.abs(np.abs(middle) - 1.0) < 0.04
    step = level[(y > 1.03) & (y < 1.06)].mean() - level[(y > 0.92) & (y < 0.96)].mean()

    # The rim mirrors the sheet a little farther out; a normal at 0.94 R leans 70 degrees.
    mirrored = conductor(np.array([0.6]), np.cos(np.radians([70.0])))[0, 0]

    assert step / level[(y > 1.03) & (y < 1.06)].mean() == pytest.approx(1.0 - mirrored, abs=0.05)
    assert 0.6 < abs(middle[slope.argmax()]) < 0.76
    # Mitsuba 3 has 0.54 in this scene (the camera's body moved up to the lens, as large an angle).
    assert slope[near_edge].max() < slope.max() / 1.5


def test_raised_backlight_lights_only_the_outer_2_percent():
    """A patch 0.9 times as wide as its distance: lean above (180 - atan 0.45) / 2 = 77.9 degrees, sin = 0.978."""
    scene = wire_scene(Light("off", (1e-4,) * 3, (1e-4,) * 3, ()), 0.8, alpha=0.001, px_per_mm=600.0)
    window = (36.0, LANE_Y - 3.0, 64.0, LANE_Y + 3.0)
    patch = Backlight((50.0, LANE_Y), (60.0, 45.0), 100.0, (1.0,) * 3, dark=(0.0,) * 3)
    lit = replace(scene, paper=replace(scene.paper, window_mm=window), light=replace(scene.light, backlight=patch))
    y, level = across(lit)
    metal = np.abs(y) < 0.998
    bright = np.abs(y)[metal & (level > 0.3)]

    assert level[np.abs(y) > 1.01].min() > 0.95
    assert bright.min() == pytest.approx(np.sin(np.radians(77.9)), abs=0.004)
    assert level[np.abs(y) < 0.97].max() < 0.02


def test_white_furnace():
    """A perfect mirror and white paper in a room of radiance 1 everywhere show 1 everywhere."""
    linear = render_linear(set_stage(wire_scene(UNIFORM, 1.0, f0=1.0, alpha=0.3), CPU))

    assert np.max(np.abs(linear[..., 1] - 1.0)) < 0.01


def test_uniform_sky_gives_pi():
    grid = irradiance_of(UNIFORM, None, (0.0, 0.0, 10.0, 10.0))

    assert np.allclose(grid.table, np.pi, rtol=0.01)


def test_shadow_of_a_long_bar_is_its_view_factor():
    """Plane element below a long parallel cylinder: F = (r / D) cos(angle to the axis's perpendicular) (handbook form)."""
    rays = light_rays(UNIFORM, None, np.zeros(3), 0.8)
    table = axis_table(rays, np.array([[1.0, 0.0, 0.0]]))
    bar = Bar(np.array([-4000.0, 0.0, 2.0]), np.array([4000.0, 0.0, 2.0]), 0.5, (0.0,) * 3)
    off = np.array([0.0, 0.7, 2.0, 5.0])
    hidden = table.hidden(np.stack([0 * off, off, 0 * off], 1), [bar], [0], None, slice(0, 1))[0, :, 1]
    distance = np.hypot(off, 2.0)

    assert hidden == pytest.approx(0.5 / distance * 2.0 / distance, rel=0.03)


def test_shadow_ends_where_the_bar_ends():
    low = Light("overhead only", (0.0,) * 3, (1.0,) * 3, ())
    rays = light_rays(low, None, np.zeros(3), 0.8)
    bar = [Bar(np.array([0.0, 0.0, 0.3]), np.array([20.0, 0.0, 0.3]), 0.25, (0.0,) * 3)]
    points = np.array([[-3.0, 0.0, 0.0], [10.0, 0.0, 0.0]])
    left = light_left(points, bar, rays)[:, 1]

    assert left[0] > 0.99
    assert left[1] < 0.3


def beside_wire(light: Light, alpha: float, off_mm: np.ndarray, f0: float = 0.6, paper: float = 0.8) -> np.ndarray:
    """Light left on the sheet at distances from the wire's axis, in the middle of its length."""
    placed = place(wire(f0, alpha), Pose("flat", 35.0, LANE_Y, 0.401, 0.0), CPU)
    at = np.stack([0 * off_mm + 50.0, LANE_Y + off_mm, 0 * off_mm], 1)
    return light_left(at, bars_of(placed), light_rays(light, None, np.array([50.0, LANE_Y, 0.0]), paper))[:, 1]


def test_a_perfect_mirror_takes_no_light_from_the_sheet():
    off = np.array([-3.0, -1.0, -0.5, 0.45, 0.6, 2.0])

    assert beside_wire(UNIFORM, 0.1, off, f0=1.0, paper=1.0) == pytest.approx(1.0, abs=2e-3)
    assert np.all(beside_wire(UNIFORM, 0.1, off[1:5], f0=0.6, paper=1.0) < 0.95)


def test_a_wire_throws_light_toward_the_lamp_as_a_cylinder_mirror_does():
    """A beam from 45 degrees meets a cylinder where the normal has the angle v, and leaves at 2 v - 45 degrees: each strip
    r d sin(45 - v) of it falls on a strip dy of black paper. Behind the wire there is no light.
    """
    lamp = Light("lamp", (1e-4,) * 3, (1e-4,) * 3, (Lobe(90.0, 45.0, 4.0, 4.0, 0.5, (50.0,) * 3),))
    off = np.array([0.6, 0.8, 1.2, 1.8])
    toward, away = (beside_wire(lamp, 0.05, side * off, paper=0.0) for side in (1.0, -1.0))
    normal = np.radians(np.linspace(22.0, -20.0, 2000))
    leaves = 2 * normal - np.pi / 4
    lands = 0.4 * np.cos(normal) - (0.401 + 0.4 * np.sin(normal)) / np.tan(leaves)
    crosses = 0.4 * np.sin(np.pi / 4 - normal)
    bright = np.gradient(crosses, lands) * conductor(np.array([0.6]), np.cos(np.pi / 4 - normal))[:, 0]
    order = np.argsort(lands)

    added = np.abs(np.interp(off, lands[order], bright[order])) / np.sin(np.pi / 4)
    assert toward - 1.0 == pytest.approx(added, rel=0.1)
    assert np.all(away[:2] < 0.05)


def test_thrown_rays_obey_the_law_of_reflection():
    """Smooth metal: ray, normal and mirrored ray in one plane, equal angles; and the weights are those of the view factor r h / D^2."""
    way = paths(0.8, 1e-5, False)
    about = np.linspace(0.0, np.pi, way.weight.shape[0])
    slant = np.arccos(way.cosine) * np.where(np.arange(way.cosine.size) < way.cosine.size // 2, -1, 1)
    leaves = way.turn - np.pi + 2 * slant
    normal = leaves + np.pi - slant

    assert np.cos(leaves + np.pi - normal) == pytest.approx(np.cos(way.turn - normal), abs=1e-4)
    assert way.weight.sum(1) == pytest.approx(0.8 * np.sin(about) ** 2, abs=2e-3)


def test_metal_reflectance_has_the_dip_of_a_conductor():
    """Normal incidence R = ((n - 1)^2 + k^2) / ((n + 1)^2 + k^2); at grazing incidence 1; between them p-light dips."""
    f0 = np.array([0.6, 0.7])
    at_normal, dip, grazing = (conductor(f0, np.array([c]))[0] for c in (1.0, np.cos(np.radians(77.0)), 0.0))

    assert at_normal == pytest.approx(f0, abs=1e-9)
    assert np.all(dip < f0)
    assert grazing == pytest.approx(1.0)
    assert conductor(np.array([1.0]), np.linspace(0.0, 1.0, 9)) == pytest.approx(1.0, abs=1e-6)
    # Without absorption it is a dielectric: no p-light is mirrored at Brewster's angle, tan = n.
    n = METAL_INDEX
    bare = conductor(np.array([((n - 1) / (n + 1)) ** 2]), np.array([1 / np.sqrt(1 + n * n)]))[0, 0]
    assert bare == pytest.approx(0.5 * ((n * n - 1) / (n * n + 1)) ** 2, rel=1e-6)


def test_coat_lets_in_what_the_diffuse_fresnel_integral_says():
    """n = 1.5: 9.2 % of diffuse light is mirrored from outside (Egan and Hilgeman 1979; Duntley's integral)."""
    cosine = (np.arange(4000) + 0.5) / 4000
    mean = 2 * np.mean(cosine * coat_passes(cosine)) * (1 - ((COAT_INDEX - 1) / (COAT_INDEX + 1)) ** 2)

    assert mean == pytest.approx(1 - 0.092, abs=5e-4)


def test_lobe_shares_are_those_of_its_density():
    """Against sums over drawn slopes of the GGX law: m = alpha sqrt(u / (1 - u))."""
    rng = np.random.default_rng(3)
    u, turn = rng.random(400_000), rng.random(400_000) * 2 * np.pi
    m = np.sqrt(u / (1 - u))
    x, y = m * np.cos(turn), m * np.sin(turn)

    assert beyond(np, 0.7) == pytest.approx(np.mean(x < 0.7), abs=3e-3)
    inside = np.mean((np.abs(x + 0.3) < 0.5) & (np.abs(y - 1.0) < 0.8))
    assert in_rectangle(np, -0.3, 1.0, 0.5, 0.8) == pytest.approx(inside, abs=3e-3)
    assert sum(weight for weight, _ in blurs(0.1)) == pytest.approx(1.0)
    # Seen from straight above, what falls below the horizon is lost: slopes beyond 45 degrees.
    assert facets(0.28).once[-1] == pytest.approx(1 / (1 + 0.28**2), abs=0.05)
    assert np.all(facets(0.28).once < 1.0)


def test_nearer_metal_stays_in_front():
    """Of two crossing bands each pixel of the overlap shows the nearer one."""

    def band(left: int, top: int, shape: tuple[int, int], depth: np.ndarray) -> Fragments:
        rgba = np.ones((*shape, 4), np.float32)
        return Fragments(left, top, rgba, np.zeros(shape, np.float32), np.broadcast_to(depth, shape).astype(np.float32))

    shaft = band(0, 4, (2, 10), np.linspace(90.0, 99.0, 10))
    handle = band(4, 0, (10, 6), np.array(96.5))
    shown = in_front(shaft, handle)

    assert shown is not None
    assert (shown.left, shown.top, shown.rgba.shape) == (4, 4, (2, 6, 4))
    assert shown.rgba[0, :, 3].tolist() == [1, 1, 1, 0, 0, 0]
    assert in_front(shaft, band(4, 0, (10, 6), np.array(80.0))) is None
    assert in_front(shaft, band(4, 20, (10, 6), np.array(96.5))) is None


def test_noise_variance_follows_the_stated_model():
    """variance = mean / full_well + (read_noise / full_well)^2, the photon transfer curve."""
    sensor = Sensor(full_well=4000.0, read_noise=8.0)
    means = np.array([0.0, 0.1, 0.4, 0.9], np.float32)
    flat = np.broadcast_to(means[:, None], (4, 200_000))
    variance = add_noise(flat, sensor, np.random.default_rng(0)).var(axis=1)

    assert variance == pytest.approx(means / 4000.0 + (8.0 / 4000.0) ** 2, rel=0.02)


def test_tone_curve_is_srgb():
    """IEC 61966-2-1: linear 0.5 is code 0.7354, 0.2140 is 0.5, 0.0031308 is the end of the straight part, 0.04045."""
    codes = encode(np.array([0.5, 0.214041, 0.0031308, 0.0, 1.0], np.float32), 0.0)

    assert codes == pytest.approx([0.735357, 0.5, 0.04045, 0.0, 1.0], abs=2e-4)


def test_ink_spread_moves_straight_edges_and_leaves_saddles():
    image = np.ones((120, 120), np.float32)
    image[:60, :60] = image[60:, 60:] = 0.0
    spread = _spread_ink(image, 2.0)

    # Edges of ink move outward by 2 px ...
    assert (1 - spread[20]).sum() == pytest.approx(62.0, abs=0.15)
    # ... while the meeting point keeps its symmetry under half a turn and a transposition.
    assert np.allclose(spread, spread[::-1, ::-1], atol=1e-4)
    assert np.allclose(spread, spread.T, atol=1e-4)


def test_same_seed_same_picture():
    scene = wire_scene(DARK_OVERHEAD, 0.8, px_per_mm=60.0)

    assert np.array_equal(render_linear(set_stage(scene, CPU)), render_linear(set_stage(scene, CPU)))


def test_hidden_radius_of_a_bar_is_the_mean_radius_of_its_section():
    """A square's mean radius over all directions, R (ln(1 + sqrt 2)) 4 / (pi sqrt 2), and not that of its corners."""
    square = replace(
        wire(), cross_section="square", twist=draw_instrument(np.random.default_rng(0), "k-file", 40).twist
    )
    bars = bars_of(place(replace(square, family="k-file", corner_um=0.5), Pose("flat", 0, 0, 1.0, 0.0), CPU))
    mean = 0.4 * np.log(1 + 2**0.5) * 4 / (np.pi * 2**0.5)

    assert bars[5].radius_mm == pytest.approx(mean, rel=0.01)
