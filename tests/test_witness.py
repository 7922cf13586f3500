"""Two witnesses for damage: together surer than either, and neither silences the other when the network was not asked."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.special import expit, logit

from models.train.facing import barbs_seen, seen
from models.train.hurts import HURTS as TRAINED
from models.train.hurts import hurt
from samples.draw_damage import with_damage
from samples.draw_free import draw_of
from samples.pose import Pose
from vision import net
from vision.bends import Bend
from vision.chips import Chip
from vision.condition import Seen, examine
from vision.expected import _in_common
from vision.hurt_sight import HURTS, HurtSight
from vision.quantity import Quantity
from vision.tip_loss import BEFOREHAND, TipLoss, short_alone
from vision.unwinding import TwistLoss
from vision.witness import (
    BARBS_LEVEL,
    BARBS_STEEP,
    CHIP_MOST,
    OVERWOUND_DOUBT,
    TIP_LEVEL,
    barbs_told,
    bend_told,
    chip_told,
    odds,
    tip_told,
    twist_told,
)

X_MM = np.arange(-0.5, 16.0, 0.1)


def sight(**seen: tuple[float, float, float]) -> HurtSight:
    """A network that sees each named kind between two places with a chance, and elsewhere nothing."""
    chances = np.full((len(HURTS), len(X_MM)), 0.01)
    for kind, (low, high, chance) in seen.items():
        chances[HURTS.index(kind.replace("_", "-")), (low <= X_MM) & (high >= X_MM)] = chance
    return HurtSight(X_MM, chances)


def twist(loss_deg: float, probability: float, reversed_mm: float = 0.0) -> TwistLoss:
    rows = np.empty((0, 2))
    return TwistLoss((2.0, 4.0), Quantity(loss_deg, 10.0), probability, reversed_mm, 60.0, 2.8, 6.0, rows, rows)


def test_log_odds_add_as_bayes_has_it():
    """Two independent witnesses: the odds multiply (Bayes' theorem in odds form; from memory)."""
    tip = TipLoss(Quantity(2.0, 0.5), 0.6, 0.6)

    both = tip_told(tip, sight(tip_lost=(-0.2, 0.3, 0.7)))

    assert both == pytest.approx(expit(logit(0.6) + logit(0.7) - TIP_LEVEL))
    assert tip_told(tip, None) == 0.6


def test_where_no_envelope_tells_of_the_end_a_clear_sight_of_its_face_does():
    """Odds of how seldom a tip is lost, times what the network sees (Bayes' theorem in odds form; from memory)."""
    alone = short_alone(None)

    assert alone.smallest_mm is None
    assert alone.probability == pytest.approx(BEFOREHAND)
    assert tip_told(alone, sight(tip_lost=(-0.2, 0.3, 0.98))) > 0.5
    assert tip_told(alone, sight(tip_lost=(-0.2, 0.3, 0.9))) < 0.5


def test_each_witness_may_contradict_the_other():
    quiet, loud = sight(), sight(unwound=(1.5, 4.5, 0.95))

    assert twist_told(twist(120.0, 0.9), quiet, 14.0).probability < 0.2
    assert twist_told(twist(120.0, 0.9), loud, 14.0).probability > 0.9
    assert twist_told(twist(120.0, 0.9), None, 14.0).probability == 0.9


@pytest.mark.parametrize(("seen", "told"), [(0.99, True), (0.85, False)])
def test_what_the_faces_show_for_certain_needs_no_outline(seen: float, told: bool):
    """An outline in shadow shows no change of twist at all."""
    still = twist_told(twist(10.0, 0.02), sight(unwound=(6.0, 8.0, seen)), 14.0)

    assert (still.probability > 0.5) == told
    assert not told or still.zone_mm == pytest.approx((6.0, 8.0), abs=0.15)


def test_a_stretch_that_turns_back_fast_is_not_called_overwound():
    """Its outline is that of a stretch wound more: only the faces tell the two apart."""
    back = twist_told(twist(-180.0, 0.99), sight(reverse_wound=(2.0, 4.0, 0.9)), 14.0)
    more = twist_told(twist(-180.0, 0.99), sight(overwound=(2.0, 4.0, 0.9)), 14.0)

    assert (back.kind, more.kind) == ("reverse-wound", "overwound")
    assert min(back.probability, more.probability) > 0.9


def test_what_the_edges_on_the_faces_tell_goes_before_the_network():
    """Edges that run plainly against the whole blank's turn a gain of twist into a stretch turned back, whatever the network calls it;
    edges that run along it do not silence a network that sees it turned back."""
    more = sight(overwound=(2.0, 4.0, 0.9))
    against, along, unclear = (twist_told(replace(twist(-180.0, 0.99), same_hand=odd), more, 14.0).kind for odd in (-4.0, 4.0, -1.0))

    assert (against, along, unclear) == ("reverse-wound", "overwound", "overwound")
    back = sight(reverse_wound=(2.0, 4.0, 0.9))
    assert twist_told(replace(twist(120.0, 0.99), same_hand=4.0), back, 14.0).kind == "reverse-wound"


def test_edges_that_run_against_the_rest_bear_an_outline_out():
    """Where the network is silent, as before a glint, outline and edges together suffice; the edges alone do not."""
    still = sight(reverse_wound=(2.0, 4.0, 0.03))
    both, outline, edges = (
        twist_told(replace(twist(-105.0, told), same_hand=odd), still, 14.0).probability
        for told, odd in ((0.99, -2.6), (0.99, None), (0.1, -2.6))
    )

    assert both > 0.5 > outline > edges


def test_what_edges_show_at_one_place_says_nothing_of_another():
    """Edges that run against the rest from 2 to 4 mm, and a network that sees a stretch unwound from 9 to 11."""
    away = sight(unwound=(9.0, 11.0, 0.5))
    with_edges, without = (twist_told(replace(twist(60.0, 0.99), same_hand=odd), away, 14.0) for odd in (-4.0, None))

    assert without.zone_mm == pytest.approx((9.0, 11.0), abs=0.15)
    assert with_edges.zone_mm != without.zone_mm or with_edges.probability == without.probability


def test_kinds_that_look_alike_share_what_the_network_sees():
    """Chances 0.8 and 0.6 at one place: 1 - 0.2 * 0.4 that it is one of the two; at two places no more than 0.8."""
    there = sight(barbs_folded=(4.0, 5.0, 0.8), barbs_missing=(4.0, 5.0, 0.6))
    apart = sight(barbs_folded=(4.0, 5.0, 0.8), barbs_missing=(8.0, 9.0, 0.6))
    kinds = ("barbs-folded", "barbs-missing")

    assert there.most_of(kinds, 0.0, 14.0) == pytest.approx(0.92)
    assert apart.most_of(kinds, 0.0, 14.0) == pytest.approx(0.802, abs=0.02)  # the rest leaves one in a hundred everywhere
    assert there.most_of(kinds, 20.0, 30.0) == 0.0


def test_a_bend_counts_only_as_far_as_the_faces_bear_it_out():
    """An outline led astray by a shadow bends sharply, and the network sees nothing there."""
    sharp = Bend(5.0, 25.0, 2.0, 0.0, None)

    assert sharp.probability > 0.99
    assert bend_told(sharp, sight()) < 0.75  # the network leaves one in a hundred everywhere
    assert bend_told(sharp, sight(kinked=(4.8, 5.2, 0.5))) > 0.9
    assert bend_told(sharp, None) == sharp.probability


def test_twist_is_placed_by_the_network_where_it_turns_back_or_lies_elsewhere():
    back = twist_told(twist(120.0, 0.9), sight(reverse_wound=(2.5, 3.5, 0.9)), 14.0)
    away = twist_told(twist(120.0, 0.99), sight(unwound=(8.0, 9.0, 0.99)), 14.0)

    assert back.zone_mm == pytest.approx((2.5, 3.5), abs=0.15)
    assert away.zone_mm == pytest.approx((8.0, 9.0), abs=0.15)
    assert away.probability > 0.9
    assert twist_told(twist(120.0, 0.9), sight(unwound=(1.5, 4.5, 0.95)), 14.0).zone_mm == (2.0, 4.0)


def test_a_chip_that_only_the_outline_shows_is_a_reason_to_look():
    """Glints cut outlines as well: where the network sees no chip there, it never suffices to discard."""
    deep = Chip(5.0, 5.2, Quantity(40.0, 16.0), 90.0, 15.0)

    assert CHIP_MOST < 0.8  # from which a finding discards
    assert 0.5 < chip_told(deep, sight()) <= CHIP_MOST
    assert chip_told(deep, sight(crest_chipped=(4.9, 5.3, 0.8))) > 0.95
    assert chip_told(replace(deep, spreads=1.5), sight(crest_chipped=(4.9, 5.3, 0.5))) < 0.5


@pytest.mark.parametrize(("turn", "chance", "told"), [(200.0, 0.99, True), (200.0, 0.9, False), (None, 0.99, False)])
def test_a_chip_that_the_faces_show_for_certain_needs_no_outline(turn: float | None, chance: float, told: bool):
    """The deepest cut of an outline lies elsewhere, as beside a glint. Of what was never twisted it is not told; nor how deep it is."""
    shallow = Chip(9.0, 9.2, Quantity(5.0, 2.0), 4.0, 15.0)
    made = examine(Seen(chip=shallow, hurts=sight(crest_chipped=(4.9, 5.3, chance)), turn_deg_per_mm=turn), px_per_mm=70.0)

    assert [one.kind for one in made.findings] == (["crest-chipped"] if told else [])
    for one in made.findings:
        assert (one.from_mm, one.to_mm) == (pytest.approx(4.9, abs=0.15), pytest.approx(5.3, abs=0.15))
        assert one.strength.value - 2.0 * one.strength.u < 0.0
        assert one.strength.value + 2.0 * one.strength.u > 100.0


def test_what_looks_overwound_is_a_little_less_likely_than_what_looks_unwound():
    """A curve toward the camera looks overwound too."""
    more, less = (twist_told(twist(sense * 60.0, 0.7), sight(**{kind: (2.0, 4.0, 0.7)}), 14.0).probability
                  for sense, kind in ((-1.0, "overwound"), (1.0, "unwound")))

    assert logit(less) - logit(more) == pytest.approx(OVERWOUND_DOUBT, abs=0.05)


def test_what_repeats_from_crest_to_crest_is_no_chip():
    """A square blank whose corners are rounder than the model's, at every crest alike: nothing is left of that, and a chip is."""
    x = np.arange(1.0, 15.0, 1.0 / 70.0)
    repeat = x / 0.6
    odd = -0.03 * np.cos(2.0 * np.pi * repeat) ** 8
    chip = -0.05 * np.exp(-(((x - 7.2) / 0.1) ** 4))

    shared = _in_common(odd + chip, repeat)

    assert np.abs(odd - shared)[5:-5].max() < 0.004  # the last bin has no right neighbour
    assert np.abs(_in_common(odd[:50], repeat[:50])).max() == 0.0  # too few crests to compare


def test_a_row_of_barbs_is_told_with_its_place_and_number():
    row = barbs_told(None, sight(barbs_missing=(3.0, 5.0, 0.9)), 11.0)

    assert row is not None
    assert row.kind == "barbs-missing"
    assert (row.from_mm, row.to_mm) == (pytest.approx(3.0, abs=0.15), pytest.approx(5.0, abs=0.15))
    assert row.count.value == pytest.approx(2.0 / 0.33, abs=0.6)
    either = 1.0 - 0.1 * 0.99  # one in a hundred is left to the other kind
    assert row.probability == pytest.approx(expit(BARBS_STEEP * (odds(either) - BARBS_LEVEL)))


def test_overwound_by_the_outline_alone_stays_an_oddity():
    call = examine(Seen(twist=twist(-180.0, 0.99)), px_per_mm=70.0)
    seen = examine(Seen(twist=twist(-180.0, 0.99), hurts=sight(overwound=(2.0, 4.0, 0.9))), px_per_mm=70.0)

    assert call.call == "nothing seen"
    assert call.findings[0].probability < 0.5
    assert seen.call == "discard"


def test_the_network_knows_the_kinds_it_was_trained_on():
    assert HURTS == TRAINED
    chances = net.see_damage(np.full((3, 192, 77), 0.9, np.float32))
    assert chances.shape == (len(HURTS), 39)
    assert ((chances >= 0.0) & (chances <= 1.0)).all()


def test_what_it_learns_lies_where_the_instrument_is_hurt():
    rng = np.random.default_rng(5)
    one = with_damage(rng, draw_of(rng, "nominal", "k-file", 30), "crest-chipped", 60.0)
    chip, row = one.damage[0], TRAINED.index("crest-chipped")
    poses = [Pose("flat", 0.0, 0.0, 1.0, 0.0, 0.0, roll) for roll in range(0, 360, 30)]
    turned = [hurt(one, pose, lambda at_mm: 50.0 * np.asarray(at_mm), 640) for pose in poses]

    shown = [found for found in turned if found[0, row].any()]
    assert 5 <= len(shown) <= 8  # of twelve: those in which the crest does not lie on the far side
    for found in shown:
        marked = np.flatnonzero(found[0, row])
        assert marked[0] == pytest.approx(50.0 * chip.from_mm, abs=4.0)
        assert marked[-1] == pytest.approx(50.0 * chip.to_mm, abs=4.0)
        assert not found[0].any(axis=1)[[k for k in range(len(TRAINED)) if k != row]].any()
    for found in turned:  # where it is not shown it is not asked for either
        middle = round(25.0 * (chip.from_mm + chip.to_mm))
        assert found[1, row, middle] == found[0, row, middle]


def test_a_kink_counts_as_it_is_seen_and_a_barb_by_its_own_side():
    rng = np.random.default_rng(5)
    bent = with_damage(rng, draw_of(rng, "nominal", "k-file", 30), "kinked", 30.0)
    broach = with_damage(rng, draw_of(rng, "nominal", "barbed-broach", 40), "barbs-folded", 8.0)
    poses = [Pose("flat", 0.0, 0.0, 1.0, 0.0, 0.0, roll) for roll in range(360)]

    degrees = [seen(bent, pose, bent.damage[0]).strength for pose in poses]
    barbs = [barbs_seen(broach, pose, broach.damage[0]) for pose in poses]

    assert max(degrees) == pytest.approx(30.0, abs=0.1)
    assert min(degrees) == pytest.approx(0.0, abs=0.6)
    assert {len(row) for row in barbs} == {8}
    facing = np.mean([faces for row in barbs for _, _, faces in row])
    assert facing == pytest.approx(0.5 + np.arcsin(0.3) / np.pi, abs=0.02)  # the arc above sin(-0.3)
