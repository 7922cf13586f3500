"""Draws whole scenes at random, reproducibly by seed."""

import math
from dataclasses import replace
from typing import Literal

import numpy as np

from calib.sheet import Lane, Sheet, sheet_named, sheets
from samples.arrays import CPU
from samples.bodies import Placed, place
from samples.camera import Camera
from samples.draw_instrument import draw_instrument
from samples.instrument import Family, Instrument
from samples.paper import Paper
from samples.pose import Pose
from samples.presets import CAMERAS, CameraKind, camera_body, draw_light
from samples.scene import Laid, Scene
from samples.sensor import Sensor
from samples.statics import rests

PoseKind = Literal["flat", "free"]


def draw_macro(
    seed: int,
    family: Family | None = None,
    pose: PoseKind = "flat",
    px_per_mm: float | None = None,
    *,
    size: int | None = None,
    preset: str | None = None,
    light: str | None = None,
    sheet_id: str | None = None,
    image_px: tuple[int, int] | None = None,
    instrument: Instrument | None = None,
    turn_deg: float | None = None,
) -> Scene:
    """One instrument on the sheet, as photographed close up; what is not given is drawn.

    pose 'flat': shaft level just above the paper, handle in the slot or beyond the sheet's edge; 'free': as statics
    let it rest. px_per_mm is the scale at the sheet under the camera. image_px changes the picture's size, not the
    distance: a crop of the preset's picture.
    """
    rng = np.random.default_rng(seed)
    instrument = instrument or draw_instrument(rng, family, size)
    sheet = sheet_named(sheet_id or str(rng.choice(sorted(sheets()))))
    paper = draw_paper(rng)
    _lane, laid, paper = _lay(rng, sheet, paper, instrument, pose)
    kind = CAMERAS[preset or str(rng.choice(["phone-12mp", "phone-12mp", "phone-48mp", "tele-macro"]))]
    camera = _aim(rng, kind, laid, px_per_mm, image_px, turn_deg)
    eye = camera.position
    turned = camera.turn_deg
    blocker = camera_body(kind, rng, float(eye[0]), float(eye[1]), float(eye[2]), turned)
    return Scene(
        sheet=sheet.id,
        laid=(laid,),
        camera=camera,
        light=draw_light(rng, light),
        paper=paper,
        sensor=draw_sensor(rng),
        blocker=blocker,
        seed=seed,
    )


def draw_paper(rng: np.random.Generator) -> Paper:
    """Office paper and print, with print scale off by up to 1 % and ink spread up to 40 um."""
    white = float(rng.uniform(0.74, 0.9))
    tint = rng.normal(0, 0.008, 3)
    red, green, blue = (float(white * (1 + t)) for t in tint)
    ink = float(rng.uniform(0.03, 0.07))
    return Paper(
        white=(red, green, blue),
        ink=(ink, ink, ink * 1.03),
        print_scale=(
            1 + float(np.clip(rng.normal(0, 0.004), -0.01, 0.01)),
            1 + float(np.clip(rng.normal(0, 0.004), -0.01, 0.01)),
        ),
        ink_spread_um=float(rng.uniform(0, 40)),
        grain=float(rng.uniform(0.006, 0.018)),
        mottle=float(rng.uniform(0.05, 0.4)),
        seed=int(rng.integers(1 << 30)),
    )


def draw_sensor(rng: np.random.Generator) -> Sensor:
    """A phone's picture, from clean and soft to noisy and crisp."""
    warm = float(rng.normal(0, 0.05))
    return Sensor(
        full_well=float(np.exp(rng.uniform(np.log(2000), np.log(12000)))),
        read_noise=float(rng.uniform(2, 6)),
        white_balance=(1 + warm, 1.0, 1 - warm),
        exposure=float(rng.uniform(0.42, 0.8)),
        mosaic=bool(rng.random() < 0.7),
        denoise=float(rng.uniform(0, 0.8)),
        sharpen=float(rng.uniform(0, 0.9)),
        sharpen_px=float(rng.uniform(0.8, 1.4)),
        contrast=float(rng.uniform(0, 0.4)),
        jpeg_quality=int(rng.integers(70, 97)),
    )


def _lay(
    rng: np.random.Generator, sheet: Sheet, paper: Paper, instrument: Instrument, pose: PoseKind
) -> tuple[Lane, Laid, Paper]:
    """Choose a lane and lay the instrument along it; a flat one has its handle in a slot or over the cut edge."""
    if pose == "free":
        lane = sheet.lanes[int(rng.integers(len(sheet.lanes)))]
        total = instrument.length_mm + instrument.handle.length_mm
        start = lane.x0_mm + float(rng.uniform(1.0, max(lane.width_mm - total - 1.0, 2.0)))
        handle_right = bool(rng.random() < 0.5)
        tip_x = start if handle_right else start + total
        return lane, Laid(instrument, _rest_pose(rng, instrument, lane, tip_x, handle_right)), paper
    lanes = [lane for lane in sheet.lanes if lane.kind in ("slot", "edge")]
    lane = lanes[int(rng.integers(len(lanes)))]
    if lane.kind == "slot":
        slot = next(s for s in sheet.slots if s.lane_number == lane.number)
        paper = replace(paper, slot_mm=(slot.x0_mm, slot.y0_mm, slot.x1_mm, slot.y1_mm))
        front, handle_right = slot.x0_mm + float(rng.uniform(0.5, 2.5)), True
    else:
        cut = sheet.trim_line.start_mm[0]
        paper = replace(paper, cut_at_mm=cut)
        front, handle_right = cut + float(rng.uniform(0.5, 3.0)), True
    tip_x = front - instrument.length_mm if handle_right else front + instrument.length_mm
    sx, sy = paper.print_scale
    height = instrument.shank_width_mm / 2 + float(rng.uniform(0, 0.15))
    azimuth = (0.0 if handle_right else 180.0) + float(rng.normal(0, 1.2))
    placed = Pose(
        "flat",
        tip_x * sx,
        (lane.centre_mm[1] + float(rng.normal(0, 0.4))) * sy,
        height,
        azimuth,
        roll_deg=float(rng.uniform(0, 360)),
    )
    return lane, Laid(instrument, settle(rng, instrument, placed)), paper


def _rest_pose(rng: np.random.Generator, instrument: Instrument, lane: Lane, tip_x: float, handle_right: bool) -> Pose:
    """The rest that statics gives, most often the lowest one."""
    options = rests(instrument)
    rest = options[0] if len(options) == 1 or rng.random() < 0.8 else options[1]
    azimuth = (0.0 if handle_right else 180.0) + float(rng.normal(0, 2.0))
    pose = Pose(
        "hovering" if "tip" not in rest.touches and "stop" not in rest.touches else "tipped",
        tip_x,
        lane.centre_mm[1] + float(rng.normal(0, 0.6)),
        rest.tip_height_mm,
        azimuth,
        slope_deg=rest.slope_deg,
        roll_deg=float(rng.uniform(0, 360)),
    )
    return settle(rng, instrument, pose)


def settle(rng: np.random.Generator, instrument: Instrument, pose: Pose) -> Pose:
    """Roll a bent shaft until it does not dig into the sheet (the handle rolls by itself); at worst raise it."""
    placed = place(instrument, pose, CPU)
    best, least = pose, 1e9
    for _ in range(24):
        dig = _dig_mm(placed, pose)
        if dig < least:
            best, least = pose, dig
        if dig <= 0.05:
            break
        pose = replace(pose, roll_deg=float(rng.uniform(0, 360)))
    return replace(best, height_mm=best.height_mm + max(least, 0.0))


def _dig_mm(placed: Placed, pose: Pose) -> float:
    """How far the shaft reaches below the sheet in a pose, mm; negative when it is clear."""
    s = np.linspace(0, placed.instrument.length_mm, 200)
    points = pose.to_sheet(placed.line.at(s)[0])
    return -float(np.min(points[:, 2] - placed.surface.bound_mm(s)))


def _aim(
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
