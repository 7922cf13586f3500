"""The true outline of an instrument in the picture: extreme points of its surface on both sides of the axis."""

import numpy as np

from samples.arrays import Array, Backend, Floats
from samples.bodies import Placed
from samples.camera import Camera
from samples.instrument import SIDES, Instrument
from samples.rays import projected
from samples.surface import Surface
from samples.twist import twist_rad

X_STEP_MM = 0.01
OUT_STEP_MM = 0.025


def surface_points(one: Placed, x_mm: Floats, angles: Floats) -> Array:
    """Points of the metal's surface (barbs left out) in sheet coordinates, len(x) x len(angles) x 3, where it computes."""
    backend, pose = one.surface.backend, one.pose
    phi, radius = _turned(one.surface, x_mm, angles)
    point, frame = one.line.at(x_mm)
    origin, second, third = (
        backend.exact(a)[:, None]
        for a in (point @ pose.axes + pose.origin, frame[:, 1] @ pose.axes, frame[:, 2] @ pose.axes)
    )
    across = backend.xp.cos(phi)[..., None] * second + backend.xp.sin(phi)[..., None] * third
    return origin + radius[..., None] * across


def _turned(surface: Surface, x_mm: Floats, angles: Floats) -> tuple[Array, Array]:
    """`turning_radius` where the surface computes."""
    backend, instrument = surface.backend, surface.instrument
    hand = 1.0 if instrument.twist_hand == "right" else -1.0
    phi = backend.exact(hand * twist_rad(instrument, x_mm)[:, None] + angles)
    flat = surface.radius(backend.put(np.repeat(x_mm, len(angles))), backend.single(phi.reshape(-1)))
    return phi, flat.reshape(phi.shape)


def turning_radius(surface: Surface, x_mm: Floats, angles: Floats) -> tuple[Floats, Floats]:
    """Angles and radii, both len(x) x len(angles), on lines that turn with the blank: a corner stays on its line, so
    that interpolation along a line is exact even where the corner is sharp.
    """
    phi, radius = _turned(surface, x_mm, angles)
    return surface.backend.get(phi), surface.backend.get(radius)


def turning_angles(instrument: Instrument) -> Floats:
    """Angles that sample a section to 0.1 um: even ones, and many across each rounded corner or the groove's crest."""
    even = np.linspace(0, 2 * np.pi, 180, endpoint=False)
    if instrument.twist is None:
        return even
    corners = SIDES.get(instrument.cross_section)
    if corners is None:
        hand = 1.0 if instrument.twist_hand == "right" else -1.0
        land = (
            2
            * np.pi
            * np.linspace(instrument.steep_share - 0.01, instrument.steep_share + 2 * instrument.crest_share + 0.01, 60)
        )
        return np.sort(np.concatenate([even, hand * land % (2 * np.pi)]))
    near = np.linspace(-0.1, 0.1, 41)
    return np.sort(np.concatenate([even, *(2 * np.pi * k / corners + near for k in range(corners))]))


def _in_view(one: Placed, camera: Camera, x_mm: Floats) -> bool:
    px = camera.project(one.axis_points(x_mm[[0, -1]]))
    low, high = px.min(0), px.max(0)
    return bool(np.all(high > -200) and np.all(low < [camera.width_px + 200, camera.height_px + 200]))


def outline_px(one: Placed, camera: Camera) -> tuple[list[list[float]], list[list[float]]]:
    """(upper, lower): lists of [x_mm, px, py] every 0.025 mm of the metal, from the tip to the handle.

    'Upper' is the left-hand side as one walks from the tip to the handle in the picture. x_mm is that of the axis point
    from which the outline lies straight across, in the picture; barbs are left out (they have their own list). Parts
    more than 200 px outside the picture are left out.
    """
    length = one.instrument.length_mm
    angles = turning_angles(one.instrument)
    out: tuple[list[list[float]], list[list[float]]] = ([], [])
    stretches = []
    for first in np.arange(0.0, length, 2.0):
        x = np.arange(max(first - 0.7, 0.0), min(first + 2.7, length) + 1e-9, X_STEP_MM)
        want = np.arange(first, min(first + 2.0, length + 1e-9) - 1e-9, OUT_STEP_MM)
        if not _in_view(one, camera, want):
            continue
        stretches.append((x, want))
    together = 1 if one.surface.backend.xp is np else max(len(stretches), 1)
    for start in range(0, len(stretches), together):
        some = stretches[start : start + together]
        px, py = projected(camera, surface_points(one, np.concatenate([x for x, _ in some]), angles))
        ends = np.cumsum([len(x) for x, _ in some])
        for (x, want), end in zip(some, ends, strict=True):
            part = slice(int(end) - len(x), int(end))
            upper, lower = _stretch(one, camera, x, want, (px[part], py[part]))
            out[0].extend(upper)
            out[1].extend(lower)
    return out


def _stretch(
    one: Placed, camera: Camera, x: Floats, want: Floats, surface_px: tuple[Array, Array]
) -> tuple[list[list[float]], list[list[float]]]:
    axis_px = camera.project(one.axis_points(want))
    middle = camera.project(one.axis_points(np.array([x[0], x[-1]])))
    # Offsets are measured straight across the chord of this short stretch, for the surface and for the axis alike.
    run = (middle[1] - middle[0]) / np.linalg.norm(middle[1] - middle[0])
    side = np.array([run[1], -run[0]])
    right, down = surface_px[0] - float(middle[0, 0]), surface_px[1] - float(middle[0, 1])
    along, across = (right * float(v[0]) + down * float(v[1]) for v in (run, side))
    at = (axis_px - middle[0]) @ run
    values = _across_at(one.surface.backend, at, along, across)
    base = (axis_px - middle[0]) @ side
    rows = []
    for extreme in (values.max(0), values.min(0)):
        point = axis_px + (extreme - base)[:, None] * side
        rows.append(
            [
                [round(float(a), 3), round(float(p[0]), 3), round(float(p[1]), 3)]
                for a, p in zip(want, point, strict=True)
            ]
        )
    return rows[0], rows[1]


def _across_at(backend: Backend, at: Floats, along: Array, across: Array) -> Floats:
    """Each line (a column of `along` and `across`) interpolated at `at`: lines x len(at)."""
    if backend.xp is np:
        return np.stack([np.interp(at, *_ascending(along[:, k], across[:, k])) for k in range(along.shape[1])])
    order = along.argsort(0)
    x, y = along.take_along_dim(order, 0).T.contiguous(), across.take_along_dim(order, 0).T
    want = backend.exact(at).expand(x.shape[0], -1).contiguous()
    high = backend.xp.clip(backend.xp.searchsorted(x, want), 1, x.shape[1] - 1)
    x0, x1, y0, y1 = (table.take_along_dim(i, 1) for table in (x, y) for i in (high - 1, high))
    share = backend.xp.clip((want - x0) / (x1 - x0), 0.0, 1.0)
    return backend.get(y0 + share * (y1 - y0))


def _ascending(along: Floats, across: Floats) -> tuple[Floats, Floats]:
    order = np.argsort(along, kind="stable")
    return along[order], across[order]
