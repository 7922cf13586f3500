"""The hand of twist, told on painted faces of prisms whose hand is known; a mirror changes it and nothing else."""

from __future__ import annotations

import numpy as np
import pytest

from vision.blank import BlankEvidence
from vision.crests import find_crests
from vision.hand import hand_notes, odds_of_same_hand, see_hand
from vision.outline import Outline
from vision.place import Profile
from vision.shapes import SQUARE, TRIANGLE
from vision.strip import Strip
from vision.twist import fit_twist
from vision.twist_path import TwistPath

PX_PER_MM, HALF, LENGTH_MM, D0_MM, TAPER = 40.0, 36, 12.0, 0.40, 0.02
COUNT = int(LENGTH_MM * PX_PER_MM)


def painted(corners: int, pitch_mm: float, *, right: bool, seed: int = 0):
    """Brightness (rows, columns) of a twisted prism seen from above, and its two edges in px from the axis.

    A right-handed helix is the curve (x, cos t, sin t) with x growing as the thumb of the right hand points when its
    fingers curl with t (the usual definition): turning +y toward +z goes round +x. Rows run along y, the camera looks down
    from +z; a picture's rows run downward, so it is seen from above only if z = x × row points away from it.
    """
    draw = np.random.default_rng(seed)
    sides = draw.uniform(0.1, 1.0, 9)  # brightness by the direction that a side faces, as mirrored surroundings give
    x = np.arange(COUNT) / PX_PER_MM
    radius = (D0_MM + TAPER * x) / 2.0 * PX_PER_MM
    turn = 2.0 * np.pi * x / (corners * pitch_mm)
    rows = np.arange(-HALF, HALF + 1.0)
    face, top = np.full((2 * HALF + 1, COUNT), 1.0), np.full((2 * HALF + 1, COUNT), -np.inf)
    # Axes x right, y down, z into the picture are right-handed; the camera sees what has the least z.
    angles = [turn * (1.0 if right else -1.0) + 2.0 * np.pi * k / corners for k in range(corners)]
    for k in range(corners):
        a, b = angles[k], angles[(k + 1) % corners]
        y0, y1, z0, z1 = (radius * f(angle) for f in (np.cos, np.sin) for angle in (a, b))
        share = (rows[:, None] - y0) / np.where(np.abs(y1 - y0) < 1e-9, 1e-9, y1 - y0)
        nearer = -(z0 + share * (z1 - z0))
        over = (share >= 0.0) & (share <= 1.0) & (nearer > top)
        facing = np.degrees(np.arctan2(z0 + z1, y0 + y1)) % 360.0
        light = np.interp(facing, np.linspace(0.0, 360.0, 9), sides)
        top, face = np.where(over, nearer, top), np.where(over, light[None, :], face)
    heights = np.array([radius * np.cos(angle) for angle in angles])
    return face + draw.normal(0.0, 0.01, face.shape), heights.max(axis=0), heights.min(axis=0)


def laid(face, upper_px, lower_px):
    """A painted face and its edges as a strip and a profile."""
    x = np.arange(COUNT) / PX_PER_MM
    axis = np.column_stack([np.arange(COUNT, dtype=float), np.full(COUNT, 100.0)])
    strip = Strip(face.astype(np.float32), axis, np.tile([0.0, 1.0], (COUNT, 1)), np.ones(COUNT, dtype=bool))
    upper, lower = upper_px / PX_PER_MM, lower_px / PX_PER_MM
    ones, zeros = np.ones((2, COUNT)), np.zeros((2, COUNT))
    return strip, Profile(x, upper, lower, np.arange(COUNT), PX_PER_MM, 0.0, (upper, lower), ones, zeros)


def seen(corners, face, upper_px, lower_px):
    """What is told of a painted face with its edges known."""
    strip, profile = laid(face, upper_px, lower_px)
    x, upper, lower = profile.x_mm, profile.upper_mm, profile.lower_mm
    crests = [find_crests(x, edge, from_mm=0.5, to_mm=LENGTH_MM - 0.5) for edge in (upper, -lower)]
    span = (0.6, LENGTH_MM - 0.6)
    fit = fit_twist({3: TRIANGLE, 4: SQUARE}[corners], x, upper, lower, (crests[0], crests[1]), span)
    outline = Outline(*crests, None, None, False, span, {fit.blank.name: fit}, None, None, None, np.empty(0), None)
    return see_hand(strip, profile, outline, BlankEvidence({fit.blank.name: 1.0}, None, {}, ()))


@pytest.mark.parametrize(("corners", "pitch_mm", "seed"), [(4, 0.6, 1), (3, 1.1, 2)])
def test_a_mirror_changes_the_hand_and_nothing_else(corners, pitch_mm, seed):
    """Right-handed prisms are told as right-handed, their mirror images as left-handed, by the same margin."""
    face, upper, lower = painted(corners, pitch_mm, right=True, seed=seed)
    straight, mirrored = seen(corners, face, upper, lower), seen(corners, face[::-1], -lower, -upper)

    assert (straight.hand, mirrored.hand) == ("right", "left")
    assert mirrored.lead == pytest.approx(-straight.lead, abs=0.05)


def test_the_other_helix_is_left_handed():
    """The same prism twisted the other way, painted anew and not mirrored."""
    assert seen(4, *painted(4, 0.6, right=False, seed=4)).hand == "left"


@pytest.mark.parametrize(("corners", "pitch_mm"), [(4, 0.6), (3, 1.1)])
def test_a_zone_whose_edges_run_the_other_way_is_told(corners, pitch_mm):
    """The same outline, its face that of a right-handed blank or, from 2 to 4.5 mm, that of a left-handed one, as where a blank was
    turned back: the zone's faces run as the whole blank's do, or plainly not; elsewhere they do in both."""
    right, upper, lower = painted(corners, pitch_mm, right=True, seed=6)
    left, *_ = painted(corners, pitch_mm, right=False, seed=6)
    whole = seen(corners, right, upper, lower)
    back, (low, high) = right.copy(), (round(2.0 * PX_PER_MM), round(4.5 * PX_PER_MM))
    back[:, low:high] = left[:, low:high]
    x = np.arange(0.6, LENGTH_MM - 0.6, 0.1)
    path = TwistPath(x, 2.0 * np.pi * x / (corners * pitch_mm), np.eye(len(x)), corners, np.zeros(COUNT))

    same, other = (odds_of_same_hand(*laid(face, upper, lower), path, (2.0, 4.5), whole) for face in (right, back))
    beyond = odds_of_same_hand(*laid(back, upper, lower), path, (5.5, 8.0), whole)

    assert min(same, beyond) > 2.0
    assert other < -2.0
    assert odds_of_same_hand(*laid(right, upper, lower), path, (2.0, 2.1), whole) is None


def test_a_dull_face_tells_no_hand():
    """Where all sides look alike the outline alone is left, which is the same for both hands; the note says so."""
    face, upper, lower = painted(4, 0.6, right=True)
    rows = np.arange(-HALF, HALF + 1.0)[:, None]
    noise = np.random.default_rng(5).normal(0.0, 0.01, face.shape)
    dull = np.where((rows < upper) & (rows > lower), 0.4, 1.0) + noise
    told = seen(4, dull, upper, lower)

    assert told is None or told.hand is None
    assert "not" in hand_notes(told, fluted=True)[0]
    assert hand_notes(told, fluted=False) == ()
