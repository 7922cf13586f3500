"""Stage 6g: what a fitted width or length carries -> its Quantity with labelled contributions.

The edge model's u, what ridges and barbs add to it, what an outline that fits badly leaves in doubt, scale and height.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from vision.envelope import Cone
from vision.place import Profile
from vision.quantity import Quantity, combined
from vision.tip import Tip

# Standard uncertainty of one outline's place from the edge model (mirrored paper, contact shadow, sharpening), in rows of the strip
# that the network is shown: least, and more with the root of its own spread beyond a usual one (a spread grows at once where it
# wavers). From 710 rows of K-files and reamers (seeds 400-739, 4400-4739, 6400-6735 and, reported before, 53000-63299): D0 errs by 0.13
# rows an edge where the network is as sure as usual, whatever the blur and however coarse the rows; by 0.3 where its spread is 0.55 to
# 0.6 rows, by 0.45 where it is 0.8. Blur adds nothing that the spread does not tell.
EDGE_U_LEAST, EDGE_U_SPREAD, USUAL_SPREAD = 0.10, 0.70, 0.5
# Of that u: it drifts along the instrument (D16 = D0 + 16 taper binds the first two). The shank's from 245 development renders
# (seeds 100-239, 4100-4219), whose errors were 0.4 to 0.6 of the u claimed before, and 190 more (400-539, 700-759), 0.7 of the next.
TAPER_EDGE_SHARE, D16_EDGE_SHARE, SHANK_EDGE_SHARE = 2.2, 1.25, 0.68
# Before a lit screen the half level is the edge: no known bias, and less in doubt. Six renders over the window card
# (development seeds 4101-4106): D0 errors have the size claimed.
SCREEN_U_BLURS = 0.22
DOUBT_SHARE = 0.06  # of a contradiction between model and steps: on renders the steps are nearly always the ones that slip
# The outline's mean bias an edge, px too thin: none that could be told from 0 on those renders.
CREST_THIN_PX, SHANK_THIN_PX = 0.0, 0.0
# But a Hedstroem's crests are ridges, which the network rounds off: rows an edge, and more a row of its spread beyond a usual one. It is
# that spread that tells how much in doubt they are, too, and a broach's wire between its barbs. From 695 rows of both (seeds as above).
RIDGE_THIN, RIDGE_THIN_SPREAD, RIDGE_U_SPREAD = 0.09, 0.68, 1.65
# Where the network is sure of ridges it is too sure, the more the picture is blurred: both edges of a Hedstroem together erred by 1.2,
# 1.6 and 1.4 u at lenses of 1.0, 1.6 and 2.2 px (25 calm windows of seeds 3100 to 3153), and all in one sense in photos alike. With so many
# px of width for each px of blur beyond the least these are 1.0, 1.05 and 0.8, and 0.95, 0.85 and 0.9 on 23 others (3400 to 3429).
RIDGE_U_BLUR, RIDGE_BLUR_PX = 0.25, 0.5
BARB_U, BARB_U_SPREAD, BARBED_MM = 0.12, 0.66, 6.0
# What no fit knows of: with the true outlines of 48 held renders, D0 still misses by -3 to +2 um from one kind of section to another.
SHAPE_U_MM = 0.0025
# Thick twisted blanks show few crests. Of 11 held flat of 1.0 to 1.4 mm (120000 to 130063) D0 erred by twice the u claimed, of 129
# thinner ones by just that; with so much of what exceeds 0.9 mm these do too.
THICK_MM, THICK_SHARE = 0.9, 0.04
UNSURE_SHARE = 0.10  # of a width where it is not told how the part is made


@dataclass(frozen=True)
class Envelope:
    """The straight-sided envelope that D0, D16 and taper are read from, whatever fit it came from."""

    d0_mm: float
    taper: float
    u_d0_fit: float
    u_taper_fit: float
    shared: float
    source: Literal["twist", "crests", "wire"]

    def diameter(self, x_mm: float) -> tuple[float, float]:
        """Diameter and its fit uncertainty at a station."""
        variance = self.u_d0_fit**2 + (x_mm * self.u_taper_fit) ** 2
        variance += 2.0 * x_mm * self.shared * self.u_d0_fit * self.u_taper_fit
        return self.d0_mm + self.taper * x_mm, math.sqrt(max(variance, 0.0))


def edge_u_px(spread_px: float, row_px: float) -> float:
    """Standard uncertainty of one outline's place, the same all along the instrument.

    ``spread_px``: the network's own; ``row_px``: px a row of the strip that it was shown (`vision.metal.strip_step`).
    """
    return row_px * (EDGE_U_LEAST + EDGE_U_SPREAD * math.sqrt(_wavers(spread_px, row_px)))


def _wavers(spread_px: float, row_px: float) -> float:
    """Rows by which the network's spread exceeds a usual one."""
    return max(spread_px / row_px - USUAL_SPREAD, 0.0)


class WidthBudget:
    """Turns a fitted width and its fit uncertainty to a quantity with the shared contributions."""

    def __init__(
        self, profile: Profile, scale_u: float, blur_px: float, spread_px: float, doubt_px: float, *, row_px: float, before_screen: bool
    ) -> None:
        self.relative = (("scale", scale_u), ("height", profile.magnification_u))
        self.px_per_mm = profile.px_per_mm
        self.thin_share = 0.0 if before_screen else 1.0
        self.other: Cone | None = None
        self.unsure = False
        self.barbed = False
        self.tip_mm = self.smoothed_mm = self.jumps_mm = 0.0
        self.row_mm, self.wavers = row_px / profile.px_per_mm, _wavers(spread_px, row_px)
        edge_px = edge_u_px(spread_px, row_px)
        if before_screen:
            edge_px = min(edge_px, SCREEN_U_BLURS * blur_px)
        self.edge_mm = 2.0 * (edge_px + DOUBT_SHARE * doubt_px) / profile.px_per_mm
        self.ridge_blur_mm = 0.0 if before_screen else RIDGE_U_BLUR * max(blur_px - RIDGE_BLUR_PX, 0.0) / profile.px_per_mm

    def corrected(self, value: float, fit_u: float, thin_mm: float, edge_share: float = 1.0, *, ridges: bool = False) -> Quantity:
        """A width with the known bias of each edge taken off; ``ridges``: its edges are those of a Hedstroem."""
        return self.of(value + 2.0 * self.thin_share * thin_mm, math.hypot(fit_u, SHAPE_U_MM), edge_share, ridges=ridges)

    def of_envelope(self, envelope: Envelope, x_mm: float, edge_share: float = 1.0) -> Quantity:
        """The envelope's diameter at a station, with what its shape leaves in doubt."""
        value, fit_u = envelope.diameter(x_mm)
        shape_u = self.shape_u_mm(envelope, x_mm)
        # x = 0 is where the tip was found: along a taper a tip found too early is a width taken too early
        place_u = abs(envelope.taper) * self.tip_mm
        thick_u = THICK_SHARE * max(value - THICK_MM, 0.0) if envelope.source == "twist" else 0.0
        fit_u = math.hypot(fit_u, shape_u, self.made_u_mm(envelope), place_u, self.jump_u_mm, thick_u)
        thin_mm = CREST_THIN_PX / self.px_per_mm + self._ridge_thin_mm(envelope)
        return self.corrected(value, fit_u, thin_mm, edge_share, ridges=envelope.source == "crests")

    @property
    def jump_u_mm(self) -> float:
        """What an outline that jumps leaves in doubt: of two places, half of how far they lie apart."""
        return 0.5 * self.jumps_mm

    def made_u_mm(self, envelope: Envelope) -> float:
        """What ridges and barbs add to the u of a width beyond any outline's."""
        if envelope.source == "crests":
            return 2.0 * RIDGE_U_SPREAD * self.wavers * self.row_mm
        return 2.0 * (BARB_U + BARB_U_SPREAD * self.wavers) * self.row_mm if self.barbed else 0.0

    def _ridge_thin_mm(self, envelope: Envelope) -> float:
        if envelope.source != "crests":
            return 0.0
        return (RIDGE_THIN + RIDGE_THIN_SPREAD * self.wavers) * self.row_mm

    def shape_u_mm(self, envelope: Envelope, x_mm: float) -> float:
        """What a width carries for an outline that fits its blank badly, or that may be another kind of thing."""
        value, _ = envelope.diameter(x_mm)
        apart = 0.0 if self.other is None else value - self.other.diameter_mm(x_mm)
        return math.hypot(apart, UNSURE_SHARE * value if self.unsure else 0.0)

    def of(self, value: float, fit_u: float, edge_share: float = 1.0, *, ridges: bool = False) -> Quantity:
        """A width or a difference of widths as it was fitted."""
        edge_mm = math.hypot(self.edge_mm, self.ridge_blur_mm if ridges else 0.0)
        parts = [(name, abs(value) * u) for name, u in self.relative]
        if self.smoothed_mm > 0.0:  # cuts every width alike, whatever share of the edge model's u it carries
            parts.append(("smoothing", self.smoothed_mm * (max(edge_share, 1.0) if edge_share >= SHANK_EDGE_SHARE else edge_share)))
        return combined(value, [*parts, ("edge model", edge_mm * edge_share), ("fit", fit_u)])


class PlaceBudget:
    """The same for lengths along the axis."""

    def __init__(self, profile: Profile, scale_u: float, tip: Tip) -> None:
        self.relative = (("scale", scale_u), ("height", profile.magnification_u))
        self.tip_mm = tip.u_px / profile.px_per_mm

    def of(self, value: float, own_u: float, *, from_tip: bool = True) -> Quantity:
        """A length with its own u and that of the end it is counted from."""
        parts = [(name, abs(value) * u) for name, u in self.relative]
        return combined(value, [*parts, ("tip", self.tip_mm if from_tip else 0.0), ("place", own_u)])
