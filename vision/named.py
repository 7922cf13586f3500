"""Stage 6: logits of the strip network -> chances of family and section, softened to what held-out strips bear out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.floating[Any]]
FAMILIES = ("k-file", "reamer", "hedstroem-file", "barbed-broach", "spreader", "plugger", "paste-carrier", "other")
SECTIONS = ("square", "triangle", "rhombus", "round")
TWISTED = ("square", "triangle", "rhombus")
TEMPERATURE = 1.5  # logits are divided by this
LEAST = 0.003  # no kind is ever ruled out by a picture alone


@dataclass(frozen=True)
class Named:
    """Chances of family and of section, each summing to 1."""

    family: dict[str, float]
    section: dict[str, float]

    def kinds(self) -> dict[str, float]:
        """Chances of the kinds of blank that the outline's fits stand for (``vision.blank``), none below LEAST."""
        family, section = self.family, self.section
        twisted = family["k-file"] + family["reamer"] + family["other"]
        shares = {name: section[name] * twisted for name in TWISTED}
        shares["groove"] = family["hedstroem-file"] + family["paste-carrier"]
        shares["barbed"] = family["barbed-broach"]
        shares["plain"] = family["spreader"] + family["plugger"] + family["other"] * section["round"]
        return {name: max(share, LEAST) for name, share in shares.items()}


def named(logits: Array) -> Named | None:
    """Chances from the network's logits (14,); None where it was not asked."""
    if logits.size < len(FAMILIES) + len(SECTIONS):
        return None
    cut = len(FAMILIES)
    return Named(
        dict(zip(FAMILIES, _shares(logits[:cut]), strict=True)),
        dict(zip(SECTIONS, _shares(logits[cut : cut + len(SECTIONS)]), strict=True)),
    )


def _shares(logits: Array) -> list[float]:
    weight = np.exp((logits - logits.max()) / TEMPERATURE)
    return [float(share) for share in weight / weight.sum()]
