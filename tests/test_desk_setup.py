"""The page that leads through setting up: each step shows what is kept, and the last one what the set-up can decide."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from invented_records import BASE, PORT, site_result
from starlette.testclient import TestClient

from calib.prints import load_history
from vision.desk.app import make_app
from vision.desk.settings import Desk


@pytest.fixture
def page(tmp_path: Path) -> Iterator[TestClient]:
    desk = Desk(tmp_path / "records", PORT, prints=tmp_path / "prints.json", cameras=tmp_path / "cameras")
    with TestClient(make_app(desk, warm=False), base_url=BASE, raise_server_exceptions=False, follow_redirects=False) as opened:
        opened.headers["x-flutegauge-token"] = opened.get("/api/token").json()["token"]
        opened.headers["accept"] = "text/html"
        yield opened


def test_the_first_step_comes_first_and_nothing_is_claimed(page: TestClient) -> None:
    text = page.get("/setup").text

    assert text.count("<b>Next.</b>") == 2  # print and check belong together
    assert "Not known yet: step 4 tells." in text
    assert page.get("/setup/sheet/A4-1.pdf").content.startswith(b"%PDF")
    assert page.get("/setup/sheet/A5.pdf").status_code == 404


def test_a_print_check_is_kept_and_the_next_step_is_the_camera(page: TestClient, tmp_path: Path) -> None:
    sent = page.post("/setup/check", data={"sheet": "A4-1", "along": "139,8", "across": "140.2", "tool": "ruler"})
    kept = load_history("A4-1", tmp_path / "prints.json")
    text = page.get("/setup").text

    assert sent.status_code == 303
    assert [(one.along_mm, one.across_mm, one.tool) for one in kept] == [(139.8, 140.2, "ruler")]
    assert "along printed at 99.86 %, across at 100.14 %" in text  # 139.8 / 140, 140.2 / 140
    assert text.count("<b>Done.</b>") == 2


@pytest.mark.parametrize(("along", "said"), [("125", "125"), ("", "Length along is empty"), ("abc", "needs a number")])
def test_a_length_that_cannot_be_is_refused_and_not_kept(page: TestClient, tmp_path: Path, along: str, said: str) -> None:
    answer = page.post("/setup/check", data={"sheet": "A4-1", "along": along, "across": "140"})

    assert answer.status_code == 400
    assert said in answer.text
    assert load_history("A4-1", tmp_path / "prints.json") == ()


def test_a_check_needs_the_token(page: TestClient) -> None:
    assert page.post("/setup/check", data={"along": "140", "across": "140"}, headers={"x-flutegauge-token": "x"}).status_code == 403


def test_it_ends_in_what_the_set_up_can_decide(page: TestClient, tmp_path: Path) -> None:
    site_result(tmp_path / "cameras")

    assert "decides diameters from 0.02 mm on" in page.get("/setup").text
