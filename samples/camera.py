"""A pinhole camera above the sheet with radial distortion.

Pixels: the centre of the top-left pixel is (0, 0), x right, y down. The undistorted pixel is `matrix` times the sheet
point (X right, Y down, Z toward the camera, mm); the distorted one is centre + (p - centre)(1 + k1 r^2), r the distance
from the centre in units of half the picture's diagonal.
"""

import math
from dataclasses import dataclass

import numpy as np

from samples.arrays import Floats


@dataclass(frozen=True)
class Camera:
    """`target_mm`: the sheet point in the middle of the picture. `tilt_deg` leans the camera toward `tilt_to_deg`
    (from X toward Y); `turn_deg` turns the picture. `focal_mm` and `f_number` are the real lens, for the blur;
    `focus_height_mm` the height above the sheet that is sharp. `blur_px`: sigma of everything else that blurs.
    `chroma_px`: how far red is magnified outward and blue inward in the picture's corner; green is where truth says.
    """

    preset: str
    width_px: int
    height_px: int
    f35_mm: float
    px_per_mm: float
    target_mm: tuple[float, float]
    focal_mm: float = 5.7
    f_number: float = 1.8
    tilt_deg: float = 0.0
    tilt_to_deg: float = 0.0
    turn_deg: float = 0.0
    k1: float = 0.0
    focus_height_mm: float = 0.0
    blur_px: float = 0.8
    vignetting: float = 0.25
    chroma_px: float = 0.0
    model: str = "Camera"

    @property
    def focal_px(self) -> float:
        """Focal length in pixels, from the 35 mm equivalent (36 mm across the longer side)."""
        return max(self.width_px, self.height_px) * self.f35_mm / 36.0

    @property
    def z_mm(self) -> float:
        """Distance from the pinhole to the sheet along the optical axis."""
        return self.focal_px / self.px_per_mm

    @property
    def centre_px(self) -> Floats:
        """Principal point: the middle of the picture."""
        return np.array([(self.width_px - 1) / 2, (self.height_px - 1) / 2])

    @property
    def rotation(self) -> Floats:
        """3 x 3, rows: picture right, picture down, forward, in sheet coordinates."""
        tilt, to, turn = (math.radians(a) for a in (self.tilt_deg, self.tilt_to_deg, self.turn_deg))
        lean = np.array([math.cos(to), math.sin(to), 0.0])
        up = np.array([0.0, 0.0, 1.0])
        forward = -(math.cos(tilt) * up + math.sin(tilt) * lean)
        right0 = np.array([math.cos(turn), math.sin(turn), 0.0])
        right = right0 - (right0 @ forward) * forward
        right /= np.linalg.norm(right)
        down = np.array([-math.sin(turn), math.cos(turn), 0.0])
        down = down - (down @ forward) * forward - (down @ right) * right
        return np.stack([right, down / np.linalg.norm(down), forward])

    @property
    def position(self) -> Floats:
        """The pinhole in sheet coordinates, mm."""
        return np.asarray(np.array([*self.target_mm, 0.0]) - self.z_mm * self.rotation[2])

    @property
    def matrix(self) -> Floats:
        """3 x 4 projection of sheet points to undistorted pixels."""
        cx, cy = self.centre_px
        k = np.array([[self.focal_px, 0, cx], [0, self.focal_px, cy], [0, 0, 1.0]])
        return np.asarray(k @ np.column_stack([self.rotation, -self.rotation @ self.position]))

    @property
    def half_diagonal_px(self) -> float:
        """Unit of the distortion's radius."""
        return float(np.hypot(*self.centre_px))

    def project(self, points: Floats) -> Floats:
        """Sheet points (... x 3, mm) to distorted pixels (... x 2)."""
        m = self.matrix
        h = points @ m[:, :3].T + m[:, 3]
        off = h[..., :2] / h[..., 2:] - self.centre_px
        r2 = np.sum(off * off, axis=-1, keepdims=True) / self.half_diagonal_px**2
        return np.asarray(self.centre_px + off * (1.0 + self.k1 * r2))

    def undistort(self, px: Floats) -> Floats:
        """Distorted pixels to offsets from the centre, undistorted, px (same shape); fixed-point, below 1e-4 px."""
        off = px - self.centre_px.astype(px.dtype)
        if self.k1 == 0.0:
            return np.asarray(off)
        scale = 1.0
        r2 = np.sum(off * off, axis=-1, keepdims=True) / self.half_diagonal_px**2
        for _ in range(5):
            scale = 1.0 / (1.0 + self.k1 * r2 * scale * scale)
        return np.asarray(off * scale)

    def rays(self, px: Floats) -> Floats:
        """Directions (not normalised, unit step along the optical axis) of distorted pixels, sheet coordinates."""
        off = self.undistort(px) / self.focal_px
        rot = self.rotation.astype(px.dtype)
        return np.asarray(off[..., :1] * rot[0] + off[..., 1:] * rot[1] + rot[2])

    def on_sheet(self, px: Floats) -> Floats:
        """Sheet points (X, Y) at height 0 seen at distorted pixels, mm."""
        ray = self.rays(px)
        start = self.position.astype(px.dtype)
        return np.asarray(start[:2] - ray[..., :2] * (start[2] / ray[..., 2:]))

    def depth_mm(self, points: Floats) -> Floats:
        """Distance of sheet points (... x 3) from the pinhole along the optical axis."""
        return np.asarray((points - self.position.astype(points.dtype)) @ self.rotation[2].astype(points.dtype))

    def blur_disc_px(self, depth_mm: Floats) -> Floats:
        """Signed diameter of the out-of-focus disc, px, at a depth: positive nearer than the sharp plane.

        A thin lens of aperture f/N focused at depth w0 spreads a point at w over (f/N) (w0 - w) / w in the sharp plane.
        """
        sharp = self.z_mm - self.focus_height_mm
        spread = self.focal_mm / self.f_number * (sharp - np.asarray(depth_mm)) / np.asarray(depth_mm)
        return np.asarray(spread * self.focal_px / sharp)
