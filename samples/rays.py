"""The camera's rays and depths on any array library, component by component: the same numbers as `Camera`'s own."""

from typing import Any

from samples.arrays import Array
from samples.camera import Camera


def directions(xp: Any, camera: Camera, px: Array) -> Array:
    """Directions (... x 3, unit step along the optical axis, sheet coordinates) of distorted pixels (... x 2)."""
    x, y = _undistorted(camera, px)
    right, down, forward = (tuple(map(float, row)) for row in camera.rotation)
    x, y = x / camera.focal_px, y / camera.focal_px
    return xp.stack([x * right[k] + y * down[k] + forward[k] for k in range(3)], -1)


def _undistorted(camera: Camera, px: Array) -> tuple[Array, Array]:
    """Offsets from the picture's middle, px, as `Camera.undistort` finds them."""
    cx, cy = map(float, camera.centre_px)
    x, y = px[..., 0] - cx, px[..., 1] - cy
    if camera.k1 == 0.0:
        return x, y
    r2 = (x * x + y * y) / camera.half_diagonal_px**2
    scale = 1.0 / (1.0 + camera.k1 * r2)
    for _ in range(4):
        scale = 1.0 / (1.0 + camera.k1 * r2 * scale * scale)
    return x * scale, y * scale


def projected(camera: Camera, points: Array) -> tuple[Array, Array]:
    """Distorted pixels (x ..., y ...) of sheet points (... x 3), as `Camera.project` finds them."""
    rows = [tuple(map(float, row)) for row in camera.matrix]
    across, down, depth = (points[..., 0] * a + points[..., 1] * b + points[..., 2] * c + d for a, b, c, d in rows)
    cx, cy = map(float, camera.centre_px)
    x, y = across / depth - cx, down / depth - cy
    grow = 1.0 + camera.k1 * ((x * x + y * y) / camera.half_diagonal_px**2)
    return cx + x * grow, cy + y * grow


def depths(camera: Camera, points: Array) -> Array:
    """Distance (...) of sheet points (... x 3) from the pinhole along the optical axis."""
    eye, forward = map(float, camera.position), tuple(map(float, camera.rotation[2]))
    x, y, z = ((points[..., k] - at) * forward[k] for k, at in enumerate(eye))
    return x + y + z


def disc_px(camera: Camera, depth_mm: Array) -> Array:
    """Signed diameter of the out-of-focus disc, px, at depths: `Camera.blur_disc_px`."""
    sharp = camera.z_mm - camera.focus_height_mm
    spread = camera.focal_mm / camera.f_number * (sharp - depth_mm) / depth_mm
    return spread * camera.focal_px / sharp
