"""Look -> Checks: which of the things that make a good photo hold, with the number seen and the number needed.

Limits were set on development renders (seeds 4200 to 4223 and 4300 to 4311, and what was spoilt of them): framed and lit well,
their working parts blur by up to 2.5 px and a lamp is mirrored on up to 2 % of what lies near; what was spoilt the least blurs by
3.1 px and mirrors on 6 %.

How fine a picture must be to measure by depends on its blur: what dark rims, a hard shadow and blur make of an outline is too wide in one
picture and too narrow in the next. A lens that blurs by 1.0, 1.6, 2.2 and 3.0 px moves both edges together by 0.07, 0.13, 0.21 and 0.38 px
at the median and 0.3, 0.5, 0.9 and 1.2 px at 95 % (54 windows of 45 to 60 px/mm, each with every blur, seeds 3100 to 3153). For 3 um at the
median and 10 um at 95 % that takes 25, 25, 36 and 39 px/mm for each px of blur as the coach sees it. Hedstroems alone take 62, 67, 82 and
81, all others 20, 26, 30 and 39 (30 windows of seeds 3400 to 3429: 77 to 96 and 17 to 52). The coach knows no family, but where the
instrument looks sharper than the sheet its dark rims are narrower than the blur, as a thin Hedstroem's and a broach's are.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from vision.live.look import Look

State = Literal["right", "wrong", "unknown"]
LEAST_PX_PER_MM, GOOD_PX_PER_MM = 40.0, 60.0  # to size an instrument; for the common sizes to be told from their neighbours
PX_PER_MM_PER_BLUR = 36.0  # to measure by
# A dark rim narrower than the blur reads as sharp as 0.66 of it (closed form: the steepest slope of a Gaussian). Then the sheet's broad
# edges tell, up to what such a rim may hide.
RIM_HIDES = 1.52
RIMMED, PX_PER_MM_PER_BLUR_RIMMED = 1.15, 60.0  # so much softer looks the sheet: of no K-file or reamer (15 films), of 7 of 13 others
OWN_BLUR_PX = 0.9  # of any frame, from its pixels alone: a photo that is finer than the frame need not have it
SQUARE_DEG, ASIDE_DEG = 8.0, 30.0  # straight above; the second of two views, moved across and turned back
PART_MM = 16.0  # the working part, ISO 3630-1 (from memory)
MARGIN_MM, AROUND_MM = 0.8, 5.0  # beside the tip, at least; beside the working part, as somebody frames it who holds the camera
ACROSS_MM = 16.0  # a lane, the markers on both sides of it and a picture turned by some degrees: nearer, the sheet is lost
BLUR_PX, SHEET_BLUR_PX = 2.6, 2.6
# So much softer than the sheet is an instrument where a camera looks at the paper: of 20 good frames (22000 to 22019) none above 1.2. Below
# so many px it is sharp all the same.
ON_PAPER, SHARP_PX = 1.5, 1.6
DARK, BRIGHT, MOST_CLIPPED = 0.15, 0.92, 0.05
GLARE = 0.035
ORDER = ("sheet", "scale", "tilt", "exposure", "focus", "glare", "instrument", "inside", "still")  # blur and glare hide instruments


@dataclass(frozen=True)
class Check:
    """One thing: ``how`` names the case in words' order, ``seen`` and ``needed`` its numbers (None: it has none)."""

    name: str
    state: State
    how: str
    seen: float | None = None
    needed: float | None = None


@dataclass(frozen=True)
class Wanted:
    """What the next photo must show. ``finer``: how many times finer the photo itself is than the frame.

    ``measured``: which share of what its diameters need to be measured by, 0 where they need not be.
    """

    finer: float = 1.0
    most_tilt_deg: float = SQUARE_DEG
    measured: float = 0.0


def judge(look: Look, wanted: Wanted, *, still: bool | None) -> tuple[Check, ...]:
    """Judge one frame, in the order in which things are best put right. ``still``: None where there is no frame before."""
    if look.px_per_mm is None:
        unseen = [Check(name, "unknown", "unknown") for name in ORDER[1:] if name != "exposure"]
        return (Check("sheet", "wrong", "none"), _exposure_alone(look), *unseen)
    return (
        Check("sheet", "right", "found", float(look.markers)),
        _scale(look, look.px_per_mm * wanted.finer, wanted),
        _tilt(look, wanted.most_tilt_deg),
        _exposure(look),
        _focus(look),
        _glare(look),
        _instrument(look),
        _inside(look),
        Check("still", "unknown" if still is None else "right" if still else "wrong", "held" if still else "moving"),
    )


def all_right(checks: Sequence[Check]) -> bool:
    """Tell whether every check holds; an unknown one does not."""
    return bool(checks) and all(one.state == "right" for one in checks)


def least_width_px() -> float:
    """Width of a picture that shows a working part with 5 mm around it at the least scale, px."""
    return LEAST_PX_PER_MM * (PART_MM + AROUND_MM)


def _is(name: str, holds: bool, right: str, wrong: str, seen: float | None = None, needed: float | None = None) -> Check:
    return Check(name, "right" if holds else "wrong", right if holds else wrong, seen, needed)


def px_per_mm_needed(look: Look, finer: float) -> float:
    """px/mm that a photo as blurred as this frame needs to be measured by; never more than leaves the markers in the frame."""
    softened = math.sqrt(max(_blur_px(look) ** 2 - OWN_BLUR_PX**2, 0.0))
    blur_px = math.hypot(finer * softened, OWN_BLUR_PX)
    rimmed = (look.sheet_blur_px or 0.0) > RIMMED * (look.blur_px or math.inf)
    wanted = (PX_PER_MM_PER_BLUR_RIMMED if rimmed else PX_PER_MM_PER_BLUR) * blur_px
    room = min(_room(look, finer), finer * min(look.width_px, look.height_px) / ACROSS_MM)
    return max(min(wanted, room), LEAST_PX_PER_MM)


def _blur_px(look: Look) -> float:
    seen = look.blur_px or 0.0
    return max(seen, min(look.sheet_blur_px or 0.0, RIM_HIDES * seen))


def _room(look: Look, finer: float) -> float:
    """px/mm at which a working part fills the frame."""
    return finer * max(look.width_px, look.height_px) / (PART_MM + AROUND_MM)


def _scale(look: Look, px_per_mm: float, wanted: Wanted) -> Check:
    if px_per_mm < LEAST_PX_PER_MM:
        how = "small" if _room(look, wanted.finer) < LEAST_PX_PER_MM else "coarse"  # then going nearer does not help
        return Check("scale", "wrong", how, px_per_mm, LEAST_PX_PER_MM)
    needed = wanted.measured * px_per_mm_needed(look, wanted.finer)
    if px_per_mm < needed:
        return Check("scale", "wrong", "soft", px_per_mm, needed)
    return Check("scale", "right", "fine" if px_per_mm >= GOOD_PX_PER_MM else "enough", px_per_mm, GOOD_PX_PER_MM)


def _tilt(look: Look, most_deg: float) -> Check:
    if look.tilt_deg is None:
        return Check("tilt", "unknown", "unknown")
    return _is("tilt", look.tilt_deg <= most_deg, "square", "tilted", look.tilt_deg, most_deg)


def _instrument(look: Look) -> Check:
    if look.things == 1:
        return Check("instrument", "right", "one", 1.0)
    return Check("instrument", "wrong", "none" if look.things == 0 else "several", float(look.things), 1.0)


def _inside(look: Look) -> Check:
    if look.seen_mm is None or look.margin_mm is None:
        return Check("inside", "unknown", "unknown")
    if look.margin_mm < MARGIN_MM:
        return Check("inside", "wrong", "tip", look.margin_mm, MARGIN_MM)
    return _is("inside", look.seen_mm >= PART_MM, "whole", "short", look.seen_mm, PART_MM)


def _exposure_alone(look: Look) -> Check:
    if look.paper is None or look.paper >= DARK:
        return Check("exposure", "unknown", "unknown")
    return Check("exposure", "wrong", "dark", 100.0 * look.paper, 100.0 * DARK)


def _exposure(look: Look) -> Check:
    if look.paper is None or look.clipped is None:
        return Check("exposure", "unknown", "unknown")
    if look.paper < DARK:
        return Check("exposure", "wrong", "dark", 100.0 * look.paper, 100.0 * DARK)
    if look.paper > BRIGHT:
        return Check("exposure", "wrong", "bright", 100.0 * look.paper, 100.0 * BRIGHT)
    return _is("exposure", look.clipped <= MOST_CLIPPED, "good", "clipped", 100.0 * look.clipped, 100.0 * MOST_CLIPPED)


def _glare(look: Look) -> Check:
    if look.glare is None:
        return Check("glare", "unknown", "unknown")
    return _is("glare", look.glare <= GLARE, "none", "mirrors", 100.0 * look.glare, 100.0 * GLARE)


def _focus(look: Look) -> Check:
    """Focus at the instrument; a sheet that is sharp beside it is a camera that looks at the paper."""
    sheet = look.sheet_blur_px or 0.0
    if look.blur_px is None:
        soft = sheet > SHEET_BLUR_PX
        return Check("focus", "wrong", "sheet_soft", sheet, SHEET_BLUR_PX) if soft else Check("focus", "unknown", "unknown")
    most = min(BLUR_PX, max(ON_PAPER * sheet, SHARP_PX)) if sheet > 0.0 else BLUR_PX
    if look.blur_px > most:
        return Check("focus", "wrong", "on_paper" if sheet < look.blur_px / ON_PAPER else "soft", look.blur_px, most)
    return _is("focus", sheet <= SHEET_BLUR_PX, "sharp", "sheet_soft", max(look.blur_px, sheet), SHEET_BLUR_PX)
