"""Is this photo fit to be read at all? One sentence each: what was found, what is needed, the next step."""

from __future__ import annotations

from collections.abc import Sequence

from vision.dimensions import most_spread_px
from vision.edge_lines import Edges
from vision.errors import PhotoError
from vision.find import Candidate
from vision.glare import BURNT
from vision.photo import Photo
from vision.quantity import short_of
from vision.reading import InstrumentReading
from vision.scale import Scale
from vision.tip import TIP_OUTSIDE, Tip

LEAST_PX_PER_MM = 8.0
MOST_BURNT = 0.3
JUDGE_PX_PER_MM, JUDGE_BLUR_PX = 14.0, 5.0  # the outline model was trained from this scale up, and to this blur
# Of the learned outline, usually 0.45 to 0.6: where it is so sure, steps that contradict it have slipped to a glint or a shadow.
SURE_SPREAD_PX = 0.65
WAVERS_PX = 1.5  # spread of the network over the outline; 0.5 is usual
PRINT_HINT = "; where a scale sheet is in the picture, leave --px-per-mm out: a stated scale does not know its print"
MOST_TILT_DEG = 45.0  # the second of two views may lean by 30; beyond, lens and height cost more than is known of them


def refuse_coarse(scale: Scale, photo: Photo) -> None:
    """Refuse a photo whose scale shows no shaft at all (a size 15 tip would be one px wide)."""
    here = scale.px_per_mm_at((photo.width_px / 2.0, photo.height_px / 2.0)).value
    if here < LEAST_PX_PER_MM:
        raise PhotoError(
            "too-coarse",
            f"needs {LEAST_PX_PER_MM:.0f} px/mm to find an instrument and 40 px/mm to size it, has {short_of(here)}: move closer, "
            "or use the camera's high-resolution mode",
        )


def refuse_slanted(scale: Scale) -> None:
    """Refuse a photo taken from so far aside that widths rest on what is assumed of the lens."""
    if scale.sheet is not None and scale.camera.tilt_deg > MOST_TILT_DEG:
        raise PhotoError(
            "slanted",
            f"the sheet is seen at a slant of {scale.camera.tilt_deg:.0f} deg, at most {MOST_TILT_DEG:.0f} may be and 8 is good: hold the "
            "camera straight above, and photograph again",
        )


def refuse_none(readings: Sequence[InstrumentReading], candidates: Sequence[Candidate], photo: Photo, *, stated: bool = False) -> None:
    """Say that nothing was found, or nothing with a readable outline. ``stated``: the scale was, so that print is not known as such."""
    if readings:
        return
    burnt = float((photo.rgb[::4, ::4].min(axis=2) >= BURNT).mean())
    if candidates and burnt > MOST_BURNT:
        raise PhotoError(
            "too-bright",
            f"{100 * burnt:.0f} % of the picture are burnt to full white, at most {100 * MOST_BURNT:.0f} % may be, and no outline is left "
            "to read: take light away, or lower the exposure, and photograph again",
        )
    if candidates:
        raise PhotoError(
            "no-outline",
            f"found {len(candidates)} long thing(s) on the sheet, but none shows both edges of a working part: bring the "
            "working part into the frame, in focus" + (PRINT_HINT if stated else ""),
        )
    where = "on plain white paper" if stated else "in a white lane"
    raise PhotoError(
        "no-instrument",
        f"found the scale but no instrument on it: lay one {where}, whole working part in the frame, in soft light"
        + (PRINT_HINT if stated else ""),
    )


def judging_doubts(px_per_mm: float, edges: Edges, tip: Tip) -> tuple[str, ...]:
    """Why this photo is unfit to judge condition by, each with what it has and what is needed."""
    doubts = []
    if px_per_mm < JUDGE_PX_PER_MM:
        doubts.append(f"needs {JUDGE_PX_PER_MM:.0f} px/mm to judge condition, has {short_of(px_per_mm)}: move closer")
    if edges.blur_px > JUDGE_BLUR_PX:
        doubts.append(
            f"the outline is blurred over {edges.blur_px:.1f} px, needs {JUDGE_BLUR_PX:.0f} or less: focus at the instrument"
        )
    most_px = most_spread_px(px_per_mm)
    if edges.spread_px > most_px:
        doubts.append(
            f"the outline is in doubt by {edges.spread_px:.1f} px, at most {most_px:.1f} may be: use softer light, focus, and take the "
            "camera's original file"
        )
    if edges.doubt_px > 0.0 and edges.spread_px > SURE_SPREAD_PX:
        doubts.append("the two ways of finding the outline contradict each other: use softer light and photograph again")
    if tip.column is None:
        why = tip.hidden or TIP_OUTSIDE
        doubts.append(f"{why}: whether a piece of it is missing cannot be told; photograph the whole working part")
    return tuple(doubts)


def in_doubt(edges: Edges) -> bool:
    """Whether the outline is so much in doubt that it can bear no confident name."""
    return edges.doubt_px > 0.0 or edges.blur_px > JUDGE_BLUR_PX or edges.spread_px > WAVERS_PX
