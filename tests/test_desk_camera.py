"""The camera page's requests, with an eye that sees what it is told; combined readings in the records and on their page."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from invented_readings import reading
from invented_records import BASE, PORT, save, shot
from starlette.testclient import TestClient
from test_live import GOOD

from vision.desk.app import make_app
from vision.desk.jobs import Bench, Json, Task
from vision.desk.live_process import LiveEye
from vision.desk.settings import Desk
from vision.desk.worker import Groups
from vision.desk.worker import answer as worker_answer
from vision.errors import PhotoError
from vision.live.look import Look
from vision.reading import CombinedReading
from vision.records.combined import combined, keep_combined
from vision.records.database import open_records
from vision.records.faults import RecordsError
from vision.report.document import document


class FakeEye(LiveEye):
    """Sees what is set."""

    def __init__(self) -> None:
        super().__init__("gone")
        self.sees: Look | None = GOOD

    def look(self, data: bytes, f35_mm: float | None = None) -> tuple[Look, int]:  # noqa: ARG002
        if self.sees is None:
            raise PhotoError("internal", "gone")
        return self.sees, 50


class FakeBench(Bench):
    """Takes tasks and reads none."""

    def __init__(self) -> None:
        super().__init__(lambda *_: 0, crashed="", too_long="")
        self.tasks: list[Task] = []

    def _read(self, job: object, task: Task) -> None:  # noqa: ARG002
        self.tasks.append(task)


@pytest.fixture
def eye() -> FakeEye:
    return FakeEye()


@pytest.fixture
def bench() -> FakeBench:
    return FakeBench()


@pytest.fixture
def page(tmp_path: Path, eye: FakeEye, bench: FakeBench) -> Iterator[TestClient]:
    nowhere = {"prints": tmp_path / "no-prints.json", "cameras": tmp_path / "no-cameras"}
    desk = Desk(tmp_path / "records", PORT, bench=bench, eye=eye, **nowhere)
    with TestClient(make_app(desk, warm=False), base_url=BASE, raise_server_exceptions=False) as opened:
        opened.headers["x-flutegauge-token"] = opened.get("/api/token").json()["token"]
        opened.headers["accept"] = "application/json"
        yield opened


def begun(page: TestClient, plan: str = "one") -> str:
    answer = page.post("/camera/runs", data={"plan": plan})
    assert answer.status_code == 200, answer.text
    return str(answer.json()["id"])


def frame(page: TestClient, run: str, finer: str = "1") -> Json:
    made: Json = page.post(f"/camera/runs/{run}/frame", files={"photos": ("f.jpg", b"x")}, data={"finer": finer}).json()
    return made


def photo(page: TestClient, run: str, shade: int = 150) -> Json:
    made: Json = page.post(f"/camera/runs/{run}/photo", files={"photos": ("p.jpg", shot(shade, (640, 480)))}).json()
    return made


def test_the_coach_speaks_the_catalogues_words_and_counts_to_the_photo(page: TestClient) -> None:
    run = begun(page)

    told = [frame(page, run) for _ in range(4)]

    assert [one["shoot"] for one in told] == [False, False, False, True]
    assert told[1]["say"] == "Everything holds. Keep still."
    assert {one["state"] for one in told[1]["checks"]} == {"right"}
    assert told[1]["axis"][0] == [round(300 / 1920, 4), round(500 / 1080, 4)]


def test_the_worst_fault_is_said_first(page: TestClient, eye: FakeEye) -> None:
    run = begun(page)
    eye.sees = replace(GOOD, blur_px=5.0, sheet_blur_px=1.0, px_per_mm=30.0)

    told = frame(page, run)

    assert told["say"] == "30 px/mm, needs 40: go nearer or zoom in."
    assert frame(page, run, finer="2")["say"].startswith("The camera is focused on the paper: the instrument is blurred over 5.0 px")


def test_a_guided_run_keeps_each_photo_at_once_and_ends_in_one_combination(
    page: TestClient, bench: FakeBench, eye: FakeEye
) -> None:
    run = begun(page, "height")
    first = photo(page, run)
    waits = frame(page, run)
    eye.sees = replace(GOOD, foot_mm=(19.0, 40.0))
    goes = [frame(page, run) for _ in range(4)]
    last = photo(page, run, 90)

    assert (first["taken"], first["wanted"], first["complete"]) == (1, 2, False)
    assert "looks 18° more from the side: 0° so far" in waits["say"]
    assert any(one["shoot"] for one in goes)
    assert (last["complete"], last["combining"]) == (True, True)
    done = threading.Event()
    for _ in range(500):
        if len(bench.tasks) >= 3 or done.wait(0.02):
            break
    assert [(task.group, task.combine) for task in bench.tasks] == [(run, False), (run, False), (run, True)]
    assert all(task.path.is_file() for task in bench.tasks)


def test_a_photo_that_arrives_after_the_run_was_ended_is_combined_too(page: TestClient, bench: FakeBench) -> None:
    run = begun(page, "turns")
    photo(page, run)
    photo(page, run, 90)
    ends = [page.post(f"/camera/runs/{run}/finish").json() for _ in range(2)]
    late = photo(page, run, 120)

    assert [(one["complete"], one["combining"]) for one in ends] == [(True, True), (True, True)]
    assert (late["taken"], late["combining"]) == (3, True)
    done = threading.Event()
    for _ in range(500):
        if len(bench.tasks) >= 5 or done.wait(0.02):
            break
    assert [task.combine for task in bench.tasks] == [False, False, True, False, True]


def test_the_measuring_process_is_told_which_photos_show_it_as_it_lay(page: TestClient, bench: FakeBench) -> None:
    for plan, shots in (("turns", 4), ("height", 2)):
        run = begun(page, plan)
        for k in range(shots):
            photo(page, run, 90 + 20 * k)
    done = threading.Event()
    for _ in range(500):
        if len(bench.tasks) >= 8 or done.wait(0.02):
            break

    assert [task.lay for task in bench.tasks] == [0, 1, 2, 2, None, None, None, None]


def test_photos_survive_a_desk_that_ends_in_the_middle_of_a_run(page: TestClient, tmp_path: Path) -> None:
    run = begun(page, "turns")
    photo(page, run)

    with open_records(tmp_path / "records") as records:
        assert records.db.execute("SELECT count(*) FROM waiting").fetchone()[0] == 1  # found again by the page Read
    assert page.get("/camera/runs/gone").json()["error"]["message"].startswith("this run is not known any more")


def test_fewer_than_two_photos_are_not_combined(page: TestClient) -> None:
    run = begun(page, "turns")
    photo(page, run)

    assert "at least 2" in page.post(f"/camera/runs/{run}/finish").json()["error"]["message"]


def test_a_photo_counts_although_it_could_not_be_looked_at(page: TestClient, eye: FakeEye) -> None:
    run = begun(page, "height")
    eye.sees = None

    assert photo(page, run)["taken"] == 1
    assert frame(page, run)["error"]["message"] == "gone"


@pytest.mark.parametrize("path", ["/camera/runs", "/camera/runs/x/frame", "/camera/runs/x/photo", "/camera/runs/x/finish"])
def test_nothing_is_taken_without_the_token_or_from_another_origin(page: TestClient, path: str) -> None:
    run = begun(page)
    path = path.replace("x", run)
    files = {"photos": ("f.jpg", b"x")}

    assert page.post(path, files=files, headers={"x-flutegauge-token": "wrong"}).status_code == 403
    assert page.post(path, files=files, headers={"origin": "http://elsewhere.invalid"}).status_code == 403


def test_a_choice_that_is_none_is_refused(page: TestClient) -> None:
    answer = page.post("/camera/runs", data={"plan": "panorama"})

    assert answer.status_code == 400
    assert "What to photograph is one of one, height, turns" in answer.json()["error"]["message"]


def test_the_real_eye_answers_and_comes_back_after_its_process_was_ended() -> None:
    eye = LiveEye("gone")
    try:
        with pytest.raises(PhotoError, match="no whole JPEG"):
            eye.look(b"no picture")
        look, _ = eye.look(shot(size=(640, 480)))
        assert (look.width_px, look.markers) == (640, 0)
        eye.child.kill()
        while eye.child.pid is not None:
            time.sleep(0.01)
        assert eye.look(shot(size=(640, 480)))[0].width_px == 640
    finally:
        eye.close()


def invented() -> Json:
    photos = [reading(f"camera-{number}.jpg", instruments=1) for number in (1, 2)]
    one = photos[0].instruments[0]
    both = CombinedReading(("camera-1.jpg", "camera-2.jpg"), "untouched", one, (one.d0_mm, None), np.empty((0, 3)), ())
    return document(photos, {"outline": "sha256:1"}, (both,))


def test_a_combined_reading_is_kept_with_what_it_rests_on_and_shown(page: TestClient, tmp_path: Path) -> None:
    with open_records(tmp_path / "records") as records:
        save(records, instruments=1)
        number = keep_combined(records, "none of these", invented())
        kept = combined(records, number)
        with pytest.raises(RecordsError, match="no combined reading 9"):
            combined(records, 9)
    shown = page.get(f"/combined/{number}", headers={"accept": "text/html"})

    assert (kept.mode, kept.readings) == ("untouched", ())
    assert shown.status_code == 200
    assert "It lay untouched; the camera was moved." in shown.text
    assert "camera-2.jpg: not measured" in shown.text
    assert kept.one["condition"]["limits"] in shown.text.replace("&#39;", "'")


def test_a_group_that_is_gone_is_said_and_nothing_is_combined() -> None:
    made = worker_answer({"path": "x.jpg", "name": "all", "combine": True, "group": "gone"}, Groups())

    assert made["document"]["combined"] == []
    assert "needs at least two" in made["problems"][0]


def test_only_a_few_groups_are_kept_in_memory() -> None:
    groups = Groups()
    for name in "abcde":
        groups.held(name)

    assert list(groups.of) == ["c", "d", "e"]
    assert groups.held(None).looked == []


def test_a_group_that_was_combined_waits_for_a_late_photo_until_another_begins() -> None:
    groups = Groups()
    for name in "ab":
        groups.held(name)
    worker_answer({"path": "x.jpg", "name": "all", "combine": True, "group": "a"}, groups)

    assert groups.held("a").combined
    groups.held("c")
    assert list(groups.of) == ["b", "c"]
