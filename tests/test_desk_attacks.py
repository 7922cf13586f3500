"""Attacks on the desk as it is started: each is tried, and what must hold afterwards is looked at."""

from __future__ import annotations

import asyncio
import io
import re
import socket
import struct
import time
import zlib
from collections.abc import Iterator
from pathlib import Path

import httpx2 as http
import pytest
from desk_server import Running, running
from invented_records import client, fill, shot
from PIL import Image
from starlette.responses import Response
from starlette.testclient import TestClient

from vision.desk.guard import Guard

SCRIPT = "<script>alert(1)</script>"
PAGE = {"accept": "text/html"}


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Running]:
    folder = tmp_path_factory.mktemp("attacks") / "records"
    fill(folder)
    with running(folder) as opened:
        yield opened


def token(desk: Running) -> dict[str, str]:
    return {"x-flutegauge-token": str(desk.web.get(f"{desk.address}api/token").json()["token"])}


def raw(desk: Running, request: bytes) -> bytes:
    with socket.create_connection(("127.0.0.1", desk.port)) as line:
        line.settimeout(10)
        line.sendall(request.replace(b"HOST", f"Host: 127.0.0.1:{desk.port}".encode()))
        return line.recv(65536)


def kept(desk: Running) -> list[str]:
    return sorted(path.name for path in desk.folder.rglob("*") if path.is_file() and "photos" in path.parts)


def sent(desk: Running, name: str, data: bytes, kind: str = "image/jpeg") -> http.Response:
    return desk.web.post(f"{desk.address}api/photos", headers=token(desk), files=[("photos", (name, data, kind))])


# Requests that no browser of ours makes. What is asked for, and the only statuses that may come back.
RAW = {
    "path traversal": (b"GET /static/../../../../etc/passwd HTTP/1.1\r\nHOST\r\n\r\n", "404"),
    "path traversal, coded": (b"GET /static/%2e%2e/%2e%2e/%2e%2e/etc/passwd HTTP/1.1\r\nHOST\r\n\r\n", "404"),
    "path traversal, coded twice": (b"GET /static/%252e%252e/%252e%252e/etc/passwd HTTP/1.1\r\nHOST\r\n\r\n", "404"),
    "path traversal to the records": (b"GET /photos/..%2f..%2frecords.sqlite%00.jpg HTTP/1.1\r\nHOST\r\n\r\n", "404"),
    "path traversal, backslashes": (b"GET /static/..%5c..%5crecords.sqlite HTTP/1.1\r\nHOST\r\n\r\n", "404"),
    "a zero byte in an address": (b"GET /instruments/K-7%00 HTTP/1.1\r\nHOST\r\n\r\n", "404"),
    "half a character in an address": (b"GET /instruments/%ed%a0%80 HTTP/1.1\r\nHOST\r\n\r\n", "404"),
    "a name that points here": (b"GET /api/token HTTP/1.1\r\nHost: rebound.example:80\r\n\r\n", "421"),
    "a name that points here, our port": (b"GET /api/token HTTP/1.1\r\nHost: rebound.example\r\n\r\n", "421"),
    "two hosts": (b"GET /api/token HTTP/1.1\r\nHOST\r\nHost: rebound.example\r\n\r\n", "400"),
    "no host": (b"GET /api/token HTTP/1.0\r\n\r\n", "421"),
    "another host in the address": (b"GET http://rebound.example/api/token HTTP/1.1\r\nHost: rebound.example\r\n\r\n", "421"),
    "a forwarded host": (b"GET /api/token HTTP/1.1\r\nHost: rebound.example\r\nX-Forwarded-Host: 127.0.0.1:8765\r\n\r\n", "421"),
    "two lengths": (b"POST /photos HTTP/1.1\r\nHOST\r\nContent-Length: 5\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\n", "400 403"),
    "a length below zero": (b"POST /photos HTTP/1.1\r\nHOST\r\nContent-Length: -5\r\n\r\n", "400"),
    "a header without end": (b"GET / HTTP/1.1\r\nHOST\r\nX: " + b"a" * 200_000 + b"\r\n\r\n", "400 431"),
    "another protocol": (b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03" + bytes(100), "400"),
    "a web socket": (
        b"GET / HTTP/1.1\r\nHost: rebound.example\r\nUpgrade: websocket\r\nConnection: Upgrade\r\nSec-WebSocket-Version: 13\r\n"
        b"Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n\r\n",
        "400 403 421",
    ),
    "may I send": (
        b"OPTIONS /api/instruments HTTP/1.1\r\nHOST\r\nOrigin: http://evil.example\r\nAccess-Control-Request-Method: POST\r\n\r\n",
        "405",
    ),
    "an echo": (b"TRACE / HTTP/1.1\r\nHOST\r\nCookie: theme=dark\r\n\r\n", "405"),
    "a form by another method": (b"PUT /instruments/new HTTP/1.1\r\nHOST\r\nContent-Length: 0\r\n\r\n", "405"),
    "another method in a header": (
        b"POST /instruments HTTP/1.1\r\nHOST\r\nX-HTTP-Method-Override: DELETE\r\nContent-Length: 0\r\n\r\n",
        "403 405",
    ),
}


@pytest.mark.parametrize("name", RAW)
def test_odd_requests_are_turned_away(desk: Running, name: str) -> None:
    request, statuses = RAW[name]
    answer = raw(desk, request)

    assert answer.split()[1].decode() in statuses.split()
    assert b"root:" not in answer
    assert b"SQLite format" not in answer
    assert b'{"token"' not in answer
    assert b"access-control-allow" not in answer.lower()
    assert b"Traceback" not in answer


def test_six_thousand_ranges_cost_one_answer(desk: Running) -> None:
    ranges = ",".join(f"{k}-{k}" for k in range(6000))
    began = time.monotonic()
    answer = raw(desk, f"GET /static/desk.css HTTP/1.1\r\nHOST\r\nRange: bytes={ranges}\r\n\r\n".encode())

    assert answer.split()[1] in (b"200", b"206", b"400", b"416")
    assert time.monotonic() - began < 3.0


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "http://evil.example"},
        {"origin": "null"},
        {"origin": "http://127.0.0.1.evil.example"},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
    ],
    ids=str,
)
def test_other_pages_cannot_post_even_with_the_token(desk: Running, headers: dict[str, str]) -> None:
    answer = desk.web.post(f"{desk.address}api/instruments", json={"code": "X-1"}, headers=token(desk) | headers)

    assert answer.status_code == 403
    assert desk.web.get(f"{desk.address}api/instruments/X-1").status_code == 404


def test_a_plain_form_of_another_page_needs_the_token(desk: Running) -> None:
    """What a page elsewhere can send without being asked back: a form, or JSON dressed up as text."""
    for body, kind in ((b"code=X-1&token=", "application/x-www-form-urlencoded"), (b'{"code": "X-1"}', "text/plain")):
        for path in ("instruments/new", "api/instruments"):
            answer = desk.web.post(f"{desk.address}{path}", content=body, headers={"content-type": kind})
            assert answer.status_code in (403, 422)
    assert desk.web.get(f"{desk.address}api/instruments/X-1").status_code == 404


def test_a_token_of_another_run_is_worth_nothing(desk: Running, tmp_path: Path) -> None:
    with client(tmp_path / "records") as other:
        stolen = other.get("/api/token").json()["token"]

    headers = {"x-flutegauge-token": stolen}
    assert desk.web.post(f"{desk.address}api/instruments", json={"code": "X-1"}, headers=headers).status_code == 403


# Files.


def test_stored_scripts_stay_text(desk: Running) -> None:
    """In a note, a code, a file's name and the camera's own record, on every page and in the report that stands alone."""
    exif = Image.Exif()
    exif[0x010F], exif[0x0110] = f"{SCRIPT}make", f"{SCRIPT}model"
    target = io.BytesIO()
    Image.new("RGB", (400, 330), "white").save(target, "JPEG", exif=exif)
    headers = token(desk)
    sent(desk, f"{SCRIPT}.jpg", target.getvalue())
    desk.web.post(f"{desk.address}api/readings/1/1/judgements", json={"initials": "AB", "size": 30, "note": SCRIPT}, headers=headers)
    added = desk.web.post(f"{desk.address}api/instruments", json={"code": "S-1", "note": SCRIPT, "slot": "<b>"}, headers=headers)
    assert added.status_code == 201, added.text

    for page in ("", "readings/1/1", "instruments/S-1", "instruments", "records", "equipment", "reports/reading-1-1.html"):
        text = desk.web.get(f"{desk.address}{page}", headers=PAGE).text
        assert SCRIPT not in text, page
    assert "&lt;script&gt;" in desk.web.get(f"{desk.address}instruments/S-1", headers=PAGE).text
    assert desk.web.post(f"{desk.address}api/instruments", json={"code": SCRIPT}, headers=headers).status_code == 400


@pytest.mark.parametrize(
    ("name", "data"),
    [
        ("a.svg", b"<svg xmlns='http://www.w3.org/2000/svg' onload='alert(1)'/>"),
        ("a.html", b"<!doctype html><script>alert(1)</script>"),
        ("a.jpg", b"%PDF-1.7\n"),
        ("a.pickle", b"cos\nsystem\n(S'touch /tmp/pwned'\ntR."),
        ("a.zip", b"PK\x03\x04" + bytes(60)),
        ("a.gif", b"GIF89a" + bytes(60)),
    ],
)
def test_files_that_are_no_photos_are_not_kept(desk: Running, name: str, data: bytes) -> None:
    before = kept(desk)
    answer = sent(desk, name, data)

    assert answer.status_code == 400
    assert kept(desk) == before


@pytest.mark.parametrize(
    "name", ["../../evil.jpg", "..\\..\\evil.jpg", "/etc/evil.jpg", "a\r\nSet-Cookie: x=1.jpg", "\u202egpj.exe", "." * 300]
)
def test_names_of_files_lead_nowhere(desk: Running, name: str) -> None:
    """A photo is named by its content; its own name is only shown."""
    answer = sent(desk, name, shot(77, (400, 330)))

    assert answer.status_code == 202
    assert "set-cookie" not in answer.headers
    assert all(re.fullmatch(r"[0-9a-f]{64}\.jpg|[0-9a-f]+-.*", one) for one in kept(desk))
    assert list(desk.folder.parent.rglob("evil*")) == []


def test_a_picture_behind_which_something_else_hides_is_cut(desk: Running) -> None:
    before = kept(desk)
    sent(desk, "a.jpg", shot(99, (400, 330)) + b"PK\x03\x04" + SCRIPT.encode())
    (new,) = set(kept(desk)) - set(before)

    assert next(desk.folder.rglob(new)).read_bytes().endswith(b"\xff\xd9")


def test_pictures_built_to_take_minutes_are_refused_at_once(desk: Running) -> None:
    whole = io.BytesIO()
    Image.new("RGB", (400, 330)).save(whole, "PNG")
    piece = struct.pack(">I4sI", 0, b"abCd", zlib.crc32(b"abCd"))
    began = time.monotonic()
    answer = sent(desk, "a.png", whole.getvalue()[:33] + piece * 500_000 + whole.getvalue()[33:])

    assert answer.status_code == 400
    assert "pieces" in answer.json()["error"]["message"]
    assert time.monotonic() - began < 6.0


# Values.

HOSTILE_JSON = {
    "deep": b"[" * 100_000,
    "deep objects": b'{"code":' * 50_000,
    "not a number": b'{"code":"J-1","size":NaN}',
    "infinite": b'{"code":"J-1","length_mm":1e999}',
    "half a character": b'{"code":"J-1","note":"\\ud800"}',
    "endless digits": b'{"code":"J-1","size":' + b"9" * 5000 + b"}",
    "not text": b"\xff\xfe\x00",
    "a list": b'["code"]',
    "quotes": b'{"code":"J-1\'; DROP TABLE instrument; --"}',
    "a long note": b'{"code":"J-1","note":"' + b"a" * 5000 + b'"}',
}


@pytest.mark.parametrize("name", HOSTILE_JSON)
def test_hostile_json_is_said_to_be_wrong(desk: Running, name: str) -> None:
    headers = token(desk) | {"content-type": "application/json"}
    answer = desk.web.post(f"{desk.address}api/instruments", content=HOSTILE_JSON[name], headers=headers)

    assert answer.status_code in (400, 422)
    assert "Traceback" not in answer.text
    assert desk.web.get(f"{desk.address}api/instruments/K-7").status_code == 200


@pytest.mark.parametrize(
    "path",
    [
        "readings/99999999999999999999", "api/readings/99999999999999999999", "api/readings/1/99999999999999999999/trace",
        "compare/99999999999999999999/1", "reports/month.pdf?month=9999-12", "api/readings?offset=-1", "readings/-1",
        "reports/reading-99999999999999999999-1.pdf",
    ],
)  # fmt: skip
def test_numbers_that_no_row_has_are_no_fault_inside(desk: Running, path: str) -> None:
    assert desk.web.get(f"{desk.address}{path}").status_code in (400, 404, 422)


@pytest.mark.parametrize("text", ["' OR 1=1 --", "%", "\\", '" OR "1', "k-file' UNION SELECT 1", "🦷" * 50])
def test_a_search_is_only_text(desk: Running, text: str) -> None:
    answer = desk.web.get(f"{desk.address}api/readings", params={"text": text})

    assert answer.status_code == 200
    assert answer.json()["total"] == 0


def test_a_form_of_ten_thousand_fields_is_refused(desk: Running) -> None:
    body = "&".join(f"f{k}=1" for k in range(10_000))
    answer = desk.web.post(f"{desk.address}instruments/new", content=body, headers={"content-type": "application/x-www-form-urlencoded"})

    assert answer.status_code in (400, 403, 422)


def test_a_way_back_leads_nowhere_else(desk: Running) -> None:
    for back in ("//evil.example/", "https://evil.example/", "/\\evil.example", "/a\r\nSet-Cookie: x=1", "javascript:alert(1)"):
        answer = desk.web.post(
            f"{desk.address}theme", data={"theme": "dark", "back": back} | {"token": token(desk)["x-flutegauge-token"]}, headers=PAGE
        )
        where = answer.headers.get("location", "/")
        assert where.startswith("/")
        assert not where.startswith(("//", "/\\"))
        assert "x=1" not in answer.headers.get("set-cookie", "")


def test_the_csv_gives_a_spreadsheet_nothing_to_run(desk: Running) -> None:
    sent(desk, "=cmd.jpg", shot(66, (400, 330)))
    lines = desk.web.get(f"{desk.address}records.csv").text.splitlines()

    assert not any(cell.startswith(("=", "@", "+")) for line in lines for cell in line.split(","))


# Senders that hold on.


def test_forty_slow_senders_leave_the_desk_open(desk: Running) -> None:
    head = f"POST /photos HTTP/1.1\r\nHost: 127.0.0.1:{desk.port}\r\nContent-Length: 5000\r\n".encode()
    lines = [socket.create_connection(("127.0.0.1", desk.port)) for _ in range(40)]
    try:
        for number, line in enumerate(lines):
            line.sendall(head + (b"\r\nab" if number % 2 else b"X-Slow: "))
        assert desk.web.get(f"{desk.address}about", headers=PAGE, timeout=5).status_code == 200
    finally:
        for line in lines:
            line.close()


def test_more_connections_than_the_desk_takes_are_told_so(desk: Running) -> None:
    lines = [socket.create_connection(("127.0.0.1", desk.port)) for _ in range(120)]
    try:
        assert 503 in about(desk, until=503)
    finally:
        for line in lines:
            line.close()
    assert 200 in about(desk, until=200)


def about(desk: Running, until: int) -> Iterator[int]:
    """Ask until that status comes, for at most five seconds."""
    ends = time.monotonic() + 5.0
    while time.monotonic() < ends:
        status = desk.web.get(f"{desk.address}about", headers=PAGE, timeout=5).status_code
        yield status
        if status == until:
            return
        time.sleep(0.02)


@pytest.mark.anyio
async def test_a_body_that_stops_arriving_is_given_up() -> None:
    """The guard alone, with a tenth of a second instead of half a minute."""

    async def app(_scope: dict, receive, _send) -> None:  # type: ignore[no-untyped-def,type-arg]
        while (await receive()).get("more_body"):
            pass

    parts = iter([{"type": "http.request", "body": b"a", "more_body": True}])

    async def receive() -> dict:  # type: ignore[type-arg]
        return next(parts, None) or await asyncio.sleep(60)

    answers: list[dict] = []  # type: ignore[type-arg]

    async def send(message: dict) -> None:  # type: ignore[type-arg]
        answers.append(message)

    guard = Guard(app, port=80, most_bytes=100, refuse=lambda status, kind, _: Response(kind, status), stall_s=0.1)
    scope = {"type": "http", "method": "POST", "path": "/photos", "headers": [(b"host", b"127.0.0.1:80")]}
    await guard(scope, receive, send)

    assert answers[0]["status"] == 408


@pytest.fixture
def anyio_backend() -> str:
    return "asyncio"


def test_pages_may_run_and_load_nothing_from_elsewhere(filled: Path) -> None:
    with client(filled) as inside:
        check_policy(inside)


def check_policy(inside: TestClient) -> None:
    headers = inside.get("/").headers
    policy = dict(part.strip().split(" ", 1) for part in headers["content-security-policy"].split(";"))

    assert policy["default-src"] == "'none'"
    assert policy["script-src"] == policy["style-src"] == policy["connect-src"] == "'self'"
    assert policy["frame-ancestors"] == policy["base-uri"] == "'none'"
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["cache-control"] == "no-store"
