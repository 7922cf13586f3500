"""The desk's pages and programme interface over invented readings; nothing is measured here."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from invented_records import client, save, sent, token
from starlette.testclient import TestClient

from vision.records.backup import backup, restore
from vision.records.database import open_records
from vision.records.instruments import instrument
from vision.records.readings import reading

PAGES = (
    "/", "/readings/1", "/readings/1/1", "/readings/3", "/readings/3/1", "/readings/3/2", "/readings/4", "/compare/1/2", "/records",
    "/records?family=k-file&call=discard", "/instruments", "/instruments?text=k", "/instruments/K-7", "/instruments/K-7/change",
    "/instruments/new", "/equipment", "/tags", "/about", "/again",
)  # fmt: skip


@pytest.mark.parametrize("page", PAGES)
def test_every_page_answers_and_says_what_no_photo_can(desk: TestClient, page: str) -> None:
    answer = desk.get(page)

    assert answer.status_code == 200
    assert "it cannot clear one" in answer.text
    assert answer.text.count("<h1") == 1
    assert not re.search(r"\sstyle=|<script(?![^>]*\ssrc=)|\son\w+=|https?://(?!www\.w3\.org)", answer.text)
    assert not re.search(r"\b(safe|approved?|passed|fit for use|✓|✔|☑)\b", answer.text, re.IGNORECASE)


@pytest.mark.parametrize(
    "page", ["/readings/99", "/readings/1/9", "/instruments/none", "/nowhere", "/jobs/none", "/compare/1/99"]
)
def test_what_is_not_there_is_said_in_words(desk: TestClient, page: str) -> None:
    answer = desk.get(page)

    assert answer.status_code == 404
    assert 'role="alert"' in answer.text


@pytest.mark.parametrize(
    "page", ["/records?size=abc", "/records?family=spoon", "/records?since=yesterday", "/reports/month.pdf?month=x"]
)
def test_what_cannot_be_meant_is_said_in_words(desk: TestClient, page: str) -> None:
    assert desk.get(page).status_code == 400


def test_a_reading_shows_numbers_then_how_sure_then_why(desk: TestClient) -> None:
    text = desk.get("/readings/1").text
    order = [
        "K-file, size 25",
        "0.2531",
        "98 % sure",
        "discard",
        "this photo cannot clear it",
        "unwound",
        'id="picture-title"',
    ]
    order += [
        'id="measured"',
        'id="evidence"',
        "handle colour",
        'id="visible"',
        'id="advice"',
        'id="person"',
        'id="cautions"',
    ]

    places = [text.index(words) for words in order]

    assert places == sorted(places)
    assert "tip width not measured: the end is out of focus" in text
    assert "CD corrected it" in text
    assert "ring says 30" in text
    assert "AB confirmed it" in text


def test_the_picture_is_drawn_from_what_was_measured(desk: TestClient) -> None:
    text = desk.get("/readings/1").text
    lines = desk.get("/api/readings/1/1/trace").json()

    assert text.count('class="crest"') == len(lines["crests_px"])
    assert ">D16</text>" in text
    assert 'class="letter"' in text
    box = [float(v) for v in re.search(r'id="picture" class="photo" viewBox="([^"]+)"', text).group(1).split()]  # type: ignore[union-attr]
    assert box[2] / box[3] == pytest.approx(2.4, rel=0.01)
    assert desk.get("/readings/1/1/picture.jpg").content[:3] == b"\xff\xd8\xff"


def test_names_from_outside_are_text_and_nothing_else(own: TestClient, tmp_path: Path) -> None:
    with open_records(tmp_path / "records") as records:
        number = save(records, "<img src=x onerror=alert(1)>.jpg", instruments=1)

    for page in (f"/readings/{number}", "/records", "/"):
        assert "<img src=x" not in own.get(page).text
    assert "&lt;img" in own.get("/records").text


# Who is let in.


@pytest.mark.parametrize("host", ["evil.example:8765", "127.0.0.1:80", "localhost", "[::1]:1", ""])
def test_only_our_own_names_are_answered(desk: TestClient, host: str) -> None:
    assert desk.get("/", headers={"host": host}).status_code == 421


def test_both_names_of_this_computer_are_ours(desk: TestClient) -> None:
    assert desk.get("/about", headers={"host": "localhost:8765"}).status_code == 200


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "https://evil.example"},
        {"origin": "null"},
        {"sec-fetch-site": "cross-site"},
        {"origin": "http://127.0.0.1:9"},
    ],
)
def test_other_origins_change_nothing(own: TestClient, headers: dict[str, str]) -> None:
    answer = own.post("/instruments/new", data={"token": token(own), "code": "X-1"}, headers=headers)

    assert answer.status_code == 403
    assert own.get("/instruments/X-1").status_code == 404


@pytest.mark.parametrize("sent_token", ["", "wrong", None])
def test_without_the_token_nothing_changes(own: TestClient, sent_token: str | None) -> None:
    form = {"code": "X-1"} | ({} if sent_token is None else {"token": sent_token})

    answer = own.post("/instruments/new", data=form)

    assert answer.status_code == 403
    assert "load the page again" in answer.text
    assert own.get("/instruments/X-1").status_code == 404
    assert own.post("/api/instruments", json={"code": "X-1"}).status_code == 403


def test_answers_carry_the_strict_headers(desk: TestClient) -> None:
    for page in ("/", "/static/desk.css", "/api/readings", "/nowhere"):
        headers = desk.get(page).headers
        assert "default-src 'none'" in headers["content-security-policy"]
        assert "unsafe" not in headers["content-security-policy"]
        assert headers["x-content-type-options"] == "nosniff"
        assert "access-control-allow-origin" not in headers


def test_brightness_is_kept_and_leads_nowhere_else(own: TestClient) -> None:
    assert sent(own, "/theme", theme="dark", back="//evil.example/") == "/"
    assert sent(own, "/theme", theme="dark", back="/about") == "/about"
    assert 'data-theme="dark"' in own.get("/about").text


# People's words.


def test_a_correction_is_kept_beside_the_reading(own: TestClient) -> None:
    before = own.get("/api/readings/3").json()

    where = sent(own, "/readings/3/1/judge", kind="corrected", family="reamer", initials="ef", note="loose flutes")

    assert where == "/readings/3/1#person"
    assert own.get("/api/readings/3").json() == before
    assert own.get("/api/readings/3/1/judgements").json()[0] | {"at": ""} == {
        "id": 3, "examined_id": 3, "at": "", "kind": "corrected", "family": "reamer", "size": None, "initials": "EF",
        "note": "loose flutes",
    }  # fmt: skip
    assert "EF corrected it" in own.get(where).text


@pytest.mark.parametrize(
    ("form", "said"),
    [
        ({"kind": "corrected", "initials": "AB"}, "names a family, a size or a note"),
        ({"kind": "corrected", "size": "0", "initials": "AB"}, "from 1 to 200"),
        ({"kind": "corrected", "size": "25.5", "initials": "AB"}, "whole number"),
        ({"kind": "corrected", "family": "spoon", "initials": "AB"}, "is one of"),
        ({"kind": "confirmed", "initials": "Anna Beispiel"}, "never a name"),
    ],
)
def test_words_that_cannot_be_kept_are_refused_with_the_reason(
    own: TestClient, form: dict[str, str], said: str
) -> None:
    answer = own.post("/readings/3/1/judge", data={"token": token(own), **form})

    assert answer.status_code == 400
    assert said in answer.text
    assert own.get("/api/readings/3/1/judgements").json() == []


def test_an_instrument_is_named_and_renamed(own: TestClient) -> None:
    assert sent(own, "/readings/3/1/instrument", code="R-1") == "/readings/3/1#which"
    assert "This is instrument R-1" in own.get("/readings/3/1").text
    sent(own, "/readings/3/1/instrument", code="")
    assert "This is instrument" not in own.get("/readings/3/1").text


def test_an_instrument_added_from_a_reading_belongs_to_it(own: TestClient) -> None:
    where = sent(
        own, "/instruments/new", code="N-9", family="k-file", size="25", examined_id="3", kit="BOX-9", slot="2"
    )

    assert where == "/readings/3/1#which"
    assert own.get("/api/instruments/N-9").json()["timeline"][-1]["kind"] in ("reading", "added")
    assert "BOX-9" in own.get("/instruments/N-9").text


def test_a_decision_to_discard_enters_the_log(own: TestClient) -> None:
    sent(own, "/instruments/K-7/decisions", decision="discard", initials="ab", note="unwound", examined_id="1")

    assert "is in the discard log since" in own.get("/instruments/K-7").text
    assert "unwound" in own.get("/records").text.partition('id="discards"')[2]
    again = own.post(
        "/instruments/K-7/decisions", data={"token": token(own), "decision": "look again", "initials": "AB"}
    )
    assert again.status_code == 409


def test_single_use_stays_single_use(desk: TestClient) -> None:
    assert "stays so whatever a photo shows" in desk.get("/instruments/K-7").text


def test_two_windows_cannot_overwrite_each_other(own: TestClient, tmp_path: Path) -> None:
    form = {"code": "K-7", "edition": "1", "family": "k-file", "size": "25"}
    sent(own, "/instruments/K-7/change", **form, note="first window")

    second = own.post("/instruments/K-7/change", data={"token": token(own), **form, "note": "second window"})

    assert second.status_code == 409
    assert "changed in another window" in second.text
    assert "second window" in second.text  # what was typed is not lost
    assert "first window" in second.text
    assert 'name="edition" value="2"' in second.text
    with open_records(tmp_path / "records") as records:
        assert instrument(records, "K-7").note == "first window"


# The programme interface.


def test_a_reading_is_the_document_that_was_measured(desk: TestClient, filled: Path) -> None:
    with open_records(filled) as records:
        kept = reading(records, 1).document

    assert desk.get("/api/readings/1").json() == kept
    assert kept["format"] == "flutegauge-reading/1"


def test_the_interface_is_described(desk: TestClient) -> None:
    schema = desk.get("/api/openapi.json").json()

    assert schema["openapi"].startswith("3.")
    assert set(schema["paths"]) >= {
        "/api/measure",
        "/api/readings/{number}",
        "/api/instruments/{code}",
        "/api/jobs/{name}",
    }
    assert all(path.startswith("/api/") for path in schema["paths"])
    assert all("summary" in what for methods in schema["paths"].values() for what in methods.values())


def test_instruments_by_programme(own: TestClient) -> None:
    headers = {"x-flutegauge-token": token(own)}
    made = own.post("/api/instruments", json={"code": "P-1", "size": 25}, headers=headers)
    changed = own.put("/api/instruments/P-1", json={"code": "P-1", "size": 30, "edition": 1}, headers=headers)
    late = own.put("/api/instruments/P-1", json={"code": "P-1", "size": 35, "edition": 1}, headers=headers)

    assert (made.status_code, changed.status_code, late.status_code) == (201, 200, 409)
    assert changed.json()["edition"] == 2
    assert late.json()["error"]["kind"] == "conflict"
    assert (
        own.post("/api/instruments/P-1/events", json={"kind": "used", "initials": "ab"}, headers=headers).status_code
        == 201
    )
    assert (
        own.post(
            "/api/instruments/P-1/decisions", json={"decision": "keep", "initials": "ab"}, headers=headers
        ).status_code
        == 400
    )
    assert own.post("/api/instruments", json={"size": 25}, headers=headers).status_code == 422
    assert own.get("/api/instruments/P-1").json()["timeline"][-1]["facts"]["done"] == "used"


def test_search_by_programme(desk: TestClient) -> None:
    answer = desk.get("/api/readings", params={"family": "k-file", "limit": 2}).json()

    assert answer["total"] == 3
    assert len(answer["hits"]) == 2
    assert desk.get("/api/readings", params={"size": "x"}).json()["error"]["kind"] == "invalid"


def test_old_readings_are_offered_to_be_read_again(own: TestClient) -> None:
    page = own.get("/again").text

    assert "1 photos were read by other software or models only" in page  # one picture under all invented readings
    assert "Nothing here yet" in page
    assert own.post("/again").status_code == 403


# Out and back.


def test_a_restored_backup_shows_every_page_alike(desk: TestClient, filled: Path, tmp_path: Path) -> None:
    with open_records(filled) as records:
        backup(records, tmp_path / "all.zip")
    restore(tmp_path / "all.zip", tmp_path / "back")

    with client(tmp_path / "back") as other:
        for page in (*PAGES, "/readings/1/1/picture.jpg", "/api/readings/3", "/records.csv"):
            mine, theirs = desk.get(page), other.get(page)
            clean = [
                re.sub(r'name="token" value="[^"]+"|The records lie in [^<]+', "", answer.text)
                for answer in (mine, theirs)
            ]
            assert clean[0] == clean[1], page
