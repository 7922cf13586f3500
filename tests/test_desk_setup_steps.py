"""Camera and verification as steps on the page: photos in, what was seen, the profile; pieces, readings, the statement and its page."""

from __future__ import annotations

import datetime as dt
import time
from collections.abc import Iterator
from pathlib import Path

import pypdfium2
import pytest
from invented_records import BASE, PORT, shot
from sheet_photos import TOUR, save_view
from starlette.testclient import TestClient

from vision.camera_file import kept_profiles
from vision.commands import verify
from vision.desk import setup_worker
from vision.desk.app import make_app
from vision.desk.child import Json
from vision.desk.settings import Desk
from vision.desk.setup_bench import SetupBench
from vision.verification import Taken
from vision.verification_file import Circumstances, Entry, read_result, read_session, result_path

HERE = Circumstances("desk", "flutegauge 0.1.0", "outline abc", held=False)


class Here(SetupBench):
    """Does its steps in this process."""

    def __init__(self) -> None:
        super().__init__()
        views: Json = {}
        self.gone = False
        self.child.ask = lambda asked, data=b"": None if self.gone else setup_worker.answer(asked, views)  # type: ignore[method-assign]  # noqa: ARG005


@pytest.fixture
def bench() -> Here:
    return Here()


@pytest.fixture
def page(tmp_path: Path, bench: Here) -> Iterator[TestClient]:
    desk = Desk(tmp_path / "records", PORT, setup=bench, prints=tmp_path / "prints.json", cameras=tmp_path / "cameras")
    with TestClient(make_app(desk, warm=False), base_url=BASE, raise_server_exceptions=False, follow_redirects=False) as opened:
        opened.headers["x-flutegauge-token"] = opened.get("/api/token").json()["token"]
        opened.headers["accept"] = "text/html"
        yield opened


def done(page: TestClient) -> None:
    until = time.monotonic() + 120.0
    while page.get("/setup/doing").json()["of"]:
        assert time.monotonic() < until
        time.sleep(0.02)


def sent(page: TestClient, step: str, *files: tuple[str, bytes], **fields: str) -> int:
    status = page.post(f"/setup/{step}/photos", files=[("photos", one) for one in files], data=fields).status_code
    done(page)
    return status


def test_a_camera_is_worked_out_on_the_page_and_kept(page: TestClient, tmp_path: Path) -> None:
    files = []
    for number, view in enumerate(TOUR):
        save_view(tmp_path / f"v{number}.jpg", view)
        files.append((f"v{number}.jpg", (tmp_path / f"v{number}.jpg").read_bytes()))
    assert sent(page, "camera", ("grey.jpg", shot()), *files[:2]) == 303
    few = page.get("/setup/camera").text
    assert sent(page, "camera", *files[2:]) == 303
    many = page.get("/setup/camera").text

    assert "found no marker of the scale sheet" in few  # said of that photo alone
    assert few.count("The sheet is seen.") == 2
    assert "At least 3 good photos are needed." in few
    assert many.count("The sheet is seen.") == len(TOUR)
    assert "focal length" in many
    assert page.get("/setup/camera/picture/camera-coverage.png").content.startswith(b"\x89PNG")
    assert page.get("/setup/camera/picture/views.json").status_code == 404
    assert page.post("/setup/camera/keep", data={"profile": "my desk"}).status_code == 303
    assert [path.name for path, _ in kept_profiles(tmp_path / "cameras")] == ["my-desk.camera.toml"]
    assert page.post("/setup/camera/keep", data={"profile": "my desk"}).status_code == 409
    assert page.post("/setup/camera/keep", data={"profile": "my desk", "replace": "1"}).status_code == 303

    page.post("/setup/camera/drop", data={"file": "view-2"})
    done(page)
    assert page.get("/setup/camera").text.count("The sheet is seen.") == len(TOUR) - 1
    page.post("/setup/camera/drop", data={"file": "../prints.json"})  # none of ours: nothing goes
    done(page)
    assert page.get("/setup/camera").text.count("The sheet is seen.") == len(TOUR) - 1
    page.post("/setup/camera/again")
    assert "At least 3 good photos are needed." in page.get("/setup/camera").text


def begun(page: TestClient) -> int:
    fields = {"piece1": "pin-50", "kind1": "pin", "diameter1": "0,500", "diameter_u1": "0.001", "people": "a b", "times": "2"}
    return page.post("/setup/verify/begin", data=fields | {"piece2": "new-25", "kind2": "instrument", "size2": "25"}).status_code


def reads(value_mm: float):
    """Reads every photo as that far off its piece's known diameter."""

    def read_into(session, photo, piece, person, *, held, prints, cameras):  # noqa: ARG001
        known = next(one.known_mm.value for one in session.pieces if one.name == piece)
        taken = Taken(piece, person, known + value_mm, 0.004)
        return session.added(Entry(taken, photo.name, photo.parent.name, dt.date(2026, 5, 4), HERE))

    return read_into


def test_a_verification_is_led_to_its_statement_and_page(page: TestClient, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert begun(page) == 303
    first = page.get("/setup/verify").text
    wanted = []
    for number in range(8):
        monkeypatch.setattr(verify, "read_into", reads(0.002 + 0.0005 * number))
        wanted.append(page.get("/setup/verify").text.partition('class="next-photo">')[2].partition(".")[0])
        assert sent(page, "verify", ("p.jpg", shot(60 + number))) == 303
    last = page.get("/setup/verify").text
    page.post("/setup/verify/result")
    done(page)
    result = read_result(result_path("desk", tmp_path / "cameras"))
    pdf = pypdfium2.PdfDocument(page.get("/setup/verify/page.pdf").content)[0].get_textpage().get_text_bounded()

    assert "Lay it on the sheet" in first
    assert "At least two readings of one piece are needed." in first
    assert [one.split(":")[0] for one in wanted[:5]] == [
        "Person A, piece pin-50", "Person A, piece new-25", "Person A, piece pin-50", "Person A, piece new-25", "Person B, piece pin-50",
    ]  # fmt: skip
    assert "All photos are in." in last
    assert "+0.0055" in last  # the last one's error: 0.002 + 7 * 0.0005
    assert result.statement in page.get("/setup").text.replace("&#39;", "'")
    assert "Verification on site" in pdf

    page.post("/setup/verify/again")  # put aside, never lost
    assert "Name of the piece" in page.get("/setup/verify").text
    assert len(read_session(next((tmp_path / "records" / "setup").glob("verification-*.toml"))).entries) == 8


def test_a_photo_that_cannot_be_read_is_said_and_the_plan_stays(
    page: TestClient, bench: Here, monkeypatch: pytest.MonkeyPatch
) -> None:
    begun(page)

    def refuses(*_, **__):
        raise verify.NotReadError("no-sheet", "found no marker")

    monkeypatch.setattr(verify, "read_into", refuses)
    sent(page, "verify", ("p.jpg", shot()))
    refused = page.get("/setup/verify").text
    bench.gone = True
    sent(page, "verify", ("p.jpg", shot()))

    assert "found no marker" in refused
    assert "photo 1 of 2" in refused
    assert "photo 1 of 2" in page.get("/setup/verify").text  # the process ended: said, and it can be sent again
    assert 'class="problem" role="alert"' in page.get("/setup/verify").text


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({}, "lists no piece"),
        ({"piece1": "a", "kind1": "pin"}, "Diameter of piece 1 is empty"),
        ({"piece1": "a", "kind1": "pin", "diameter1": "0.5", "diameter_u1": "0.001", "people": "Somebody"}, "1 to 4 letters"),
        ({"piece1": "a", "kind1": "pin", "diameter1": "9", "diameter_u1": "0.001"}, "0.03"),
    ],
)
def test_what_cannot_be_meant_is_refused_in_words(page: TestClient, fields: dict[str, str], said: str) -> None:
    answer = page.post("/setup/verify/begin", data=fields)

    assert answer.status_code == 400
    assert said in answer.text


@pytest.mark.parametrize(
    "path", ["camera/photos", "camera/drop", "camera/again", "camera/keep", "verify/begin", "verify/photos", "verify/result"]
)
def test_every_step_needs_the_token(page: TestClient, path: str) -> None:
    assert page.post(f"/setup/{path}", data={"x": "y"}, headers={"x-flutegauge-token": "x"}).status_code == 403
