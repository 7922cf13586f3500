"""Look, Advice -> what the camera page shows: one sentence first, every check in words, the shapes to draw over the picture."""

from __future__ import annotations

from typing import Any

from vision.desk.wording import Say
from vision.live.guide import Advice, Step
from vision.live.judge import Check
from vision.live.look import Look

Json = dict[str, Any]
DIGITS = {"sheet": 0, "scale": 0, "tilt": 0, "instrument": 0, "inside": 1, "exposure": 0, "glare": 0, "focus": 1}


def told(look: Look, advice: Advice, say: Say) -> Json:
    """Return the advice in the catalogue's words, and where tip, axis and frame lie as shares of the picture."""
    return {
        "say": _first(advice, say),
        "shoot": advice.shoot,
        "right": sum(one.state == "right" for one in advice.checks),
        "checks": [_check(one, say) for one in advice.checks],
        "step": _step(advice.step, say),
        "axis": [[round(x / look.width_px, 4), round(y / look.height_px, 4)] for x, y in look.axis_px],
        "px_per_mm": None if look.px_per_mm is None else round(look.px_per_mm, 1),
    }


def _first(advice: Advice, say: Say) -> str:
    """The one thing to do now."""
    if advice.shoot:
        return say("coach.shoot")
    wrong = next((one for one in advice.checks if one.state == "wrong"), None)
    if wrong is not None and wrong.name != "still":
        return _sentence(wrong, say)
    if not advice.step.holds:
        return _step(advice.step, say)
    if wrong is not None:
        return _sentence(wrong, say)
    return say("coach.hold")


def _check(one: Check, say: Say) -> Json:
    return {"name": one.name, "state": one.state, "label": say(f"coach_names.{one.name}"), "words": _sentence(one, say)}


def _sentence(one: Check, say: Say) -> str:
    if one.state == "unknown":
        return say("coach.unknown")
    digits = DIGITS.get(one.name, 0)
    filled = {name: f"{value:.{digits}f}" for name, value in (("seen", one.seen), ("needed", one.needed)) if value is not None}
    return say(f"coach.{one.name}_{one.how}", **filled)


def _step(step: Step, say: Say) -> str:
    if step.name == "across":
        seen = "0" if step.seen is None else f"{step.seen:.0f}"
        return say("coach.step_across", seen=seen, needed=f"{step.needed:.0f}")
    return say(f"coach.step_{step.name}")
