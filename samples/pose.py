"""Where an instrument lies: its frame in sheet coordinates.

Sheet coordinates: X right, Y down (as one reads the page), Z toward the camera, mm. That is a LEFT-handed system;
the second axis below is chosen so that the instrument's own frame is right-handed in real space.
"""

import math
from dataclasses import dataclass

import numpy as np

from samples.arrays import Floats


@dataclass(frozen=True)
class Pose:
    """`x_mm`, `y_mm`, `height_mm`: the point s = `anchor_mm` of the straight axis. `azimuth_deg`: direction tip ->
    handle, from X toward Y. `slope_deg`: how far the axis rises toward the handle. `roll_deg`: turn about the axis,
    from the sideways axis toward the upward one.
    """

    kind: str
    x_mm: float
    y_mm: float
    height_mm: float
    azimuth_deg: float
    slope_deg: float = 0.0
    roll_deg: float = 0.0
    anchor_mm: float = 0.0

    @property
    def axes(self) -> Floats:
        """3 x 3, rows: along the axis, second, third axis of the instrument in sheet coordinates."""
        az, sl, ro = (math.radians(a) for a in (self.azimuth_deg, self.slope_deg, self.roll_deg))
        along = np.array([math.cos(az) * math.cos(sl), math.sin(az) * math.cos(sl), math.sin(sl)])
        upward = np.array([-math.cos(az) * math.sin(sl), -math.sin(az) * math.sin(sl), math.cos(sl)])
        # In left-handed coordinates the cross product formula turns the wrong way round, hence the minus sign.
        sideways = -np.cross(upward, along)
        second = math.cos(ro) * sideways + math.sin(ro) * upward
        third = -math.sin(ro) * sideways + math.cos(ro) * upward
        return np.stack([along, second, third])

    @property
    def origin(self) -> Floats:
        """The tip end of the straight axis (s = 0) in sheet coordinates, mm."""
        return np.asarray(np.array([self.x_mm, self.y_mm, self.height_mm]) - self.anchor_mm * self.axes[0])

    def to_sheet(self, points: Floats) -> Floats:
        """Points of the instrument's frame (... x 3) in sheet coordinates."""
        return np.asarray(points @ self.axes + self.origin)

    def to_instrument(self, points: Floats) -> Floats:
        """Sheet points (... x 3) in the instrument's frame."""
        return np.asarray((points - self.origin) @ self.axes.T)
