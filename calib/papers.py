"""Papers that pages are printed on, and what every printed page states about itself."""

from dataclasses import dataclass
from typing import Literal

PAPER_MM = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}  # ISO 216; 8.5 in x 11 in
"""Width and height."""


@dataclass(frozen=True)
class Printed:
    """One page: its name, its paper, its revision, the number of its first marker, and where it is trimmed."""

    id: str
    paper: Literal["A4", "Letter"]
    revision: int
    first_id: int
    trim_x_mm: float

    @property
    def width_mm(self) -> float:
        """Width of the paper."""
        return PAPER_MM[self.paper][0]

    @property
    def height_mm(self) -> float:
        """Height of the paper."""
        return PAPER_MM[self.paper][1]
