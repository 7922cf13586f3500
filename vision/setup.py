"""Stage 6c'': Scale, Plane, Candidate, Axis -> which set-up the photo shows, and whether it bears out '--held'.

A set-up is read from what is seen, never from what the user chose: where the handle lies, whether the sheet was really
cut there, whether a lit screen shows through a window.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from vision.axis import Axis
from vision.find import Candidate
from vision.held_signs import HeightSigns
from vision.plane import Plane
from vision.scale import Scale
from vision.seen_height import SeenHeight

Array = NDArray[np.floating[Any]]
Mask = NDArray[np.bool_]
Support = Literal["edge", "slot", "sheet", "unseen"]
Verdict = Literal["agrees", "contradicted", "undecided"]

BEHIND_MM = 1.5  # behind its front face a handle is surely handle
ASIDE_MM = 0.6  # a slot is cut by hand, and its outline was fitted from a print
HANDLE_REACH_MM = 30.0  # from a picture's border to the handle: a close-up of the tip of a 31 mm instrument
MOSTLY = 0.5
CLEARLY = 1.5  # log likelihood ratio: four and a half to one

HELD_UP_TO_MM = 0.7  # a held axis: half a thick shank and 0.3 mm
WIDEST_LENS_MM = 5.0  # opening of phones' and close-up lenses; wider ones blur more at the same height
BLUR_FREE_PX = 0.8  # by which two such widths may differ for other reasons: sharpening, facets, ink
GAP_HELD_MM = 0.9  # lit paper that low side light can leave beside a shaft 0.3 mm up
GAP_DOUBT_MM = 0.3

KINDS = {
    ("edge", False): "handle beyond the cut edge",
    ("slot", False): "handle in the slot",
    ("sheet", False): "plain sheet, handle on it",
    ("unseen", False): "plain sheet, what is under the handle not seen",
    ("edge", True): "window with screen, handle beyond the cut edge",
    ("slot", True): "window with screen, handle in the slot",
    ("sheet", True): "window with screen, handle on the sheet",
    ("unseen", True): "window with screen, what is under the handle not seen",
}


@dataclass(frozen=True)
class Setup:
    """What one instrument's set-up is (``kind``), what it was told by, what it can decide and what stays unconfirmed.

    ``support``: what is seen under the handle. ``leads_to``: with the handle unseen, whether the shaft runs toward a slot
    or a cut edge within a handle's reach.
    """

    kind: str
    support: Support
    lit: bool
    leads_to: bool
    evidence: tuple[str, ...]
    decides: str
    not_confirmed: str


@dataclass(frozen=True)
class HeldEvidence:
    """Whether a photo bears out that the shaft was held level, each reason with its numbers.

    ``refused``: the handle lies on the sheet, so the shaft rests freely whatever was said; a contradiction by blur or
    shadow alone only widens the height.
    """

    verdict: Verdict
    reasons: tuple[str, ...]
    refused: bool = False


GIVEN = Setup(
    "scale stated, no sheet read",
    "unseen",
    lit=False,
    leads_to=False,
    evidence=("no sheet was looked for",),
    decides="the stated scale holds at the instrument's own height",
    not_confirmed="that the camera stood as when the scale was found",
)


def recognise(scale: Scale, plane: Plane, candidate: Candidate, axis: Axis, lit: Mask) -> Setup:
    """Tell the set-up of one instrument. ``lit`` (N,): axis points before a lit screen (``before_screen``)."""
    if scale.sheet is None:
        return GIVEN
    support, leads_to, told = _support(scale, plane, candidate, axis)
    screen = bool(lit.any())
    evidence = [told]
    if screen:
        evidence.append(f"a lit screen shows behind {100 * float(lit.mean()):.0f} % of the axis")
    return Setup(
        KINDS[support, screen], support, screen, leads_to, tuple(evidence), _decides(support, screen), _open(support, screen)
    )


def held_evidence(setup: Setup, signs: HeightSigns, px_per_mm: float, camera_mm: float) -> HeldEvidence:
    """Weigh what the photo shows against '--held': place of the handle first, then blur and shadow.

    ``camera_mm``: the camera's height. A handle that lies on uncut paper lifts the shaft, whatever the user did. Blur
    and shadow can contradict or leave open; they never prove that a shaft is down.
    """
    against, open_, agreeing = [], [], []
    words = setup.evidence[0]
    if setup.support == "sheet":
        against.append(f"{words}: a handle about 4 mm thick on the sheet lifts the shaft")
    elif setup.support == "unseen":
        if setup.leads_to and "slot" in words:
            open_.append(words)
        elif setup.leads_to:
            open_.append(f"{words}; the shaft runs toward a slot or the trim line")
        else:
            against.append(f"{words}, and the shaft runs toward no slot and no trim line within {HANDLE_REACH_MM:.0f} mm")
    else:
        agreeing.append(words)
    for sentence, verdict in (_blur(signs, px_per_mm, camera_mm), _shadow(signs)):
        {"contradicted": against, "undecided": open_, "agrees": agreeing}[verdict].append(sentence)
    if against:
        return HeldEvidence("contradicted", tuple(against), refused=setup.support == "sheet")
    if setup.support in ("edge", "slot") and _shadow(signs)[1] == "agrees":
        return HeldEvidence("agrees", tuple(agreeing + open_))
    return HeldEvidence("undecided", tuple(open_ + agreeing))


def weighed_by_height(found: HeldEvidence, free_over_held: float, looks: SeenHeight) -> HeldEvidence:
    """Let the reading of height decide where it is clear; ``free_over_held``: log likelihood ratio of resting to held.

    On development renders the place of the handle and the blur alone called four of ten held shafts free; the height read
    from shadow and mirrored sheet did not.
    """
    words = f"the shaft looks {looks.tip_mm:.1f} mm up at the tip and {looks.front_mm:.1f} mm at the handle"
    if free_over_held > CLEARLY:
        return HeldEvidence("contradicted", (*found.reasons, f"{words}, as one resting freely does"), refused=True)
    if free_over_held < -CLEARLY:
        return HeldEvidence("agrees", (f"{words}, as a held one does",))
    return HeldEvidence(found.verdict, (*found.reasons, f"{words}, which decides nothing"), refused=found.refused)


def setup_notes(setup: Setup, held: HeldEvidence | None) -> tuple[str, ...]:
    """Give the reading's sentences: the set-up seen, what it decides, and what became of '--held' (None: not said)."""
    first = f"set-up seen: {setup.kind} ({'; '.join(setup.evidence)}). {setup.decides[0].upper()}{setup.decides[1:]}."
    notes = [f"{first} Not confirmed: {setup.not_confirmed}"]
    if held is None:
        if setup.support in ("edge", "slot"):
            notes.append("if the shank was held down there, say --held: the height is then known better")
        return tuple(notes)
    why = "; ".join(held.reasons)
    if held.refused:
        notes.append(f"--held is not taken: {why}. The height is carried as for an instrument resting freely")
    elif held.verdict == "contradicted":
        notes.append(f"--held is in doubt: {why}. The height carries both, held and resting freely")
    elif held.verdict == "undecided":
        notes.append(f"--held is taken unconfirmed: {why}")
    else:
        notes.append(f"--held agrees with the photo: {why}")
    return tuple(notes)


def _support(scale: Scale, plane: Plane, candidate: Candidate, axis: Axis) -> tuple[Support, bool, str]:
    """What lies under the handle: nothing where the sheet was cut, or the sheet."""
    line = scale.to_plane_mm(axis.px)
    direction = line[-1] - line[max(len(line) - 40, 0)]
    direction = direction / max(float(np.linalg.norm(direction)), 1e-9)
    if axis.front_index is None or not candidate.handle.any():
        return "unseen", _leads_to(plane, line[0], line[-1], direction), "the handle is not in the picture"
    spot = line[axis.front_index] + BEHIND_MM * direction
    slot = _slot_at(plane, spot)
    if slot is not None and _cut_out(plane, candidate, slot):
        return "slot", True, "the handle lies in a slot that is cut out"
    if plane.trim_x_mm is not None and spot[0] > plane.trim_x_mm and _cut_beyond_trim(plane, candidate):
        return "edge", True, f"the handle begins {spot[0] - BEHIND_MM - plane.trim_x_mm:.1f} mm beyond the cut edge"
    if slot is not None:
        return "unseen", True, "the handle lies where a slot is printed, and no hole is seen around it"
    return "sheet", False, f"the handle lies on the sheet, {_away(plane, spot):.0f} mm from the nearest slot or trim line"


def _slot_at(plane: Plane, spot: Array) -> tuple[float, float, float, float] | None:
    for box in plane.slots_mm:
        inside = box[0] - ASIDE_MM < spot[0] < box[2] + ASIDE_MM and box[1] - ASIDE_MM < spot[1] < box[3] + ASIDE_MM
        if inside:
            return box
    return None


def _cut_out(plane: Plane, candidate: Candidate, box: tuple[float, float, float, float]) -> bool:
    part = _part(plane, box)
    return bool(candidate.off is not None and candidate.off[part].size and candidate.off[part].mean() > MOSTLY)


def _cut_beyond_trim(plane: Plane, candidate: Candidate) -> bool:
    assert plane.trim_x_mm is not None  # noqa: S101  asked by the callers
    low = plane.y0_mm, plane.y0_mm + plane.inside.shape[0] / plane.px_per_mm
    return _cut_out(plane, candidate, (plane.trim_x_mm + 0.5, low[0], plane.trim_x_mm + 2.5, low[1]))


def _part(plane: Plane, box: tuple[float, float, float, float]) -> tuple[slice, slice]:
    corner = np.array([plane.x0_mm, plane.y0_mm] * 2)
    left, top, right, bottom = np.clip(np.rint((np.array(box) - corner) * plane.px_per_mm), 0, None).astype(int)
    return slice(int(top), int(bottom)), slice(int(left), int(right))


def _leads_to(plane: Plane, start: Array, end: Array, direction: Array) -> bool:
    """Whether the axis (page mm, its first point beyond the tip) meets the trim line, or a slot within a handle's reach."""
    ahead = end + np.arange(0.0, HANDLE_REACH_MM, 0.5)[:, None] * direction
    trim = plane.trim_x_mm
    beyond = trim is not None and bool((ahead[:, 0] > trim).any()) and bool(start[0] < trim)
    return beyond or any(_slot_at(plane, spot) is not None for spot in ahead)


def _away(plane: Plane, spot: Array) -> float:
    gaps = [
        float(np.hypot(max(x0 - spot[0], 0.0, spot[0] - x1), max(y0 - spot[1], 0.0, spot[1] - y1)))
        for x0, y0, x1, y1 in plane.slots_mm
    ]
    return min([*gaps, abs(float(spot[0]) - plane.trim_x_mm)] if plane.trim_x_mm is not None else [*gaps, np.inf])


def _blur(signs: HeightSigns, px_per_mm: float, camera_mm: float) -> tuple[str, Verdict]:
    if signs.metal_px is None or signs.print_px is None:
        return "blur of metal and print could not be compared", "undecided"
    apart = float(np.sqrt(abs(signs.metal_px**2 - signs.print_px**2)))
    held = WIDEST_LENS_MM * HELD_UP_TO_MM / max(camera_mm, 1.0) * px_per_mm / 4.0  # a disc of width d has sigma d / 4
    numbers = f"metal is blurred over {signs.metal_px:.1f} px, the print beside it over {signs.print_px:.1f} px"
    if apart > held + BLUR_FREE_PX:
        return f"{numbers}: a held shaft differs by up to {held + BLUR_FREE_PX:.1f} px, this one by {apart:.1f} px", "contradicted"
    return f"{numbers}, which a held shaft may show and a lifted one too", "agrees"


def _shadow(signs: HeightSigns) -> tuple[str, Verdict]:
    if signs.lit_gap_mm is None:
        return "no shadow on paper to judge by", "agrees"
    if signs.lit_gap_mm > GAP_HELD_MM:
        return f"{signs.lit_gap_mm:.1f} mm of lit paper lies between shaft and shadow, up to {GAP_HELD_MM} mm can", "contradicted"
    if signs.lit_gap_mm > GAP_DOUBT_MM:
        return f"{signs.lit_gap_mm:.1f} mm of lit paper lies between shaft and shadow", "undecided"
    return "the shadow begins at the shaft", "agrees"


def _decides(support: Support, screen: bool) -> str:
    if support in ("edge", "slot"):
        height = "held down level, the shaft is known to 0 to 0.3 mm above the sheet"
    else:
        height = "resting freely, the height is unknown and what statics allows is carried"
    return f"{height}; outlines before the screen are read at their half level" if screen else height


def _open(support: Support, screen: bool) -> str:
    if support in ("edge", "slot"):
        return "that the shank was held down: one photo cannot prove it"
    return "how high the shaft lies" + (": a window alone is not flat" if screen else "")
