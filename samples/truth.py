"""Everything a reading could be checked against, worked out from the scene's numbers and never from the picture."""

import math
from typing import Any

import numpy as np

from samples.arrays import Floats
from samples.bodies import Placed
from samples.camera import Camera
from samples.instrument import Damage, Instrument
from samples.iso import colour_of
from samples.outline import outline_px
from samples.scene import Scene
from samples.twist import TWIST_DAMAGE, crests_per_turn, pitch_mm, twist_rad

MATRIX_MEANING = (
    "undistorted pixel (homogeneous) = matrix x (X, Y, Z, 1); X right, Y down, Z height toward the camera, REAL mm of "
    "the paper: X = nominal page x * print_scale.x, Y likewise. Distorted pixel = c + (p - c) (1 + k1 r^2), c the "
    "picture's middle ((width - 1)/2, (height - 1)/2), r the distance from c in half diagonals (|c|)."
)

UNITS = {"kinked": "deg", "tip-lost": "mm", "stretched": "% of pitch", "crest-chipped": "% of crest height"} | {
    "barbs-folded": "count", "barbs-missing": "count", "worn": "um of crest radius", "stained": "mm2",
    "corroded": "mm2",
} | dict.fromkeys(TWIST_DAMAGE, "deg of twist lost")  # fmt: skip


def truth_of(scene: Scene, placed: tuple[Placed, ...]) -> dict[str, Any]:
    """The truth of one photo as plain numbers, ready for JSON."""
    camera, paper = scene.camera, scene.paper
    return {
        "format": "flutegauge-truth/1",
        "invented": True,
        "seed": scene.seed,
        "sheet": scene.sheet,
        "print_scale": {"x": paper.print_scale[0], "y": paper.print_scale[1]},
        "paper": {
            "kind": paper.kind,
            "ink_spread_um": paper.ink_spread_um,
            "white": list(paper.white),
            "cut_at_mm": paper.cut_at_mm,
            "slot_mm": paper.slot_mm,
            "window_mm": paper.window_mm,
            "specks": paper.specks,
            "lint": paper.lint,
        },
        "image": {"width": camera.width_px, "height": camera.height_px},
        "camera": _camera(camera),
        "light": {
            "preset": scene.light.preset,
            "lobes": [vars(lobe) for lobe in scene.light.lobes],
            "backlight": vars(scene.light.backlight) if scene.light.backlight else None,
        },
        "sensor": vars(scene.sensor),
        "instruments": [_instrument(one, camera) for one in placed],
    }


def _camera(camera: Camera) -> dict[str, Any]:
    return {
        "preset": camera.preset,
        "f35_mm": camera.f35_mm,
        "focal_mm": camera.focal_mm,
        "f_number": camera.f_number,
        "z_mm": camera.z_mm,
        "px_per_mm": camera.px_per_mm,
        "tilt_deg": camera.tilt_deg,
        "tilt_to_deg": camera.tilt_to_deg,
        "turn_deg": camera.turn_deg,
        "k1": camera.k1,
        "focus_height_mm": camera.focus_height_mm,
        "lens_blur_px": camera.blur_px,
        "chroma_px": camera.chroma_px,
        "position_mm": camera.position.tolist(),
        "matrix": camera.matrix.tolist(),
        "matrix_meaning": MATRIX_MEANING,
    }


def _instrument(one: Placed, camera: Camera) -> dict[str, Any]:
    instrument, length = one.instrument, one.instrument.length_mm
    x = np.arange(0.0, length + 1e-9, 0.5)
    fine = np.arange(0.0, instrument.working_part_mm, 0.05)
    theta = twist_rad(instrument, fine)
    axis = one.axis_points(x)
    upper, lower = outline_px(one, camera)
    part = instrument.working_part_mm
    return {
        "family": instrument.family,
        "stranger": instrument.stranger,
        "population": instrument.population,
        "size": instrument.size or None,
        "cross_section": instrument.cross_section,
        "twist_hand": instrument.twist_hand if instrument.twist else None,
        "d0_mm": instrument.d0_mm,
        "taper_mm_per_mm": instrument.taper_mm_per_mm,
        "d16_mm": instrument.envelope_mm(16.0) if part >= 16.0 else None,
        "tip_width_mm": _tip_width(one),
        "shank_width_mm": instrument.shank_width_mm,
        "length_mm": length,
        "working_part_mm": part,
        "stop_from_tip_mm": instrument.stop.from_tip_mm if instrument.stop else None,
        **_pitch(instrument, fine, theta),
        "corner_um": instrument.corner_um,
        "core_ratio": instrument.core_ratio if instrument.family == "hedstroem-file" else None,
        "tip_angle_deg": instrument.tip_angle_deg,
        "tip_kind": instrument.tip_kind,
        "twist": _healthy_twist(instrument),
        "handle": _handle(instrument),
        "pose": one.pose.kind,
        "roll_deg": one.pose.roll_deg,
        "slope_deg": one.pose.slope_deg,
        "height_mm_of_x": _pairs(x, axis[:, 2]),
        "axis_mm": _pairs(x, *axis.T),
        "axis_px": _pairs(x, *camera.project(axis).T),
        "outline_px": {"upper": upper, "lower": lower},
        "tip_px": camera.project(axis[:1])[0].tolist(),
        "handle_px": camera.project(one.axis_points(np.array([length])))[0].tolist(),
        "visible": _visible(one, camera),
        "barbs": [vars(barb) for barb in instrument.barbs],
        "damage": [vars(d) | {"unit": UNITS.get(d.kind, "")} | _reversed(instrument, d) for d in instrument.damage],
        "marks": [vars(m) | {"unit": {"debris": "mm2", "scratch": "deg of slant"}[m.kind]} for m in instrument.marks],
        "pre_curve": vars(instrument.pre_curve) if instrument.pre_curve else None,
        "bow": vars(instrument.bow) if instrument.bow else None,
        "finish": vars(instrument.finish),
    }


def _handle(instrument: Instrument) -> dict[str, Any]:
    """The handle as it looks and as it was moulded; `size_colour`: what the instrument's size ought to have."""
    handle, size = instrument.handle, instrument.size
    return {
        "colour": handle.colour,
        "moulded_colour": handle.moulded_colour,
        "size_colour": colour_of(size) if size else None,
        "faded": handle.faded,
        "rgb": list(handle.rgb),
        "shape": handle.shape,
        "diameter_mm": handle.diameter_mm,
        "length_mm": handle.length_mm,
    }


def _reversed(instrument: Instrument, damage: Damage) -> dict[str, float]:
    """Length over which the twist runs backwards inside a changed zone, mm; nothing for other damage."""
    if damage.kind not in TWIST_DAMAGE:
        return {}
    x = np.arange(max(damage.from_mm, 0.0), damage.to_mm, 0.01)
    return {"reversed_mm": 0.01 * int(np.sum(np.diff(twist_rad(instrument, x)) < 0))}


def _healthy_twist(instrument: Instrument) -> dict[str, Any] | None:
    """How the blank was twisted, x counted on the blank: pitch = pitch_mm (1 + drift_per_mm (x - 8)), plus scatter."""
    law = instrument.twist
    if law is None:
        return None
    angle_drift = instrument.taper_mm_per_mm / (instrument.blank_d0_mm + 8.0 * instrument.taper_mm_per_mm)
    steady, angled = law.drift_per_mm == 0.0, math.isclose(law.drift_per_mm, angle_drift, rel_tol=0.02)
    name = "constant pitch" if steady else "constant angle" if angled else "drifting pitch"
    return {"law": name, "crests_per_turn": crests_per_turn(instrument), **vars(law)}


def _pairs(*columns: Floats) -> list[list[float]]:
    return [[round(float(v), 5) for v in row] for row in zip(*columns, strict=True)]


def _pitch(instrument: Instrument, x: Floats, theta: Floats) -> dict[str, Any]:
    """Pitch and helix angle at x = 8 mm from the trend (linear plus one curvature) of the healthy twist."""
    if instrument.twist is None:
        return {
            "pitch_mm": None,
            "flutes_per_mm": None,
            "helix_angle_deg": None,
            "twist_deg_of_x": [],
            "pitch_mm_of_x": [],
        }
    hurt = max((d.to_mm for d in instrument.damage if d.kind in TWIST_DAMAGE), default=0.0)
    whole = x >= min(hurt, instrument.working_part_mm - 2.0)
    trend = np.polynomial.Polynomial.fit(x[whole], theta[whole], 2).deriv()
    rate = float(trend(8.0))
    crests = crests_per_turn(instrument)
    pitch = 2 * math.pi / (crests * rate)
    keep = slice(None, None, 4)
    return {
        "pitch_mm": pitch,
        "flutes_per_mm": 1 / pitch,
        "helix_angle_deg": math.degrees(math.atan(0.5 * instrument.envelope_mm(8.0) * rate)),
        "twist_deg_of_x": _pairs(x[keep], np.degrees(theta[keep])),
        "pitch_mm_of_x": _pairs(x[keep], pitch_mm(instrument, x, theta)[keep]),
    }


def _tip_width(one: Placed) -> float:
    """Diameter of the circle about the axis that encloses the metal 0.10 mm from its end."""
    backend = one.surface.backend
    angle = np.linspace(0, 2 * np.pi, 720, endpoint=False)
    radius = backend.get(one.surface.radius(backend.put(np.full_like(angle, 0.1)), backend.put(angle)))
    return 2.0 * float(radius.max())


def _visible(one: Placed, camera: Camera) -> dict[str, bool]:
    """Which parts lie inside the picture."""
    length = one.instrument.length_mm
    px = camera.project(one.axis_points(np.array([0.0, one.instrument.working_part_mm, length, length + 2.0])))
    inside = np.all((px >= 0) & (px <= [camera.width_px - 1, camera.height_px - 1]), axis=1)
    return dict(zip(("tip", "working_part_end", "handle_front", "handle"), (bool(b) for b in inside), strict=True))
