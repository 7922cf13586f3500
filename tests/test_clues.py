"""Clues to the family: each says what its source says, they add up by Bayes' rule, and a dispute lowers the answer."""

from __future__ import annotations

import math
from dataclasses import fields, replace

import pytest

from vision.blank import BlankEvidence, ShapeClue
from vision.clues import Extra, figure_looks, learned_look
from vision.dimensions import Dimensions
from vision.handle import HandleColour
from vision.hypotheses import PRIOR, Look, families, posterior, says, sections
from vision.identity import identify
from vision.named import FAMILIES, SECTIONS, Named
from vision.quantity import Quantity

NOTHING = Dimensions(**({field.name: None for field in fields(Dimensions)} | {"notes": ()}))
NO_HANDLE = HandleColour({}, None)


def speaks(what: str, extra: Extra = Extra(), **values: tuple[float, float]) -> dict[str, float]:  # noqa: B008
    """What one clue says of the families."""
    looks = figure_looks(replace(NOTHING, **{name: Quantity(*pair) for name, pair in values.items()}), extra)
    return says(next(look for look in looks if look.what == what))


def best(said: dict[str, float]) -> set[str]:
    return {name for name, value in said.items() if value > 0.99}


def test_priors_are_chances():
    """All pairs together make one; the four families are taken to be about equally common."""
    assert sum(PRIOR.values()) == pytest.approx(1.0, abs=1e-9)
    four = [families(PRIOR)[name] for name in ("k-file", "reamer", "hedstroem-file", "barbed-broach")]
    assert max(four) < 1.1 * min(four)


def test_clues_add_up_as_bayes_has_it():
    """Two likelihoods on a prior, worked by hand: 0.2 : 0.8 becomes 0.2 x 8 x 2 : 0.8 x 1 x 1 = 0.8 : 0.2."""
    prior = {("a", "x"): 0.2, ("b", "x"): 0.8}
    looks = [Look("one", "", {("a", "x"): math.log(8.0)}, ""), Look("two", "", {("a", "x"): math.log(2.0)}, "")]

    assert posterior([(look, 1.0) for look in looks], prior)["a", "x"] == pytest.approx(0.8)
    assert posterior([(look, 0.0) for look in looks], prior)["a", "x"] == pytest.approx(0.2)


def test_sections_and_families_are_sums_over_each_other():
    """K-types on triangular blanks count for the family and for the section."""
    chances = {("k-file", "triangle"): 0.3, ("k-file", "square"): 0.3, ("reamer", "triangle"): 0.4}

    assert families(chances) == pytest.approx({"k-file": 0.6, "reamer": 0.4})
    assert sections(chances) == pytest.approx({"triangle": 0.7, "square": 0.3})


@pytest.mark.parametrize(
    ("taper", "named"),
    # 0.02 for files, reamers and conical pluggers: JIS T 5419:1995 (read); broaches 0.007 to 0.010: lecture notes (read).
    [(0.020, {"k-file", "reamer", "hedstroem-file", "spreader"}), (0.0085, {"barbed-broach"}), (0.0, {"other"})],
)
def test_taper(taper, named):
    said = speaks("taper", taper_mm_per_mm=(taper, 0.0004))

    assert best(said) <= named
    assert min(said[name] for name in named) > 0.6
    assert max(value for name, value in said.items() if name not in {*named, "plugger", "paste-carrier"}) < 0.35


def test_a_groove_at_60_to_65_degrees_is_a_hedstroem_file():
    """Edge against the axis, figure legends of an atlas (read); a screw's thread stands steeper, from memory."""
    steep, thread = speaks("angle of the groove", helix_angle_deg=(62.0, 1.0)), speaks("angle of the groove", helix_angle_deg=(84.0, 1.0))

    assert steep["hedstroem-file"] == 1.0
    assert steep["paste-carrier"] < 0.6
    assert thread["hedstroem-file"] < 0.2


@pytest.mark.parametrize(("edges", "named", "other"), [(1.75, "k-file", "reamer"), (0.75, "reamer", "k-file")])
def test_spacing_against_size(edges, named, other):
    """Densities of size 25, K-file 1.97 falling to 0.88 and reamer 0.80 to 0.28: from memory, makers overlap."""
    said = speaks("spacing of the edges against size", flutes_per_mm=(edges, 0.01), d0_mm=(0.25, 0.003))

    assert said[named] == 1.0
    assert said[other] < 0.2


def test_in_the_overlap_the_spacing_shares():
    """1.15 edges a mm lies between both lines of size 25: neither file nor reamer is twice as likely."""
    said = speaks("spacing of the edges against size", flutes_per_mm=(1.15, 0.01), d0_mm=(0.25, 0.003))

    assert 0.5 < said["k-file"] / said["reamer"] < 2.0


@pytest.mark.parametrize(("period_mm", "family"), [(0.53, "k-file"), (1.3, "reamer")])
def test_flutes_shading_tells_a_k_file_from_a_reamer_in_an_overview(period_mm: float, family: str):
    """At D0 0.25 mm the lines give 0.55 mm a flute of a K-file and 1.36 mm of a reamer."""
    said = speaks("spacing of the flutes' shading", Extra(coarse=True, shaded_mm=period_mm), d0_mm=(0.25, 0.01))

    other = {"k-file": "reamer", "reamer": "k-file"}[family]
    assert said[family] > 4.0 * said[other]


def test_a_rhombus_shows_every_other_flute_and_may_look_like_a_reamer():
    look = next(
        look
        for look in figure_looks(replace(NOTHING, d0_mm=Quantity(0.25, 0.01)), Extra(coarse=True, shaded_mm=1.1))
        if look.what == "spacing of the flutes' shading"
    )

    assert look.logs["k-file", "rhombus"] > look.logs["k-file", "square"] + 1.0


def test_shading_says_nothing_without_a_diameter():
    assert all(look.what != "spacing of the flutes' shading" for look in figure_looks(NOTHING, Extra(coarse=True, shaded_mm=1.1)))


def test_a_driven_file_is_told_by_its_taper():
    """4 to 6 % of taper: no hand file of the size system has it (0.02: JIS T 5419:1995, read); twisted triangle all the same."""
    seen = replace(NOTHING, taper_mm_per_mm=Quantity(0.06, 0.001), d0_mm=Quantity(0.25, 0.004))

    assert identify(seen, evidence("triangle"), NO_HANDLE).family.value == "other"
    assert identify(replace(seen, taper_mm_per_mm=Quantity(0.02, 0.001)), evidence("triangle"), NO_HANDLE).family.value != "other"


def test_a_bare_rod_is_no_hand_instrument():
    assert best(speaks("handle", Extra(bare=True))) == {"other"}


def test_a_vague_figure_says_less():
    """The same taper, ever less sure, tells families ever less apart."""
    told = [speaks("taper", taper_mm_per_mm=(0.0085, u))["k-file"] for u in (0.0004, 0.002, 0.006, 0.02)]

    assert told == sorted(told)
    assert told[0] < 0.2
    assert told[-1] > 0.7


def evidence(kind: str) -> BlankEvidence:
    logs = {name: 0.0 if name == kind else -12.0 for name in ("square", "triangle", "rhombus", "groove", "barbed", "plain")}
    return BlankEvidence({kind: 1.0}, None, {}, (), (ShapeClue("outline", "by hand", logs, "none"),))


def network(family: str, section: str) -> Named:
    return Named(
        {name: 0.93 if name == family else 0.01 for name in FAMILIES}, {name: 0.97 if name == section else 0.01 for name in SECTIONS}
    )


def test_agreement_makes_surer_and_a_dispute_less_sure():
    """The same outline with a network that agrees, that is not asked, and that says something else."""
    agreed, alone, disputed = (
        identify(NOTHING, evidence("groove"), NO_HANDLE, seen)
        for seen in (network("hedstroem-file", "round"), None, network("barbed-broach", "round"))
    )

    assert agreed.family.value == "hedstroem-file"
    assert agreed.family.probability >= alone.family.probability > 0.8
    assert disputed.family.value is None
    assert any("disagree" in note for note in disputed.notes)
    assert not any("disagree" in note for note in (*agreed.notes, *alone.notes))


def test_every_clue_is_handed_on_with_its_ground():
    """What the reading shows under --why is what was fused: all looks, each with a source, the network marked as learned."""
    made = identify(NOTHING, evidence("square"), NO_HANDLE, network("k-file", "square"), extra=Extra(hand="right"))

    assert {clue.what for clue in made.family_clues} == {"outline", "hand of twist", "the whole strip"}
    assert all(clue.source and max(clue.says.values()) == pytest.approx(1.0) for clue in made.family_clues)
    assert [clue.learned for clue in made.family_clues].count(True) == 1
    assert says(learned_look(network("reamer", "triangle")))["reamer"] == 1.0
