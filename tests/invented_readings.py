"""Readings made by hand for tests of the report: invented instruments, no measurement behind them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from vision.conformity import judge_reading
from vision.quantity import Quantity, combined
from vision.reading import (
    Choice,
    ConditionReading,
    Finding,
    HandleReading,
    InstrumentReading,
    PhotoReading,
    ScaleReading,
    Trace,
)

PX_PER_MM = 60.0
TIP_PX = np.array([300.0, 420.0])
ANGLE_RAD = np.radians(12.0)


def bent_axis(x_mm: np.ndarray, radius_mm: float = 90.0) -> np.ndarray:
    """A gently curved axis from the tip, in px: a circle's arc that starts at TIP_PX under ANGLE_RAD."""
    turn = x_mm / radius_mm
    along, across = radius_mm * np.sin(turn), radius_mm * (1.0 - np.cos(turn))
    c, s = np.cos(ANGLE_RAD), np.sin(ANGLE_RAD)
    return TIP_PX + PX_PER_MM * np.column_stack([c * along - s * across, s * along + c * across])


def normals(axis_px: np.ndarray) -> np.ndarray:
    tangent = np.gradient(axis_px, axis=0)
    tangent /= np.linalg.norm(tangent, axis=1)[:, None]
    return np.column_stack([tangent[:, 1], -tangent[:, 0]])  # toward the top of the picture for a tip at the left


def trace() -> Trace:
    """A square blank of size 25 with 205 deg of twist lost near 3.4 mm, as outline, crests and pitch."""
    x = np.linspace(0.0, 25.0, 1500)
    radius = np.where(x < 16.2, 0.125 + 0.01 * x, 0.285) * np.clip(x / 0.15, 0.05, 1.0)
    lost = np.radians(205.0) / (1.0 + np.exp(-(x - 3.4) / 0.4))
    swing = np.abs(np.cos(2 * (2 * np.pi * x / 2.32 - lost)))  # h4 with the same crests; lead 2.32 mm, pitch 0.58 mm
    half = np.where(x < 16.2, radius * (0.707 + 0.293 * swing), radius)
    axis = bent_axis(x)
    normal = normals(axis)
    upper, lower = axis + half[:, None] * PX_PER_MM * normal, axis - half[:, None] * PX_PER_MM * normal
    inner = np.flatnonzero((swing[1:-1] > swing[:-2]) & (swing[1:-1] >= swing[2:]) & (x[1:-1] < 16.0)) + 1
    crests = np.concatenate([upper[inner], lower[inner]])
    trend = np.column_stack([x[inner][1:], np.full(len(inner) - 1, 0.58)])
    pitch = np.column_stack([(x[inner][1:] + x[inner][:-1]) / 2, np.diff(x[inner])])
    at16 = int(np.argmin(np.abs(x - 16.0)))
    return Trace(
        axis_px=axis,
        upper_px=upper,
        lower_px=lower,
        crests_px=crests,
        stations_px={"D0": np.array([upper[12], lower[12]]), "D16": np.array([upper[at16], lower[at16]])},
        pitch_mm_of_x=pitch,
        trend_mm_of_x=trend,
        profile_mm_of_x=np.column_stack([x, half, -half]),
        axis_x_mm=x,
    )


def condition(call: str = "discard") -> ConditionReading:
    findings = (Finding("unwound", 2.1, 4.6, Quantity(205.0, 15.0), "deg of twist lost", 0.99),)
    return ConditionReading(
        call=call,  # type: ignore[arg-type]
        seen_share=0.5,
        smallest_visible={"unwound": {"value": 40.0, "over_mm": 3.0}, "tip-lost": {"value": 0.2}},
        findings=findings if call == "discard" else (),
        reasons=("205 deg of twist lost between 2.1 and 4.6 mm",) if call == "discard" else (),
    )


def k_file(number: int = 1) -> InstrumentReading:
    """A K-file of size 25, unwound near its tip."""
    shape = trace()
    one = InstrumentReading(
        id=number,
        box_px=(280, 400, 1520, 560),
        tip_px=(300.0, 420.0),
        handle_px=(float(shape.axis_px[-1, 0]), float(shape.axis_px[-1, 1])),
        family=Choice("k-file", 0.98, {"reamer": 0.02}),
        size=Choice(25, 0.97, {"30": 0.03}, ("diameter", "handle colour")),
        d0_mm=combined(0.2531, [("edge", 0.002), ("scale", 0.001), ("height", 0.002)]),
        d16_mm=combined(0.5712, [("edge", 0.002), ("height", 0.0035)]),
        taper_mm_per_mm=Quantity(0.01988, 0.00031),
        tip_width_mm=None,
        shank_width_mm=Quantity(0.572, 0.004),
        length_mm=Quantity(25.02, 0.08),
        working_part_mm=Quantity(16.2, 0.1),
        stop_from_tip_mm=None,
        pitch_mm=Quantity(0.58, 0.003),
        flutes_per_mm=Quantity(1.724, 0.009),
        helix_angle_deg=Quantity(28.8, 0.4),
        twist_hand="right",
        cross_section="square",
        height_mm=Quantity(1.9, 0.4),
        local_px_per_mm=PX_PER_MM,
        blur_px=1.3,
        handle=HandleReading("red", (25, 55, 110), Quantity(3.9, 0.1)),
        conformity={"d0": "within", "d16": "within", "length": "within", "tip_angle": None},
        condition=condition(),
        notes=("tip width not measured: the end is out of focus", "no stop seen"),
        trace=shape,
    )
    return judge_reading(one)


def quiet_reamer(number: int = 2) -> InstrumentReading:
    """A reamer with nothing seen and a good deal not measured."""
    empty = np.empty((0, 2))
    one = replace(
        k_file(number),
        box_px=(300, 900, 900, 60),
        tip_px=None,
        handle_px=None,
        family=Choice(None, 0.55, {"reamer": 0.55, "k-file": 0.45}),
        size=Choice(None, 0.5, {"06": 0.5, "08": 0.5}),
        d0_mm=None,
        d16_mm=None,
        twist_hand=None,
        cross_section=None,
        blur_px=None,
        handle=HandleReading(None),
        conformity={},
        condition=condition("nothing seen"),
        notes=("the tip is cut off by the frame",),
        trace=Trace(empty, empty, empty, empty),
    )
    return judge_reading(one)


def reading(file: str = "macro-01.jpg", *, instruments: int = 2) -> PhotoReading:
    """A photo's reading with up to two instruments."""
    scale = ScaleReading("sheet", "A4-1", True, Quantity(60.02, 0.05), 3.14, None)
    both = (k_file(), quiet_reamer())
    return PhotoReading(file, None, scale, both[:instruments], ("one lane is empty",))


def failed(file: str = "gone.jpg") -> PhotoReading:
    return PhotoReading(file, ("no-file", f"found no file {file}: check the name"), None)
