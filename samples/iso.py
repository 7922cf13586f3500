"""Size colours, flute counts and handle shapes of hand instruments.

Colours and sizes: ISO 3630-1 as given in public tables. Edges per mm: quoted from memory in the trade, no source read.
"""

from samples.instrument import Family
from samples.light import Rgb

COLOURS: dict[int, str] = {
    6: "pink", 8: "grey", 10: "purple", 15: "white", 20: "yellow", 25: "red", 30: "blue", 35: "green", 40: "black",
    45: "white", 50: "yellow", 55: "red", 60: "blue", 70: "green", 80: "black", 90: "white", 100: "yellow", 110: "red",
    120: "blue", 130: "green", 140: "black",
}  # fmt: skip
"""ISO size colour of each size number."""

HALF_SIZES: dict[int, str] = {12: "purple", 17: "white", 22: "yellow", 27: "red", 32: "blue", 37: "green"}
"""Half sizes of the trade: colour of the size below, with a gold mark that is not drawn here (public tables)."""


def colour_of(size: int) -> str:
    """ISO size colour, half sizes included; raises KeyError for a number that is no size."""
    return COLOURS[size] if size in COLOURS else HALF_SIZES[size]


PLASTIC: dict[str, Rgb] = {
    "pink": (0.75, 0.22, 0.32),
    "grey": (0.30, 0.30, 0.30),
    "purple": (0.20, 0.05, 0.28),
    "white": (0.80, 0.80, 0.76),
    "yellow": (0.80, 0.55, 0.03),
    "red": (0.55, 0.02, 0.02),
    "blue": (0.02, 0.08, 0.40),
    "green": (0.01, 0.22, 0.06),
    "black": (0.02, 0.02, 0.022),
    "bleached": (0.62, 0.52, 0.46),
    "other": (0.10, 0.38, 0.36),
}
"""Diffuse linear reflectance of handle plastics; invented values."""

LENGTHS_MM = (21, 25, 28, 31)

_EDGES_PER_MM = {"k-file": ((15, 1.97), (80, 0.88)), "reamer": ((15, 0.80), (140, 0.28))}


def edges_per_mm(family: Family, size: float) -> float:
    """Trade figure for the flute density of a size (number, or D0 in 1/100 mm), edges per mm, straight between the ends."""
    if family == "hedstroem-file":
        return max(1.9 - 0.013 * size, 0.8)
    (small, most), (large, least) = _EDGES_PER_MM[family]
    share = min(max((size - small) / (large - small), -0.1), 1.0)
    return most + (least - most) * share


def handle_profile(shape: str, diameter_mm: float, length_mm: float) -> tuple[tuple[float, float], ...]:
    """(mm behind the front face, radius mm) of eight neutral shapes; raises KeyError for an unknown one."""
    r, n = diameter_mm / 2, length_mm
    edge = 0.25
    if shape == "ringed":
        rings = tuple((n * (0.2 + 0.09 * k), r - (0.28 if k % 2 else 0.0)) for k in range(8))
        return ((0.0, r - edge), (edge, r), *rings, (n - edge, r), (n, r - edge))
    return {
        "plain": ((0.0, r - edge), (edge, r), (n - edge, r), (n, r - edge)),
        "waisted": ((0.0, r - edge), (edge, r), (1.8, r), (0.35 * n, 0.74 * r), (0.6 * n, 0.74 * r), (n - 2.0, r))
        + ((n - edge, r), (n, r - edge)),
        "barrel": ((0.0, 0.7 * r), (0.2 * n, 0.92 * r), (0.4 * n, r), (0.6 * n, r), (0.8 * n, 0.92 * r), (n, 0.72 * r)),
        "drum": ((0.0, 0.8 * r), (0.2, r), (0.3 * n, r), (0.32 * n, 0.88 * r), (0.68 * n, 0.88 * r), (0.7 * n, r))
        + ((n - 0.2, r), (n, 0.8 * r)),
        "flared": ((0.0, 0.62 * r), (0.3, 0.66 * r), (0.75 * n, 0.8 * r), (n - 0.4, r), (n, 0.9 * r)),
        "domed": (
            (0.0, 0.7 * r),
            (0.5, 0.95 * r),
            (1.0, r),
            (n - 1.6, r),
            (n - 0.7, 0.85 * r),
            (n - 0.2, 0.5 * r),
            (n, 0.1 * r),
        ),
        "cone-nosed": ((0.0, 0.45 * r), (0.45 * n, 0.85 * r), (0.55 * n, r), (n - edge, r), (n, r - edge)),
    }[shape]


HANDLE_SHAPES = ("plain", "waisted", "barrel", "ringed", "cone-nosed")

MORE_HANDLE_SHAPES = (*HANDLE_SHAPES, "drum", "flared", "domed")
