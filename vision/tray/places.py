"""Where the numerals stand in a tray's picture: near their instrument, clear of all metal and of one another."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.floating[Any]]
HANDLE_MM = 12.0


def body_of(axis_px: Array, handle_px: tuple[float, float] | None, box_px: Sequence[int], px_per_mm: float) -> Array:
    """Points along axis and handle, px; ``box_px`` (x, y, width, height) serves where the axis is not known."""
    axis = np.asarray(axis_px, dtype=float).reshape(-1, 2)
    if len(axis) < 3:
        x, y, w, h = box_px
        return np.array([[x, y], [x + w / 2.0, y + h / 2.0], [x + w, y + h]], dtype=float)
    axis = axis[:: max(len(axis) // 60, 1)]
    end = axis[-1] if handle_px is None else np.asarray(handle_px)
    run = end - axis[len(axis) // 2]
    run = run / max(float(np.linalg.norm(run)), 1e-9)
    behind = end + np.linspace(0.0, HANDLE_MM, 14)[:, None] * px_per_mm * run
    return np.concatenate([axis, behind])


def label_places(bodies: Sequence[Array], radius_px: float, size: tuple[int, int]) -> list[Array]:
    """Middle of a disc for each instrument, in px: near its handle, clear of all metal and of the other discs.

    ``bodies``: points (N, 2) along each instrument, tip first. Where nothing near is clear, the freest place is taken.
    """
    everything = np.concatenate(bodies) if bodies else np.empty((0, 2))
    taken: list[Array] = []
    for body in bodies:
        options = _options(body, radius_px, size)
        metal = np.linalg.norm(options[:, None] - everything[None], axis=2).min(axis=1)
        discs = np.linalg.norm(options[:, None] - np.array(taken)[None], axis=2).min(axis=1) if taken else np.full(len(options), np.inf)
        room = np.minimum(metal - 1.5 * radius_px, discs - 2.4 * radius_px)
        near = np.linalg.norm(options[:, None] - body[None], axis=2).min(axis=1)
        clear = room > 0.0
        best = int(np.argmin(np.where(clear, near, np.inf))) if clear.any() else int(np.argmax(room))
        taken.append(options[best])
    return taken


def _options(body: Array, radius_px: float, size: tuple[int, int]) -> Array:
    """Places round the handle's end and along both sides, inside the picture."""
    ring = np.radians(np.arange(0.0, 360.0, 15.0))
    circle = np.column_stack([np.cos(ring), np.sin(ring)])
    spots = [body[k] + f * radius_px * circle for k in (-1, -(len(body) // 3), len(body) // 3) for f in (1.7, 2.1, 2.6, 3.4, 4.4)]
    return np.asarray(np.clip(np.concatenate(spots), radius_px, np.array(size) - radius_px))
