"""Guided runs of the camera page in a real browser whose camera plays rendered films, to the combined reading's D0 error.

    python -m tests.study.live_films FOLDER --runs 6 --seed 22600

Each run has an instrument of its own. Every second one (or all, as ``--plan`` says) is photographed twice, untouched, the camera moved
across it; the others three times, turned by a third in between, and once more with the camera moved across. The whole instrument is in
view; where the coach finds that too soft to measure by, the camera goes as near as it asks. Views are rendered into FOLDER (some 10 s
each) and kept there; a run takes a minute or two. Needs what tests/test_desk_browser.py needs. Seeds below 5000 are for development.
"""

from __future__ import annotations

import argparse
import json
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from playwright.sync_api import Page, sync_playwright

from samples import write
from samples.draw_free import draw_of
from samples.scene import Scene
from samples.views import Mode, draw_views
from tests.desk_server import Running, running
from tests.films import film
from vision.live.guide import PHOTOS, Plan
from vision.live.judge import PART_MM, px_per_mm_needed
from vision.live.look import look_at
from vision.photo import load_photo
from vision.records.combined import combined
from vision.records.database import open_records

Image = NDArray[np.uint8]
FRAME_PX = (1920, 1080)
MOST_PX_PER_MM, FILLED = 60.0, 0.8
NEARER, MOVES, LEAST_AROUND_MM = 1.02, 2, 3.0  # a little nearer than is asked; beside the working part
HELD_S, BETWEEN_S = 25.0, 2.0  # of film; a browser plays it over and over, up to three times as fast
ACROSS_DEG, SHIFTED_MM = 23.0, 4.0  # true degrees; the coach asks for 18 as it sees them; a part by shifting the picture
HAND = (110, 140, 190), 420  # colour (BGR) and width in px of what lies over the instrument between two views
PLANS: dict[Plan, tuple[Mode, int]] = {"height": ("untouched", 2), "turns": ("turned", 3)}
FLAGS = ["--no-sandbox", "--disable-gpu", "--use-fake-ui-for-media-stream", "--use-fake-device-for-media-stream"]


@dataclass(frozen=True)
class Ran:
    """What came of one run: photos taken, seconds, D0 of the combined reading and of each photo against the truth, µm; u, µm."""

    seed: int
    plan: str
    photos: int
    seconds: float
    error_um: float | None
    u_um: float | None
    each_um: tuple[float | None, ...]
    mode: str | None


def views(folder: Path, seed: int, plan: Plan) -> tuple[list[Path], dict[str, Any]]:
    """Render the views of a run, or find them; with the truth of their instrument."""
    mode, count = PLANS[plan]
    paths = [folder / f"{plan}-{seed}-{number}.jpg" for number in range(PHOTOS[plan])]
    if not all(path.is_file() for path in paths):
        instrument = draw_of(np.random.default_rng(seed), "nominal", None, None)
        px_per_mm = min(FILLED * FRAME_PX[0] / (instrument.length_mm + 2.5), MOST_PX_PER_MM)
        turn = float(np.random.default_rng([seed, 41]).normal(0.0, 4.0))
        made = draw_views(
            seed, mode, count, pose="free", px_per_mm=px_per_mm, preset="usb-microscope", image_px=FRAME_PX, instrument=instrument,
            turn_deg=turn,
        )  # fmt: skip
        made = [replace(scene, camera=replace(scene.camera, focus_height_mm=scene.laid[0].pose.height_mm)) for scene in made]
        if plan == "turns":
            made = [*made, from_aside(made[-1])]
        else:
            near = as_near_as_asked(made[0], paths[0])
            made = [straight_above(near), from_aside(near)]
        for path, scene in zip(paths, made, strict=True):
            write(scene, path)
    truth: dict[str, Any] = json.loads(paths[0].with_suffix(".json").read_text(encoding="utf-8"))["instruments"][0]
    return paths, truth


def as_near_as_asked(scene: Scene, path: Path) -> Scene:
    """The scene after the camera was moved as the coach asks when it sees it in ``path``, and once more if it still asks."""
    for _ in range(MOVES):
        write(straight_above(scene), path)
        moved = nearer(scene, px_per_mm_needed(look_at(load_photo(path)), 1.0))
        if moved is scene:
            break
        scene = moved
    return scene


def nearer(scene: Scene, px_per_mm: float) -> Scene:
    """The scene with the camera above the working part, as near as is asked and a little nearer; as it is where that is near enough."""
    wanted = min(NEARER * px_per_mm, FRAME_PX[0] / (PART_MM + LEAST_AROUND_MM))
    if scene.camera.px_per_mm >= wanted:
        return scene
    x, y, _ = scene.laid[0].pose.to_sheet(np.array([0.5 * PART_MM, 0.0, 0.0]))
    return replace(scene, camera=replace(scene.camera, px_per_mm=wanted, target_mm=(float(x), float(y))))


def straight_above(scene: Scene) -> Scene:
    """The scene with the camera above what it looks at."""
    return replace(scene, camera=replace(scene.camera, tilt_deg=1.5))


def from_aside(scene: Scene) -> Scene:
    """The scene with the camera moved across the instrument, some degrees further than the coach asks for, and turned back."""
    camera, azimuth = scene.camera, np.radians(scene.laid[0].pose.azimuth_deg)
    across = np.array([-np.sin(azimuth), np.cos(azimuth)])
    away = float(np.degrees(np.arctan2(across[1], across[0])))
    x, y = np.array(camera.target_mm) + SHIFTED_MM * across
    tilt = float(np.degrees(np.arctan(np.tan(np.radians(ACROSS_DEG)) - SHIFTED_MM / camera.z_mm)))
    return replace(scene, camera=replace(camera, tilt_deg=tilt, tilt_to_deg=away, target_mm=(float(x), float(y))))


def played(path: Path, number: int, target: Path) -> None:
    """The film of one view, held still; from the second on a hand lies over the instrument first."""
    view = np.asarray(cv2.imread(str(path)), dtype=np.uint8)
    truth = json.loads(path.with_suffix(".json").read_text(encoding="utf-8"))["instruments"][0]
    tip, front = ([round(value) for value in truth[name]] for name in ("tip_px", "handle_px"))
    hand = np.asarray(cv2.line(view.copy(), tip, front, *HAND), dtype=np.uint8)
    film(target, [(view, HELD_S)] if number == 0 else [(hand, BETWEEN_S), (view, HELD_S)])


def ran(folder: Path, seed: int, plan: Plan, chromium: str, patience_s: float) -> Ran:
    """Play one run through the page, to its combined reading or until patience ends."""
    paths, truth = views(folder, seed, plan)
    began = time.monotonic()
    with tempfile.TemporaryDirectory() as place, running(Path(place) / "records") as desk, sync_playwright() as player:
        target = Path(place) / "film.mjpeg"
        played(paths[0], 0, target)
        browser = player.chromium.launch(executable_path=chromium, args=[*FLAGS, f"--use-file-for-fake-video-capture={target}"])
        page = browser.new_context(base_url=desk.address, viewport={"width": 1280, "height": 900}).new_page()
        number = _followed(page, plan, paths, target, time.monotonic() + patience_s)
        photos = page.locator("#photos li").count()
        browser.close()
        return _compared(desk, number, truth["d0_mm"], (seed, plan, photos, time.monotonic() - began))


def _followed(page: Page, plan: str, paths: Sequence[Path], target: Path, until: float) -> int | None:
    """The number of the combined reading that the page ends in; after every photo it takes, the camera shows the next view."""
    page.goto("/camera")
    page.select_option("#plan", plan)
    for number, path in enumerate(paths):
        if number:
            page.locator("#stop").click()
            played(path, number, target)
        page.locator("#start").click()
        while page.locator("#photos li").count() <= number and time.monotonic() < until:
            page.wait_for_timeout(300)
    link = page.locator("a[href^='/combined/']")
    while time.monotonic() < until:
        if link.count():
            return int((link.first.get_attribute("href") or "").rpartition("/")[2])
        page.wait_for_timeout(500)
    print(page.locator("#say").inner_text(), page.locator("#step").inner_text(), page.locator("#live-problem").inner_text())
    return None


def _compared(desk: Running, number: int | None, d0_mm: float, told: tuple[int, str, int, float]) -> Ran:
    if number is None:
        return Ran(*told, None, None, (), None)
    with open_records(desk.folder) as records:
        kept = combined(records, number)
    d0, each = kept.one["d0_mm"], kept.one["d0_each_mm"]
    errors = tuple(None if one is None else 1000.0 * (one["value"] - d0_mm) for one in each)
    if d0 is None:
        return Ran(*told, None, None, errors, kept.mode)
    return Ran(*told, 1000.0 * (d0["value"] - d0_mm), 1000.0 * d0["u"], errors, kept.mode)


def main(argv: Sequence[str] | None = None) -> int:
    """Run the study; returns the exit status."""
    parser = argparse.ArgumentParser(prog="python -m tests.study.live_films", description="Guided runs by film, to the combined D0.")
    parser.add_argument("folder", type=Path, help="where the rendered views lie, or are rendered to")
    parser.add_argument("--runs", type=int, default=6)
    parser.add_argument("--seed", type=int, default=22600)
    parser.add_argument("--plan", choices=tuple(PLANS), help="unstated: one after the other")
    parser.add_argument("--patience", type=float, default=200.0, help="seconds for one run; more when the processor is busy")
    parser.add_argument("--chromium", default="/usr/bin/chromium")
    asked = parser.parse_args(argv)
    asked.folder.mkdir(parents=True, exist_ok=True)
    rows = []
    for number in range(asked.runs):
        plan = asked.plan or tuple(PLANS)[number % 2]
        rows.append(ran(asked.folder, asked.seed + number, plan, asked.chromium, asked.patience))
        print(rows[-1], flush=True)
    found = [row.error_um for row in rows if row.error_um is not None]
    print(f"{len(found)} of {len(rows)} runs ended in a combined D0")
    if found:
        print(f"D0 errors, um: {', '.join(f'{one:+.1f}' for one in found)}; root mean square {np.sqrt(np.mean(np.square(found))):.1f}")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
