"""Closed-form silhouettes of twisted blanks against solids built with general-purpose geometry libraries.

The solid is made layer by layer: the section is a shapely polygon, its corners rounded by shapely's buffer, turned and
scaled by shapely's affinity; trimesh holds the solid, and its shadow is the union of its projected faces.
"""

import itertools

import numpy as np
import pytest
import shapely
import trimesh
from shapely.affinity import rotate, scale
from trimesh.path.polygons import projected

from vision.shapes import RHOMBUS, SQUARE, TRIANGLE, Blank, least_support, support

SHAPES = [
    pytest.param(SQUARE, 0.0, 1.0, id="sharp square"),
    pytest.param(SQUARE, 0.08, 1.0, id="square"),
    pytest.param(TRIANGLE, 0.0, 1.0, id="sharp triangle"),
    pytest.param(TRIANGLE, 0.05, 1.0, id="triangle"),
    pytest.param(RHOMBUS, 0.0, 0.6, id="sharp rhombus"),
    pytest.param(RHOMBUS, 0.06, 0.7, id="rhombus"),
]
UM = 1e-3


def section(blank: Blank, rounding: float, low_corner: float) -> shapely.Polygon:
    """The section of unit enclosing radius, first corner on the positive y axis: sharp polygon plus a disc."""
    turns = np.arange(blank.corners) / blank.corners
    reach = (1.0 - rounding) * np.where(np.arange(blank.corners) % 2 == 0, 1.0, low_corner)
    y, z = reach * np.cos(2 * np.pi * turns), reach * np.sin(2 * np.pi * turns)
    sharp = shapely.Polygon(np.column_stack([y, z]))
    return sharp.buffer(rounding, quad_segs=24) if rounding else sharp


def solid(outline: shapely.Polygon, x_mm, theta_rad, radius_mm) -> trimesh.Trimesh:
    """Walls of the twisted, tapered prism: one copy of the section at every x, neighbours joined by triangles."""
    rings = [
        np.asarray(scale(rotate(outline, t, origin=(0, 0), use_radians=True), r, r, origin=(0, 0)).exterior.coords)[:-1]
        for t, r in zip(theta_rad, radius_mm, strict=True)
    ]
    size, layers = len(rings[0]), len(rings)
    vertices = np.concatenate([np.column_stack([np.full(size, x), ring]) for x, ring in zip(x_mm, rings, strict=True)])
    here = np.arange(layers - 1)[:, None] * size + np.arange(size)
    beside = np.arange(layers - 1)[:, None] * size + np.roll(np.arange(size), -1)
    faces = np.concatenate(
        [np.stack([here, beside, here + size], axis=-1), np.stack([beside, beside + size, here + size], axis=-1)]
    ).reshape(-1, 3)
    return trimesh.Trimesh(vertices, faces, process=False)


def shadow_edges(body: trimesh.Trimesh, x_mm):
    """Upper and lower edge of the solid's shadow on the x-y plane, at each station."""
    shadow = projected(body, normal=[0.0, 0.0, 1.0], origin=[0.0, 0.0, 0.0], apad=0, rpad=0, precise=True)
    # 'projected' lays the plane by a transform of its own: use the same one to find the stations in it.
    to_plane = trimesh.geometry.plane_transform([0.0, 0.0, 0.0], [0.0, 0.0, 1.0])
    assert np.allclose(to_plane, np.eye(4))
    bounds = [shapely.LineString([(x, -9.0), (x, 9.0)]).intersection(shadow).bounds for x in x_mm]
    return np.array([b[3] for b in bounds]), np.array([b[1] for b in bounds])


@pytest.mark.parametrize(("blank", "rounding", "low_corner"), SHAPES)
def test_silhouette_of_a_twisted_tapered_blank(blank, rounding, low_corner):
    """The closed form is the shadow of the solid to 1 µm, with taper, uneven twist and rounded corners."""
    x = np.arange(0.0, 1.6, 0.008)
    theta = 0.3 + 2.6 * x + 0.35 * x**2
    radius = 0.2 + 0.01 * x
    upper, lower = shadow_edges(solid(section(blank, rounding, low_corner), x, theta, radius), x[1:-1])

    above = radius * support(blank, theta, rounding, low_corner)
    below = -radius * support(blank, theta + np.pi, rounding, low_corner)

    assert np.abs(upper - above[1:-1]).max() < 1.0 * UM
    assert np.abs(lower - below[1:-1]).max() < 1.0 * UM


@pytest.mark.parametrize(("blank", "rounding", "low_corner"), SHAPES)
def test_support_of_the_turned_section(blank, rounding, low_corner):
    """S(theta) is how far shapely's polygon, turned by theta, reaches up, and S(theta + pi) how far it reaches down."""
    outline = section(blank, rounding, low_corner)
    theta = np.linspace(0.0, 2.0 * np.pi, 181)
    # Turning the section's first corner away from +x by -theta turns +x, as seen from the section, by +theta.
    bounds = np.array([rotate(outline, -t, origin=(0, 0), use_radians=True).bounds for t in theta])

    assert support(blank, theta, rounding, low_corner) == pytest.approx(bounds[:, 2], abs=1e-4)
    assert support(blank, theta + np.pi, rounding, low_corner) == pytest.approx(-bounds[:, 0], abs=1e-4)


@pytest.mark.parametrize(
    ("blank", "low_corner", "least"),
    [(SQUARE, 1.0, np.sqrt(0.5)), (TRIANGLE, 1.0, 0.5), (RHOMBUS, 0.6, 0.6 / np.hypot(1.0, 0.6))],
    ids=["square", "triangle", "rhombus"],
)
def test_swing_of_one_edge(blank, low_corner, least):
    """One edge swings from the inscribed to the enclosing circle: 0.707 for a square, 0.5 for a triangle."""
    theta = np.linspace(0.0, 2.0 * np.pi, 100_001)
    values = support(blank, theta, 0.0, low_corner)
    inscribed = shapely.maximum_inscribed_circle(section(blank, 0.0, low_corner), tolerance=1e-6).length

    assert values.max() == pytest.approx(1.0, abs=1e-6)
    assert values.min() == pytest.approx(least, abs=1e-6)
    assert least_support(blank, low_corner) == pytest.approx(least, abs=1e-12)
    assert least == pytest.approx(inscribed, abs=1e-4)


def test_edges_of_a_square_move_together():
    """A square's edges stand high together: its width swings from 1.414 R to 2 R and its crests show the diameter."""
    theta = np.linspace(0.0, 2.0 * np.pi, 100_001)
    upper, lower = support(SQUARE, theta, 0.0, 1.0), support(SQUARE, theta + np.pi, 0.0, 1.0)

    assert np.abs(upper - lower).max() < 1e-9
    assert (upper + lower).min() == pytest.approx(np.sqrt(2.0), abs=1e-6)
    assert (upper + lower).max() == pytest.approx(2.0, abs=1e-6)


def test_edges_of_a_triangle_stand_half_a_pitch_apart():
    """A triangle's lower edge is its upper one moved by half a pitch, so no chord ever shows the diameter: 13.4 % short."""
    theta = np.linspace(0.0, 2.0 * np.pi, 99_991)
    upper, lower = support(TRIANGLE, theta, 0.0, 1.0), support(TRIANGLE, theta + np.pi, 0.0, 1.0)
    pitch = 2.0 * np.pi / 3.0
    feret = shapely.minimum_rotated_rectangle(section(TRIANGLE, 0.0, 1.0))
    sides = np.hypot(*np.diff(np.asarray(feret.exterior.coords), axis=0).T)

    assert np.abs(lower - support(TRIANGLE, theta + pitch / 2.0, 0.0, 1.0)).max() < 1e-9
    assert (upper + lower).max() / 2.0 == pytest.approx(1.0 - 0.134, abs=5e-4)
    assert (upper + lower).max() == pytest.approx(sides.max(), abs=1e-6)  # its own side, by shapely
    assert (upper + lower).min() == pytest.approx(1.5, abs=1e-6)
    assert upper.max() + lower.max() == pytest.approx(2.0, abs=1e-6)  # the two crest lines do show it


def test_crests_of_a_rhombus_alternate():
    """Along one edge of a rhombus high crests (1) and low ones (the ratio of its diagonals) take turns, in phase."""
    theta = np.linspace(-0.1, 2.0 * np.pi - 0.1, 100_001)
    upper = support(RHOMBUS, theta, 0.0, 0.6)
    peaks = upper[1:-1][(upper[1:-1] > upper[:-2]) & (upper[1:-1] > upper[2:])]

    assert peaks == pytest.approx([1.0, 0.6, 1.0, 0.6], abs=1e-6)
    assert np.abs(upper - support(RHOMBUS, theta + np.pi, 0.0, 0.6)).max() < 1e-9


@pytest.mark.parametrize("blank", [SQUARE, TRIANGLE], ids=["square", "triangle"])
def test_rounding_a_corner_fills_the_valleys(blank):
    """Rounding keeps the enclosing circle and lifts the valleys, up to the plain round wire at a rounding of 1."""
    theta = np.linspace(0.0, 2.0 * np.pi, 1001)
    curves = [support(blank, theta, rounding, 1.0) for rounding in (0.0, 0.2, 0.5, 1.0)]

    for less, more in itertools.pairwise(curves):
        assert (more >= less - 1e-12).all()
        assert more.max() == pytest.approx(1.0, abs=1e-9)
    assert np.ptp(curves[-1]) < 1e-12
