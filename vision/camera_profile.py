"""Stage 2g: what is known of one camera from its own photos of the sheet, and which photos it speaks of.

A profile belongs to one camera, lens, zoom and picture size. Focusing nearer moves the lens away from the sensor: a thin
lens that moves as a whole has f(1 + m) px, m the magnification, which is f + F s with F its focal length in mm and s the
scale in px/mm. Lenses that focus by inner groups grow less, none or the other way: F/2 with u F/2 is taken before any
photo tells, and photos from several distances measure it.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.exif import CameraInfo
from vision.lens_fit import LensFit
from vision.quantity import Quantity, combined

Array = NDArray[np.floating[Any]]
# A sheet that lies flat to about 0.1 mm: trials with such bows moved the focal length by 0.07 to 0.17 % and k1 by 0.0023.
FLAT_F_U, FLAT_K1_U = 0.002, 0.0025
UNKNOWN_GROWTH = (
    0.05  # of f for a doubling of the scale, where no focal length in mm is recorded; common practice, no source
)
SAME_FOCAL = 0.02  # recorded focal lengths are rounded
NAMES = ("focal_px", "growth_mm", "centre_x_px", "centre_y_px", "k1")


@dataclass(frozen=True)
class CameraKey:
    """How a camera is recognised: what it writes into its photos, and the picture's longer and shorter side, px."""

    make: str | None
    model: str | None
    lens: str | None
    focal_mm: float | None
    f35_mm: float | None
    digital_zoom: float | None
    size_px: tuple[int, int]


@dataclass(frozen=True)
class CameraProfile:
    """Lens of one camera, each value with its u; ``correlation`` (5, 5) in the order of ``NAMES``.

    ``focal_px`` holds at the scale ``at_px_per_mm`` in the picture's middle; it grows by ``growth_mm`` px for each px/mm.
    The principal point is an offset from the picture's middle on the sensor, k1 counts r in half picture diagonals.
    """

    name: str
    key: CameraKey
    made_on: dt.date
    made_by: str
    focal_px: Quantity
    at_px_per_mm: float
    growth_mm: Quantity
    centre_x_px: Quantity
    centre_y_px: Quantity
    k1: Quantity
    correlation: tuple[tuple[float, ...], ...]
    landscape: bool
    residual_px: float
    photos: tuple[str, ...]
    saddles: int
    px_per_mm_range: tuple[float, float]
    print_checked: bool
    advice: tuple[str, ...]

    def lens_at(self, px_per_mm: float) -> tuple[Array, Array]:
        """Focal length px, principal point x, y px and k1 at a scale, and their (4, 4) covariance."""
        fields = [getattr(self, name) for name in NAMES]
        u = np.array([field.u for field in fields])
        whole = np.asarray(self.correlation) * np.outer(u, u)
        step = px_per_mm - self.at_px_per_mm
        move = np.array([[1.0, step, 0, 0, 0], [0, 0, 1.0, 0, 0], [0, 0, 0, 1.0, 0], [0, 0, 0, 0, 1.0]])
        return move @ np.array([field.value for field in fields]), move @ whole @ move.T


def key_of(info: CameraInfo, width_px: int, height_px: int) -> CameraKey:
    """The key of an upright photo."""
    size = (max(width_px, height_px), min(width_px, height_px))
    return CameraKey(info.make, info.model, info.lens, info.focal_mm, info.f35_mm, info.digital_zoom, size)


def growth_prior(key: CameraKey, focal_px: float, px_per_mm: float) -> Quantity:
    """What is known of the focal length's growth before any photo, px per px/mm (= mm)."""
    if key.focal_mm is not None:
        return Quantity(key.focal_mm / 2.0, key.focal_mm / 2.0)
    return Quantity(0.0, UNKNOWN_GROWTH * focal_px / px_per_mm)


def difference(profile: CameraKey, photo: CameraKey) -> str | None:
    """Why a photo is not of the profile's camera, lens, zoom and picture size, with both sides; None when it is."""
    for name, here, there in (
        ("camera make", photo.make, profile.make),
        ("camera model", photo.model, profile.model),
        ("lens", photo.lens, profile.lens),
    ):
        if here != there:
            return f"the photo's {name} is {here or 'not recorded'}, the profile's {there or 'not recorded'}"
    if photo.size_px != profile.size_px:
        here, there = (f"{size[0]} × {size[1]} px" for size in (photo.size_px, profile.size_px))
        return f"the photo has {here}, the profile was made from {there}"
    for name, one, other, unit in (
        ("focal length", photo.focal_mm, profile.focal_mm, " mm"),
        ("35 mm equivalent", photo.f35_mm, profile.f35_mm, " mm"),
        ("digital zoom", photo.digital_zoom or 1.0, profile.digital_zoom or 1.0, ""),
    ):
        if (one is None) != (other is None) or (one and other and abs(one / other - 1.0) > SAME_FOCAL):
            sides = [f"{side:g}{unit}" if side else "not recorded" for side in (one, other)]
            return f"the photo's {name} is {sides[0]}, the profile's {sides[1]}"
    return None


def profile_of(
    fit: LensFit, *, name: str, key: CameraKey, made_by: str, landscape: bool, checked: bool, advice: tuple[str, ...]
) -> CameraProfile:
    """Put a fit into a profile; a sheet that is not quite flat is carried in f and k1."""
    u = np.sqrt(np.diag(fit.covariance)[:5])
    values = fit.values[:5]
    flat = np.array([FLAT_F_U * values[0], 0.0, 0.0, 0.0, FLAT_K1_U])
    total = np.hypot(u, flat)
    correlation = fit.covariance[:5, :5] / np.outer(total, total) + np.diag((flat / total) ** 2)
    quantities = [
        combined(value, [("photos", part), *([("sheet not flat", paper)] if paper else [])])
        for value, part, paper in zip(values, u, flat, strict=True)
    ]
    scales = [view.px_per_mm for view in fit.views]
    return CameraProfile(
        name=name,
        key=key,
        made_on=dt.date.today(),
        made_by=made_by,
        focal_px=quantities[0],
        at_px_per_mm=fit.at_px_per_mm,
        growth_mm=quantities[1],
        centre_x_px=quantities[2],
        centre_y_px=quantities[3],
        k1=quantities[4],
        correlation=tuple(tuple(float(v) for v in row) for row in correlation),
        landscape=landscape,
        residual_px=fit.noise_px,
        photos=tuple(view.name for view in fit.views),
        saddles=sum(len(view.mm) for view in fit.views),
        px_per_mm_range=(min(scales), max(scales)),
        print_checked=checked,
        advice=advice,
    )
