"""Points a camera at what lies on the sheet."""

import math

import numpy as np

from samples.camera import Camera
from samples.presets import CameraKind
from samples.scene import Laid


def aim(
    rng: np.random.Generator,
    kind: CameraKind,
    laid: Laid,
    px_per_mm: float | None,
    image_px: tuple[int, int] | None,
    turn_deg: float | None,
) -> Camera:
    """Point the camera so that the shaft lies in the picture, at any turn that lets it."""
    f35 = float(rng.uniform(*kind.f35_mm))
    width, height = image_px or kind.size_px
    scale = px_per_mm or float(rng.uniform(*kind.px_per_mm))
    need = (laid.instrument.length_mm + 2.5) * scale
    scale = scale if px_per_mm else scale * min(1.0, 0.97 * width / need)
    middle = laid.pose.to_sheet(np.array([0.5 * laid.instrument.length_mm + 0.5, 0.0, 0.0]))
    turn = turn_deg if turn_deg is not None else _turn_that_fits(rng, laid, need, (width, height))
    slack = np.clip((np.array([width, height]) / scale - need / scale) / 2, 0, 4)
    tilt = float(np.abs(rng.normal(0, 2.5)))
    return Camera(
        preset=kind.name,
        width_px=width,
        height_px=height,
        f35_mm=f35 * kind.size_px[0] / max(width, height),
        px_per_mm=scale,
        target_mm=(
            float(middle[0] + rng.uniform(-0.5, 0.5) * slack[0]),
            float(middle[1] + rng.uniform(-0.5, 0.5) * slack[1]),
        ),
        focal_mm=f35 / kind.crop,
        f_number=float(rng.uniform(*kind.f_number)),
        tilt_deg=min(tilt, 8.0),
        tilt_to_deg=float(rng.uniform(0, 360)),
        turn_deg=turn,
        k1=float(rng.normal(0, 0.006)),
        focus_height_mm=float(rng.choice([0.0, laid.pose.height_mm])) + float(rng.normal(0, 0.15)),
        blur_px=float(rng.uniform(*kind.blur_px)),
        vignetting=float(rng.uniform(0.05, 0.35)),
        model=kind.model,
    )


def _turn_that_fits(rng: np.random.Generator, laid: Laid, need_px: float, size_px: tuple[int, int]) -> float:
    """A turn of the picture for which the shaft's length fits; the azimuth of the instrument comes on top."""
    for _ in range(200):
        turn = float(rng.uniform(0, 360))
        seen = math.radians(laid.pose.azimuth_deg - turn)
        if abs(math.cos(seen)) * need_px < 0.98 * size_px[0] and abs(math.sin(seen)) * need_px < 0.95 * size_px[1]:
            return turn
    return laid.pose.azimuth_deg + 180.0 * float(rng.integers(2)) + float(rng.normal(0, 3))
