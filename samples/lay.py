"""Lays instruments on a sheet: in a lane, held flat or as statics lets them rest."""

from dataclasses import replace
from typing import Literal

import numpy as np

from calib.sheet import Lane, Sheet
from samples.arrays import CPU
from samples.bodies import Placed, place
from samples.instrument import Instrument
from samples.paper import Paper
from samples.pose import Pose
from samples.scene import Laid
from samples.statics import rests

PoseKind = Literal["flat", "free"]


def lay(
    rng: np.random.Generator, sheet: Sheet, paper: Paper, instrument: Instrument, pose: PoseKind
) -> tuple[Lane, Laid, Paper]:
    """Choose a lane and lay the instrument along it; a flat one has its handle in a slot or over the cut edge."""
    if pose == "free":
        lane = sheet.lanes[int(rng.integers(len(sheet.lanes)))]
        total = instrument.length_mm + instrument.handle.length_mm
        start = lane.x0_mm + float(rng.uniform(1.0, max(lane.width_mm - total - 1.0, 2.0)))
        handle_right = bool(rng.random() < 0.5)
        tip_x = start if handle_right else start + total
        return lane, Laid(instrument, rest_pose(rng, instrument, lane, tip_x, handle_right)), paper
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


def rest_pose(rng: np.random.Generator, instrument: Instrument, lane: Lane, tip_x: float, handle_right: bool) -> Pose:
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
