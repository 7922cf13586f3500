"""Each kind of damage at a stated strength: what the truth says is found again in the shape, by other means."""

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
import shapely
import trimesh

from samples.arrays import CPU
from samples.bodies import place
from samples.draw_damage import (
    KINDS,
    MARKS,
    STRENGTHS,
    bleached,
    damages_of,
    marked,
    pre_curved,
    used_instrument,
    with_damage,
)
from samples.draw_free import draw_of
from samples.draw_instrument import FAMILIES, draw_instrument
from samples.instrument import Instrument, Twist
from samples.mesh import AT_ORIGIN, mesh
from samples.population import draw_macro
from samples.surface import surface_of
from samples.tarnish import spot
from samples.truth import truth_of


def blank(section: str = "square", family: str = "k-file", **changes: object) -> Instrument:
    """A size 40 without scatter: 0.40 mm + 0.02 x, crests 0.6 mm apart, 25 mm long, straight."""
    fixed = replace(
        draw_instrument(np.random.default_rng(0), family, 40, 25),
        cross_section=section,
        blank_d0_mm=0.40,
        taper_mm_per_mm=0.02,
        blank_length_mm=25.0,
        blank_working_part_mm=16.0,
        shank_width_mm=0.72,
        twist=Twist(0.6),
        corner_um=6.0,
        tip_kind="cone",
        tip_angle_deg=75.0,
        stop=None,
    )
    return replace(fixed, **changes)


def broach() -> Instrument:
    return replace(draw_instrument(np.random.default_rng(4), "barbed-broach", 40, 25), stop=None)


def hurt(kind: str, strength: float, seed: int = 1, healthy: Instrument | None = None) -> Instrument:
    return with_damage(np.random.default_rng(seed), healthy or blank(), kind, strength)


def solid(instrument: Instrument) -> trimesh.Trimesh:
    return trimesh.Trimesh(*mesh(instrument, 0.02, 180), process=False)


def section_at(body: trimesh.Trimesh, x: float) -> shapely.Polygon:
    """The cut across x, in (y, z), by trimesh."""
    cut = body.section(plane_origin=[x, 0, 0], plane_normal=[1, 0, 0]).discrete[0]
    return shapely.Polygon(cut[:, 1:])


def corner_angle(instrument: Instrument, x: float) -> float:
    """Direction of the farthest point of the cut, degrees modulo the section's symmetry (90 for a square)."""
    points = shapely.get_coordinates(section_at(solid(instrument), x))
    far = points[np.argmax(np.hypot(*points.T))]
    return math.degrees(math.atan2(far[1], far[0])) % 90.0


@pytest.mark.parametrize(
    ("kind", "strength", "sign"), [("unwound", 130.0, 1), ("overwound", 130.0, -1), ("reverse-wound", 400.0, 1)]
)
def test_twist_lost_turns_the_corners_beyond_the_zone(kind, strength, sign):
    """Right-hand twist: taking turns out, seen from a fixed handle, turns the tip's corners the way of the twist."""
    damaged = hurt(kind, strength)
    x = damaged.damage[0].from_mm - 0.1
    moved = corner_angle(damaged, x) - corner_angle(blank(), x)

    assert x > 0.15
    assert (moved - sign * strength + 45) % 90 == pytest.approx(45, abs=2.5)  # the mesh has a ring every 2 degrees


def test_strength_decides_whether_a_zone_unwinds_or_runs_backwards():
    """A smooth ramp u2 (3 - 2u) is steepest in its middle, 1.5 times its mean slope."""
    for strength in (30, 200, 400):
        assert reversed_mm(hurt("unwound", strength)) == 0.0
    for strength in (90, 400, 700):
        assert reversed_mm(hurt("reverse-wound", strength)) > 0.1


def reversed_mm(instrument: Instrument) -> float:
    scene = draw_macro(1, pose="free", px_per_mm=200.0, image_px=(64, 64), instrument=instrument)
    told = truth_of(scene, (place(instrument, scene.laid[0].pose, CPU),))["instruments"][0]
    return told["damage"][0]["reversed_mm"]


def test_stretching_moves_every_crest_of_the_outline_apart():
    """Crests on one side of the orthographic outline: maxima of the mesh's highest z, a sixteenth-millimetre apart."""
    spacing = []
    for instrument in (blank(), hurt("stretched", 20.0)):
        vertices = solid(instrument).vertices
        column = np.round(vertices[:, 0] / 0.02).astype(int)
        top = np.full(column.max() + 1, -9.0)
        np.maximum.at(top, column, vertices[:, 2])
        top = top[50:700] - np.linspace(0, 0.01 * 650 * 0.02, 650)
        crests = [i for i in range(6, 644) if top[i] == top[i - 6 : i + 7].max()]
        spacing.append(np.mean([b - a for a, b in pairwise(crests) if b - a > 6]))

    assert spacing[1] / spacing[0] == pytest.approx(1.20, abs=0.01)


@pytest.mark.parametrize("strength", [8.0, 30.0, 75.0])
def test_a_kink_bends_the_mesh_by_its_angle_within_its_radius(strength):
    """Angle between the axes of inertia (trimesh's oriented box) of the pieces on both sides of the kink."""
    damaged = hurt("kinked", strength)
    damage, body = damaged.damage[0], solid(damaged)
    rings = body.vertices[: 180 * (len(body.vertices) // 180)].reshape(-1, 180, 3).mean(1)
    x = np.arange(len(rings)) * 0.02
    ahead, behind = rings[x < damage.from_mm - 0.15], rings[(x > damage.to_mm + 0.15) & (x < 15)]
    directions = [(piece[-1] - piece[0]) / np.linalg.norm(piece[-1] - piece[0]) for piece in (ahead, behind)]

    assert damage.from_mm > 0.4
    assert np.degrees(np.arccos(directions[0] @ directions[1])) == pytest.approx(strength, abs=0.5)
    # A curve of radius r that turns by a is r a long: half of it lies within the stated bend.
    assert 0.8 < damage.bend_radius_mm / damaged.envelope_mm(0.5 * (damage.from_mm + damage.to_mm)) < 2.5


def test_a_lost_tip_leaves_the_rest_where_it_was():
    """The cut at x of the broken one is the cut at x + lost of the whole one."""
    damaged = hurt("tip-lost", 3.0)

    assert np.ptp(solid(damaged).vertices[:, 0]) == pytest.approx(22.0, abs=0.01)
    for x in (0.5, 4.0):
        a, b = section_at(solid(damaged), x), section_at(solid(blank()), x + 3.0)
        assert a.symmetric_difference(b).area < 0.01 * b.area


def test_a_lost_tip_takes_earlier_damage_with_it():
    kinked = with_damage(np.random.default_rng(1), blank(), "kinked", 20.0)
    at = 0.5 * (kinked.damage[0].from_mm + kinked.damage[0].to_mm)

    assert [d.kind for d in hurt("tip-lost", at + 0.5, healthy=kinked).damage] == ["tip-lost"]
    kept = hurt("tip-lost", at - 0.5, healthy=kinked).damage
    assert [d.kind for d in kept] == ["kinked", "tip-lost"]
    assert 0.5 * (kept[0].from_mm + kept[0].to_mm) == pytest.approx(0.5)


@pytest.mark.parametrize("section", ["square", "triangle", "rhombus"])
def test_a_chip_takes_its_share_of_one_crest(section):
    """Crest height is R minus the inradius: R (1 - cos(pi/n)) for a regular n-gon; the low corner for a rhombus."""
    healthy = blank(section)
    damaged = hurt("crest-chipped", 60.0, healthy=healthy)
    damage = damaged.damage[0]
    x = 0.5 * (damage.from_mm + damage.to_mm)
    radius = 0.2 + 0.01 * x
    height = (
        radius
        * {
            "square": 1 - math.cos(math.pi / 4),
            "triangle": 1 - math.cos(math.pi / 3),
            "rhombus": 1 - healthy.rhombus_ratio,
        }[section]
    )
    missing = [cut_radius(one, x) for one in (healthy, damaged)]
    depth = np.max(missing[0] - missing[1])

    assert depth == pytest.approx(0.6 * height, rel=0.03)
    assert np.sum(missing[0] - missing[1] > 0.1 * depth) < 0.2 * len(missing[0])  # one crest only


def cut_radius(instrument: Instrument, x: float) -> np.ndarray:
    angle = np.linspace(0, 2 * np.pi, 720, endpoint=False)
    return surface_of(instrument, CPU).radius(np.full(720, x, np.float32), angle.astype(np.float32))


@pytest.mark.parametrize(("section", "sides"), [("square", 4), ("triangle", 3)])
def test_wear_rounds_the_crests_to_the_stated_radius(section, sides):
    """Shapely: the corner polygon shrunk and grown again by the radius; the faces stay where they were."""
    damaged = hurt("worn", 50.0, healthy=blank(section))
    cut = section_at(solid(damaged), 1.5)
    corners = [(0.215 * math.cos(a), 0.215 * math.sin(a)) for a in 2 * np.pi * np.arange(sides) / sides]
    # The healthy section's own 6 um round corners move its faces out by that much less than a sharp polygon's.
    inradius = (0.215 - 0.006) * math.cos(math.pi / sides) + 0.006
    sharp = shapely.Polygon(corners)
    sharp = shapely.affinity.scale(sharp, *2 * [inradius / (0.215 * math.cos(math.pi / sides))])
    worn = sharp.buffer(-0.05, join_style="mitre").buffer(0.05, quad_segs=64)

    assert cut.area == pytest.approx(worn.area, rel=5e-3)
    assert np.max(np.hypot(*shapely.get_coordinates(cut).T)) == pytest.approx(
        np.max(np.hypot(*shapely.get_coordinates(worn).T)), abs=0.002
    )


def coarse(instrument: Instrument) -> tuple[np.ndarray, np.ndarray]:
    return mesh(instrument, 0.2, 48)


@pytest.mark.parametrize("strength", [1, 9])
def test_missing_barbs_are_gone_and_folded_ones_lie_low(strength):
    parts = len(coarse(broach())[0])
    missing, folded = (
        hurt("barbs-missing", strength, healthy=broach()),
        hurt("barbs-folded", strength, healthy=broach()),
    )

    assert parts - len(coarse(missing)[0]) == 36 * strength  # nine rings of four vertices a barb
    whole = trimesh.Trimesh(*coarse(broach()), process=False).split(only_watertight=False)
    bent = trimesh.Trimesh(*coarse(folded), process=False).split(only_watertight=False)
    reach = [[np.hypot(*b.vertices[:, 1:].T).max() for b in parts if len(b.vertices) < 40] for parts in (whole, bent)]
    lower = np.array(reach[0]) - np.array(reach[1]) > 0.02

    assert lower.sum() == strength
    first, last = (folded.barbs[i] for i in (np.flatnonzero(lower)[0], np.flatnonzero(lower)[-1]))
    assert folded.damage[0].from_mm == pytest.approx(first.x_mm)
    assert folded.damage[0].to_mm == pytest.approx(last.x_mm + last.length_mm)


def test_the_mesh_has_the_notches_that_are_rendered():
    """The mesh of a wire that lost every barb lies on the rendered surface, and not where notches were half as deep."""
    bare = broach()
    bare = replace(bare, barbs=tuple(replace(b, missing=True) for b in bare.barbs))
    at = mesh(bare, 0.02, 240)[0]
    at = at[(at[:, 0] > 0.5) & (at[:, 0] < bare.working_part_mm)]

    def off_um(one: Instrument) -> np.ndarray:
        field = surface_of(one, CPU).field(*(CPU.put(c) for c in at.T))
        return np.abs(CPU.get(field)) * 1000.0

    half = replace(bare, barbs=tuple(replace(b, notch=0.5) for b in bare.barbs))
    assert np.quantile(off_um(bare), 0.995) < 1.0
    assert (off_um(half) > 10.0).mean() > 0.02


@pytest.mark.parametrize("kind", ["stained", "corroded"])
@pytest.mark.parametrize("area", [0.01, 0.1, 0.4])
def test_spots_cover_about_the_stated_area(kind, area):
    """Cover summed over the unrolled surface of a wire thick enough that nothing wraps; the ragged edge is random."""
    covers = []
    for seed in range(12):
        mark = with_damage(np.random.default_rng(seed), blank(), kind, area).damage[0]
        u, v = np.meshgrid(np.linspace(-0.9, 0.9, 301), np.linspace(-0.9, 0.9, 301))
        middle, radius = 0.5 * (mark.from_mm + mark.to_mm), 1.0
        turn = v.ravel() / radius + math.radians(mark.angle_deg)
        local = np.stack([middle + u.ravel(), radius * np.cos(turn), radius * np.sin(turn)], 1)
        covers.append(spot(CPU, mark, local.astype(np.float32)).sum() * (1.8 / 300) ** 2)

    assert np.mean(covers) == pytest.approx(area, rel=0.2)


def test_debris_stands_out_of_the_surface_and_is_no_damage():
    """A dome on a base of the stated area (pi r2, 20 % more radius), 0.35 of that radius high."""
    dirty = with_damage(np.random.default_rng(3), blank(), "debris", 0.05)
    mark, surface = dirty.marks[0], surface_of(dirty, CPU)
    middle, angle = 0.5 * (mark.from_mm + mark.to_mm), math.radians(mark.angle_deg)
    clean = cut_radius(blank(), middle)[round(mark.angle_deg * 2) % 720]
    out = np.linspace(0.0, 0.1, 401)
    x, y, z = np.full(401, middle), (clean + out) * math.cos(angle), (clean + out) * math.sin(angle)
    inside = surface.field(*(v.astype(np.float32) for v in (x, y, z))) < 0

    assert dirty.damage == ()
    assert out[inside].max() == pytest.approx(0.35 * 1.2 * math.sqrt(0.05 / math.pi), abs=0.003)


def test_pre_curved_and_unwound_together():
    """The arc bends the tip, the twist is lost all the same."""
    rng = np.random.default_rng(8)
    both = with_damage(rng, pre_curved(rng, blank()), "unwound", 150.0)
    arc = both.pre_curve
    place_both = place(both, AT_ORIGIN, CPU)
    turned = np.degrees(np.arccos(place_both.line.frames[0, 0] @ place_both.line.frames[-1, 0]))

    assert turned == pytest.approx(math.degrees((arc.to_mm - arc.from_mm) / arc.radius_mm), rel=0.02)
    assert reversed_mm(both) == 0.0
    assert [d.kind for d in both.damage] == ["unwound"]


def test_pre_curves_go_every_way_even_when_held_flat():
    """Radius 8 to 25 mm, and at least a quarter of them lie more steeply than 45 degrees to the picture plane."""
    arcs, steep = [], []
    for seed in range(32):
        rng = np.random.default_rng(seed)
        bent = pre_curved(rng, draw_instrument(rng, "k-file", 25))
        laid = draw_macro(seed, pose="flat", instrument=bent).laid[0]
        tangent = place(bent, laid.pose, CPU).line.frames[0, 0] @ laid.pose.axes
        off = tangent - laid.pose.axes[0]
        arcs.append(bent.pre_curve.radius_mm)
        steep.append(abs(off[2]) > np.hypot(off[0], off[1]))

    assert min(arcs) < 10
    assert max(arcs) > 22
    assert 8 <= min(arcs) <= max(arcs) <= 25
    assert np.mean(steep) > 0.25


@pytest.mark.parametrize("family", FAMILIES)
def test_every_kind_can_be_asked_for_over_its_range(family):
    """A thick instrument, so that every strength finds room."""
    most = {"tip-lost": 7.0}
    healthy = (
        broach()
        if family == "barbed-broach"
        else blank({"hedstroem-file": "round"}.get(family, "triangle"), family, blank_d0_mm=0.8, twist=Twist(0.4))
    )
    for kind in (*damages_of(healthy), *MARKS):
        low, high, _ = STRENGTHS[kind]
        for strength in (
            max(low, 7.0) if kind == "worn" else low,
            type(low)(0.5 * (low + high)),  # barbs are counted
            min(high, most.get(kind, high)),
        ):
            made = with_damage(np.random.default_rng(2), healthy, kind, strength)
            told = (made.damage or made.marks)[-1]

            assert (told.kind, told.strength) == (kind, strength)
            place(made, AT_ORIGIN, CPU)  # it has a surface


@pytest.mark.parametrize(
    ("kind", "strength", "match"),
    [
        ("kinked", 120.0, "kinked must be 1 to 90 deg, is 120"),
        ("unwound", 720.0, "a zone of 6.0 mm holds .* deg of twist: unwind by at most"),
        ("worn", 5.5, "crests are 6 um round as made"),
        ("tip-lost", 7.5, "a working part of 8.0 mm cannot lose 7.5 mm"),
    ],
)
def test_what_cannot_be_is_refused_with_figures(kind, strength, match):
    short = blank("triangle", blank_working_part_mm=8.0, twist=Twist(0.9))
    with pytest.raises(ValueError, match=match):
        hurt(kind, strength, healthy=short)


def test_used_instruments_of_every_population_draw_without_a_clash():
    rng = np.random.default_rng(5)
    seen = set()
    for k in range(600):
        used = used_instrument(rng, draw_of(rng, "free" if k % 2 else "wide"))
        seen |= {d.kind for d in used.damage}
        assert used.working_part_mm > 0.9

    assert seen == set(KINDS)


def test_marks_and_bleached_handles_keep_what_they_were():
    healthy = blank()
    scratched = marked(np.random.default_rng(1), healthy, "scratch", 12.0)
    pale = bleached(np.random.default_rng(1), healthy.handle)

    assert scratched.marks[0].strength == 12.0
    assert (pale.colour, pale.moulded_colour, pale.faded) == ("bleached", "black", 1.0)
