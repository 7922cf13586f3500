"""What would change the answer: which of the usual steps this reading gives a reason for, with its numbers."""

from __future__ import annotations

from typing import Any

Json = dict[str, Any]
Advice = tuple[str, dict[str, Any]]
GOOD_PX_PER_MM, GOOD_BLUR_PX, STRAIGHT_DEG = 60.0, 3.0, 8.0  # README, 'How to take a good photo'
HEIGHT_SHARE = 0.25


def advice_for(one: Json, scale: Json | None) -> list[Advice]:
    """Return the names of the catalogue's sentences with what is filled in, the most telling first."""
    made: list[Advice] = []
    if one["tip_px"] is None or one["handle_px"] is None:
        made.append(("frame", {}))
    if round(one["local_px_per_mm"]) < GOOD_PX_PER_MM:
        made.append(("closer", {"has": f"{one['local_px_per_mm']:.0f}", "needs": f"{GOOD_PX_PER_MM:.0f}"}))
    if one["blur_px"] is not None and one["blur_px"] > GOOD_BLUR_PX:
        made.append(("focus", {"has": f"{one['blur_px']:.1f}", "needs": f"{GOOD_BLUR_PX:.0f}"}))
    made += _of_condition(one["condition"])
    share = _height_share(one)
    if share > HEIGHT_SHARE:
        made.append(("level", {"share": f"{100 * share:.0f} %"}))
    return made + _of_scale(scale or {})


def _of_condition(condition: Json) -> list[Advice]:
    made: list[Advice] = []
    kinds = {finding["kind"] for finding in condition["findings"]}
    if kinds & {"stained", "corroded"} or condition["call"] == "look again":
        made.append(("clean", {}))
    if any("contradict" in reason for reason in condition.get("reasons", ())):
        made.append(("light", {}))
    if condition["call"] != "nothing seen":
        made.append(("move", {}))
    if condition["seen_share"] < 1.0:
        made.append(("turn", {}))
    return made


def _of_scale(scale: Json) -> list[Advice]:
    made: list[Advice] = []
    if (scale.get("view_tilt_deg") or 0.0) > STRAIGHT_DEG:
        made.append(("straight", {"has": f"{scale['view_tilt_deg']:.0f}"}))
    if scale.get("source") == "sheet":
        if not (scale.get("sheet") or {}).get("print_checked"):
            made.append(("check_print", {}))
        if scale.get("camera_height_mm") is None:
            made.append(("original", {}))
    return made


def _height_share(one: Json) -> float:
    """Share of the squared u of D0 (or of what there is) that the unknown height makes up."""
    parts = one.get("uncertainty_parts", {}).get("d0_mm", {})
    total = sum(u * u for u in parts.values())
    return float(parts.get("height", 0.0) ** 2 / total) if total else 0.0
