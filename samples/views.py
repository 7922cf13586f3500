"""Several photos of one instrument: untouched with the camera moved, turned about its axis, or laid down again."""

from dataclasses import replace
from typing import Literal

import numpy as np

from samples.camera import Camera
from samples.draw_free import draw_of
from samples.instrument import Family, Instrument, Population
from samples.lay import PoseKind, settle
from samples.population import draw_macro
from samples.scene import Laid, Scene

Mode = Literal["untouched", "turned", "re-laid"]


def draw_views(
    seed: int,
    mode: Mode,
    count: int = 2,
    family: Family | None = None,
    pose: PoseKind = "free",
    px_per_mm: float | None = None,
    *,
    size: int | None = None,
    preset: str | None = None,
    image_px: tuple[int, int] | None = None,
    turn_deg: float | None = None,
    used: bool = False,
    population: Population = "nominal",
    instrument: Instrument | None = None,
) -> list[Scene]:
    """`count` scenes of the same instrument, drawn from the population unless given.

    untouched: it stays where it lies and the camera moves across it, by two fifths of its height between the first and
    the last view. turned: it is rolled by 360 / count degrees between views and laid almost where it was. re-laid:
    everything but the instrument is drawn anew.
    """
    rng = np.random.default_rng([seed, 8])
    instrument = instrument or draw_of(np.random.default_rng(seed), population, family, size)
    first = draw_macro(
        seed,
        family,
        pose,
        px_per_mm,
        instrument=instrument,
        preset=preset,
        image_px=image_px,
        turn_deg=turn_deg,
        used=used,
    )
    scenes = [first]
    for k in range(1, count):
        fresh = replace(first, seed=seed + 1000 * k)
        if mode == "re-laid":
            kept = first.laid[0].instrument
            fresh = draw_macro(
                seed + 1000 * k,
                family,
                pose,
                px_per_mm,
                instrument=kept,
                preset=first.camera.preset,
                image_px=image_px,
                sheet_id=first.sheet,
            )
        elif mode == "turned":
            fresh = replace(fresh, laid=(_turned(rng, first.laid[0], 360.0 * k / count),))
        scenes.append(fresh)
    if mode == "untouched":
        return [_moved(rng, scene, 0.4 * (k / (count - 1) - 0.5)) for k, scene in enumerate(scenes)]
    return scenes


def _turned(rng: np.random.Generator, laid: Laid, by_deg: float) -> Laid:
    pose = laid.pose
    again = replace(
        pose,
        roll_deg=pose.roll_deg + by_deg + float(rng.normal(0, 5)),
        azimuth_deg=pose.azimuth_deg + float(rng.normal(0, 0.7)),
        x_mm=pose.x_mm + float(rng.normal(0, 0.3)),
        y_mm=pose.y_mm + float(rng.normal(0, 0.3)),
    )
    return Laid(laid.instrument, settle(rng, laid.instrument, again))


def _moved(rng: np.random.Generator, scene: Scene, share: float) -> Scene:
    """The camera moved across the instrument by `share` of its height, still looking at it: half by a tilt, half by a
    shift of the picture, or less of a shift where the picture is so small that the instrument would leave it.
    """
    camera, azimuth = scene.camera, np.radians(scene.laid[0].pose.azimuth_deg)
    across = np.array([-np.sin(azimuth), np.cos(azimuth)]) * np.sign(share)
    room = 0.3 * min(camera.width_px, camera.height_px) / camera.px_per_mm
    step = min(abs(share) * 0.5 * camera.z_mm, room)
    tilt = float(np.degrees(np.arctan(abs(share) - step / camera.z_mm)))
    moved: Camera = replace(
        camera,
        tilt_deg=tilt,
        tilt_to_deg=float(np.degrees(np.arctan2(across[1], across[0]))),
        target_mm=(camera.target_mm[0] + float(across[0] * step), camera.target_mm[1] + float(across[1] * step)),
        focus_height_mm=camera.focus_height_mm + float(rng.normal(0, 0.05)),
    )
    blocker = scene.blocker
    if blocker is not None:
        gone = moved.position - camera.position
        centre = (blocker.centre_mm[0] + float(gone[0]), blocker.centre_mm[1] + float(gone[1]))
        blocker = replace(blocker, centre_mm=centre)
    return replace(scene, camera=moved, blocker=blocker)
