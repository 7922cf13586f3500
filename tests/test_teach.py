"""Quiz: reproducible, answers from a published table, the other rule accepted when it is named."""

from __future__ import annotations

import re
from pathlib import Path

import pypdfium2
import pytest
from command_line import usage_error

from vision.cli import main
from vision.teach.facts import FAMILIES
from vision.teach.questions import Question, is_right, questions_of
from vision.teach.quiz_page import write_quiz
from vision.teach.subjects import chosen, sample_subjects

# JIS T 5419:1995, table 1 (read): D0 and D16 of some sizes, mm.
PUBLISHED = {15: (0.15, 0.47), 25: (0.25, 0.57), 40: (0.40, 0.72), 80: (0.80, 1.12)}


def asked(kind: str) -> list[tuple[int, Question]]:
    return [(s.size, q) for s in sample_subjects() for q in questions_of(s, 1) if q.kind == kind]


def test_diameters_are_those_of_the_published_table() -> None:
    for size, question in asked("tip"):
        if size in PUBLISHED:
            assert is_right(question, f"{PUBLISHED[size][0]:.2f} mm")
            assert not is_right(question, f"{PUBLISHED[size][0] + 0.05:.2f}")
    checked = [is_right(question, f"{PUBLISHED[size][1]:.2f}") for size, question in asked("end") if size in PUBLISHED]
    assert checked
    assert all(checked)


def test_the_older_rule_counts_only_when_it_is_named() -> None:
    size, question = asked("end")[0]
    older = f"{size / 100 + 0.30:.2f}"

    assert not is_right(question, older)
    assert is_right(question, f"{older} by 0.30")
    assert "0.32" in question.why
    assert "0.30" in question.why


def test_every_family_is_asked_and_no_choice_repeats() -> None:
    for family in FAMILIES.values():
        assert len({family.use.right, *family.use.wrong}) == 4
    subjects = chosen(sample_subjects(), 8, 5)
    assert {s.family for s in subjects} == set(FAMILIES)
    for subject in subjects:
        for question in questions_of(subject, 5):
            assert len(set(question.choices)) == len(question.choices)
            assert is_right(question, question.right or question.key.split(" mm")[0])


def test_the_section_question_says_which_blank_it_assumes_and_agrees_with_the_truth() -> None:
    words = {"square": "square", "triangle": "triangular", "round": "round"}
    for subject in sample_subjects():
        for question in questions_of(subject, 1):
            if question.kind == "section":
                assert "Assume" in question.text
                assert words[subject.section] in question.key


def test_the_same_seed_makes_the_same_quiz_and_the_page_has_its_key(tmp_path: Path) -> None:
    subjects = chosen(sample_subjects(), 2, 7)
    quiz = [(s, questions_of(s, 7)) for s in subjects]

    assert [questions_of(s, 7) for s in chosen(sample_subjects(), 2, 7)] == [q for _, q in quiz]
    write_quiz(tmp_path / "quiz.pdf", quiz, 7)
    document = pypdfium2.PdfDocument(tmp_path / "quiz.pdf")
    text = "\n".join(page.get_textpage().get_text_range() for page in document)
    document.close()
    assert "Key to quiz 7" in text
    assert "it cannot clear one" in text


def test_scores_are_kept_only_when_asked_for(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    answers = iter(["a", "q"] * 2)
    monkeypatch.setattr("builtins.input", lambda _: next(answers))
    monkeypatch.chdir(tmp_path)

    assert main(["study", "--count", "1"]) == 0
    assert list(tmp_path.iterdir()) == []
    assert main(["study", "--count", "1", "--keep-score", "scores.csv"]) == 0
    assert "ended early" in capsys.readouterr().out
    assert (tmp_path / "scores.csv").read_text(encoding="utf-8").count("\n") == 1


def test_no_question_and_no_picture_gives_an_answer_away(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    shown: list[bool] = []

    def answer(_: str) -> str:
        pictures = re.findall(r"Open its picture: (\S+)", capsys.readouterr().out)
        shown.extend(Path(path).is_file() and Path(path).name.startswith("instrument-") for path in pictures)
        return "a"

    monkeypatch.setattr("builtins.input", answer)
    assert main(["study", "--count", "4", "--seed", "3"]) == 0
    assert shown == [True] * 4

    for subject in sample_subjects():
        for question in questions_of(subject, 1):
            assert FAMILIES[subject.family].name not in question.text
            assert subject.family not in question.text
            if question.kind == "section":
                assert question.said not in question.text.partition("Assume a maker")[0]


def test_a_broachs_size_names_no_table_that_nobody_read() -> None:
    said = {s.family: q.why for s in sample_subjects() for q in questions_of(s, 1) if q.kind == "tip"}

    assert "nobody here has read" in said["barbed-broach"]
    assert "JIS" not in said["barbed-broach"]
    assert "JIS T 5419:1995" in said["k-file"]


@pytest.mark.parametrize(
    ("asked_for", "said"),
    [
        (("--cards", "--pdf", "a.pdf"), "leave one of them out"),
        (("--pdf", "a.pdf", "--keep-score", "s.csv"), "leave --cards and --pdf out"),
        (("--keep-score", "nowhere/s.csv"), "there is no folder nowhere"),
    ],
)
def test_what_does_not_go_together_is_said_before_anything_is_asked(
    asked_for: tuple[str, ...], said: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)

    assert said in usage_error(capsys, "study", *asked_for)
    assert list(tmp_path.iterdir()) == []
