"""Findings: lost tips, chips, dirt, rows of barbs; gross damage alone at tray resolution; each with its printed limit."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from vision.barb_gaps import longest_gap
from vision.bends import Bend
from vision.chips import Chip, deepest_chip
from vision.condition import Seen, examine
from vision.damage_seen import _agreed, _no_thicker_than_behind
from vision.dimensions import Dimensions
from vision.dirt import stands_out
from vision.expected import Left
from vision.handle import HandleColour
from vision.hurt_sight import HURTS, HurtSight
from vision.place import Profile
from vision.quantity import Quantity
from vision.tip_loss import BEFOREHAND, SHORT_TELLS, TipLoss, end_reach, lost_tip
from vision.unwinding import TwistLoss
from vision.witness import TWIST_SHOWN, tip_told

RED = HandleColour({"red": 0.95, "blue": 0.05}, None)
PX_PER_MM = 70.0


def dimensions(d0: float, length: float | None) -> Dimensions:
    none = dict.fromkeys(Dimensions.__dataclass_fields__)
    made = Dimensions(**{**none, "notes": ()})
    long = None if length is None else Quantity(length, 0.15)
    return replace(made, d0_mm=Quantity(d0, 0.006), taper_mm_per_mm=Quantity(0.02, 0.0004), length_mm=long)


def ended(d0: float, *, broken: bool, skew: float = 0.0, angle_deg: float = 75.0, cut_mm: float = 0.0) -> Profile:
    """Both edges of a shaft whose end is a cone, short by ``cut_mm``, or broken square or at a slant (tangent ``skew``)."""
    x = np.arange(0.0, 6.0, 1.0 / PX_PER_MM)
    radius = (d0 + 0.02 * x) / 2.0
    cone = 0.008 + (x + cut_mm) * np.tan(np.radians(angle_deg / 2.0))
    up = radius if broken else np.minimum(radius, cone)
    low = np.clip(radius - np.maximum(d0 - x / max(skew, 1e-9), 0.0), -radius, radius) if broken and skew else up
    ones = np.ones((2, len(x)))
    return Profile(x, up, -low, np.arange(len(x)), PX_PER_MM, 0.01, (up, -low), ones, 0.002 * ones)


@pytest.mark.parametrize("d0", [0.25, 0.40, 0.80])
@pytest.mark.parametrize("skew", [0.0, 0.6])
def test_a_broken_end_is_told_from_a_cone(d0, skew):
    """By its shape alone, length and colour unknown, square or slanting; less surely the thinner; cones of 60 and 90 degrees are none."""
    unknown = HandleColour({}, None)
    broken = lost_tip(dimensions(d0 + 0.03, None), unknown, end_reach(ended(d0 + 0.03, broken=True, skew=skew)))
    whole = [lost_tip(dimensions(d0, None), unknown, end_reach(ended(d0, broken=False, angle_deg=a))) for a in (60.0, 90.0)]

    assert broken is not None
    assert broken.probability > (0.8 if d0 > 0.3 else 0.5)
    assert all(one is not None and one.probability < 0.1 for one in whole)


@pytest.mark.parametrize("d0", [0.60, 0.80, 1.20])
def test_the_shape_of_an_end_cut_by_the_printed_limit_speaks_for_a_loss(d0):
    """A cone of 75 degrees cut short by the smallest loss that would be told: likelier broken than before it was looked at; cut by a
    third of that: likelier whole. A small tip's limit is that of length and thickness."""
    unknown = HandleColour({}, None)
    limit = lost_tip(dimensions(d0, None), unknown, None).smallest_mm
    at, below = (lost_tip(dimensions(d0, None), unknown, end_reach(ended(d0, broken=False, cut_mm=cut))) for cut in (limit, limit / 3.0))

    assert below.probability < BEFOREHAND < at.probability
    assert lost_tip(dimensions(0.25, None), unknown, None).smallest_mm > 2.0 * limit


def test_how_much_is_lost_follows_from_colour_and_length():
    """A red 25 at 0.29 mm and 23.0 mm has lost 2.0 mm: within u and 0.4 mm."""
    tip = lost_tip(dimensions(0.29, 23.0), RED, end_reach(ended(0.29, broken=True)))

    assert tip is not None
    assert tip.probability > 0.95
    assert tip.lost_mm.value == pytest.approx(2.0, abs=0.4)


def test_short_and_thick_alone_are_not_enough_against_a_plain_cone():
    tip = lost_tip(dimensions(0.27, 24.4), RED, end_reach(ended(0.27, broken=False)))

    assert tip is not None
    assert tip.probability < 0.3


@pytest.mark.parametrize(
    ("chance", "barbed", "call"), [(0.99, False, "look again"), (0.7, False, "nothing seen"), (0.99, True, "nothing seen")]
)
def test_twist_gone_wrong_on_what_shows_no_twisted_blank_is_to_be_looked_at(chance: float, barbed: bool, call: str):
    """A small file whose crests were taken for a groove's: its faces say unwound, its outline nothing."""
    chances = np.full((len(HURTS), 1400), 0.001)
    chances[HURTS.index("unwound"), 200:450] = chance
    made = examine(Seen(hurts=HurtSight(np.arange(1400) / 100.0, chances), barbed=barbed), px_per_mm=PX_PER_MM)

    assert made.call == call
    assert made.findings == ()
    assert len(made.reasons) == (call == "look again")
    assert all("unwound from 2.0 to 4.5 mm" in one for one in made.reasons)


@pytest.mark.parametrize(("lost_mm", "face", "kinds"), [(0.42, 0.99, ["tip-lost"]), (0.42, 0.05, []), (0.32, 0.99, [])])
def test_less_than_half_a_millimetre_counts_where_the_broken_face_shows(lost_mm: float, face: float, kinds: list[str]):
    """A thick end half likely to be broken by its shape: its face decides, down to what cannot be told from how a tip was ground."""
    chances = np.full((len(HURTS), 200), 0.001)
    chances[HURTS.index("tip-lost"), :30] = face
    tip = TipLoss(Quantity(lost_mm, 0.3), 0.45, 0.4)

    made = examine(Seen(tip=tip, hurts=HurtSight(np.arange(200) / 100.0, chances)), px_per_mm=PX_PER_MM)

    assert [one.kind for one in made.findings] == kinds


def test_a_broachs_limit_is_that_of_its_broken_face():
    """Thin as it is, it ends in a face across: common practice, no source. A file of that thickness is told by its length alone."""
    thin = dimensions(0.25, None)
    tip, sight = TipLoss(Quantity(1.0, 0.3), 0.1, 0.4), HurtSight(np.arange(200) / 100.0, np.full((len(HURTS), 200), 0.001))

    assert "tip-lost" in examine(Seen(tip=tip, hurts=sight, barbed=True), px_per_mm=PX_PER_MM).smallest_visible
    assert "tip-lost" not in examine(Seen(tip=tip, barbed=True), px_per_mm=PX_PER_MM).smallest_visible
    assert lost_tip(thin, HandleColour({}, None), None, barbed=True).smallest_mm < lost_tip(thin, HandleColour({}, None), None).smallest_mm


@pytest.mark.parametrize(("part_mm", "u", "least"), [(13.1, 0.1, SHORT_TELLS), (13.7, 0.3, 0.0), (15.6, 0.1, 0.0)])
def test_a_part_far_short_of_16_mm_is_told_whatever_the_end_looks_like(part_mm: float, u: float, least: float):
    """Working parts are 16 mm at least: ISO 3630-1 as others quote it. A clean cone and a network that sees nothing take little away."""
    short = replace(dimensions(0.25, None), working_part_mm=Quantity(part_mm, u))
    tip = lost_tip(short, RED, end_reach(ended(0.25, broken=False)))
    sight = HurtSight(np.arange(200) / 100.0, np.full((len(HURTS), 200), 0.001))

    assert tip is not None
    assert tip.least == least
    assert (tip_told(tip, sight) >= 0.5) is (tip_told(tip, None) >= 0.5) is (least > 0.0)
    assert tip.lost_mm.value == pytest.approx(16.0 - part_mm) or least == 0.0



def test_without_an_envelope_no_tip_is_judged():
    assert lost_tip(replace(dimensions(0.25, 25.0), d0_mm=None), RED, 0.05) is None


def left(cut: float = 0.0, lump_mm: float = 0.0, seed: int = 1) -> Left:
    """Noise of an outline about a square's model, crests every 0.58 mm; a cut (share of crest height) and a lump, on one edge."""
    x = np.arange(0.6, 15.4, 1.0 / PX_PER_MM)
    rng = np.random.default_rng(seed)
    radius = (0.25 + 0.02 * x) / 2.0
    crest_mm = 0.293 * radius
    noise = np.stack([np.convolve(rng.normal(0, 1, len(x)), np.ones(4) / 2.0, "same") for _ in range(2)]) * 0.0025
    crest = np.abs((x / 0.58 + 0.5) % 1.0 - 0.5) < 0.25
    at = 0.58 * round(6.0 / 0.58)
    noise[0] -= cut * crest_mm * np.exp(-(((x - at) / 0.13) ** 4))
    noise[1] += lump_mm * np.clip(1.0 - ((x - 9.0) / 0.12) ** 2, 0.0, None)
    return Left(x, noise, np.stack([crest, crest]), crest_mm, radius, PX_PER_MM)


def test_a_chip_is_found_with_its_depth_and_place():
    chip = deepest_chip(left(cut=0.7), None, 99.0)

    assert chip is not None
    assert chip.probability > 0.95
    assert chip.depth_percent.value == pytest.approx(70.0, abs=8.0)
    assert chip.from_mm < 0.58 * round(6.0 / 0.58) < chip.to_mm


def test_whole_crests_are_no_chip_and_the_limit_holds():
    """Over 30 draws none called at all; at the printed limit 24 and more of 30, at half of it at most 12."""
    quiet = [deepest_chip(left(seed=k), None, 99.0) for k in range(30)]
    assert all(one is not None and one.probability < 0.5 for one in quiet)
    limit = np.median([one.smallest_percent for one in quiet if one is not None]) / 100.0
    found = [sum(deepest_chip(left(cut=s * limit, seed=k), None, 99.0).probability >= 0.5 for k in range(30)) for s in (1.0, 0.5)]

    assert found[0] >= 24
    assert found[1] <= 12


def test_behind_a_stop_nothing_is_judged():
    chip = deepest_chip(left(cut=0.8), (5.5, 6.6), 99.0)

    assert chip is not None
    assert chip.probability < 0.3


def test_dirt_is_no_metal():
    """Something that stands out by 60 um is told with its place, ends in 'look again' with what to do, and is no finding."""
    dirt = stands_out(left(lump_mm=0.06), None)
    assert dirt is not None
    assert dirt.at_mm == pytest.approx(9.0, abs=0.1)
    made = examine(Seen(dirt=dirt), px_per_mm=PX_PER_MM)

    assert made.call == "look again"
    assert made.findings == ()
    assert "clean it and photograph again" in made.reasons[0]
    assert stands_out(left(), None) is None


def test_a_row_of_barbs_lying_flat():
    """Twenty barbs about 0.55 mm apart with four gone: where, and about how many; none gone: nothing."""
    rng = np.random.default_rng(3)
    whole = np.sort(1.0 + 0.55 * np.arange(20) + rng.uniform(-0.15, 0.15, 20))
    gap = longest_gap(np.delete(whole, slice(8, 12)), 1.0)
    quiet = longest_gap(whole, 1.0)

    assert gap is not None
    assert gap.probability > 0.8
    assert gap.missing.value == pytest.approx(4.0, abs=2.0 * gap.missing.u)
    assert gap.from_mm == pytest.approx(whole[7])
    assert quiet is not None
    assert quiet.probability < 0.1
    assert longest_gap(whole[:4], 1.0) is None


def seen(kink_deg: float = 0.0, loss_deg: float = 0.0, reversed_mm: float = 0.0) -> Seen:
    rows = np.empty((0, 2))
    twist = TwistLoss((1.0, 4.0), Quantity(loss_deg, 12.0), 0.99 if loss_deg else 0.01, reversed_mm, 60.0, 2.8, 6.0, rows, rows)
    return Seen(twist, Bend(4.0, kink_deg, 1.2, kink_deg, None))


@pytest.mark.parametrize(
    ("damage", "fine", "coarse"),
    [
        ({}, "nothing seen", "nothing seen"),
        ({"kink_deg": 14.0}, "discard", "nothing seen"),
        ({"kink_deg": 25.0}, "discard", "discard"),
        ({"loss_deg": 100.0}, "discard", "nothing seen"),
        ({"loss_deg": 250.0}, "discard", "discard"),
    ],
)
def test_at_tray_resolution_only_gross_damage_is_told(damage, fine, coarse):
    """And the limits say so: a kink of 20 degrees, 180 degrees of twist."""
    assert examine(seen(**damage), px_per_mm=70.0).call == fine
    tray = examine(seen(**damage), px_per_mm=22.0)
    assert tray.call == coarse
    assert tray.smallest_visible["kinked"]["value"] >= 20.0
    assert tray.smallest_visible["unwound"]["value"] >= 180.0


def test_kinds_of_twist_lost():
    assert [one.kind for one in examine(seen(loss_deg=300.0, reversed_mm=1.0), px_per_mm=70.0).findings] == ["reverse-wound"]
    assert [one.kind for one in examine(seen(loss_deg=90.0), px_per_mm=70.0).findings] == ["unwound"]


UNSEEN_DEG = 60.0 * TWIST_SHOWN  # the smallest loss that would have been told


@pytest.mark.parametrize(
    ("at_mm", "expected_deg", "u_deg"), [(9.0, 60.0, 12.0), (13.0, UNSEEN_DEG, UNSEEN_DEG)], ids=["followed", "not followed"]
)
def test_twist_told_elsewhere_has_the_size_that_it_has_there(at_mm, expected_deg, u_deg):
    """A square's crest every 0.5 mm is 180 deg a mm; from 8.5 to 9.5 mm it turns by a third less; the outline's doubt is at 2 mm."""
    x = np.linspace(0.0, 11.0, 1101)
    usual, slack = np.column_stack([x, 0.5 + 0.0 * x]), np.column_stack([x, np.where(np.abs(x - 9.0) < 0.5, 0.75, 0.5)])
    twist = TwistLoss((1.5, 2.5), Quantity(-15.0, 12.0), 0.9, 0.0, 60.0, 2.8, 6.0, slack, usual, 4)
    chances = np.full((len(HURTS), 1601), 0.001)
    sight = HurtSight(np.arange(1601) / 100.0, chances)
    chances[HURTS.index("unwound"), np.abs(sight.x_mm - at_mm) < 0.5] = 0.99

    (found,) = examine(Seen(twist, hurts=sight), px_per_mm=70.0).findings

    assert (found.kind, found.from_mm) == ("unwound", pytest.approx(at_mm - 0.5, abs=0.05))
    assert found.strength.value == pytest.approx(expected_deg, abs=4.0)
    assert found.strength.u == pytest.approx(u_deg)


@pytest.mark.parametrize(("kind", "share", "u_share"), [("unwound", 0.5, 0.5), ("reverse-wound", 2.0, 1.0), ("overwound", 0.5, 0.5)])
def test_a_twist_that_the_outline_cannot_tell_is_told_by_the_faces(kind, share, u_share):
    """Too few crests to be followed, 30 deg a mm over 4 mm: 120 deg usually. How much is not known: a rectangular distribution's mean and
    standard uncertainty (GUM 4.3.7), none to all of it, from one to three times for what turns back."""
    chances = np.full((len(HURTS), 1601), 0.001)
    sight = HurtSight(np.arange(1601) / 100.0, chances)
    chances[HURTS.index(kind), np.abs(sight.x_mm - 3.0) <= 2.0] = 0.99

    (found,) = examine(Seen(hurts=sight, turn_deg_per_mm=30.0), px_per_mm=70.0).findings

    assert (found.kind, found.from_mm, found.to_mm) == (kind, pytest.approx(1.0, abs=0.05), pytest.approx(5.0, abs=0.05))
    assert found.strength.value == pytest.approx(120.0 * share, rel=0.02)
    assert found.strength.u == pytest.approx(120.0 * u_share / np.sqrt(3.0), rel=0.02)
    assert found.probability > 0.9
    assert examine(Seen(hurts=sight), px_per_mm=70.0).findings == ()


def test_turns_gained_in_one_photo_may_be_a_curve_toward_the_camera():
    made = examine(seen(loss_deg=-120.0), px_per_mm=70.0)

    assert made.findings[0].kind == "overwound"
    assert made.findings[0].strength.value == 120.0
    assert made.call == "nothing seen"


def test_an_unfit_photo_is_never_nothing_seen():
    made = examine(Seen(), px_per_mm=70.0, doubts=("the outline is blurred over 8 px, needs 5 or less: focus at the instrument",))

    assert made.call == "look again"
    assert made.smallest_visible == {}


def test_a_step_that_only_the_taken_off_swing_shows_is_no_kink():
    """The middle averaged over a crest has the last word, unless it bends at the same place and to the same side."""
    stepped = Bend(2.0, -16.0, 1.2, 0.0, None)

    assert _agreed(stepped, Bend(2.3, -9.0, 1.2, 0.0, None)) is stepped
    assert _agreed(stepped, None) is stepped
    for other in (Bend(9.0, -9.0, 1.2, 0.0, None), Bend(2.3, 9.0, 1.2, 0.0, None), Bend(2.3, -4.0, 1.2, 0.0, None)):
        assert _agreed(stepped, other) is other


@pytest.mark.parametrize(("at_mm", "kinds"), [(4.3, ["kinked"]), (8.0, ["kinked", "crest-chipped"])], ids=["at the kink", "elsewhere"])
def test_a_kink_is_not_told_twice(at_mm, kinds):
    """Crests crowd on the inside of a kink and part on its outside, which looks like a chip there."""
    chip = Chip(at_mm, at_mm + 0.2, Quantity(40.0, 10.0), 60.0, 15.0)

    assert [one.kind for one in examine(replace(seen(kink_deg=25.0), chip=chip), px_per_mm=70.0).findings] == kinds


def test_a_line_that_turns_back_is_no_kink_but_a_reason_to_look_again():
    """A sharp kink of 60 deg is told; 130 deg within a millimetre are no shaft's."""
    kinked, astray = (examine(Seen(bend=Bend(4.0, turn, 2.0, 0.0, None)), px_per_mm=70.0) for turn in (60.0, 130.0))

    assert [one.kind for one in kinked.findings] == ["kinked"]
    assert (astray.findings, astray.call) == ((), "look again")
    assert "turns by 130 deg at 4.0 mm" in " ".join(astray.reasons)


def test_a_tip_thicker_than_what_lies_behind_it_is_a_shadow():
    """A file of 0.08 mm, taper 0.02 (ISO 3630-1 as others quote it), one edge of its first 0.7 mm on its shadow's far side."""
    x = np.arange(0.0, 12.0, 0.02)
    true_px = PX_PER_MM * (0.08 + 0.02 * x)
    seen = np.where(x < 0.7, 4.0 * true_px, true_px)

    assert not _no_thicker_than_behind(seen, x)[x < 0.7].any()
    assert _no_thicker_than_behind(seen, x)[x > 0.7].all()
    assert _no_thicker_than_behind(true_px, x).all()


@pytest.mark.parametrize(("reach", "doubted"), [(1.9, True), (1.1, False), (None, False)])
def test_an_end_aside_of_its_line_is_looked_at_again(reach: float | None, doubted: bool):
    said = examine(Seen(end_reach=reach), px_per_mm=70.0)

    assert (said.call == "look again") is doubted
    assert any("1.9 half widths aside" in reason for reason in said.reasons) is doubted
