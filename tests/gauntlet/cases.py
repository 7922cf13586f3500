# ruff: noqa: E501 - one line a case
"""The list: every wrong photo with what must come of it, and its harmless twin, which must be read."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np

from tests.gauntlet import light, shape
from tests.gauntlet.bases import Base, Picture

NO_SCALE = frozenset({"no-sheet", "scrambled-sheet", "sheet-too-little", "foreign-sheet", "two-sheets"})


@dataclass(frozen=True)
class Spoiled:
    """A picture, and by what the truth's lengths along and across the instrument are to be multiplied to fit it.

    ``f35``: the focal length that the file claims, None for what the camera wrote, 0 for no record at all.
    """

    rgb: Picture
    along: float = 1.0
    across: float = 1.0
    f35: int | None = None


Make = Callable[[Base], Picture | Spoiled]


@dataclass(frozen=True)
class Case:
    """``refused``: the kinds of error that are right for the hard photo; empty where an honest reading is right as well."""

    name: str
    hard: Make
    mild: Make
    refused: frozenset[str] = frozenset()


def _copied(scale: float) -> Make:
    """A sheet copied at that scale looks like a whole one on which everything, the instrument too, is smaller by it."""
    return lambda base: Spoiled(base.rgb, scale, scale)


def _unequal(along: float, across: float) -> Make:
    """A sheet copied unequally looks like a whole one in a stretched picture of a stretched instrument."""
    return lambda base: Spoiled(shape.stretched(base, along, across), along, across)


def _bow(height_mm: float) -> Make:
    return lambda base: shape.lifted(base.rgb, lambda u, v: height_mm * (1.0 - u**2), 90.0)  # noqa: ARG005


def _roll(height_mm: float) -> Make:
    return lambda base: shape.lifted(base.rgb, lambda u, v: height_mm * (1.0 - v**2), 90.0)  # noqa: ARG005


def _crease(height_mm: float) -> Make:
    return lambda base: shape.lifted(base.rgb, lambda u, v: height_mm * np.maximum(u + 0.5 * v, 0.0), 90.0)


def _waves(height_mm: float) -> Make:
    return lambda base: shape.lifted(base.rgb, lambda u, v: height_mm * np.sin(5.0 * u + 1.0) * np.cos(3.0 * v), 90.0)


def _claims(f35: int) -> Make:
    return lambda base: Spoiled(base.rgb, f35=f35)


def _along(base: Base) -> np.ndarray:
    return base.front_px - base.tip_px


def _across(base: Base) -> np.ndarray:
    along = _along(base)
    return np.array([-along[1], along[0]])


CASES = (
    # The sheet.
    Case("mirrored left to right", lambda b: b.rgb[:, ::-1].copy(), lambda b: np.rot90(b.rgb).copy(), NO_SCALE),
    Case("mirrored top to bottom", lambda b: b.rgb[::-1].copy(), lambda b: b.rgb[::-1, ::-1].copy(), NO_SCALE),
    Case("the same sheet twice", lambda b: shape.beside(b.rgb, b.rgb), lambda b: shape.beside(b.rgb, np.full_like(b.rgb[:, :300], 90)), frozenset({"two-sheets"})),
    Case("cut up and laid anew", lambda b: shape.scrambled(b.rgb, 260), lambda b: light.coarse_jpeg(b.rgb, 60), NO_SCALE),
    Case("somebody else's sheet", lambda b: shape.strange_markers(b.rgb), lambda b: light.noisy(b.rgb, 2.0), frozenset({"foreign-sheet"})),
    Case("the print is covered", lambda b: shape.only_near(b, 150, 150), lambda b: shape.only_near(b, 150, 9999), NO_SCALE),
    Case("half a sheet", lambda b: shape.only_near(b, 9999, 100), lambda b: shape.only_near(b, 9999, 400)),
    Case("no instrument", lambda b: b.bare, lambda b: light.exposed(b.rgb, 0.9), frozenset({"no-instrument", "no-outline"})),
    Case("an instrument wiped away", shape.wiped_away, lambda b: light.exposed(b.rgb, 0.95)),
    Case("far away", lambda b: light.resized(b.rgb, 0.15), lambda b: light.resized(b.rgb, 0.95), frozenset({"too-coarse", "too-small"})),
    Case("too few px", lambda b: light.resized(b.rgb, 0.32), lambda b: light.resized(b.rgb, 0.9)),
    Case("copied at 97 %", _copied(0.97), _copied(0.995)),
    Case("copied at 103 %", _copied(1.03), _copied(1.005)),
    Case("copied 3 % longer", _unequal(1.03, 1.0), _unequal(1.003, 1.0)),
    Case("copied 3 % wider", _unequal(1.0, 1.03), _unequal(1.0, 1.003)),
    Case("bowed by 3 mm", _bow(3.0), _bow(0.1)),
    Case("rolled by 3 mm", _roll(3.0), _roll(0.1)),
    Case("creased by 3 mm", _crease(3.0), _crease(0.08)),
    Case("in waves of 1.5 mm", _waves(1.5), _waves(0.04)),
    # Off a screen.
    Case("on a screen of 0.25 mm dots", lambda b: light.on_a_screen(b.rgb, 11.3, 2.0, 0.5), lambda b: light.noisy(b.rgb, 3.0), frozenset({"screen"})),
    Case("on a screen of 0.1 mm dots", lambda b: light.on_a_screen(b.rgb, 4.4, 31.0, 0.5), lambda b: light.coarse_jpeg(b.rgb, 75), frozenset({"screen"})),
    Case("on a screen, beats only", lambda b: light.on_a_screen(b.rgb, 2.2, 5.0, 0.5), lambda b: light.sharpened(b.rgb, 0.4, 1.0), frozenset({"screen"})),
    # Light.
    Case("lamps in a glossy sheet", lambda b: light.glossy(b.rgb, [b.at(0.2), b.at(0.55)], 90, 1.5), lambda b: light.glossy(b.rgb, [b.at(0.5) + 0.25 * _across(b)], 60, 1.5)),
    Case("glare over the tip", lambda b: light.glossy(b.rgb, [b.at(0.0)], 150, 2.0), lambda b: light.glossy(b.rgb, [b.at(-0.25)], 40, 1.0)),
    Case("far too bright", lambda b: light.exposed(b.rgb, 4.0), lambda b: light.exposed(b.rgb, 1.1)),
    Case("too bright, with bloom", lambda b: light.exposed(b.rgb, 3.0, bloom_px=8.0), lambda b: light.exposed(b.rgb, 1.05, bloom_px=2.0)),
    Case("deep shade", lambda b: light.exposed(b.rgb, 0.015, noise=0.01), lambda b: light.exposed(b.rgb, 0.4, noise=0.01)),
    Case("night", lambda b: light.exposed(b.rgb, 0.004, noise=0.03), lambda b: light.exposed(b.rgb, 0.25, noise=0.01)),
    Case("a hard shadow across", lambda b: light.shaded(b.rgb, 0.5, 4.0, 0.06), lambda b: light.shaded(b.rgb, 0.5, 120.0, 0.7)),
    Case("red light", lambda b: light.tinted(b.rgb, (1.0, 0.06, 0.03)), lambda b: light.tinted(b.rgb, (1.0, 0.85, 0.65))),
    Case("blue light", lambda b: light.tinted(b.rgb, (0.05, 0.15, 1.0)), lambda b: light.tinted(b.rgb, (0.75, 0.9, 1.0))),
    Case("green light", lambda b: light.tinted(b.rgb, (0.04, 1.0, 0.05)), lambda b: light.tinted(b.rgb, (0.9, 1.0, 0.85))),
    Case("without colour", lambda b: np.repeat(b.rgb[..., 1:2], 3, axis=2), lambda b: light.tinted(b.rgb, (1.0, 0.92, 0.8))),
    Case("black for white", lambda b: 255 - b.rgb, lambda b: light.exposed(b.rgb, 0.7)),
    # Lens, sensor, file.
    Case("moved along", lambda b: light.smeared(b.rgb, _along(b), 25), lambda b: light.smeared(b.rgb, _along(b), 1.5)),
    Case("moved across", lambda b: light.smeared(b.rgb, _across(b), 20), lambda b: light.smeared(b.rgb, _across(b), 1.5)),
    Case("out of focus", lambda b: light.defocused(b.rgb, 9.0), lambda b: light.defocused(b.rgb, 0.6)),
    Case("rather out of focus", lambda b: light.defocused(b.rgb, 4.0), lambda b: light.defocused(b.rgb, 0.9)),
    Case("shaken", lambda b: light.shaken(b.rgb, 14.0), lambda b: light.shaken(b.rgb, 1.0)),
    Case("much noise", lambda b: light.noisy(b.rgb, 45.0), lambda b: light.noisy(b.rgb, 5.0)),
    Case("wiped smooth", lambda b: light.wiped_smooth(b.rgb, 15), lambda b: light.wiped_smooth(b.rgb, 3)),
    Case("sharpened to halos", lambda b: light.sharpened(b.rgb, 4.0, 3.0), lambda b: light.sharpened(b.rgb, 0.6, 1.0)),
    Case("coded to blocks", lambda b: light.coarse_jpeg(b.rgb, 6), lambda b: light.coarse_jpeg(b.rgb, 85)),
    Case("through a messenger", lambda b: light.through_a_messenger(b.rgb, 0.3), lambda b: light.through_a_messenger(b.rgb, 0.95)),
    Case("colour fringes", lambda b: light.fringed(b.rgb, 8.0), lambda b: light.fringed(b.rgb, 0.6)),
    Case("a strong barrel", lambda b: shape.barrelled(b.rgb, 0.12), lambda b: shape.barrelled(b.rgb, 0.01)),
    Case("a strong slant", lambda b: shape.leaning(b.rgb, 38.0), lambda b: shape.leaning(b.rgb, 3.0)),
    Case("read while it moved", lambda b: shape.sheared(b.rgb, 0.05), lambda b: shape.sheared(b.rgb, 0.001)),
    Case("joined out of step", lambda b: shape.broken(b.rgb, 0.5, 14.0), lambda b: shape.broken(b.rgb, 0.5, 0.0)),
    Case("a false focal length", _claims(200), _claims(0)),
    # What lies there.
    Case("the tip outside", lambda b: shape.cut_off(b, 0.15, keep_tip=False), lambda b: shape.beside(b.rgb, b.rgb[:, -1:].repeat(40, axis=1))),
    Case("only the tip", lambda b: shape.cut_off(b, 0.3, keep_tip=True), lambda b: cv2.copyMakeBorder(b.rgb, 20, 20, 20, 20, cv2.BORDER_REPLICATE)),
    Case("a thing on the working part", lambda b: shape.sticker(b, 0.3, 70), lambda b: shape.sticker(b, -0.35, 30)),
    Case("a thing on the tip", lambda b: shape.sticker(b, 0.02, 45), lambda b: shape.sticker(b, -0.3, 25)),
)  # fmt: skip
