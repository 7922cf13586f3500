"""Light that an instrument throws back onto the sheet: bright lines toward the lamps, next to nothing in the shade.

Seen from a point of the sheet, each direction that a round bar hides shows the bar, and a bar of metal shows what it
mirrors: the ray leaves it turned ABOUT the bar's axis as by a circle and with the same angle ALONG it. So all that a long
bar throws on a point depends on the angle at which its axis is seen and on its radius over its height; it is summed once
a bar, by directions along the axis, and pieces of bar take their part of the sum. What the metal mirrors of the sheet
lies in the bar's own shadow and shine, found in a few rounds. Bars of plastic scatter instead.
"""

from dataclasses import dataclass, field
from itertools import groupby

import numpy as np

from samples.arrays import CPU, Array, Backend, Floats
from samples.bars import Bar
from samples.fresnel import coat_passes, conductor
from samples.light import Blocker, Light, map_directions, overhead, through_lobe
from samples.lobe import COSINES, KEPT, all_bounces, beyond, facets

SEEN_AT, MIRRORS, ALONG = 96, 64, 24
"""Steps of the angle at which the axis is seen, of the points across the bar, and of the angle along it."""

TURNS = 360
ROUNDS = 8
"""Bounces between sheet and metal; each keeps about half of the light, and they start from the sheet in full light."""

LEAST_ALPHA = 0.05


@dataclass(frozen=True)
class Room:
    """The light as seen from the sheet point `at_mm` (3): `falling` is its irradiance there (3), `paper` the mean
    reflectance of the sheet, `coated` whether a clear coat lies on it.
    """

    light: Light
    blocker: Blocker | None
    at_mm: Floats
    falling: Floats
    paper: float
    coated: bool
    skies: dict[tuple[float | None, bytes], Floats] = field(default_factory=dict, compare=False, repr=False)
    """Worked out already, by the metal's roughness and the way a bar lies."""

    def glow(self) -> Floats:
        """Radiance (3) of the sheet that shines by itself, in units of irradiance / pi."""
        return np.asarray(np.array(self.light.glow) * np.pi / self.falling)


@dataclass(frozen=True)
class Thrown:
    """Sums over the angle along the axis for each of B bars, (B (SEEN_AT + 1)) x (ALONG + 1) x 3, on the backend;
    `height_mm` (B): the axis above the sheet for which each was made."""

    backend: Backend
    sums: Array
    height_mm: Floats

    def light(self, bars: slice, about: Array, up: Array, ends: tuple[Array, Array]) -> Array:
        """Share of the sheet's irradiance that `bars` throw on N points, B x N x 3.

        All B x N: the angle at which a bar's axis is seen, its height over the point, and the angles (-pi / 2 to
        pi / 2) along it at which its ends are seen.
        """
        b, xp = self.backend, self.backend.xp
        first = (np.arange(len(self.height_mm), dtype=float) * (SEEN_AT + 1))[bars, None]
        row = xp.clip(b.single(about / np.pi * SEEN_AT), 0.0, SEEN_AT - 1e-3) + b.single(b.exact(first))
        cols = [b.single((end / np.pi + 0.5) * ALONG).reshape(-1) for end in ends]
        near, far = (b.bilinear(self.sums, col, row.reshape(-1)) for col in cols)
        scale = b.exact(self.height_mm[bars, None]) / xp.clip(up, 1e-3, None)
        return (far - near).reshape(*about.shape, 3) * xp.clip(scale, 0.0, 3.0)[..., None]


def thrown(backend: Backend, bars: list[Bar], hidden: Array, room: Room, axes: list[tuple[Floats, ...]]) -> Thrown:
    """Sum what each bar throws. `hidden` B x (SEEN_AT + 1) x 3: what a long bar hides, by the angle at which it is seen;
    `axes`: each bar's own directions along, across and up.
    """
    together = max(10 * backend.wide // ((SEEN_AT + 1) * MIRRORS * ALONG * 3), 1)
    tables = []
    for _, same in groupby(range(len(bars)), lambda k: (bars[k].alpha, bars[k].reflects)):
        alike = list(same)
        skies, of_bar = _skies(backend, room, bars[alike[0]].alpha, [axes[k] for k in alike])
        for first in range(0, len(alike), together):
            part = slice(first, first + together)
            some = alike[part]
            tables.append(_sums(backend, [bars[k] for k in some], skies, of_bar[part], hidden[some[0] : some[-1] + 1], room))
    return Thrown(backend, backend.xp.concatenate(tables), np.array([bar.height_mm for bar in bars]))


def _skies(backend: Backend, room: Room, alpha: float | None, axes: list[tuple[Floats, ...]]) -> tuple[Array, list[int]]:
    """What bars of one kind meet above the sheet, (ways x TURNS) x ALONG x 3, one block for each way they lie; each bar's block."""
    ways = list({one[0].tobytes(): one for one in axes}.values())
    number = {one[0].tobytes(): k for k, one in enumerate(ways)}
    for one in ways:
        if (alpha, one[0].tobytes()) not in room.skies:
            room.skies[alpha, one[0].tobytes()] = _lit_flank(room, one) if alpha is None else _mirrored_sky(room, alpha, one)
    skies = np.concatenate([room.skies[alpha, one[0].tobytes()] for one in ways])
    return backend.put(skies), [number[one[0].tobytes()] for one in axes]


def seen_at() -> Floats:
    """The angles at which a bar's axis is seen for the table's rows."""
    return np.linspace(0.0, np.pi, SEEN_AT + 1)


def along_steps() -> tuple[Floats, Floats]:
    """Middle angle of each step along the axis, and its share of the light that an even bar throws (sums to 1)."""
    ends = np.linspace(-np.pi / 2, np.pi / 2, ALONG + 1)
    return 0.5 * (ends[1:] + ends[:-1]), np.diff(ends / np.pi + np.sin(2 * ends) / (2 * np.pi))


@dataclass(frozen=True)
class Paths:
    """Rays from the sheet over bars, B by SEEN_AT + 1 by MIRRORS: `weight` in the sheet's irradiance; `turn` the angle of
    the mirrored ray (or, for plastic, of the normal) about the axis, `sky` the share of it above the horizon, `back` the
    row of the table at which the bar is seen from where the rest meets the sheet."""

    weight: Floats
    turn: Floats
    sky: Floats
    back: Floats
    cosine: Floats


def paths(ratio: Floats | float, alpha: float | None, coated: bool) -> Paths:
    """Rays that leave the sheet and meet long bars whose radius is `ratio` (B) times their axis's height, 1: B x ... fields."""
    ratio = np.asarray(ratio)[..., None, None]
    about = seen_at()[:, None]
    slant = (np.arange(MIRRORS) + 0.5) / MIRRORS * np.pi - np.pi / 2
    wide = np.minimum(ratio * np.sin(about), 1.0)
    leaves = about + np.arcsin(wide * np.sin(slant))
    up = np.sin(leaves)
    run = np.pi / MIRRORS * wide * np.cos(slant) / np.sqrt(np.maximum(1.0 - (wide * np.sin(slant)) ** 2, 1e-9))
    weight = np.where(up > 0, up * run, 0.0) / 2.0
    if coated:
        weight = weight * coat_passes(up)
    normal = leaves + np.pi - slant
    if alpha is None:
        return Paths(weight, normal, np.ones_like(normal), np.zeros_like(normal), np.ones_like(slant))
    # Facets that face the sheet show it more of themselves.
    lean = np.interp(np.cos(slant), np.linspace(0.0, 1.0, COSINES + 1), facets(alpha).lean)
    turn = leaves + np.pi - 2.0 * (slant - np.sign(slant) * lean)
    rise = np.sin(turn)
    sky = beyond(np, rise / (2.0 * KEPT * max(alpha, LEAST_ALPHA)))
    falls = np.minimum(rise, -1e-6)
    off = ratio * np.cos(normal) - (1.0 + ratio * np.sin(normal)) * np.cos(turn) / falls
    back = np.where(rise < 0, np.arctan2(1.0, -off) / np.pi * SEEN_AT, 0.0)
    return Paths(weight, turn, sky, back, np.cos(slant))


def _sums(backend: Backend, bars: list[Bar], skies: Array, of_bar: list[int], hidden: Array, room: Room) -> Array:
    """The sums of bars of one kind, (B (SEEN_AT + 1)) x (ALONG + 1) x 3."""
    xp, bar = backend.xp, bars[0]
    way = paths(np.array([min(one.radius_mm / one.height_mm, 20.0) for one in bars]), bar.alpha, room.coated)
    lean, share = along_steps()
    mirrors = np.broadcast_to(np.array(bar.reflects), (MIRRORS, ALONG, 3)) * share[:, None]
    if bar.alpha is not None:
        cosine = (way.cosine[:, None] * np.cos(lean)).reshape(-1)
        mirrors = _mirror(bar, cosine).reshape(MIRRORS, ALONG, 3) * share[:, None]
    turn = np.round(np.mod(way.turn, 2 * np.pi) / (2 * np.pi) * TURNS).astype(np.int64) % TURNS
    turn = turn + TURNS * np.array(of_bar)[:, None, None]
    seen = backend.rows(skies, backend.as_index(backend.exact(turn.reshape(-1)))).reshape(*turn.shape, ALONG, 3)
    mirror = backend.put(mirrors)
    out = (seen * (backend.put(way.weight * way.sky)[..., None, None] * mirror)).sum(2)
    if bar.alpha is not None:
        out = out + _from_sheet(backend, way, mirror, out.sum(2), hidden, room)
    sums = backend.zeros((len(bars), SEEN_AT + 1, ALONG + 1, 3))
    sums[:, :, 1:] = xp.cumsum(out, 2)
    return sums.reshape(-1, ALONG + 1, 3)


def _mirror(bar: Bar, cosine: Floats) -> Floats:
    """Reflectance (N x 3) of a bar of metal."""
    seen = facets(bar.alpha)
    share = np.interp(cosine, np.linspace(0.0, 1.0, COSINES + 1), seen.once)[:, None]
    return np.asarray(all_bounces(conductor(np.array(bar.reflects), cosine), share, seen.mean))


def _from_sheet(backend: Backend, way: Paths, mirror: Array, from_sky: Array, hidden: Array, room: Room) -> Array:
    """What the metal mirrors of the sheet, in its own shadow and shine, B x (SEEN_AT + 1) x ALONG x 3."""
    weight = backend.put(way.weight * (1.0 - way.sky))[..., None]
    glow, mean = backend.put(room.glow()), mirror.sum(1)
    own = (SEEN_AT + 1) * np.arange(len(way.back))[:, None, None]  # each bar meets its own shadow, a block of the table
    row = backend.put((np.clip(way.back, 0.0, SEEN_AT - 1e-3) + own).reshape(-1))
    left = 1.0 + 0.0 * hidden
    for _ in range(ROUNDS):
        level = room.paper * backend.sample(left.reshape(-1, 3), row).reshape(*way.back.shape, 3) + glow
        left = 1.0 - hidden + from_sky + (weight * level * mean).sum(2)
    return (((weight * level)[..., None, :]) * mirror).sum(2)


def _directions(turn: Floats, lean: Floats, axes: tuple[Floats, ...]) -> Floats:
    """Unit directions (... x 3) at angles about and along a bar's axis."""
    along, side, rise = axes
    about = np.cos(turn)[..., None] * side + np.sin(turn)[..., None] * rise
    return np.asarray(np.cos(lean)[..., None] * about + np.sin(lean)[..., None] * along)


def _mirrored_sky(room: Room, alpha: float, axes: tuple[Floats, ...]) -> Floats:
    """Radiance of the room in units of irradiance / pi, blurred by the metal's lobe: TURNS x ALONG x 3."""
    turn, lean = np.meshgrid(np.arange(TURNS) * (2 * np.pi / TURNS), along_steps()[0], indexing="ij")
    sky, blocker = through_lobe(room.light, room.blocker, max(alpha, LEAST_ALPHA), room.at_mm.tolist(), CPU)
    seen = overhead(sky, blocker, room.at_mm, _directions(turn, lean, axes).reshape(-1, 3))
    return np.asarray((seen * (np.pi / room.falling)).reshape(TURNS, ALONG, 3))


def _lit_flank(room: Room, axes: tuple[Floats, ...]) -> Floats:
    """Irradiance of a flank by the direction of its normal, in units of the sheet's: TURNS x ALONG x 3."""
    direction, solid = map_directions(65)
    up, weight = direction[solid > 0], solid[solid > 0]
    radiance = room.light.radiance(up)
    if room.blocker is not None:
        hidden = room.blocker.cover(np, room.at_mm, up)
        radiance = radiance * (1 - hidden) + hidden * np.array(room.blocker.rgb)
    turn = np.arange(TURNS) * (2 * np.pi / TURNS)
    normal = _directions(turn, 0.0 * turn, axes)
    falls = np.clip(normal @ up.T, 0.0, None) @ (radiance * weight[:, None]) / room.falling
    falls = falls + (room.paper + room.glow()) * (0.5 - 0.5 * normal[:, 2:])
    return np.repeat(falls[:, None], ALONG, 1)
