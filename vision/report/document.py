"""Readings -> the JSON document flutegauge-reading/1. Keys and order are fixed; our own follow at the end of a part.

Our own additions: ``cautions``, ``condition.reasons``, ``condition.limits``, ``condition.before``,
``condition.material``, ``condition.single_use``, ``handle.thickness_mm``,
``uncertainty_parts``, ``conformity_limits``, ``uncertainty_correlations``, ``clues``.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from importlib import metadata
from typing import Any

from vision.budget import COMPARED, correlations
from vision.quantity import Quantity, rounded
from vision.reading import (
    Bound,
    CheckReading,
    Choice,
    Clue,
    CombinedReading,
    ConditionReading,
    Finding,
    HandleReading,
    InstrumentReading,
    Judgement,
    PhotoReading,
    ScaleReading,
    SiteCheck,
)
from vision.report import cautions

FORMAT = "flutegauge-reading/1"
LEAST_SAID = 1e-4  # names that a clue makes still less likely are left out of its list
Json = dict[str, Any]


def version() -> str:
    """Return the installed version of this package, or 'unknown' when it runs from a folder that is not installed."""
    try:
        return metadata.version("flutegauge")
    except metadata.PackageNotFoundError:
        return "unknown"


def document(
    readings: Sequence[PhotoReading], models: Mapping[str, str] | None = None, combined: Sequence[CombinedReading] = ()
) -> Json:
    """Return the whole run as one document; ``models`` maps each network used to 'sha256:...'."""
    everything = tuple(one for reading in readings for one in reading.instruments)
    return {
        "format": FORMAT,
        "made_by": {"flutegauge": version(), "models": dict(models or {})},
        "photos": [_photo(reading) for reading in readings],
        "combined": [_combined(one) for one in combined],
        "cautions": list(cautions.shown_with(everything)),
    }


def text(made: Json) -> str:
    """Return the document as strict JSON in plain ASCII, so that no terminal or pipe can garble it."""
    return json.dumps(made, indent=2, allow_nan=False) + "\n"


def _photo(reading: PhotoReading) -> Json:
    error = reading.error
    return {
        "file": reading.file,
        "error": None if error is None else {"kind": error[0], "message": error[1]},
        "scale": None if reading.scale is None else _scale(reading.scale),
        "instruments": [_instrument(one) for one in reading.instruments],
        "notes": list(reading.notes),
        "check_piece": None if reading.check_piece is None else _check_piece(reading.check_piece),
        "site_check": None if reading.site_check is None else _site_check(reading.site_check),
    }


def _check_piece(check: CheckReading) -> Json:
    return {
        "known_mm": _quantity(check.known_mm),
        "measured_mm": _quantity(check.measured_mm),
        "bias_mm": _quantity(check.bias_mm),
        "e_n": _round(check.e_n, 2),
        "corrected": check.corrected,
        "box_px": [int(v) for v in check.box_px],
    }


def _scale(scale: ScaleReading) -> Json:
    sheet = None if scale.sheet_id is None else {"id": scale.sheet_id, "print_checked": scale.print_checked}
    return {
        "source": scale.source,
        "sheet": sheet,
        "px_per_mm": _quantity(scale.px_per_mm),
        "view_tilt_deg": _round(scale.view_tilt_deg, 1),
        "camera_height_mm": _quantity(scale.camera_height_mm),
        "camera_profile": scale.camera_profile,
    }


def _site_check(check: SiteCheck) -> Json:
    return {"made_on": check.made_on, "statement": check.statement, "warnings": list(check.warnings)}


def _instrument(one: InstrumentReading) -> Json:
    return {
        "id": int(one.id),
        "box_px": [int(v) for v in one.box_px],
        "tip_px": _point(one.tip_px),
        "handle_px": _point(one.handle_px),
        "family": _choice(one.family),
        "size": {**_choice(one.size), "evidence": list(one.size.evidence)},
        "d0_mm": _quantity(one.d0_mm),
        "d16_mm": _quantity(one.d16_mm),
        "taper_mm_per_mm": _quantity(one.taper_mm_per_mm),
        "tip_width_mm": _quantity(one.tip_width_mm),
        "shank_width_mm": _quantity(one.shank_width_mm),
        "length_mm": _quantity(one.length_mm),
        "working_part_mm": _quantity(one.working_part_mm),
        "stop_from_tip_mm": _quantity(one.stop_from_tip_mm),
        "pitch_mm": _quantity(one.pitch_mm),
        "flutes_per_mm": _quantity(one.flutes_per_mm),
        "helix_angle_deg": _quantity(one.helix_angle_deg),
        "twist_hand": one.twist_hand,
        "cross_section": one.cross_section,
        "height_mm": _quantity(one.height_mm),
        "local_px_per_mm": _round(one.local_px_per_mm, 2),
        "blur_px": _round(one.blur_px, 2),
        "handle": _handle(one.handle),
        "conformity": {name: one.conformity.get(name) for name in ("d0", "d16", "length", "tip_angle")},
        "condition": _condition(one.condition),
        "notes": list(one.notes),
        "uncertainty_parts": _parts(one),
        "conformity_limits": {name: _judgement(one) for name, one in one.judged.items()},
        "uncertainty_correlations": _correlations(one),
        "clues": {"family": [_clue(c) for c in one.family_clues], "size": [_clue(c) for c in one.size_clues]},
    }


def _combined(one: CombinedReading) -> Json:
    """Return the reading of several photos: the instrument's own fields, places in px left out, and what the photos are."""
    ends = [Quantity(float(z), float(u)) for _, z, u in one.height_of_x[[0, -1]]] if len(one.height_of_x) else [None, None]
    return {
        **_instrument(one.instrument),
        "box_px": None,
        "photos": list(one.photos),
        "mode": one.mode,
        "d0_each_mm": [_quantity(d0) for d0 in one.d0_each],
        "axis_height_mm": {"at_tip": _quantity(ends[0]), "at_front": _quantity(ends[1])},
        "disagreements": list(one.disagreements),
    }


def _choice(choice: Choice) -> Json:
    ranked = sorted(choice.others.items(), key=lambda item: -item[1])
    return {
        "value": choice.value if choice.value is None or isinstance(choice.value, str) else int(choice.value),
        "probability": _round(choice.probability, 3),
        "others": {str(name): _round(p, 3) for name, p in ranked},
    }


def _handle(handle: HandleReading) -> Json:
    return {
        "colour": handle.colour,
        "sizes": [int(size) for size in handle.sizes],
        "thickness_mm": _quantity(handle.thickness_mm),
    }


def _condition(condition: ConditionReading) -> Json:
    smallest = {
        kind: {name: _significant(value) for name, value in limit.items()}
        for kind, limit in condition.smallest_visible.items()
    }
    return {
        "call": condition.call,
        "seen_share": _round(condition.seen_share, 2),
        "smallest_visible": smallest,
        "findings": [_finding(one) for one in condition.findings],
        "reasons": list(condition.reasons),
        "limits": cautions.limits_line(condition),
        "before": list(condition.before),
        "material": condition.material,
        "single_use": condition.single_use,
    }


def _finding(finding: Finding) -> Json:
    return {
        "kind": finding.kind,
        "from_mm": _round(finding.from_mm, 2),
        "to_mm": _round(finding.to_mm, 2),
        "strength": _quantity(finding.strength),
        "strength_unit": finding.strength_unit,
        "probability": _round(finding.probability, 3),
    }


def _parts(one: InstrumentReading) -> Json:
    """Return the labelled contributions to u of every quantity that has them, two significant digits each."""
    found: Json = {}
    for name, value in vars(one).items():
        if isinstance(value, Quantity) and value.parts:
            found[name] = {label: rounded(Quantity(0.0, u))[1] for label, u in value.parts}
    return found


def _judgement(judgement: Judgement) -> Json:
    return {
        "verdict": judgement.verdict,
        "nominal": _round(judgement.nominal, 4),
        "within": _bound(judgement.within),
        "outside": _bound(judgement.outside),
        "margin_u": _round(judgement.margin_u, 1),
        "inside_probability": _round(judgement.probability, 3),
        "reason": judgement.reason,
    }


def _bound(bound: Bound | None) -> Json | None:
    if bound is None:
        return None
    return {"half_width": _significant(bound.half_width), "source": bound.source, "source_read": bound.read}


def _clue(clue: Clue) -> Json:
    says = {name: _significant(value) for name, value in clue.says.items() if value >= LEAST_SAID}
    return {"what": clue.what, "seen": clue.seen, "says": says, "source": clue.source, "learned": clue.learned}


def _correlations(one: InstrumentReading) -> Json:
    """Return r of each pair of quantities that share causes, three digits (JCGM 100:2008, 7.2.6)."""
    found = correlations({name: getattr(one, name) for name in COMPARED})
    return {name: {other: _round(r, 3) for other, r in others.items()} for name, others in found.items()}


def _quantity(quantity: Quantity | None) -> Json | None:
    if quantity is None:
        return None
    value, u = rounded(quantity)
    return {"value": float(value), "u": float(u)}


def _point(point: tuple[float, float] | None) -> list[float] | None:
    return None if point is None else [round(float(v), 1) for v in point]


def _round(number: float | None, decimals: int) -> float | None:
    return None if number is None else round(float(number), decimals)


def _significant(number: float) -> float | int:
    """Return three significant digits, and a whole number as an integer: 40, not 40.0."""
    short = float(f"{float(number):.3g}")
    return int(short) if short.is_integer() else short
