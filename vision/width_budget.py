"""Stage 6g: what a fitted width or length carries -> its Quantity with labelled contributions.

The edge model's u, what ridges, barbs and blur add to it, what an outline that fits badly leaves in doubt, scale and height.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from vision.envelope import Cone
from vision.place import Profile
from vision.quantity import Quantity, combined
from vision.tip import Tip

# Standard uncertainty of one outline's place from the edge model (mirrored paper, contact shadow, sharpening), px: least,
# more a px of blur beyond a sharp photo's, more a px of the network's own spread beyond a usual one. From 48 development
# renders (seeds 4400-4447), none of them seen in training: 0.09 px rms where the network is as sure as usual, at any blur
# up to 3.7 px; 0.3 px where its spread is 0.75 to 1 px.
EDGE_U_LEAST_PX, EDGE_U_BLUR, EDGE_U_SPREAD = 0.10, 0.01, 0.6
SHARP_BLUR_PX, USUAL_SPREAD_PX = 0.9, 0.5
# Of that u: it drifts along the instrument (D16 = D0 + 16 taper binds the first two). The shank's from 245 development renders
# (seeds 100-239, 4100-4219), whose errors were 0.4 to 0.6 of the u claimed before, and 190 more (400-539, 700-759), 0.7 of the next.
TAPER_EDGE_SHARE, D16_EDGE_SHARE, SHANK_EDGE_SHARE = 2.2, 1.25, 0.68
# Before a lit screen the half level is the edge: no known bias, and less in doubt. Six renders over the window card
# (development seeds 4101-4106): D0 errors have the size claimed.
SCREEN_U_BLURS = 0.22
DOUBT_SHARE = 0.06  # of a contradiction between model and steps: on renders the steps are nearly always the ones that slip
# The outline's mean bias an edge, px too thin: none that could be told from 0 on those renders.
CREST_THIN_PX, SHANK_THIN_PX = 0.0, 0.0
# But a Hedstroem's crests are ridges, which a picture of few px rounds off: by 0.3 px an edge at 45 to 58 px/mm, 0.1 px from 75 px/mm on
# (64 development renders, seeds 400-8479 and 2602-2822); by so much more or less from lot to lot.
RIDGE_THIN_PX, RIDGE_AT_PX_PER_MM, RIDGE_U_PX = (0.3, 0.1), (58.0, 75.0), 0.12
# Blur rounds them off further, and barbs run into the outline of a broach's wire with it: px an edge for every px of blur beyond
# `SHARP_BLUR_PX`. From 548 rows of both (seeds 400-739, 4400-4739, 6400-6735 and, reported before, 53000-59159): a Hedstroem's D0 erred by
# 0.3 px at 1 px of blur and by 0.7 at 3, a broach's by 0.2 and 0.6, both more than claimed; twisted blanks by no more than claimed.
RIDGE_THIN_BLUR, RIDGE_THIN_MOST_PX, RIDGE_U_BLUR = 0.08, 0.3, 0.10
BARB_U_PX, BARB_U_BLUR, BARBED_MM = 0.03, 0.16, 6.0
# What no fit knows of: with the true outlines of 48 held renders, D0 still misses by -3 to +2 um from one kind of section to another.
SHAPE_U_MM = 0.0025
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


def edge_u_px(blur_px: float, spread_px: float) -> float:
    """Standard uncertainty of one outline's place, the same all along the instrument. ``spread_px``: the network's own."""
    return EDGE_U_LEAST_PX + EDGE_U_BLUR * max(blur_px - SHARP_BLUR_PX, 0.0) + EDGE_U_SPREAD * max(spread_px - USUAL_SPREAD_PX, 0.0)


class WidthBudget:
    """Turns a fitted width and its fit uncertainty to a quantity with the shared contributions."""

    def __init__(
        self, profile: Profile, scale_u: float, blur_px: float, spread_px: float, doubt_px: float, *, before_screen: bool
    ) -> None:
        self.relative = (("scale", scale_u), ("height", profile.magnification_u))
        self.px_per_mm = profile.px_per_mm
        self.thin_share = 0.0 if before_screen else 1.0
        self.other: Cone | None = None
        self.unsure = False
        self.barbed = False
        self.tip_mm = 0.0
        self.blurred_px = max(blur_px - SHARP_BLUR_PX, 0.0)
        edge_px = edge_u_px(blur_px, spread_px)
        if before_screen:
            edge_px = min(edge_px, SCREEN_U_BLURS * blur_px)
        self.edge_mm = 2.0 * (edge_px + DOUBT_SHARE * doubt_px) / profile.px_per_mm

    def corrected(self, value: float, fit_u: float, thin_px: float, edge_share: float = 1.0) -> Quantity:
        """A width with the known bias of both edges taken off."""
        return self.of(value + 2.0 * self.thin_share * thin_px / self.px_per_mm, math.hypot(fit_u, SHAPE_U_MM), edge_share)

    def of_envelope(self, envelope: Envelope, x_mm: float, edge_share: float = 1.0) -> Quantity:
        """The envelope's diameter at a station, with what its shape leaves in doubt."""
        value, fit_u = envelope.diameter(x_mm)
        shape_u = self.shape_u_mm(envelope, x_mm)
        # x = 0 is where the tip was found: along a taper a tip found too early is a width taken too early
        place_u = abs(envelope.taper) * self.tip_mm
        fit_u = math.hypot(fit_u, shape_u, self.made_u_mm(envelope), place_u)
        return self.corrected(value, fit_u, CREST_THIN_PX + self._ridge_thin_px(envelope), edge_share)

    def made_u_mm(self, envelope: Envelope) -> float:
        """What ridges and barbs add to the u of a width beyond any outline's."""
        if envelope.source == "crests":
            return 2.0 * (RIDGE_U_PX + RIDGE_U_BLUR * self.blurred_px) / self.px_per_mm
        return 2.0 * (BARB_U_PX + BARB_U_BLUR * self.blurred_px) / self.px_per_mm if self.barbed else 0.0

    def _ridge_thin_px(self, envelope: Envelope) -> float:
        if envelope.source != "crests":
            return 0.0
        usual = float(np.interp(self.px_per_mm, RIDGE_AT_PX_PER_MM, RIDGE_THIN_PX))
        return usual + min(RIDGE_THIN_BLUR * self.blurred_px, RIDGE_THIN_MOST_PX)

    def shape_u_mm(self, envelope: Envelope, x_mm: float) -> float:
        """What a width carries for an outline that fits its blank badly, or that may be another kind of thing."""
        value, _ = envelope.diameter(x_mm)
        apart = 0.0 if self.other is None else value - self.other.diameter_mm(x_mm)
        return math.hypot(apart, UNSURE_SHARE * value if self.unsure else 0.0)

    def of(self, value: float, fit_u: float, edge_share: float = 1.0) -> Quantity:
        """A width or a difference of widths as it was fitted."""
        parts = [(name, abs(value) * u) for name, u in self.relative]
        return combined(value, [*parts, ("edge model", self.edge_mm * edge_share), ("fit", fit_u)])


class PlaceBudget:
    """The same for lengths along the axis."""

    def __init__(self, profile: Profile, scale_u: float, tip: Tip) -> None:
        self.relative = (("scale", scale_u), ("height", profile.magnification_u))
        self.tip_mm = tip.u_px / profile.px_per_mm

    def of(self, value: float, own_u: float, *, from_tip: bool = True) -> Quantity:
        """A length with its own u and that of the end it is counted from."""
        parts = [(name, abs(value) * u) for name, u in self.relative]
        return combined(value, [*parts, ("tip", self.tip_mm if from_tip else 0.0), ("place", own_u)])
