"""Sort, tray check and study on the desk: pages over kept readings, lists edited on the page, papers to print. Nothing is measured."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from dataclasses import asdict
from pathlib import Path

import pypdfium2
import pytest
from invented_readings import reading
from invented_records import BASE, PORT, TRAY, shot
from invented_records import keep_tray as keep
from starlette.testclient import TestClient

from vision.desk import worker
from vision.desk.app import make_app
from vision.desk.intake import settings_of
from vision.desk.settings import Desk
from vision.report.cautions import BROACH
from vision.teach.questions import LETTERS
from vision.tray.looked import TrayPhoto
from vision.tray.told_json import tray_from, tray_json


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path / "records"


@pytest.fixture
def page(folder: Path, tmp_path: Path) -> Iterator[TestClient]:
    desk = Desk(folder, PORT, prints=tmp_path / "prints.json", cameras=tmp_path / "cameras")
    with TestClient(make_app(desk, warm=False), base_url=BASE, raise_server_exceptions=False) as opened:
        opened.headers["x-flutegauge-token"] = opened.get("/api/token").json()["token"]
        opened.headers["accept"] = "text/html"
        yield opened


def kept_list(page: TestClient, name: str, *lines: str) -> None:
    rows = "\n".join(["family,size,length_mm,count,slots", *lines]) + "\n"
    assert page.post("/trays/list", data={"name": name, "rows": rows}).status_code == 200


def text_of(pdf: bytes) -> str:
    opened = pypdfium2.PdfDocument(io.BytesIO(pdf))
    return "\n".join(opened[n].get_textpage().get_text_range() for n in range(len(opened)))


def rows_of(html: str) -> list[str]:
    """The table's rows as text."""
    return [" ".join(re.sub(r"<[^>]+>", " ", row).split()) for row in re.findall(r"<tr>(.*?)</tr>", html, re.DOTALL)]


def test_what_is_told_survives_being_kept() -> None:
    photo = TrayPhoto(reading(), TRAY, "A4-1", "closer")

    again = tray_from(tray_json(photo), "a.jpg", None)

    assert [asdict(one) for one in again.told] == [asdict(one) for one in TRAY]
    assert (again.sheet, again.retake) == ("A4-1", "closer")


def test_a_photo_given_in_as_a_tray_is_asked_for_as_one() -> None:
    assert settings_of({"tray": "1"})["tray"] is True
    assert "tray" not in settings_of({})


def test_the_sorted_tray_groups_in_put_away_order_and_sets_damage_apart(page: TestClient, folder: Path) -> None:
    number = keep(folder, "a.jpg", *TRAY)

    answer = page.get(f"/trays/{number}")

    assert answer.status_code == 200
    rows = rows_of(answer.text)
    assert "A K-file 25 1 1" in rows
    assert "B reamer 30 1 2" in rows
    assert any("3 Hedstroem file 40 bent sharply by 40 deg" in row for row in rows)
    assert any(row.startswith("4 not decided family not decided") for row in rows)
    assert re.findall(r'class="tray-numeral"[^>]*>([^<]+)<', answer.text) == ["1A", "2B", "3!", "4?"]
    slip = text_of(page.get(f"/trays/{number}/slip.pdf").content)
    assert "4 instruments, each counted once" in slip
    assert "Hedstroem file 40" in slip


def test_overlapping_photos_count_once_unless_the_layings_differ(page: TestClient, folder: Path) -> None:
    numbers = f"{keep(folder, 'a.jpg', *TRAY)}-{keep(folder, 'b.jpg', *TRAY[:2])}"

    assert "4 instruments" in page.get(f"/trays/{numbers}").text
    assert "6 instruments" in page.get(f"/trays/{numbers}?relaid=true").text


def test_a_photo_that_could_not_be_read_leaves_the_rest_and_is_said(page: TestClient, folder: Path) -> None:
    numbers = f"{keep(folder, 'a.jpg', *TRAY)}-{keep(folder, 'dark.jpg', broken=True)}"

    text = page.get(f"/trays/{numbers}").text

    assert "4 instruments" in text
    assert "dark.jpg could not be examined" in text


@pytest.mark.parametrize("numbers", ["99", "x", "1-99", "1--2", "0"])
def test_numbers_that_are_no_tray_are_refused_in_words(page: TestClient, folder: Path, numbers: str) -> None:
    keep(folder, "a.jpg", *TRAY)

    assert page.get(f"/trays/{numbers}").status_code == 404


def test_a_list_is_edited_on_the_page_and_checked_against(page: TestClient, folder: Path) -> None:
    number = keep(folder, "a.jpg", *TRAY)
    kept_list(page, "box", "k-file,25,,1,1", "reamer,35,,1,2", "hedstroem-file,40,,1,3", "reamer,15,,1,9")

    rows = rows_of(page.get(f"/trays/{number}/check", params={"list": "box"}).text)

    assert any(row.startswith("= matches list K-file 25, slot 1 1") for row in rows)
    assert any(row.startswith("X wrong size reamer 35, slot 2 2") for row in rows)
    assert any(row.startswith("! damaged Hedstroem file 40, slot 3 3") for row in rows)
    assert any("reamer 15, slot 9" in row and not row.startswith("=") for row in rows)
    paper = text_of(page.get(f"/trays/{number}/check.pdf", params={"list": "box"}).content)
    assert "it cannot clear an instrument" in paper
    assert "wrong size" in paper


def test_an_instrument_in_another_slot_is_said_to_lie_there(page: TestClient, folder: Path) -> None:
    number = keep(folder, "a.jpg", *TRAY[:2])
    kept_list(page, "slots", "k-file,25,,1,7", "reamer,30,,1,2")

    rows = rows_of(page.get(f"/trays/{number}/check", params={"list": "slots"}).text)

    assert any(row.startswith("X wrong slot K-file 25, slot 7 1 lies in slot 1") for row in rows)
    assert any(row.startswith("= matches list reamer 30, slot 2") for row in rows)


def test_a_wrong_list_is_refused_with_what_was_typed_kept(page: TestClient, folder: Path) -> None:
    rows = "family,size\nk-file,33\n"

    answer = page.post("/trays/list", data={"name": "box", "rows": rows})

    assert answer.status_code == 400
    assert "there is no size 33" in answer.text
    assert "k-file,33" in answer.text
    assert not (folder / "lists" / "box.toml").exists()
    assert page.post("/trays/list", data={"name": "../box", "rows": rows}).status_code == 400
    assert page.get("/trays/1/check?list=../../x").status_code == 404


def test_lists_come_from_files_the_invented_kits_and_a_tray_and_can_be_taken_along(page: TestClient, folder: Path) -> None:
    number = keep(folder, "a.jpg", *TRAY)

    made = page.post(f"/trays/{number}/list", data={"name": "as it lies", "slots": "1"})
    brought = page.post("/trays/list/bring", files={"photos": ("mine.csv", b"family,size\nreamer,20\n", "text/csv")})
    kit = page.post("/trays/list/bring", data={"invented": "student-tray"})

    assert "k-file,25,25,1,1" in made.text
    assert "reamer,20,,1," in brought.text
    assert kit.status_code == 200
    start = page.get("/trays").text
    assert all(f">{name}<" in start for name in ("as it lies", "mine", "student-tray"))
    assert 'family = "reamer"' in page.get("/trays/list/mine/toml").text
    page.post("/trays/list/drop", data={"name": "mine"})
    assert not (folder / "lists" / "mine.toml").exists()


def test_a_class_has_one_photo_a_student_by_code(page: TestClient, folder: Path) -> None:
    numbers = "-".join(str(keep(folder, name, *some)) for name, some in (("S-01.jpg", TRAY[:2]), ("S-02.jpg", TRAY[:1])))
    kept_list(page, "box", "k-file,25,,1,", "reamer,30,,1,")

    text = page.get(f"/trays/{numbers}/class", params={"list": "box"}).text
    table = page.get(f"/trays/{numbers}/class.csv", params={"list": "box"}).text
    paper = text_of(page.get(f"/trays/{numbers}/class.pdf", params={"list": "box"}).content)

    assert [row for row in rows_of(text) if row.startswith("S-0")] == ["S-01 2 0 0 0 0 0 0 0", "S-02 1 1 0 0 0 0 0 0"]
    assert "S-02,S-02.jpg,missing,reamer 30" in table
    assert "What the class gets wrong" in paper


def test_a_class_that_was_to_have_broaches_is_told_what_their_sizes_rest_on(page: TestClient, folder: Path) -> None:
    number = keep(folder, "S-01.jpg", *TRAY[:1])
    for name, line in (("with", "barbed-broach,40,,1,"), ("without", "k-file,25,,1,")):
        kept_list(page, name, line)

    papers = {name: text_of(page.get(f"/trays/{number}/class.pdf", params={"list": name}).content) for name in ("with", "without")}

    said = {name: BROACH in " ".join(paper.split()) for name, paper in papers.items()}
    assert said == {"with": True, "without": False}


def test_a_photo_named_by_a_person_is_no_code(page: TestClient, folder: Path) -> None:
    number = keep(folder, "Ann Example.jpg", *TRAY)
    kept_list(page, "box", "k-file,25,,1,")

    answer = page.get(f"/trays/{number}/class", params={"list": "box"})

    assert answer.status_code == 400
    assert "is no code" in answer.text


def test_lists_and_scores_need_the_token(page: TestClient, folder: Path) -> None:
    wrong = {"x-flutegauge-token": "x"}
    sent = [("/trays/list", {"name": "box", "rows": "family,size\nreamer,20\n"}), ("/study/quiz", {"seed": "1", "count": "1", "keep": "1"})]

    assert [page.post(address, data=data, headers=wrong).status_code for address, data in sent] == [403, 403]
    assert not (folder / "lists").exists()


def test_cards_show_every_answer_with_its_source(page: TestClient) -> None:
    text = page.get("/study/cards", params={"seed": 3, "count": 2}).text

    assert text.count('class="study-picture"') == 2
    assert "JIS T 5419" in text
    picture = re.search(r'src="(/study/picture/[^"]+)"', text)
    assert picture is not None
    assert page.get(picture.group(1)).content.startswith(b"\xff\xd8")
    assert page.get("/study/picture/nothing.jpg").status_code == 404


def right_answers(seed: int, count: int) -> dict[str, str]:
    from vision.desk.pages_study import quiz_of  # noqa: PLC0415

    made = {}
    for k, (_, questions) in enumerate(quiz_of(seed, count)):
        for n, question in enumerate(questions):
            name = f"q{k}-{n}"
            if len(question.right) > 1:
                made |= {f"{name}-{letter}": "1" for letter in question.right}
            else:
                made[name] = question.right or f"{question.numbers[0][0]:.2f}"
    return made


def test_a_quiz_is_answered_explained_and_its_score_kept_only_if_asked(page: TestClient, folder: Path) -> None:
    form = right_answers(5, 2) | {"seed": "5", "count": "2"}

    right = page.post("/study/quiz", data=form)
    none = page.post("/study/quiz", data={"seed": "5", "count": "2"})
    of = int(re.search(r"(\d+) of (\d+) right", right.text).group(2))  # type: ignore[union-attr]

    assert f"{of} of {of} right" in right.text
    assert of >= 8
    assert f"0 of {of} right" in none.text
    assert none.text.count("Wrong. Right is:") == of
    assert not (folder / "scores.csv").exists()
    page.post("/study/quiz", data=form | {"keep": "1", "code": "S-7"})
    assert (folder / "scores.csv").read_text().strip().endswith(f",S-7,5,{of},{of}")
    assert "S-7" in page.get("/study").text
    assert page.post("/study/quiz", data=form | {"keep": "1", "code": "<b>"}).status_code == 400
    page.post("/study/scores/drop")
    assert not (folder / "scores.csv").exists()


def test_the_number_by_the_other_rule_counts_if_the_rule_is_named(page: TestClient) -> None:
    from vision.desk.pages_study import quiz_of  # noqa: PLC0415

    questions = quiz_of(5, 2)
    k, n, question = next((k, n, q) for k, (_, some) in enumerate(questions) for n, q in enumerate(some) if len(q.numbers) > 1)
    older = next(mm for mm, rule in question.numbers if rule == "0.30")

    unnamed = page.post("/study/quiz", data={"seed": "5", "count": "2", f"q{k}-{n}": f"{older:.2f}"}).text
    named = page.post("/study/quiz", data={"seed": "5", "count": "2", f"q{k}-{n}": f"{older:.2f}", f"q{k}-{n}-rule": "0,30"}).text

    assert unnamed.count("<b>Right:</b>") == 0
    assert named.count("<b>Right:</b>") == 1


def test_the_quiz_to_print_has_its_key(page: TestClient) -> None:
    assert "Key to quiz 4" in text_of(page.get("/study/quiz.pdf", params={"seed": 4, "count": 1}).content)
    assert page.get("/study/quiz", params={"count": 50}).status_code == 422
    assert set(LETTERS) >= set("abcdef")


def test_the_measuring_process_answers_a_photo_that_cannot_be_read_as_a_tray(tmp_path: Path) -> None:
    path = tmp_path / "grey.jpg"
    path.write_bytes(shot())

    answer = worker.answer({"path": str(path), "name": "grey.jpg", "tray": True}, worker.Groups())

    assert answer["tray"]["told"] == []
    assert "sheet" in answer["tray"]["retake"] or "scale" in answer["tray"]["retake"]
