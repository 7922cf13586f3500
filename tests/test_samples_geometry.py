"""The shapes against closed forms and against general-purpose geometry libraries, to 1 um."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
import shapely
import trimesh

from samples.arrays import CPU
from samples.centreline import centreline_of
from samples.draw_damage import with_damage
from samples.draw_instrument import draw_instrument
from samples.instrument import Arc, Instrument, Twist
from samples.iso import handle_profile
from samples.mesh import mesh, turned_mesh
from samples.section import groove_profile, polygon_radius, rhombus_radius
from samples.surface import surface_of
from samples.twist import pitch_mm, twist_rad


def blank(section: str = "square", **changes: object) -> Instrument:
    """A size 40 without scatter: 0.40 mm + 0.02 x, crests 0.6 mm apart, 25 mm long."""
    base = draw_instrument(np.random.default_rng(0), "k-file", 40, 25)
    fixed = replace(
        base,
        cross_section=section,
        blank_d0_mm=0.40,
        taper_mm_per_mm=0.02,
        blank_length_mm=25.0,
        blank_working_part_mm=16.0,
        shank_width_mm=0.72,
        twist=Twist(0.6),
        corner_um=8.0,
        tip_kind="cone",
        tip_angle_deg=75.0,
        stop=None,
    )
    return replace(fixed, **changes)


def boundary_radius(outline: shapely.Geometry, angle: float) -> float:
    """Distance from the origin to a star-shaped outline along one ray, by shapely."""
    ray = shapely.LineString([(0, 0), (5 * np.cos(angle), 5 * np.sin(angle))])
    return max(shapely.get_coordinates(ray.intersection(outline)) @ [np.cos(angle), np.sin(angle)])


@pytest.mark.parametrize(("sides", "corner_mm"), [(3, 0.002), (3, 0.015), (4, 0.008), (4, 0.1)])
def test_polygon_section_is_the_corner_polygon_grown_by_the_corner_radius(sides, corner_mm):
    centres = [
        ((0.2 - corner_mm) * np.cos(a), (0.2 - corner_mm) * np.sin(a)) for a in 2 * np.pi * np.arange(sides) / sides
    ]
    grown = shapely.Polygon(centres).buffer(corner_mm, quad_segs=400).exterior
    angles = np.linspace(0, 2 * np.pi, 97)[:-1] + 0.013
    ours = polygon_radius(np, angles, np.full(96, 0.2), np.full(96, corner_mm), sides)

    theirs = [boundary_radius(grown, a) for a in angles]

    assert np.max(np.abs(ours - theirs)) < 1e-5  # 0.01 um


@pytest.mark.parametrize("ratio", [0.577, 0.7, 0.84])
def test_rhombus_section_is_the_corner_rhombus_grown_by_the_corner_radius(ratio):
    high, low = 0.25 - 0.01, 0.25 * ratio - 0.01
    grown = shapely.Polygon([(high, 0), (0, low), (-high, 0), (0, -low)]).buffer(0.01, quad_segs=400).exterior
    angles = np.linspace(0, 2 * np.pi, 97)[:-1] + 0.007
    ours = rhombus_radius(np, angles, np.full(96, 0.25), np.full(96, 0.01), ratio)

    assert np.max(np.abs(ours - [boundary_radius(grown, a) for a in angles])) < 1e-5


def test_groove_rises_gently_toward_the_handle_and_falls_steeply():
    profile = np.array(groove_profile(0.12, 0.01))
    slope = np.diff(profile)

    assert profile.min() == 0.0
    assert profile.max() == 1.0
    assert -slope.min() / slope.max() == pytest.approx(0.86 / 0.12, rel=0.01)
    assert np.mean(slope > 0) == pytest.approx(0.86, abs=0.002)


@pytest.mark.parametrize("section", ["square", "triangle", "rhombus"])
def test_silhouette_of_a_twisted_blank_follows_the_closed_form(section):
    """Sharp corners, orthographic: the upper edge is R max sin(theta + 2 pi k / n), the projection of the corners."""
    sharp = blank(section, corner_um=0.001, taper_mm_per_mm=0.0, blank_d0_mm=0.5, shank_width_mm=0.5)
    surface = surface_of(sharp, CPU)
    x, phi = np.linspace(3.0, 9.0, 121), np.linspace(0, 2 * np.pi, 7200, endpoint=False)
    radius = surface.radius(np.repeat(x, phi.size), np.tile(phi, x.size)).reshape(x.size, phi.size)
    upper, lower = (radius * np.sin(phi)).max(1), -(radius * np.sin(phi)).min(1)
    theta = twist_rad(sharp, x)
    corners = {"square": [1, 1, 1, 1], "triangle": [1, 1, 1], "rhombus": [1, sharp.rhombus_ratio] * 2}[section]
    angle = theta[:, None] + 2 * np.pi * np.arange(len(corners)) / len(corners)
    height = 0.25 * np.array(corners) * np.sin(angle)

    assert np.max(np.abs(upper - height.max(1))) < 1e-3
    assert np.max(np.abs(lower + height.min(1))) < 1e-3
    assert np.median(np.abs(upper - height.max(1))) < 2e-4


def test_triangle_never_shows_its_full_diameter_and_square_does():
    """Widest chord 1.732 R for a triangle, 2 R for a square (closed forms)."""
    for section, widest in (("triangle", 3**0.5), ("square", 2.0)):
        surface = surface_of(blank(section, corner_um=0.001, taper_mm_per_mm=0.0, blank_d0_mm=0.5), CPU)
        x, phi = np.linspace(3.0, 9.0, 600), np.linspace(0, 2 * np.pi, 2880, endpoint=False)
        y = surface.radius(np.repeat(x, phi.size), np.tile(phi, x.size)).reshape(x.size, -1) * np.cos(phi)

        assert (y.max(1) - y.min(1)).max() / 0.25 == pytest.approx(widest, abs=2e-3)


def test_mesh_volume_of_a_twisted_prism_is_area_times_length():
    """Twist leaves the area of each section alone (Cavalieri); rounded square: (2a)^2 - (4 - pi) r^2 with 2a its width."""
    straight = blank(
        taper_mm_per_mm=0.0, blank_d0_mm=0.5, shank_width_mm=0.5, blank_working_part_mm=6.0, blank_length_mm=3.0,
        runout_mm=0.01, tip_blunt_mm=1.0, corner_um=15.0,
    )  # fmt: skip
    body = trimesh.Trimesh(*mesh(straight, 0.01, 1080), process=False)
    width = 2 * ((0.25 - 0.015) * np.cos(np.pi / 4) + 0.015)
    area = width**2 - (4 - np.pi) * 0.015**2

    assert body.is_watertight
    assert body.volume == pytest.approx(area * 3.0, rel=2e-4)


def test_mesh_cut_across_by_trimesh_gives_the_section():
    instrument = blank("triangle")
    body = trimesh.Trimesh(*mesh(instrument, 0.01, 1440), process=False)
    surface = surface_of(instrument, CPU)
    for x in (2.0, 7.53, 12.0):
        cut = body.section(plane_origin=(x, 0, 0), plane_normal=(1, 0, 0)).vertices
        angle = np.arctan2(cut[:, 2], cut[:, 1])
        ours = surface.radius(np.full(len(cut), x), angle)

        assert np.max(np.abs(np.hypot(cut[:, 1], cut[:, 2]) - ours)) < 1e-3  # 1 um


def test_tip_cone_and_envelope_have_the_stated_size():
    surface = surface_of(blank(), CPU)
    phi = np.linspace(0, 2 * np.pi, 720, endpoint=False)

    def widest(x: float) -> float:
        return 2 * float(surface.radius(np.full(720, x), phi).max())

    # A cone of 75 degrees, blunted to 16 um, then the taper line carried on from D0 at x = 0.
    assert widest(0.1) == pytest.approx(
        2 * 0.1 * np.tan(np.radians(37.5)) + 2 * surface.instrument.tip_blunt_mm, abs=1e-3
    )
    assert widest(5.0) == pytest.approx(0.50, abs=1e-3)
    assert widest(15.0) == pytest.approx(0.70, abs=1e-3)


def test_swing_of_the_crests_has_fallen_to_half_at_the_end_of_the_working_part():
    surface = surface_of(blank(shank_width_mm=0.72), CPU)
    phi = np.linspace(0, 2 * np.pi, 1440, endpoint=False)
    radius = surface.radius(np.full(1440, 16.0), phi)
    full = 0.36 - ((0.36 - 0.008) * np.cos(np.pi / 4) + 0.008)

    assert radius.max() - radius.min() == pytest.approx(full / 2, abs=1e-3)


def test_pitch_is_a_quarter_of_the_lead_for_a_square_and_the_lead_for_a_groove():
    x = np.linspace(0, 16, 321)
    square = blank()
    assert twist_rad(square, x)[-1] - twist_rad(square, x)[0] == pytest.approx(2 * np.pi * 16 / (4 * 0.6))
    groove = replace(blank(), family="hedstroem-file", cross_section="round")
    assert np.allclose(pitch_mm(groove, x, twist_rad(groove, x)), 0.6)


def test_unwinding_takes_out_the_stated_twist_between_the_stated_places():
    x = np.linspace(0, 16, 1601)
    healthy = blank()
    hurt = with_damage(np.random.default_rng(3), healthy, "unwound", 200.0)
    damage = hurt.damage[0]
    lost = np.degrees(
        (twist_rad(healthy, x)[-1] - twist_rad(healthy, x)) - (twist_rad(hurt, x)[-1] - twist_rad(hurt, x))
    )

    assert np.allclose(lost[x <= damage.from_mm], 200.0)
    assert np.allclose(lost[x >= damage.to_mm], 0.0, atol=1e-9)
    assert np.all(np.diff(lost) <= 1e-9)


def test_lost_tip_keeps_the_taper_line_and_shortens_everything():
    healthy = blank()
    broken = with_damage(np.random.default_rng(1), healthy, "tip-lost", 2.5)

    assert broken.d0_mm == pytest.approx(0.45)
    assert broken.length_mm == pytest.approx(22.5)
    assert broken.working_part_mm == pytest.approx(13.5)
    assert np.allclose(twist_rad(broken, np.array([1.0, 4.0])), twist_rad(healthy, np.array([3.5, 6.5])))


def test_arc_has_the_stated_radius_and_the_axis_keeps_its_length():
    bent = replace(blank(), pre_curve=Arc(12.0, 0.0, 8.0, 90.0))
    line = centreline_of(bent)
    a, b, c = line.at(np.array([1.0, 3.5, 6.0]))[0]
    sides = [np.linalg.norm(p - q) for p, q in ((a, b), (b, c), (a, c))]
    s = sum(sides) / 2
    circumradius = np.prod(sides) / (4 * np.sqrt(s * np.prod([s - side for side in sides])))  # Heron

    assert circumradius == pytest.approx(12.0, rel=1e-3)
    assert a[2] > 0.1  # toward 90 degrees: the third axis
    assert np.linalg.norm(np.diff(line.points, axis=0), axis=1).sum() == pytest.approx(25.0, abs=0.03)


def test_kink_turns_the_axis_by_the_stated_angle():
    kinked = with_damage(np.random.default_rng(5), blank(), "kinked", 30.0)
    tangent = centreline_of(kinked).frames[:, 0]

    assert np.degrees(np.arccos(tangent[0] @ tangent[-1])) == pytest.approx(30.0, abs=0.05)


def test_handle_mesh_volume_is_that_of_its_frustums():
    """Volume of a frustum: pi h (R^2 + R r + r^2) / 3 (Euclid XII)."""
    profile = handle_profile("waisted", 4.0, 11.0)
    body = trimesh.Trimesh(*turned_mesh(profile, 25.0, 720), process=False)
    frustums = sum(np.pi * (b[0] - a[0]) * (a[1] ** 2 + a[1] * b[1] + b[1] ** 2) / 3 for a, b in pairwise(profile))

    assert body.is_watertight
    assert body.volume == pytest.approx(frustums, rel=1e-4)
