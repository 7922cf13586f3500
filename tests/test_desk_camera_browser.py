"""The camera page in a real browser whose camera is a film: it takes sharp frames by itself, and says what else happens to cameras.

Needs what test_desk_browser needs, and is skipped or fails without it in the same way.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import cv2
import numpy as np
import pytest
from desk_server import Running, running
from films import film, sample_frame
from playwright.sync_api import Page, Playwright, expect, sync_playwright
from test_desk_browser import AXE, CHROMIUM, FLAGS, NEEDED, SMALL_TARGETS, missing, serious_in

from vision.records.database import open_records

SOON_MS = 60_000


@pytest.fixture(scope="module")
def player() -> Iterator[Playwright]:
    if not Path(CHROMIUM).is_file():
        missing(CHROMIUM)
    with sync_playwright() as opened:
        yield opened


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Running]:
    with running(tmp_path_factory.mktemp("camera") / "records") as opened:
        yield opened


@contextmanager
def watching(player: Playwright, desk: Running, path: Path | None, *, allowed: bool = True) -> Iterator[Page]:
    """The camera page in a browser whose camera plays a film, or which has none."""
    flags = [*FLAGS, "--use-fake-ui-for-media-stream"] if allowed else [*FLAGS, "--deny-permission-prompts"]
    if path is not None:
        flags += ["--use-fake-device-for-media-stream", f"--use-file-for-fake-video-capture={path}"]
    browser = player.chromium.launch(executable_path=CHROMIUM, args=flags)
    page = browser.new_context(base_url=desk.address, viewport={"width": 1280, "height": 900}, locale="en-GB").new_page()
    errors: list[str] = []
    page.on("pageerror", lambda error: errors.append(str(error)))
    page.goto("/camera")
    yield page
    browser.close()
    assert errors == []


def shot(page: Page, name: str) -> None:
    if folder := os.environ.get("FLUTEGAUGE_SCREENSHOTS"):
        page.screenshot(path=f"{folder}/camera-{name}.png", full_page=True)


def started(page: Page) -> None:
    page.get_by_role("button", name="Start the camera").click()


def holds(page: Page, script: str) -> None:
    """Wait until a script says yes; the page's own rules let no test evaluate text in it, so it is asked again and again."""
    for _ in range(SOON_MS // 200):
        if page.evaluate(script):
            return
        page.wait_for_timeout(200)
    pytest.fail(f"never: {script}")


def kept(desk: Running) -> int:
    with open_records(desk.folder) as records:
        return int(records.db.execute("SELECT count(*) FROM photo").fetchone()[0])


def test_a_blurred_film_is_not_taken_and_a_sharp_one_is_then_the_camera_is_pulled_out(
    player: Playwright, desk: Running, tmp_path: Path
) -> None:
    sharp = sample_frame()
    soft = np.asarray(cv2.GaussianBlur(sharp, (0, 0), 3.2), dtype=np.uint8)
    with watching(player, desk, film(tmp_path / "soft.mjpeg", [(soft, 1.0)])) as page:
        started(page)
        expect(page.locator("#say")).to_contain_text(re.compile("Out of focus|No scale sheet"), timeout=SOON_MS)
        page.wait_for_timeout(1500)
        assert page.locator("#photos li").count() == 0
        assert kept(desk) == 0
    with watching(player, desk, film(tmp_path / "sharp.mjpeg", [(sharp, 1.0)])) as page:
        page.select_option("#plan", "turns")
        started(page)
        expect(page.locator("#photos li")).to_have_count(1, timeout=SOON_MS)
        assert kept(desk) == 1
        expect(page.locator("[data-check=focus] .state")).to_have_text("right")
        for width in (390, 1280):
            page.set_viewport_size({"width": width, "height": 900})
            assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0
            assert page.evaluate(SMALL_TARGETS) == []
            assert (serious_in(page) if NEEDED or Path(AXE).is_file() else []) == []
            shot(page, f"{width}")

        page.evaluate("document.getElementById('video').srcObject.getVideoTracks()[0].dispatchEvent(new Event('ended'))")
        expect(page.get_by_role("alert").first).to_contain_text("was it unplugged?")
        expect(page.locator("#photos li")).to_have_count(1)
        shot(page, "unplugged")
        started(page)
        expect(page.locator("#step")).to_contain_text("Turn the instrument by a third", timeout=SOON_MS)
        expect(page.locator("#shoot")).to_be_enabled()
        page.locator("#shoot").focus()
        page.keyboard.press("Enter")  # by hand, whatever the coach says
        expect(page.locator("#photos li")).to_have_count(2, timeout=SOON_MS)
        page.reload()
        expect(page.locator("#photos li")).to_have_count(2)


def laid_anew(frame: np.ndarray, turn_deg: float, along_px: float) -> np.ndarray:
    """The frame with the whole table turned and moved a little; what is new at its border repeats the border."""
    height, width = frame.shape[:2]
    move = cv2.getRotationMatrix2D((width / 2.0, height / 2.0), turn_deg, 1.0)
    move[0, 2] += along_px
    return np.asarray(cv2.warpAffine(frame, move, (width, height), flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REFLECT), dtype=np.uint8)


def shows(page: Page, path: Path, frame: np.ndarray) -> None:
    """The camera shows one picture and nothing else from now on, however fast the film is played."""
    if page.locator("#stop").is_enabled():
        page.locator("#stop").click()
    film(path, [(np.asarray(frame, dtype=np.uint8), 1.0)])
    started(page)


def test_turns_are_led_by_the_coach_and_end_in_one_combined_reading(player: Playwright, desk: Running, tmp_path: Path) -> None:
    """A cloth over the middle tells that the instrument was taken up; both photos are the coach's own, and every step waits for what the
    page says. The third is left out to save time: `python -m tests.study.live_films` plays whole runs."""
    sharp, path = sample_frame(), film(tmp_path / "turns.mjpeg", [(sample_frame(), 1.0)])
    cloth = sharp.copy()
    cloth[sharp.shape[0] // 3 : 2 * sharp.shape[0] // 3] = (110, 140, 190)
    with watching(player, desk, path) as page:
        page.select_option("#plan", "turns")
        started(page)
        expect(page.locator("#photos li")).to_have_count(1, timeout=SOON_MS)
        shows(page, path, cloth)
        expect(page.locator("[data-check=instrument] .how")).to_contain_text("No instrument seen", timeout=SOON_MS)
        shows(page, path, laid_anew(sharp, 1.5, 25.0))
        expect(page.locator("#photos li")).to_have_count(2, timeout=SOON_MS)
        page.locator("#finish").click()
        expect(page.locator("#together a")).to_have_attribute("href", re.compile("/combined/"), timeout=2 * SOON_MS)
        page.locator("#together a").click()
        expect(page.get_by_role("heading", level=1)).to_contain_text("K-file")
        expect(page.get_by_text("Of 2 photos of one instrument.")).to_be_visible()


def test_a_camera_of_640_px_is_told_so_and_takes_photos_by_hand_alone(player: Playwright, desk: Running, tmp_path: Path) -> None:
    small = np.asarray(cv2.resize(sample_frame(), (640, 360)), dtype=np.uint8)[:, :]
    path = film(tmp_path / "small.mjpeg", [(cv2.copyMakeBorder(small, 60, 60, 0, 0, cv2.BORDER_REPLICATE), 1.0)])
    with watching(player, desk, path) as page:
        started(page)
        expect(page.get_by_role("alert").first).to_contain_text("This camera gives 640 × 480 px", timeout=SOON_MS)
        expect(page.locator("#say")).to_contain_text("choose a larger picture size or another camera", timeout=SOON_MS)
        shot(page, "small")
        before = kept(desk)
        page.get_by_role("button", name="Take the photo now").click()
        expect(page.locator("#photos li")).to_have_count(1, timeout=SOON_MS)
        assert kept(desk) == before + 1


@pytest.mark.parametrize(("allowed", "said"), [(False, "does not let this page use the camera"), (True, "No camera was found")])
def test_no_permission_and_no_camera_are_said_in_words(player: Playwright, desk: Running, tmp_path: Path, allowed: bool, said: str) -> None:
    path = None if allowed else film(tmp_path / "any.mjpeg", [(np.full((480, 640, 3), 99, np.uint8), 0.5)])
    with watching(player, desk, path, allowed=allowed) as page:
        started(page)
        expect(page.get_by_role("alert").first).to_contain_text(said, timeout=SOON_MS)
        expect(page.get_by_role("button", name="Start the camera")).to_be_enabled()
        shot(page, "denied" if not allowed else "missing")


def test_the_empty_sheet_is_photographed_on_the_setup_page(player: Playwright, desk: Running, tmp_path: Path) -> None:
    with watching(player, desk, film(tmp_path / "sheet.mjpeg", [(sample_frame(), 1.0)])) as page:
        page.goto("/setup/camera")
        page.locator("#open").click()
        holds(page, "document.getElementById('video').videoWidth > 0")
        page.locator("#shoot").click()
        expect(page.get_by_text("The sheet is seen.")).to_be_visible(timeout=SOON_MS)
        holds(page, "fetch('/setup/doing').then((one) => one.json()).then((now) => !now.of)")
        page.goto("/setup/camera")
        page.locator("#open").click()
        holds(page, "document.getElementById('video').videoWidth > 0")
        page.evaluate("document.getElementById('video').srcObject.getVideoTracks()[0].dispatchEvent(new Event('ended'))")
        expect(page.locator("#take-problem")).to_contain_text("was it unplugged?")
        assert (serious_in(page) if NEEDED or Path(AXE).is_file() else []) == []
