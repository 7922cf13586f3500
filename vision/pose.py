"""Stage 6c: how high the instrument lies above the sheet. Statics, not choice: a handle lifts the shaft.

One photo rarely shows which of the possible poses holds, so their spread is carried as uncertainty.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.seen_height import SeenHeight

# Handles of hand instruments are 3.5 to 4.2 mm thick: common practice, no source.
HANDLE_MM, HANDLE_U_MM = 3.8, 0.3
SEEN_HANDLE_U_MM = 0.4  # of a thickness read off the photo, as development renders show
TIPPED_FRONT_MM = 0.12  # by which the front face lies lower when the shaft tips about the handle's far end
U_FRONT_MM = 0.12
BETWEEN = 0.12  # share of poses between touching and hovering: a stop carries the shaft
GRID = 81
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


LIFTED, MOST_LIFT_MM = 0.07, 3.0  # share of shanks held down whose tip is bent up, and how far: common practice, no source
# Turned and laid down again: share that rests otherwise than before, and how far handles are from round: common practice, no source.
OTHER_POSE, AGAIN_U_MM = 0.1, 0.1
ON_PLANE = Height(0.0, 0.0, 0.0, 0.0, 0.0, "scale stated at the instrument")


def held(shank_mm: float, tip_mm: float, seen: SeenHeight | None = None) -> Height:
    """Pose of a shaft held down level: on the paper, or up to 0.3 mm above it.

    A pre-curve or a bow may lift the tip all the same; ``seen`` weighs that by what shadow, mirrored sheet and blur show.
    """
    u = HELD_GAP_MM / np.sqrt(12.0)
    level = HELD_GAP_MM / 2.0 + shank_mm / 2.0
    lift, u_lift = (0.0, 0.0) if seen is None else _lifted(level, seen)
    return Height(
        level + lift,
        level,
        float(np.linalg.norm([u, (shank_mm - tip_mm) / 4.0, u_lift])),
        float(u),
        0.8,
        "held down",
    )


def _lifted(level_mm: float, seen: SeenHeight) -> tuple[float, float]:
    """How far the tip is up although the shank is held down, and u of that."""
    lift = np.linspace(0.0, MOST_LIFT_MM, GRID)
    weight = np.full(GRID, LIFTED / (GRID - 1))
    weight[0] = 1.0 - LIFTED
    chance = seen.log_likelihood(level_mm + lift, level_mm)
    weight = weight * np.exp(chance - chance.max())
    weight /= weight.sum()
    mean = float(weight @ lift)
    return mean, float(np.sqrt(weight @ (lift - mean) ** 2))


def doubted(down: Height, free: Height) -> Height:
    """Pose of a shaft said to be held down where the photo speaks against it: midway, with a u that covers both."""
    tip, handle = (down.tip_mm + free.tip_mm) / 2.0, (down.handle_mm + free.handle_mm) / 2.0
    u_tip = float(np.hypot((free.tip_mm - down.tip_mm) / 2.0, free.u_tip_mm))
    u_handle = float(np.hypot((free.handle_mm - down.handle_mm) / 2.0, free.u_handle_mm))
    return Height(tip, handle, u_tip, u_handle, 0.8, "said to be held down, in doubt")


def laid_again(before: Height, own: Height) -> Height:
    """Pose of an instrument that was turned and laid down again; ``before``: as it was measured to lie, ``own``: what its photo allows.

    It rests as before, for its handle and weight are the same; now and then it tips where it hovered, or the other way round.
    """
    ends = [
        _either((a, u_a), (b, u_b))
        for a, u_a, b, u_b in (
            (before.tip_mm, before.u_tip_mm, own.tip_mm, own.u_tip_mm),
            (before.handle_mm, before.u_handle_mm, own.handle_mm, own.u_handle_mm),
        )
    ]
    return Height(ends[0][0], ends[1][0], ends[0][1], ends[1][1], own.shared, "measured as it lay before")


def _either(before: tuple[float, float], own: tuple[float, float]) -> tuple[float, float]:
    """Height of one end and its u, mm: mean and spread of both cases."""
    apart = before[0] - own[0]
    again, other = before[1] ** 2 + AGAIN_U_MM**2, own[1] ** 2
    square = (1.0 - OTHER_POSE) * again + OTHER_POSE * other + OTHER_POSE * (1.0 - OTHER_POSE) * apart**2
    return before[0] - OTHER_POSE * apart, float(np.sqrt(square))


def resting(tip_mm: float, handle_mm: float | None, seen: SeenHeight | None = None) -> Height:
    """Pose of an instrument laid down freely: hovering level on its handle, tipped until the tip touches, or between.

    ``handle_mm`` is the handle's measured thickness, None when it is out of the frame. The weights follow the balance
    of a cylindrical handle against the shaft (optics of the rest pose: sizes up to about 50 balance on the handle);
    a handle that narrows toward the shaft tips at any size, so neither pose is ever excluded. ``seen`` weighs the poses by
    what shadow, mirrored sheet and blur show.
    """
    thick, u_thick = _thickness(handle_mm)
    touching, hovering = tip_mm / 2.0, thick / 2.0
    grid = np.linspace(touching, max(hovering, touching + 0.1), GRID)
    hovers = 0.6 if tip_mm < BALANCE_MM else 0.25
    weight = np.full(GRID, BETWEEN / GRID)
    weight[-1] += hovers
    weight[0] += 1.0 - BETWEEN - hovers
    front = hovering - TIPPED_FRONT_MM * (1.0 - (grid - touching) / (grid[-1] - touching))
    if seen is not None:
        chance = seen.log_likelihood(grid, front)
        weight = weight * np.exp(chance - chance.max())
    weight = weight / weight.sum()
    tip, handle = float(weight @ grid), float(weight @ front)
    u_tip = float(np.sqrt(weight @ (grid - tip) ** 2 + (u_thick / 2.0) ** 2 * weight[-1] + 0.05**2))
    u_handle = float(np.hypot(u_thick / 2.0, U_FRONT_MM))
    return Height(tip, handle, u_tip, u_handle, 0.3, "resting freely")


def free_against_held(shank_mm: float, tip_mm: float, handle_mm: float | None, seen: SeenHeight) -> float:
    """Log of how much better the readings fit a shaft resting freely (in its best pose) than one held down."""
    thick, _ = _thickness(handle_mm)
    rise = HELD_GAP_MM / 2.0
    down = float(seen.log_likelihood(rise + shank_mm / 2.0, rise + shank_mm / 2.0))
    tip = np.linspace(tip_mm / 2.0, thick / 2.0, GRID)
    return float(seen.log_likelihood(tip, thick / 2.0).max()) - down


def _thickness(handle_mm: float | None) -> tuple[float, float]:
    """Handle's thickness: what handles usually measure, weighed with what this one seems to; its rim is hard to see."""
    if handle_mm is None:
        return HANDLE_MM, HANDLE_U_MM
    usual, own = 1.0 / HANDLE_U_MM**2, 1.0 / SEEN_HANDLE_U_MM**2
    return (usual * HANDLE_MM + own * handle_mm) / (usual + own), float((usual + own) ** -0.5)
