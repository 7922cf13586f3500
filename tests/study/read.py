"""Photos of an item -> one row: the truth, and all of the reading that the figures need, as plain numbers."""

from __future__ import annotations

import json
import time
from pathlib import Path
from typing import Any

import numpy as np

from samples.camera import Camera
from tests.study.baseline import plain_measurement
from tests.study.design import SETUPS, Item
from tests.study.produce import photo_paths, prints_of
from vision.pipeline import read_photo
from vision.quantity import Quantity
from vision.reading import Choice, InstrumentReading, Judgement, PhotoReading
from vision.together import Looked, combine

QUANTITIES = (
    "d0_mm", "d16_mm", "taper_mm_per_mm", "tip_width_mm", "shank_width_mm", "length_mm", "working_part_mm",
    "stop_from_tip_mm", "pitch_mm", "flutes_per_mm", "helix_angle_deg",
)  # fmt: skip
TOLD = (*QUANTITIES, "family", "stranger", "population", "size", "cross_section", "twist_hand", "tip_kind", "pose", "slope_deg", "damage")


def read_item(item: Item, folder: Path) -> dict[str, Any]:
    """Read the item's photos, several of them together; one row, ready for JSON."""
    setup, paths, begun = SETUPS[item.setup], photo_paths(item, folder), time.monotonic()
    truths = [json.loads(path.with_suffix(".json").read_text(encoding="utf-8")) for path in paths]
    prints = prints_of(item, folder, truths[0])
    kept: list[Looked] = []
    held = truths[0]["instruments"][0]["pose"] == "flat"
    photos = [read_photo(path, given=None, prints=prints, held=held, keep=kept) for path in paths]
    row: dict[str, Any] = {
        "item": item.name,
        "setup": item.setup,
        "seed": item.seed,
        "held": held,
        "truth": truth_row(truths[0]),
        "photos": [photo_row(photo, truth) for photo, truth in zip(photos, truths, strict=True)],
    }
    if setup.photos > 1:
        combined, problems = combine(kept, down=held)
        row["combined"] = None if combined is None else {"mode": combined.mode, **told(combined.instrument)}
        row["problems"] = list(problems)
    row["baseline"] = None if setup.photos > 1 or setup.stranger else plain_measurement(paths[0], truths[0], kept)
    row["read_s"] = round(time.monotonic() - begun, 2)
    return row


def truth_row(truth: dict[str, Any]) -> dict[str, Any]:
    """What of the truth the figures use."""
    one, camera = truth["instruments"][0], truth["camera"]
    heights = np.array(one["height_mm_of_x"])
    rest = {
        "px_per_mm": camera["px_per_mm"],
        "z_mm": camera["z_mm"],
        "tilt_deg": camera["tilt_deg"],
        "camera": camera["preset"],
        "blur_px": _blur_px(truth, float(np.interp(0.4 * one["length_mm"], *heights.T))),
        "light": truth["light"]["preset"],
        "paper": truth["paper"]["kind"],
        "jpeg_quality": truth["sensor"]["jpeg_quality"],
        "handle": one["handle"]["colour"],
        "moulded": one["handle"]["moulded_colour"],
        "size_colour": one["handle"]["size_colour"],
        "twist_law": (one["twist"] or {}).get("law"),
        "heights_mm": [float(heights[0, 1]), float(heights[-1, 1])],
        "seam_ratio": truth.get("tracer", {}).get("seam_ratio"),
    }
    return {name: one[name] for name in TOLD} | rest


def photo_row(photo: PhotoReading, truth: dict[str, Any]) -> dict[str, Any]:
    """One photo's reading: the instrument nearest to the true one, and how many others were found."""
    row: dict[str, Any] = {"error": photo.error, "found": len(photo.instruments)}
    if photo.scale is not None:
        height = photo.scale.camera_height_mm
        row |= {"px_per_mm": number(photo.scale.px_per_mm), "height_mm": number(height), "tilt_deg": photo.scale.view_tilt_deg}
    middle = np.array(truth["instruments"][0]["axis_px"])
    middle = middle[len(middle) // 2, 1:]
    if photo.instruments:
        row["reading"] = told(min(photo.instruments, key=lambda one: _away_px(one, middle)))
    return row


def told(one: InstrumentReading) -> dict[str, Any]:
    """A reading as plain numbers."""
    return {name: number(getattr(one, name)) for name in (*QUANTITIES, "height_mm")} | {
        "parts": {name: dict(q.parts) for name in QUANTITIES if (q := getattr(one, name)) is not None},
        "family": choice(one.family),
        "size": choice(one.size),
        "cross_section": one.cross_section,
        "twist_hand": one.twist_hand,
        "px_per_mm": one.local_px_per_mm,
        "blur_px": one.blur_px,
        "handle": one.handle.colour,
        "judged": {name: judged(judgement) for name, judgement in one.judged.items()},
        "call": one.condition.call,
        "findings": [[f.kind, f.from_mm, f.to_mm, f.strength.value, f.probability] for f in one.condition.findings],
        "notes": list(one.notes),
    }


def number(quantity: Quantity | None) -> list[float] | None:
    """Value and u."""
    return None if quantity is None else [float(quantity.value), float(quantity.u)]


def choice(one: Choice) -> dict[str, Any]:
    """Word, probability, runners-up."""
    return {"value": one.value, "p": float(one.probability), "others": {k: float(v) for k, v in one.others.items()}}


def judged(one: Judgement) -> dict[str, Any]:
    """Verdict and the limits it rests on."""
    halves = [None if bound is None else bound.half_width for bound in (one.within, one.outside)]
    return {"verdict": one.verdict, "nominal": one.nominal, "within": halves[0], "outside": halves[1], "p": one.probability}


def _away_px(one: InstrumentReading, middle: np.ndarray) -> float:
    x, y, width, height = one.box_px
    return float(np.hypot(x + width / 2.0 - middle[0], y + height / 2.0 - middle[1]))


def _blur_px(truth: dict[str, Any], height_mm: float) -> float:
    """Gaussian width of the whole blur at the shaft: the lens's, and the out-of-focus disc (sigma a quarter of its width)."""
    c, size = truth["camera"], truth["image"]
    camera = Camera(
        c["preset"], size["width"], size["height"], c["f35_mm"], c["px_per_mm"], (0.0, 0.0), c["focal_mm"], c["f_number"],
        focus_height_mm=c["focus_height_mm"],
    )  # fmt: skip
    disc = abs(float(camera.blur_disc_px(np.array(c["z_mm"] - height_mm))))
    return float(np.hypot(c["lens_blur_px"], disc / 4.0))
