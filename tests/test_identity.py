"""What an instrument is: diameter and handle colour share the evidence, and a doubtful name is not given."""

import math
from dataclasses import fields, replace

import pytest

from vision.blank import KINDS, BlankEvidence, ShapeClue
from vision.clues import Extra
from vision.dimensions import Dimensions
from vision.handle import HandleColour
from vision.identity import DECIDED, FAMILY_DECIDED, OUTLINE_WEIGHT, identify
from vision.named import Named
from vision.nominal import BROACH_SIZES, COLOUR_OF_SIZE, HALF_SIZES, SIZES
from vision.quantity import Quantity

NO_HANDLE = HandleColour({}, None)


def measured(d0_mm=None, u_mm=0.004, flutes_per_mm=None):
    none = {field.name: None for field in fields(Dimensions)} | {"notes": ()}
    seen = {} if d0_mm is None else {"d0_mm": Quantity(d0_mm, u_mm)}
    if flutes_per_mm is not None:
        seen["flutes_per_mm"] = Quantity(flutes_per_mm, 0.02)
    return Dimensions(**(none | seen))


def section(kind, share=0.99):
    """An outline that speaks for one kind by ``share`` to the rest, and nothing else known of it."""
    rest = (1 - share) / (len(KINDS) - 1)
    shares = {name: share if name == kind else rest for name in KINDS}
    logs = {name: math.log(one) / OUTLINE_WEIGHT for name, one in shares.items()}
    return BlankEvidence(shares, None, {}, (), (ShapeClue("outline", "by hand", logs, "none"),))


def handle(colour, share=0.98):
    return HandleColour({colour: share, "other": 1 - share}, (50.0, 0.0, 0.0))


def size_of(d0_mm, colour=NO_HANDLE, **more):
    return identify(measured(d0_mm, **more), section("square"), colour).size


@pytest.mark.parametrize("d0_mm", [0.06, 0.07, 0.08, 0.09])
def test_smallest_sizes_share_the_probability(d0_mm):
    """06, 08 and 10 lie closer than their own tolerance: the diameter alone names none, however well it is measured."""
    # ±0.02 mm: JIS T 5419:1995, table 1 (read; pluggers of the same size system); the steps are 0.02 mm.
    size = size_of(d0_mm, u_mm=0.002)

    assert size.value is None
    assert size.probability < DECIDED
    assert {"6", "8", "10"} >= {name for name, share in size.others.items() if share > 0.2}
    assert sum(size.others[name] for name in ("6", "8", "10")) > 0.95


def test_no_size_is_sure_by_one_width_alone():
    """D0 0.445 mm is a 45 for all that its tolerance says (±0.02 mm: JIS T 5419:1995, read), or a 50 out of it."""
    alone, borne_out = size_of(0.445, u_mm=0.005), size_of(0.445, handle("white"), u_mm=0.005)

    assert (alone.value, borne_out.value) == (45, 45)
    assert alone.probability < 0.9 < borne_out.probability


@pytest.mark.parametrize(("edges", "sure"), [(1.18, False), (0.62, True), (1.4, False)])
def test_between_k_files_and_reamers_no_network_is_sure(edges, sure):
    """Size 25: K-files about 1.8, reamers 0.76 edges a mm (trade figures, from memory). Nothing else tells the two apart."""
    seen = Named({"reamer": 0.99, "k-file": 0.01}, {"triangle": 1.0, "square": 0.0, "rhombus": 0.0, "round": 0.0})

    family = identify(measured(0.25, flutes_per_mm=edges), section("triangle"), NO_HANDLE, seen).family

    assert family.value == "reamer"
    assert (family.probability >= 0.9) == sure


@pytest.mark.parametrize(("doubt_mm", "named"), [(None, 100), (0.36, None)])
def test_a_wire_whose_outlines_contradict_the_working_part_names_no_size(doubt_mm, named):
    """A yellow handle is a 20, 50 or 100 (ISO 3630-1 as others quote it); a wire of 1.3 mm behind a part that says 0.53 +- 0.36 mm."""
    contradicted = replace(measured(0.53, 0.36), doubt_mm=doubt_mm)
    wire = Extra(None, None, bare=False, wire_mm=Quantity(1.32, 0.02), coarse=False, shaded_mm=None)

    assert identify(contradicted, section("square"), handle("yellow"), extra=wire).size.value == named


@pytest.mark.parametrize("size", [6, 8, 10])
def test_colour_decides_between_the_smallest(size):
    """One and the same diameter of 0.08 mm is a 06, 08 or 10 by the colour of its handle."""
    chosen = size_of(0.08, handle(COLOUR_OF_SIZE[size]))

    assert chosen.value == size
    assert chosen.probability >= DECIDED
    assert chosen.evidence == ("diameter", "handle colour")


@pytest.mark.parametrize("size", [size for size in SIZES if size >= 15])
def test_a_good_diameter_names_the_size_alone(size):
    """From 15 up the bands of neighbouring sizes do not overlap (JIS T 5419:1995, read): a nominal diameter is enough."""
    assert size_of(size / 100).value == size


@pytest.mark.parametrize("d0_mm", [0.425, 0.525, 0.575])
def test_midway_between_two_sizes_nothing_is_named(d0_mm):
    """A diameter midway between two sizes belongs to neither; both are offered."""
    size = size_of(d0_mm)

    assert size.value is None
    assert sorted(size.others.values())[-2:] == pytest.approx([0.5, 0.5], abs=0.05)


@pytest.mark.parametrize("half", HALF_SIZES)
def test_half_sizes_are_offered_but_rarer(half):
    """At the diameter of a half size (public tables) it is offered; unless the metal is clear of the whole ones none is named."""
    offered = size_of(half / 100, handle(HALF_SIZES[half])).others

    assert offered[str(half)] > 0.1
    assert size_of(half / 100).value is None


def test_without_any_evidence_nothing_is_named():
    """Neither diameter nor colour: no size, no runners-up, no evidence."""
    size = size_of(None)

    assert (size.value, size.probability, dict(size.others), size.evidence) == (None, 0.0, {}, ())


def test_a_colour_alone_stands_for_three_sizes():
    """A blue handle stands for 30, 60 and 120 (published colour tables, read): a third each, nothing is named."""
    size = size_of(None, handle("blue"))

    assert size.value is None
    assert {"30", "60", "120"} == {name for name, share in size.others.items() if share > 0.2}


@pytest.mark.parametrize("colour", ["bleached", "other"])
def test_a_handle_without_a_size_colour_is_no_evidence(colour):
    """A bleached handle neither helps nor hurts."""
    assert size_of(0.25, handle(colour)) == size_of(0.25)


@pytest.mark.parametrize(("d0_mm", "overview", "close_up"), [(0.36, 35, 35), (0.375, 35, None), (0.385, None, None)])
def test_an_overview_names_a_size_a_little_sooner(d0_mm, overview, close_up):
    """A green handle (35) on metal of nearly 37: a person sorts by it, but nothing is judged by it."""
    seen = measured(d0_mm, 0.013)
    made = [identify(seen, section("square"), handle("green"), extra=Extra(coarse=coarse)).size.value for coarse in (True, False)]

    assert made == [overview, close_up]


def test_a_lost_tip_leaves_the_colour_only():
    """With the tip broken off the diameter at the end says nothing of the size."""
    size = identify(measured(0.40), section("square"), handle("grey"), tip_lost=True).size

    assert size.value == 8
    assert size.evidence == ("handle colour",)


@pytest.mark.parametrize(("colour", "d0_mm"), [("blue", 0.40), ("yellow", 0.25), ("purple", 0.20)])
def test_a_handle_against_the_metal_is_said(colour, d0_mm):
    """A handle whose sizes are all far from the measured diameter gives a note that names both sides."""
    notes = identify(measured(d0_mm), section("square"), handle(colour)).notes

    assert len(notes) == 1
    assert "do not trust the handle" in notes[0]
    assert f"{d0_mm * 100:.0f}" in notes[0]
    assert "/".join(str(s) for s in SIZES if COLOUR_OF_SIZE[s] == colour) in notes[0]


@pytest.mark.parametrize("size", SIZES)
def test_a_handle_with_the_metal_gives_no_note(size):
    """A handle that agrees, also at the edge of the tolerance of ±0.02 mm (JIS T 5419:1995, read), is left in peace."""
    assert identify(measured(size / 100 + 0.02), section("square"), handle(COLOUR_OF_SIZE[size])).notes == ()


@pytest.mark.parametrize("kind", ["groove", "barbed"])
def test_family_abstains_below_the_threshold(kind):
    """A family is named exactly when its probability reaches 0.7, and otherwise offered among the others."""
    word = {"groove": "hedstroem-file", "barbed": "barbed-broach"}[kind]
    seen = [identify(measured(0.25), section(kind, share), NO_HANDLE).family for share in (0.3, 0.5, 0.6, 0.9, 0.99)]
    chances = [one.probability if one.value else one.others[word] for one in seen]

    assert chances == sorted(chances)
    assert [one.value for one in seen] == [word if chance >= FAMILY_DECIDED else None for chance in chances]
    assert seen[0].value is None
    assert seen[-1].value == word
    for one in seen:
        assert sum(one.others.values()) + (one.probability if one.value else 0) == pytest.approx(1.0, abs=0.03)


def test_shares_of_sizes_add_up():
    """Chances of all sizes, named and offered, make one, less the chance that it is no instrument (under 0.005: left out)."""
    for d0_mm in (0.05, 0.11, 0.17, 0.26, 0.65, 1.5):
        size = size_of(d0_mm)
        total = sum(size.others.values()) + (size.probability if size.value is not None else 0)
        assert 0.95 <= total <= 1.003


@pytest.mark.parametrize(("flutes_per_mm", "family"), [(1.75, "k-file"), (0.70, "reamer")])
def test_edges_per_mm_tell_file_from_reamer(flutes_per_mm, family):
    """On one triangular blank of size 25, 1.75 edges a mm is a file and 0.70 a reamer (densities from memory)."""
    assert identify(measured(0.25, flutes_per_mm=flutes_per_mm), section("triangle"), NO_HANDLE).family.value == family


def test_broach_sizes_are_its_own():
    """A broach is sized by the broach list (from memory), and the reading says that nobody read it."""
    identity = identify(measured(0.45), section("barbed"), NO_HANDLE)

    assert identity.family.value == "barbed-broach"
    assert set(identity.size.others) <= {str(size) for size in BROACH_SIZES}
    assert any("from memory" in note for note in identity.notes)


@pytest.mark.parametrize("kind", ["square", "triangle", "rhombus"])
def test_section_is_named_only_when_decided(kind):
    """The cross-section follows the best kind of blank, from a share of 0.8 on."""
    assert identify(measured(0.25), section(kind), NO_HANDLE).section == kind
    assert identify(measured(0.25), section(kind, 0.5), NO_HANDLE).section is None


def test_size_probability_is_monotone_in_the_uncertainty():
    """The less sure the diameter, the less sure the size."""
    sure = [size_of(0.25, u_mm=u).others.get("25", size_of(0.25, u_mm=u).probability) for u in (0.002, 0.01, 0.03, 0.1)]

    assert sure == sorted(sure, reverse=True)
    assert not math.isclose(sure[0], sure[-1], rel_tol=0.5)


def test_a_stranger_has_no_size():
    """A smooth thing that is most likely no instrument is given no ISO size, whatever its diameter."""
    seen = replace(measured(0.80, 0.003), taper_mm_per_mm=Quantity(0.0, 0.0003))
    made = identify(seen, section("plain"), NO_HANDLE)

    assert made.family.value == "other"
    assert made.size.value is None


def test_a_width_gone_astray_yields_to_shank_and_colour():
    """D0 far off by a shadow; shank (0.47 + 2 %, blank of a 15 at 16 mm: JIS T 5419:1995, read) and a white handle agree on 15."""
    seen = replace(measured(0.25, 0.006), shank_width_mm=Quantity(0.48, 0.008))

    assert identify(seen, section("square"), handle("white")).size.value == 15


@pytest.mark.parametrize("size", [size for size in SIZES if 15 <= size <= 110])
def test_colour_and_shank_carry_the_size_where_the_diameter_is_vague(size):
    """At tray resolution D0 is good to 0.05 mm only: three sizes wear a colour and the shank tells them apart."""
    seen = replace(measured(size / 100, 0.05), shank_width_mm=Quantity((size / 100 + 0.32) * 1.02, 0.04))

    assert identify(seen, section("square"), handle(COLOUR_OF_SIZE[size])).size.value == size
    if size <= 60:  # steps of 0.05 mm; larger sizes stand 0.10 mm apart
        assert identify(seen, section("square"), NO_HANDLE).size.value is None


def test_a_size_on_which_metal_and_handle_disagree_is_not_sure():
    """A black handle (40, 80, 140) on a shaft of 0.869 mm, 0.02 mm from a 90: one of the two is astray, and no photo tells which."""
    torn = size_of(0.869, handle("black"), u_mm=0.009)
    agreed = size_of(0.80, handle("black"), u_mm=0.009)

    assert max(torn.probability, *torn.others.values()) < 0.9 < agreed.probability
    assert agreed.value == 80
