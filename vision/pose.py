"""Stage 6c: how high the instrument lies above the sheet. Statics, not choice: a handle lifts the shaft.

One photo rarely shows which of the possible poses holds, so their spread is carried as uncertainty.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

# Handles of hand instruments are 3.5 to 4.2 mm thick: common practice, no source.
HANDLE_MM, HANDLE_U_MM = 3.9, 0.2
HELD_GAP_MM = 0.3  # even a held shaft may stand off the paper by up to this much
BALANCE_MM = 0.52  # with a cylindrical handle sizes up to about 50 balance on the handle alone (statics)


@dataclass(frozen=True)
class Height:
    """Axis height above the sheet: z(x) = tip + (handle - tip) x / length, mm, with standard uncertainties of both ends.

    ``shared`` is the correlation of the two ends' errors. ``sag_mm`` adds a parabola of this height in the middle, where
    several photos show the axis to curve out of the sheet's plane.
    """

    tip_mm: float
    handle_mm: float
    u_tip_mm: float
    u_handle_mm: float
    shared: float
    word: str
    sag_mm: float = 0.0

    def at(self, share: float) -> tuple[float, float]:
        """Height and its u at a share (0 tip, 1 handle) of the length, in mm."""
        value = self.tip_mm + (self.handle_mm - self.tip_mm) * share + 4.0 * self.sag_mm * share * (1.0 - share)
        a, b = (1.0 - share) * self.u_tip_mm, share * self.u_handle_mm
        return value, float(np.sqrt(max(a * a + b * b + 2.0 * self.shared * a * b, 0.0)))


ON_PLANE = Height(0.0, 0.0, 0.0, 0.0, 0.0, "scale stated at the instrument")


def held(shank_mm: float, tip_mm: float) -> Height:
    """Pose of a shaft held down level: on the paper, or up to 0.3 mm above it."""
    u = HELD_GAP_MM / np.sqrt(12.0)
    rise = HELD_GAP_MM / 2.0
    return Height(
        rise + shank_mm / 2.0,
        rise + shank_mm / 2.0,
        float(np.hypot(u, (shank_mm - tip_mm) / 4.0)),
        float(u),
        0.8,
        "held down",
    )


def doubted(down: Height, free: Height) -> Height:
    """Pose of a shaft said to be held down where the photo speaks against it: midway, with a u that covers both."""
    tip, handle = (down.tip_mm + free.tip_mm) / 2.0, (down.handle_mm + free.handle_mm) / 2.0
    u_tip = float(np.hypot((free.tip_mm - down.tip_mm) / 2.0, free.u_tip_mm))
    u_handle = float(np.hypot((free.handle_mm - down.handle_mm) / 2.0, free.u_handle_mm))
    return Height(tip, handle, u_tip, u_handle, 0.8, "said to be held down, in doubt")


def resting(shank_mm: float, tip_mm: float, handle_mm: float | None) -> Height:
    """Pose of an instrument laid down freely: hovering level on its handle, tipped until the tip touches, or between.

    ``handle_mm`` is the handle's measured thickness, None when it is out of the frame. The weights follow the balance
    of a cylindrical handle against the shaft (optics of the rest pose: sizes up to about 50 balance on the handle);
    a handle that narrows toward the shaft tips at any size, so neither pose is ever excluded.
    """
    thick, u_thick = (HANDLE_MM, HANDLE_U_MM) if handle_mm is None else (handle_mm, 0.1)
    hovers = 0.6 if tip_mm < BALANCE_MM else 0.25
    poses = ((hovers, thick / 2.0), (0.95 - hovers, tip_mm / 2.0), (0.05, shank_mm / 2.0))
    tip = sum(weight * z for weight, z in poses)
    spread = sum(weight * (z - tip) ** 2 for weight, z in poses)
    front, lowest = thick / 2.0, shank_mm / 2.0
    handle = 0.95 * front + 0.05 * lowest
    u_handle = float(np.hypot(0.22 * (front - lowest), u_thick / 2.0))
    return Height(tip, handle, float(np.sqrt(spread + (u_thick / 2.0) ** 2)), u_handle, 0.3, "resting freely")
