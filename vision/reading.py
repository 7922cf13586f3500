"""The reading: what one examined photo says, in the words and fields of the format flutegauge-reading/1 (leaf)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from vision.quantity import Quantity

FAMILIES = (
    "k-file",
    "reamer",
    "hedstroem-file",
    "barbed-broach",
    "spreader",
    "plugger",
    "paste-carrier",
    "other",
)
Verdict = Literal["within", "outside", "undecided"] | None
Call = Literal["discard", "look again", "nothing seen"]
Hand = Literal["right", "left"]
Points = NDArray[np.float64]


@dataclass(frozen=True)
class Choice:
    """A decided word (or None) with its calibrated probability, the runners-up and what spoke for it."""

    value: str | int | None
    probability: float
    others: Mapping[str, float] = field(default_factory=dict)
    evidence: tuple[str, ...] = ()


@dataclass(frozen=True)
class Clue:
    """One piece of evidence for a name: what was looked at, what was seen, and on what ground it speaks.

    ``says``: for each name how likely this sight is, the name it suits best having 1; empty where it could not be had.
    ``learned``: said by the network, not by measured shape.
    """

    what: str
    seen: str
    says: Mapping[str, float]
    source: str
    learned: bool = False


@dataclass(frozen=True)
class HandleReading:
    """The handle's colour and the ISO sizes that carry it; ``thickness_mm`` as seen at the sheet's scale."""

    colour: str | None
    sizes: tuple[int, ...] = ()
    thickness_mm: Quantity | None = None


@dataclass(frozen=True)
class Finding:
    """One thing that looks wrong: kind (a fixed word), where along the axis, how strong, how probable."""

    kind: str
    from_mm: float
    to_mm: float
    strength: Quantity
    strength_unit: str
    probability: float


@dataclass(frozen=True)
class ConditionReading:
    """The call with its findings, the share of the circumference seen, and what this photo (or ``photos``) could have shown.

    ``before``: what comes before any photo (single use, local rules, material), a sentence each; ``material`` and
    ``single_use`` as the user stated them.
    """

    call: Call
    seen_share: float
    smallest_visible: Mapping[str, Mapping[str, float]]
    findings: tuple[Finding, ...] = ()
    reasons: tuple[str, ...] = ()
    photos: int = 1
    before: tuple[str, ...] = ()
    material: str = "unknown"
    single_use: str = "unknown"


@dataclass(frozen=True)
class Bound:
    """Half-width of a tolerance about nominal, the text it stands in, and whether that text was read or is remembered."""

    half_width: float
    source: str
    read: bool


@dataclass(frozen=True)
class Judgement:
    """How one measured quantity stands to its limits; ``reason`` says why there is no verdict.

    'within' must keep inside ``within``, 'outside' must clear ``outside``; they differ where two texts do. ``margin_u`` counts
    standard uncertainties from the limit that the value meets first, negative beyond it; ``probability`` is that of the
    true value lying inside ``within``.
    """

    verdict: Verdict
    unit: str
    nominal: float | None = None
    within: Bound | None = None
    outside: Bound | None = None
    margin_u: float | None = None
    probability: float | None = None
    reason: str | None = None


@dataclass(frozen=True)
class Trace:
    """What the picture draws, in px of the upright photo, (N, 2) arrays of x, y; not part of the JSON.

    ``pitch_mm_of_x`` holds (x mm, local pitch mm) rows, ``trend_mm_of_x`` the healthy trend at the same x,
    ``profile_mm_of_x`` holds (x mm, upper edge mm, lower edge mm) rows, signed from the axis.
    """

    axis_px: Points
    upper_px: Points
    lower_px: Points
    crests_px: Points
    stations_px: Mapping[str, Points] = field(default_factory=dict)
    pitch_mm_of_x: Points = field(default_factory=lambda: np.empty((0, 2)))
    trend_mm_of_x: Points = field(default_factory=lambda: np.empty((0, 2)))
    profile_mm_of_x: Points = field(default_factory=lambda: np.empty((0, 3)))
    axis_x_mm: NDArray[np.float64] = field(default_factory=lambda: np.empty(0))


@dataclass(frozen=True)
class InstrumentReading:
    """Everything one photo says of one instrument. None means: not measured, the reason stands in ``notes``."""

    id: int
    box_px: tuple[int, int, int, int]
    tip_px: tuple[float, float] | None
    handle_px: tuple[float, float] | None
    family: Choice
    size: Choice
    d0_mm: Quantity | None
    d16_mm: Quantity | None
    taper_mm_per_mm: Quantity | None
    tip_width_mm: Quantity | None
    shank_width_mm: Quantity | None
    length_mm: Quantity | None
    working_part_mm: Quantity | None
    stop_from_tip_mm: Quantity | None
    pitch_mm: Quantity | None
    flutes_per_mm: Quantity | None
    helix_angle_deg: Quantity | None
    twist_hand: Hand | None
    cross_section: Literal["square", "triangle", "rhombus", "round"] | None
    height_mm: Quantity | None
    local_px_per_mm: float
    blur_px: float | None
    handle: HandleReading
    conformity: Mapping[str, Verdict]
    condition: ConditionReading
    notes: tuple[str, ...]
    trace: Trace
    judged: Mapping[str, Judgement] = field(default_factory=dict)
    family_clues: tuple[Clue, ...] = ()
    size_clues: tuple[Clue, ...] = ()


@dataclass(frozen=True)
class ScaleReading:
    """Where the scale came from ('sheet' or 'given') and what it is at the picture's centre."""

    source: Literal["sheet", "given"]
    sheet_id: str | None
    print_checked: bool | None
    px_per_mm: Quantity
    view_tilt_deg: float | None
    camera_height_mm: Quantity | None
    camera_profile: str | None = None


@dataclass(frozen=True)
class SiteCheck:
    """What a verification on site found for this set-up: when, what it can decide, and why it may no longer hold."""

    made_on: str
    statement: str
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True)
class CheckReading:
    """A check piece of known diameter beside the instruments: known, measured, bias (measured - known), and E_n.

    ``corrected`` tells whether the bias was taken off the instruments' widths; ``box_px`` is where the piece lies.
    """

    known_mm: Quantity
    measured_mm: Quantity
    bias_mm: Quantity
    e_n: float
    box_px: tuple[int, int, int, int]
    corrected: bool = False


@dataclass(frozen=True)
class PhotoReading:
    """One photo's reading: either an error (kind, message) or a scale and its instruments."""

    file: str
    error: tuple[str, str] | None
    scale: ScaleReading | None
    instruments: tuple[InstrumentReading, ...] = ()
    notes: tuple[str, ...] = ()
    check_piece: CheckReading | None = None
    site_check: SiteCheck | None = None


@dataclass(frozen=True)
class CombinedReading:
    """What several photos say together of one instrument.

    ``instrument``: as for one photo, without places in px. ``d0_each``: D0 of each photo as it entered. ``height_of_x``
    holds (x mm, axis height mm, its u mm) rows from tip to handle, empty where the height was not triangulated.
    ``disagreements``: a sentence for each quantity on which the photos contradict each other.
    """

    photos: tuple[str, ...]
    mode: Literal["untouched", "re-laid"]
    instrument: InstrumentReading
    d0_each: tuple[Quantity | None, ...] = ()
    height_of_x: Points = field(default_factory=lambda: np.empty((0, 3)))
    disagreements: tuple[str, ...] = ()
