"""A whole photo as numbers: sheet, light, camera, instruments in their poses. Everything a render needs, and nothing else."""

from dataclasses import dataclass, field

from samples.camera import Camera
from samples.instrument import Instrument
from samples.light import Blocker, Light
from samples.paper import Paper
from samples.pose import Pose
from samples.sensor import Sensor


@dataclass(frozen=True)
class Laid:
    """An instrument and how it lies."""

    instrument: Instrument
    pose: Pose


@dataclass(frozen=True)
class Scene:
    """`seed` drives noise and the metal's sampled facets; all other chance was spent when the scene was drawn."""

    sheet: str
    laid: tuple[Laid, ...]
    camera: Camera
    light: Light
    paper: Paper = field(default_factory=Paper)
    sensor: Sensor = field(default_factory=Sensor)
    blocker: Blocker | None = None
    seed: int = 0
    supersample: int | None = None
