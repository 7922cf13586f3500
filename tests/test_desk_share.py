"""Phones as cameras, against the running server: guessed, used and old codes are refused, and nothing but photo and reading is there."""

from __future__ import annotations

import re
import socket
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import httpx2 as http
import numpy as np
import pytest
import uvicorn
from desk_server import start
from invented_records import fill, shot
from test_desk_camera import FakeBench

from vision.desk.pairing import CODE_S, CODE_SIGNS, MOST_WRONG, PHOTOS_A_MINUTE, SESSION_S, SIGNS, Pairing
from vision.desk.phone_app import make_phone_app
from vision.desk.settings import Desk
from vision.desk.share import Share, squares

WRONG = "0" * CODE_SIGNS


class Clock:
    """Time as it is set."""

    def __init__(self) -> None:
        self.now = 1000.0

    def __call__(self) -> float:
        return self.now


@dataclass(frozen=True)
class Phones:
    """A running server for phones, its pairing and clock, and a phone."""

    share: Share
    clock: Clock
    phone: http.Client

    def code(self) -> str:
        return self.share.pairing.new_code()

    def pair(self, code: str, **headers: str) -> http.Response:
        return self.phone.post("/pair", data={"code": code}, headers=headers)


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Share, Clock]]:
    folder, clock = tmp_path_factory.mktemp("share") / "records", Clock()
    fill(folder)
    listener = socket.socket()
    listener.bind(("127.0.0.1", 0))
    listener.listen(16)
    share = Share(*listener.getsockname(), Pairing(clock))
    server = uvicorn.Server(uvicorn.Config(make_phone_app(replace(Desk(folder, 1), bench=FakeBench()), share), log_config=None))
    thread = threading.Thread(target=server.run, args=([listener],), daemon=True)
    thread.start()
    yield share, clock
    server.should_exit = True
    thread.join(timeout=10)


@pytest.fixture
def phones(served: tuple[Share, Clock]) -> Iterator[Phones]:
    share, clock = served
    with http.Client(base_url=share.address, verify=False, trust_env=False, timeout=30) as phone:
        phone.headers["accept"] = "text/html"
        yield Phones(share, clock, phone)


def test_a_code_lets_one_phone_in_and_is_used_up(phones: Phones) -> None:
    code = phones.code()
    first = phones.pair(f"{code[:5].lower()} {code[5:]}")  # as typed
    page = phones.phone.get("/").text
    with http.Client(base_url=phones.share.address, verify=False, trust_env=False) as other:
        again = other.post("/pair", data={"code": code})
        seen = other.get("/").text

    assert first.status_code == 303
    assert re.search("HttpOnly.*samesite=strict", first.headers["set-cookie"], re.IGNORECASE)
    assert 'type="file"' in page
    assert again.status_code == 403
    assert "set-cookie" not in again.headers
    assert 'type="file"' not in seen


def test_an_expired_code_is_refused_and_void(phones: Phones) -> None:
    code = phones.code()
    phones.clock.now += CODE_S

    late = phones.pair(code)

    assert late.status_code == 403
    assert "five minutes are over" in late.text
    assert phones.pair(code).status_code == 403
    assert phones.share.pairing.code() is None


def test_guessing_ends_after_ten_wrong_codes_even_for_the_right_one(phones: Phones) -> None:
    code = phones.code()
    began = time.monotonic()
    tried = [phones.pair(WRONG).status_code for _ in range(MOST_WRONG)]
    right = phones.pair(code)

    assert set(tried) == {403}
    assert right.status_code == 403
    assert "No code is taken now" in right.text
    assert time.monotonic() - began > 0.4 * MOST_WRONG  # each wrong one waits
    assert phones.pair(phones.code()).status_code == 303  # the person at the desk opens it again


def test_ten_guesses_are_nothing_against_all_codes() -> None:
    assert len(set(SIGNS)) == 32
    assert MOST_WRONG / len(SIGNS) ** CODE_SIGNS < 1e-13


def test_a_session_ends_and_a_made_up_one_never_began(phones: Phones) -> None:
    phones.pair(phones.code())
    phones.clock.now += SESSION_S + 1.0

    assert 'type="file"' not in phones.phone.get("/").text
    assert phones.phone.get("/", headers={"cookie": "flutegauge-phone=guessed"}).text.count('type="file"') == 0


# Pages, interface and files of the desk; paired or not, a phone finds none of them.
ELSEWHERE = (
    "/records", "/readings/1", "/readings/1/1", "/instruments", "/camera", "/phone", "/equipment", "/backup.zip", "/records.csv",
    "/api/token", "/api/openapi.json", "/api/readings/1", "/export/csv.zip", "/static/camera.js", "/static/../english.toml", "/jobs/x",
)  # fmt: skip


@pytest.mark.parametrize("paired", [False, True])
def test_nothing_of_the_desk_is_there(phones: Phones, paired: bool) -> None:
    if paired:
        phones.pair(phones.code())

    assert {path: phones.phone.get(path).status_code for path in ELSEWHERE} == dict.fromkeys(ELSEWHERE, 404)
    assert phones.phone.post("/api/measure").status_code == 404


def upload(phones: Phones, token: str, **headers: str) -> http.Response:
    return phones.phone.post("/photos", data={"token": token}, files={"photos": ("a.jpg", shot(size=(640, 480)))}, headers=headers)


def test_photos_need_session_token_and_origin(phones: Phones) -> None:
    unpaired = upload(phones, "x").status_code
    phones.pair(phones.code())
    found = re.search('name="token" value="([^"]+)"', phones.phone.get("/").text)
    assert found is not None
    token = found[1]

    assert unpaired == 404
    assert upload(phones, "x").status_code == 403
    assert upload(phones, token, origin="http://elsewhere.invalid").status_code == 403
    assert phones.phone.get("/", headers={"host": "desk.invalid"}).status_code == 421
    taken = upload(phones, token)
    assert taken.status_code == 303
    assert phones.phone.get(taken.headers["location"]).status_code == 200
    with http.Client(base_url=phones.share.address, verify=False, trust_env=False) as other:
        other.post("/pair", data={"code": phones.code()})
        assert other.get(taken.headers["location"]).status_code == 404  # another phone's photo
    sent = [upload(phones, token).status_code for _ in range(PHOTOS_A_MINUTE)]
    assert sent[-1] == 429


def test_the_square_code_reads_back() -> None:
    text = "http://192.168.1.20:8766/#ABCDE01234"
    side, path = squares(text)
    picture = np.full((side, side), 255, np.uint8)
    for x, y in re.findall(r"M(\d+) (\d+)h", path):
        picture[int(y), int(x)] = 0

    assert cv2.QRCodeDetector().detectAndDecode(cv2.resize(picture, None, fx=8, fy=8, interpolation=cv2.INTER_NEAREST))[0] == text
    assert picture[:4].min() == 255


def refused_within(address: str, seconds: float) -> bool:
    """Whether nobody listens there any more after so long."""
    host, port = address.removeprefix("http://").rstrip("/").split(":")
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        try:
            socket.create_connection((host, int(port)), timeout=2.0).close()
        except OSError:
            return True
        time.sleep(0.2)
    return False


def test_the_command_shares_only_when_told_marks_it_and_ends_it(tmp_path: Path) -> None:
    process = start(tmp_path / "records", None, "--share", "127.0.0.1")
    assert process.stdout is not None
    try:
        desk = process.stdout.readline().split()[5]
        phone = process.stdout.readline().split()[4].rstrip(":")
        with http.Client(verify=False, trust_env=False, timeout=30, headers={"accept": "text/html"}) as web:
            page = web.get(f"{desk}phone").text
            token = web.get(f"{desk}api/token").json()["token"]
            assert f"Sharing is on: phones in this network can ask to be let in at {phone}" in web.get(desk).text
            code = re.search(r'class="big">(\w{5}) (\w{5})<', page)
            assert code is not None
            assert web.post(f"{phone}pair", data={"code": "".join(code.groups())}).status_code == 303
            assert "Phones let in now: 1" in web.get(f"{desk}phone").text
            assert web.post(f"{desk}phone/stop", data={"token": token}).status_code == 303
            assert refused_within(phone, 20.0)
            assert "Sharing is on" not in web.get(desk).text
    finally:
        process.terminate()
        process.communicate(timeout=20)


def test_without_the_option_nothing_is_shared(tmp_path: Path) -> None:
    assert Desk(tmp_path, 1).share is None
