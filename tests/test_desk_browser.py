"""The desk in a real browser (Chromium, headless): from start to a reading, by keyboard alone, on every width, for everyone.

Needs /usr/bin/chromium (or FLUTEGAUGE_CHROMIUM) and axe-core's axe.min.js (FLUTEGAUGE_AXE). Without them these tests are
skipped, but fail where FLUTEGAUGE_NEED_BROWSER is set, as .ci/run does. FLUTEGAUGE_SCREENSHOTS names a folder for pictures.
"""

from __future__ import annotations

import json
import os
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from command_line import status_of
from desk_server import ROOT, Running, running
from invented_readings import failed
from invented_records import TRAY, keep_tray, save
from playwright.sync_api import Browser, Page, Response, expect, sync_playwright

from vision.records.database import open_records
from vision.records.history import add_event
from vision.records.instruments import NewInstrument, add_instrument, instrument
from vision.records.readings import NewReading, assign, save_reading
from vision.report.document import document

SAMPLE = "k-file-30-flat-unwound"
PHOTO = ROOT / "samples" / "photos" / f"{SAMPLE}.jpg"
CHROMIUM = os.environ.get("FLUTEGAUGE_CHROMIUM", "/usr/bin/chromium")
AXE = os.environ.get("FLUTEGAUGE_AXE", "")
NEEDED = "FLUTEGAUGE_NEED_BROWSER" in os.environ
# Headless, as root in a container, and silent towards the network.
FLAGS = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
]  # fmt: skip
WIDTHS = (390, 1024, 1920)
READ_MS = 240_000
PAGES = (
    "/", "/readings/1", "/readings/2", "/readings/2/2", "/readings/3", "/records",
    "/instruments", "/instruments/new", "/instruments/K-30.1", "/instruments/K-30.1/change",
    "/equipment", "/tags", "/about", "/camera", "/phone",
    "/trays", "/trays/4", "/trays/4/check?list=box", "/trays/list/box", "/study/quiz",
    "/setup", "/setup/camera", "/setup/verify", "/again", "/compare/1/1", "/nowhere",
)  # fmt: skip
BEGUN_PNG = b"\x89PNG\r\n\x1a\n"  # begins like a photo and ends at once


def missing(what: str) -> None:
    if NEEDED:
        pytest.fail(f"{what} is missing, and these tests are needed here")
    pytest.skip(f"{what} is missing")


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    if not Path(CHROMIUM).is_file():
        missing(CHROMIUM)
    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield opened
        opened.close()


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Running]:
    with running(tmp_path_factory.mktemp("browser") / "records") as opened:
        yield opened


@pytest.fixture
def page(browser: Browser, desk: Running) -> Iterator[Page]:
    """A fresh window that may load from the desk only, and in which no script may fail."""
    context = browser.new_context(base_url=desk.address, viewport={"width": 1024, "height": 800}, locale="en-GB")
    opened = context.new_page()
    own = (desk.address, "data:")
    strangers: list[str] = []
    errors: list[str] = []
    opened.on("request", lambda request: strangers.append(request.url) if not request.url.startswith(own) else None)
    opened.on("pageerror", lambda error: errors.append(str(error)))
    yield opened
    context.close()
    assert strangers == []
    assert errors == []


@pytest.fixture(scope="module")
def first(browser: Browser, desk: Running) -> dict[str, int]:
    """From start to the reading of a sample photo, as somebody does who has never seen it; counts what had to be done."""
    context = browser.new_context(base_url=desk.address, viewport={"width": 1024, "height": 800})
    window = context.new_page()
    window.goto("/")
    actions = 0
    window.get_by_role("button", name=SAMPLE).click()
    actions += 1
    expect(window.get_by_role("status")).to_contain_text(re.compile("photo|Waiting"))
    window.wait_for_url("**/readings/*", timeout=READ_MS)
    expect(window.get_by_role("heading", level=1)).to_contain_text("K-file")
    context.close()
    return {"actions": actions}


@pytest.fixture(scope="module")
def filled(desk: Running, first: dict[str, int]) -> Running:  # noqa: ARG001 - the reading is there first
    """One instrument with its life, and a second photo that could not be read, so that every page has something to show."""
    with open_records(desk.folder) as records:
        one = add_instrument(records, NewInstrument("K-30.1", "k-file", 30, 25.0, "stainless steel", note="blue ring"))
        assign(records, 1, one.id)
        save(records, "tray.jpg", meant=one.id)
        save_reading(records, NewReading(document([failed()], {})))
    keep_tray(desk.folder, "S-01.jpg", *TRAY)
    (desk.folder / "lists").mkdir()
    (desk.folder / "lists" / "box.toml").write_text('[[item]]\nfamily = "k-file"\nsize = 25\nslots = [1]\n')
    with open_records(desk.folder) as records:
        for done in ("used", "cleaned", "sterilised"):
            add_event(records, one.id, done, "AB")
    return desk


def test_from_start_to_a_reading_takes_at_most_three_actions(first: dict[str, int]) -> None:
    assert first["actions"] <= 3


def test_the_page_says_what_the_command_line_says(filled: Running, page: Page, tmp_path: Path) -> None:
    status_of("measure", PHOTO, "--held", "--json", tmp_path / "out.json")
    of_command = json.loads((tmp_path / "out.json").read_text())

    of_page = page.request.get(f"{filled.address}api/readings/1").json()

    assert of_page == of_command


def test_own_photos_are_chosen_sent_and_cancelled(filled: Running, page: Page) -> None:
    page.goto("/")
    page.set_input_files("#photos", [PHOTO, PHOTO])
    page.wait_for_url("**/jobs/*")
    tested = NEEDED or Path(AXE).is_file()
    running_page = serious_in(page) if tested else []
    _shot(page, "/job", "light")
    page.get_by_role("button", name="Cancel").click()

    expect(page.get_by_role("heading", level=1)).to_contain_text("Cancelled")
    name = page.url.rpartition("/")[2]
    assert page.request.get(f"{filled.address}api/jobs/{name}").json()["state"] == "cancelled"
    assert (running_page, serious_in(page) if tested else []) == ([], [])


def test_dropped_files_that_are_no_photos_are_refused_in_words(filled: Running, page: Page) -> None:  # noqa: ARG001
    page.goto("/")
    page.set_input_files("#photos", {"name": "notes.jpg", "mimeType": "image/jpeg", "buffer": BEGUN_PNG})

    alert = page.get_by_role("alert")
    expect(alert).to_contain_text("notes.jpg is not taken")
    expect(alert).to_contain_text("copy the whole file from the camera again")


def test_a_photo_too_large_is_refused_before_it_is_sent(filled: Running, page: Page) -> None:  # noqa: ARG001
    page.goto("/")
    page.evaluate("document.getElementById('upload').dataset.mostMb = '0.001'")
    page.set_input_files("#photos", PHOTO)

    expect(page.get_by_role("alert")).to_contain_text("choose a smaller picture size")
    assert page.url.endswith("/")


def test_a_lost_desk_is_said(filled: Running, page: Page) -> None:  # noqa: ARG001
    page.goto("/")
    page.route("**/photos", lambda route: route.abort())
    page.set_input_files("#photos", PHOTO)

    expect(page.get_by_role("alert")).to_contain_text("The connection to the desk was lost")


def test_picture_and_plots_are_linked(filled: Running, page: Page) -> None:
    page.goto("/readings/1")
    words = page.locator("#place-words")
    plot = page.locator("#plot-pitch")
    plot.scroll_into_view_if_needed()
    box = plot.bounding_box()
    assert box is not None
    page.mouse.move(box["x"] + box["width"] * 0.5, box["y"] + box["height"] * 0.5)
    expect(words).to_contain_text("mm: width 0.")
    from_plot = words.inner_text()
    marked = page.locator("#picture .cursor").get_attribute("d")

    page.locator("#picture").scroll_into_view_if_needed()
    box = page.locator("#picture").bounding_box()
    assert box is not None
    page.mouse.move(box["x"] + box["width"] * 0.25, box["y"] + box["height"] * 0.5)

    assert words.inner_text() != from_plot
    assert page.locator("#picture .cursor").get_attribute("d") != marked
    assert page.locator("#plot-profile .cursor").get_attribute("d") != ""
    trace = page.request.get(f"{filled.address}api/readings/1/1/trace").json()
    place = float(words.inner_text().partition(" mm")[0])
    assert 0.1 * trace["axis_x_mm"][-1] < place < 0.3 * trace["axis_x_mm"][-1]  # a quarter of the way from the left


def test_layers_come_and_go_and_the_picture_zooms(filled: Running, page: Page) -> None:  # noqa: ARG001
    page.goto("/readings/1")
    page.get_by_role("checkbox", name="crests").uncheck()
    expect(page.locator(".layer-crests")).to_be_hidden()
    before = page.locator("#picture").get_attribute("viewBox")
    page.get_by_role("button", name="Zoom in").click()
    zoomed = [float(v) for v in (page.locator("#picture").get_attribute("viewBox") or "").split()]
    page.get_by_role("button", name="Show all").click()

    assert zoomed[2] < float((before or "").split()[2])
    assert [float(v) for v in (page.locator("#picture").get_attribute("viewBox") or "").split()] == pytest.approx(
        [float(v) for v in (before or "").split()], abs=0.01
    )


def test_everything_works_by_keyboard_alone(filled: Running, page: Page) -> None:
    page.goto("/")
    page.keyboard.press("Tab")
    expect(page.locator(":focus")).to_have_text("Skip to the content")
    assert _tab_to(page, "button[value]")  # a sample can be chosen

    page.goto("/readings/1")
    assert _tab_to(page, "#picture")
    before = page.locator("#picture").get_attribute("viewBox")
    page.keyboard.press("+")
    page.keyboard.press("ArrowRight")
    assert page.locator("#picture").get_attribute("viewBox") != before
    page.keyboard.press("0")
    assert _tab_to(page, "#layer-axis")
    page.keyboard.press("Space")
    expect(page.locator(".layer-axis")).to_be_hidden()
    assert _tab_to(page, "#place")
    for _ in range(30):
        page.keyboard.press("ArrowRight")
    expect(page.locator("#place-words")).to_contain_text("3.0 mm: width")
    expect(page.locator("#place")).to_have_attribute("aria-valuetext", re.compile("3.0 mm: width"))
    assert _tab_to(page, "#initials-confirm")
    page.keyboard.type("kb")
    page.keyboard.press("Enter")
    page.wait_for_url("**/readings/1/1#person")
    expect(page.locator("#person ~ .said").first).to_contain_text("KB confirmed it")
    with open_records(filled.folder) as records:
        assert records.db.execute("SELECT initials FROM judgement").fetchall()[-1][0] == "KB"


def test_a_list_is_edited_by_keyboard_and_kept(filled: Running, page: Page) -> None:
    page.goto("/trays/list/new")
    page.fill("#name", "by keys")
    assert _tab_to(page, "#list-add")
    page.keyboard.press("Enter")
    expect(page.get_by_label("family 1")).to_be_focused()
    page.keyboard.type("rea")
    page.keyboard.press("Tab")
    page.keyboard.type("30")
    expect(page.locator("#list-state")).to_have_text("1 lines, 1 instruments")
    page.keyboard.press("Enter")
    page.wait_for_url("**/trays/list/by%20keys")

    assert 'family = "reamer"\nsize = 30' in (filled.folder / "lists" / "by keys.toml").read_text()
    page.get_by_role("button", name="remove line 1").click()
    expect(page.locator("#list-add")).to_be_focused()
    page.get_by_role("button", name="Keep the list").click()
    expect(page.get_by_role("alert")).to_contain_text("holds no instrument")


def test_numbers_in_a_trays_picture_lead_to_their_readings(filled: Running, page: Page) -> None:  # noqa: ARG001
    page.goto("/trays/4")
    expect(page.get_by_role("link", name="2B, number 2: reamer 30")).to_be_visible()
    page.locator(".tray-numeral", has_text="2B").click()
    page.wait_for_url("**/readings/4/2")


def _tab_to(page: Page, selector: str, most: int = 80) -> bool:
    for _ in range(most):
        page.keyboard.press("Tab")
        if page.evaluate("s => document.activeElement.matches(s)", selector):
            return True
    return False


def test_two_windows_on_one_instrument(filled: Running, browser: Browser) -> None:
    context = browser.new_context(base_url=filled.address)
    left, right = context.new_page(), context.new_page()
    for window in (left, right):
        window.goto("/instruments/K-30.1/change")
    left.fill("#note", "left")
    left.get_by_role("button", name="Save").click()
    expect(left).to_have_url(re.compile("/instruments/K-30.1$"))
    right.fill("#note", "right")
    right.get_by_role("button", name="Save").click()

    expect(right.get_by_role("alert")).to_contain_text("changed in another window")
    expect(right.locator("#note")).to_have_value("right")
    with open_records(filled.folder) as records:
        assert instrument(records, "K-30.1").note == "left"
    right.get_by_role("button", name="Save").click()
    expect(right).to_have_url(re.compile("/instruments/K-30.1$"))
    context.close()


@pytest.mark.parametrize("width", WIDTHS)
def test_every_page_fits_every_width(filled: Running, page: Page, width: int) -> None:  # noqa: ARG001
    page.set_viewport_size({"width": width, "height": 900})
    for path in PAGES:
        page.goto(path)
        assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0, path
        small = page.evaluate(SMALL_TARGETS)
        assert small == [], path
        _shot(page, path, f"{width}")


# Whatever can be pressed and is not a link within a sentence or table, below 44 px (a rounding allowed).
SMALL_TARGETS = """() => [...document.querySelectorAll(
    'button, input:not([type=hidden]), select, textarea, summary, .button, nav a, .check label')]
  .filter(e => e.offsetParent !== null && !e.matches('.file, .check input, input[type=range]'))
  .map(e => [e.outerHTML.slice(0, 60), e.getBoundingClientRect().height])
  .filter(([_, height]) => height < 43.5)"""


def _shot(page: Page, path: str, ending: str) -> None:
    folder = os.environ.get("FLUTEGAUGE_SCREENSHOTS")
    if folder:
        page.wait_for_load_state("networkidle")
        name = path.strip("/").replace("/", "_") or "start"
        page.screenshot(path=f"{folder}/{name}-{ending}.png", full_page=True)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_serious(filled: Running, page: Page, scheme: str) -> None:  # noqa: ARG001
    page.emulate_media(color_scheme="dark" if scheme == "dark" else "light")
    found = {}
    for path in PAGES:
        page.goto(path)
        page.evaluate("for (const part of document.querySelectorAll('details')) part.open = true")
        if serious := serious_in(page, "" if scheme == "light" else COLOURS):
            found[path] = serious
        _shot(page, path, scheme)

    assert found == {}


VIOLATIONS = "resultTypes: ['violations']"  # every rule is run; what passes is named, but not described node by node
COLOURS = "runOnly: ['color-contrast', 'link-in-text-block']"  # all that differs in the dark


def serious_in(page: Page, options: str = "") -> list[object]:
    """What axe-core calls serious or critical on this page."""
    if not Path(AXE).is_file():
        missing("axe-core (FLUTEGAUGE_AXE)")
    page.evaluate(Path(AXE).read_text(encoding="utf-8"))
    said = page.evaluate(f"() => axe.run({{{VIOLATIONS}, {options}}})")
    assert len(said["passes"]) >= (1 if options else 10)
    worst = [one for one in said["violations"] if one["impact"] in ("serious", "critical")]
    return [(one["id"], [node["target"] for node in one["nodes"]][:3]) for one in worst]


def test_the_limits_are_as_large_and_heavy_as_the_call(filled: Running, page: Page) -> None:  # noqa: ARG001
    look = "e => { const s = getComputedStyle(e); return [parseFloat(s.fontSize), Number(s.fontWeight)] }"
    for path in ("/readings/1", "/readings/2/1", "/readings/2/2"):
        for media in ("screen", "print"):
            page.goto(path)
            page.emulate_media(media="print" if media == "print" else "screen")
            call, limits = (page.locator(f".reading .{name}").evaluate(look) for name in ("call-word", "call-limits"))
            assert limits[0] >= call[0]
            assert limits[1] >= call[1]


def test_nothing_is_green_and_nothing_is_ticked(filled: Running, page: Page) -> None:
    """No colour of a style sheet leans to green (hue 70 to 170 degrees at a saturation that shows)."""
    import colorsys  # noqa: PLC0415

    for name in ("desk.css", "reading.css", "print.css", "report.css"):
        sheet = page.request.get(f"{filled.address}static/{name}").text()
        for colour in re.findall(r"#([0-9a-fA-F]{6}|[0-9a-fA-F]{3})\b", sheet):
            six = colour if len(colour) == 6 else "".join(2 * c for c in colour)
            hue, _, saturation = colorsys.rgb_to_hls(*(int(six[k : k + 2], 16) / 255 for k in (0, 2, 4)))
            assert not (70 < 360 * hue < 170 and saturation > 0.2), colour
        assert "green" not in sheet


def test_the_reading_prints_without_what_is_pressed(filled: Running, page: Page) -> None:  # noqa: ARG001
    page.goto("/readings/1")
    page.emulate_media(media="print")

    for hidden in (".top", "#zoom-in", "#which", ".layers"):
        expect(page.locator(hidden).first).to_be_hidden()
    for shown in ("#picture", ".call-limits", "#measured", ".limits"):
        expect(page.locator(shown).first).to_be_visible()


def test_the_page_works_without_scripts(filled: Running, browser: Browser) -> None:
    context = browser.new_context(base_url=filled.address, java_script_enabled=False)
    window = context.new_page()
    answer: Response | None = window.goto("/readings/1")
    assert answer is not None
    assert answer.ok
    expect(window.locator("#picture .layer-outline path").first).to_be_attached()
    window.goto("/")
    expect(window.get_by_role("button", name="Read these photos")).to_be_visible()
    context.close()
