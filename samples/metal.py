"""Radiance of the metal: what it mirrors of its surroundings and, in a groove, of itself."""

from samples.arrays import Array
from samples.bodies import Body, Placed
from samples.shade import mirrored, mirrored_again
from samples.surroundings import Surroundings
from samples.trace import fields, normals_at, straightened

PROBES = (0.03, 0.07, 0.13, 0.21, 0.32, 0.47, 0.68, 0.95)
"""Distances along a mirrored ray, in diameters of the shank, at which it is checked for running into the metal."""

INSIDE_MM = 0.0005


def metal(
    placed: Placed,
    body: Body,
    point: Array,
    normal: Array,
    view: Array,
    local: Array,
    around: Surroundings,
    chance: tuple[Array, Array],
) -> Array:
    """Radiance (N x 3) at points seen along `view`, all N x 3 in sheet coordinates; `local` in the instrument's frame.

    One bounce off the metal, and a second one where a groove or a barb is in the way of the first.
    """
    backend, finish = around.backend, placed.instrument.finish
    along = backend.put(placed.pose.axes[0])
    direction, share = mirrored(backend, finish, normal, view, along, local[:, 0], chance)
    if not body.hollow:
        return share * around.seen(point, direction)
    axes = backend.put(placed.pose.axes)
    ray = direction @ axes.T
    reach = _until_metal(placed, body, local, ray)
    into = backend.xp.where(reach > 0)[0]
    if into.shape[0]:
        end = local[into] + reach[into][:, None] * ray[into]
        turned = backend.xp.stack(list(normals_at(backend, body, body.straighten(*(end[:, k] for k in range(3))))), 1)
        again, more = mirrored_again(backend, finish, turned @ axes, direction[into])
        point, direction, share = 1.0 * point, 1.0 * direction, 1.0 * share
        point[into], direction[into], share[into] = (
            end @ axes + backend.put(placed.pose.origin),
            again,
            share[into] * more,
        )
    return share * around.seen(point, direction)


def _until_metal(placed: Placed, body: Body, local: Array, ray: Array) -> Array:
    """Distance (N) along rays that leave the surface until a probe lies inside the metal; 0 where none does."""
    backend = placed.surface.backend
    reaches = [probe * placed.instrument.shank_width_mm for probe in PROBES]
    points = [(local[:, 0] + t * ray[:, 0], local[:, 1] + t * ray[:, 1], local[:, 2] + t * ray[:, 2]) for t in reaches]
    points = straightened(backend, body, points)
    hit = backend.xp.zeros_like(local[:, 0])
    for t, value in zip(reaches, fields(backend, body, points), strict=True):
        hit = backend.xp.where((value < -INSIDE_MM) & (hit == 0), t, hit)
    return hit
