"""Many instruments on one sheet, seen from farther away: apart, touching or crossing."""

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from calib.sheet import Sheet, sheet_named, sheets
from samples.arrays import Floats
from samples.camera import Camera
from samples.draw_damage import damages_of, used_instrument, with_damage
from samples.draw_free import draw_of
from samples.draw_stranger import draw_stranger
from samples.instrument import SIDES, Instrument, Population
from samples.lay import rest_pose
from samples.paper import Paper
from samples.population import draw_paper, draw_sensor, litter
from samples.pose import Pose
from samples.presets import CAMERAS, camera_body, draw_light
from samples.scene import Laid, Scene

CLEAR_MM = 3.2
"""Distance between two axes beyond which handles and stops cannot touch much."""


STEEPEST_DEG = 12.0


def draw_tray(
    seed: int,
    count: int | None = None,
    *,
    messy: float = 0.25,
    strangers: float = 0.1,
    image_px: tuple[int, int] = (4032, 3024),
    light: str | None = None,
    sheet_id: str | None = None,
    population: Population = "nominal",
    gross: float | None = None,
    close: bool = False,
) -> Scene:
    """`count` instruments (1 to 24; drawn unless given) on one sheet. `messy`: share that lies askew, so that it may
    touch or cross a neighbour; `strangers`: share that is none of the four families.
    `population`: what the others are drawn from, as in `draw_macro`. `gross`: share with one damage that an overview
    should show (tip lost by 2 mm or more, kink of 20 deg or more, straightened part), the others new; unstated, some are used.
    `close`: in lanes next to one another, so that the camera comes nearer.
    """
    rng = np.random.default_rng([seed, 6])
    count = count or int(rng.integers(1, 25))
    if not 1 <= count <= 24:
        raise ValueError(f"count must be 1 to 24, is {count}: a sheet has 24 lanes")
    sheet = sheet_named(sheet_id or str(rng.choice(sorted(sheets()))))
    laid: list[Laid] = []
    lanes = _neighbours(rng, len(sheet.lanes), count) if close else rng.permutation(len(sheet.lanes))[:count]
    for lane in lanes:
        new = _lay_one(rng, sheet, int(lane), laid, messy, strangers, population, gross)
        if new is not None:
            laid.append(new)
    camera = _overhead(rng, sheet, image_px, laid, whole=not close and rng.random() < 0.5, most=30.0 if close else 40.0)
    paper: Paper = litter(rng, draw_paper(rng), sheet.lanes[0])
    body = camera_body(CAMERAS["phone-12mp"], rng, camera)
    room = draw_light(rng, light)
    return Scene(sheet.id, tuple(laid), camera, room, paper, draw_sensor(rng), body, seed, supersample=5)


def _lay_one(
    rng: np.random.Generator,
    sheet: Sheet,
    lane_index: int,
    laid: list[Laid],
    messy: float,
    strangers: float,
    population: Population,
    gross: float | None,
) -> Laid | None:
    """One more instrument in its lane; None when no place was found that leaves handles apart."""
    lane = sheet.lanes[lane_index]
    instrument = draw_stranger(rng) if rng.random() < strangers else draw_of(rng, population)
    if instrument.family not in ("other", "spreader", "plugger", "paste-carrier") and rng.random() < (0.4 if gross is None else gross):
        instrument = used_instrument(rng, instrument) if gross is None else grossly_damaged(rng, instrument)
    total = instrument.length_mm + instrument.handle.length_mm
    for _ in range(20):
        start = lane.x0_mm + float(rng.uniform(1.0, max(lane.width_mm - total - 1.0, 2.0)))
        right = bool(rng.random() < 0.5)
        pose = rest_pose(rng, instrument, lane, start if right else start + total, right)
        if rng.random() < messy:
            pose = _onto(rng, instrument, pose, laid) if laid and rng.random() < 0.6 else _askew(rng, pose)
        raised = _over_others(instrument, pose, laid)
        if raised is not None:
            return Laid(instrument, raised)
    return None


def grossly_damaged(rng: np.random.Generator, instrument: Instrument) -> Instrument:
    """One damage that shows without a close-up: a tip lost by 2 to 5 mm, a kink of 20 to 60 deg, a straightened part."""
    kinds = ["tip-lost", "kinked", *(["unwound"] * 2 if "unwound" in damages_of(instrument) else [])]
    kind = str(rng.choice(kinds))
    low, high = {"tip-lost": (2.0, 5.0), "kinked": (20.0, 60.0), "unwound": (270.0, 540.0)}[kind]
    strength = float(rng.uniform(low, high))
    if kind == "unwound" and instrument.twist is not None:  # a coarse reamer does not hold that many turns
        turns = instrument.blank_working_part_mm / (instrument.twist.pitch_mm * SIDES[instrument.cross_section])
        strength = min(strength, 0.25 * 360.0 * turns)
    return with_damage(rng, instrument, kind, strength)


def _neighbours(rng: np.random.Generator, lanes: int, count: int) -> npt.NDArray[np.int_]:
    """Lanes next to one another, down one column, then through both, in any order."""
    rows = lanes // 2
    if count <= rows and rng.random() < 0.5:
        chosen = int(rng.integers(2)) * rows + int(rng.integers(rows - count + 1)) + np.arange(count)
    else:
        deep = -(-count // 2)
        top = int(rng.integers(rows - deep + 1))
        chosen = np.array([column * rows + top + row for row in range(deep) for column in (0, 1)])[:count]
    return np.asarray(rng.permutation(chosen))


def _askew(rng: np.random.Generator, pose: Pose) -> Pose:
    turned = pose.azimuth_deg + float(rng.normal(0, 25))
    return replace(pose, azimuth_deg=turned, y_mm=pose.y_mm + float(rng.normal(0, 3)))


def _onto(rng: np.random.Generator, instrument: Instrument, pose: Pose, laid: list[Laid]) -> Pose:
    """Moved so that its shaft crosses, or nearly touches, the shaft of one that lies there already."""
    other = laid[int(rng.integers(len(laid)))]
    there = other.pose.to_sheet(np.array([float(rng.uniform(0.1, 0.7)) * other.instrument.length_mm, 0.0, 0.0]))
    turned = (
        other.pose.azimuth_deg
        + float(rng.choice([-1, 1])) * float(rng.uniform(12, 75))
        + 180.0 * float(rng.integers(2))
    )
    moved = replace(pose, x_mm=float(there[0]), y_mm=float(there[1]), azimuth_deg=turned)
    back = float(rng.uniform(0.05, 0.7)) * instrument.length_mm
    step = moved.axes[0] * back
    return replace(moved, x_mm=moved.x_mm - float(step[0]), y_mm=moved.y_mm - float(step[1]))


def _over_others(instrument: Instrument, pose: Pose, laid: list[Laid]) -> Pose | None:
    """The pose, its tip raised where the shaft crosses others'; None when a handle would lie on something."""
    length = instrument.length_mm
    ours = _plan(instrument, pose)
    for other in laid:
        theirs = _plan(other.instrument, other.pose)
        at, to, gap = _closest(ours, theirs)
        on_shafts = at < length - 1.0 and to < other.instrument.length_mm - 1.0
        if gap < CLEAR_MM and not on_shafts:
            return None
        if gap < 0.05:
            there = other.pose.to_sheet(np.array([to, 0.0, 0.0]))[2]
            need = there + 0.5 * (_thickness(other.instrument, to) + _thickness(instrument, at)) + 0.02
            raised = _raised(pose, length, at, need)
            if raised is None:
                return None
            pose = raised
    return pose


def _thickness(instrument: Instrument, s_mm: float) -> float:
    """Thickness of shaft, or of the stop, at s."""
    stop = instrument.stop
    if stop is not None and -0.5 < s_mm - stop.from_tip_mm < stop.thickness_mm + 0.5:
        return stop.diameter_mm
    return max(instrument.shank_width_mm, instrument.envelope_mm(min(s_mm, instrument.working_part_mm)))


def _raised(pose: Pose, length_mm: float, at_mm: float, need_mm: float) -> Pose | None:
    """Tilt about the handle's front until the axis is `need_mm` high at `at_mm` (small angles); None when too steep."""
    height = float(pose.to_sheet(np.array([at_mm, 0.0, 0.0]))[2])
    if height >= need_mm:
        return pose
    more = np.degrees((need_mm - height) / (length_mm - at_mm))
    front = float(pose.to_sheet(np.array([length_mm, 0.0, 0.0]))[2])
    slope = pose.slope_deg - float(more)
    if abs(slope) > STEEPEST_DEG:
        return None
    return replace(
        pose, kind="crossing", slope_deg=slope, height_mm=front - length_mm * float(np.sin(np.radians(slope)))
    )


def _plan(instrument: Instrument, pose: Pose) -> Floats:
    """Points of the axis from the tip to the handle's end every 0.5 mm, N x 2 (bends left out)."""
    s = np.arange(0.0, instrument.length_mm + instrument.handle.length_mm, 0.5)
    return np.asarray(pose.to_sheet(np.stack([s, 0 * s, 0 * s], 1))[:, :2])


def _closest(ours: Floats, theirs: Floats) -> tuple[float, float, float]:
    """Positions along both axes where they are nearest in plan, and their distance there; 0 when they cross."""
    gap = np.linalg.norm(ours[:, None] - theirs[None], axis=2)
    i, j = np.unravel_index(int(gap.argmin()), gap.shape)
    least = float(gap[i, j])
    return 0.5 * int(i), 0.5 * int(j), 0.0 if least < 0.36 else least


def _overhead(
    rng: np.random.Generator, sheet: Sheet, image_px: tuple[int, int], laid: list[Laid], *, whole: bool, most: float
) -> Camera:
    """A phone held above the sheet: the whole page, or the part where the instruments lie."""
    kind = CAMERAS["phone-12mp"]
    points = np.concatenate([_plan(one.instrument, one.pose) for one in laid])
    low, high = points.min(0) - 12.0, points.max(0) + 12.0
    if whole:
        low, high = np.array([-4.0, -4.0]), np.array([sheet.width_mm + 4.0, sheet.height_mm + 4.0])
    span = high - low
    turn = 90.0 if span[1] > span[0] else 0.0
    wide, tall = (span[1], span[0]) if turn else (span[0], span[1])
    scale = min(image_px[0] / wide, image_px[1] / tall, most)
    middle = 0.5 * (low + high)
    f35 = float(rng.uniform(*kind.f35_mm))
    return Camera(
        preset="phone-12mp",
        width_px=image_px[0],
        height_px=image_px[1],
        f35_mm=f35 * kind.size_px[0] / max(image_px),
        px_per_mm=float(scale),
        target_mm=(float(middle[0]), float(middle[1])),
        focal_mm=f35 / kind.crop,
        f_number=float(rng.uniform(*kind.f_number)),
        tilt_deg=min(abs(float(rng.normal(0, 3))), 8.0),
        tilt_to_deg=float(rng.uniform(0, 360)),
        turn_deg=turn + float(rng.normal(0, 2)) + 180.0 * float(rng.integers(2)),
        k1=float(rng.normal(0, 0.006)),
        focus_height_mm=float(rng.uniform(0, 1)),
        blur_px=float(rng.uniform(*kind.blur_px)),
        vignetting=float(rng.uniform(0.05, 0.35)),
        model=kind.model,
    )
