"""`flutegauge study`: cards and a quiz. Scores are kept only where that was asked for."""

from __future__ import annotations

import argparse
import datetime as dt
import tempfile
from collections.abc import Sequence
from pathlib import Path

from vision.commands.outputs import new_file, new_pdf
from vision.errors import UsageError
from vision.report.cautions import SHORT
from vision.report.words import plain
from vision.teach.facts import FAMILIES
from vision.teach.questions import LETTERS, Question, is_right, questions_of
from vision.teach.subjects import Subject, chosen, fresh_subjects, picture_of, sample_subjects

MOST = 60
Quiz = list[tuple[Subject, list[Question]]]


def study(arguments: argparse.Namespace) -> int:
    """Show cards, print a quiz, or ask one; returns the exit status."""
    if not 1 <= arguments.count <= MOST:
        raise UsageError(f"--count can be 1 to {MOST}, got {arguments.count}")
    _fitting(arguments)
    quiz = quiz_of(_subjects(arguments), arguments.seed)
    if arguments.cards:
        _cards(quiz)
    elif arguments.pdf is not None:
        from vision.teach.quiz_page import write_quiz  # noqa: PLC0415 - loads the PDF library

        write_quiz(arguments.pdf, quiz, arguments.seed)
        print(f"quiz {arguments.seed} with its key: {plain(str(arguments.pdf))}")
    else:
        with tempfile.TemporaryDirectory(prefix="flutegauge-quiz-") as folder:
            right, asked = _ask(quiz, Path(folder))
        print(f"\n{right} of {asked} right" + ("" if asked == sum(len(q) for _, q in quiz) else " (ended early)"))
        if arguments.keep_score is not None:
            _keep(arguments, right, asked)
    print("\n" + " ".join(SHORT))
    return 0


def _fitting(arguments: argparse.Namespace) -> None:
    """Refuse what does not go together, and a place that cannot be written, before anything is asked. Raises UsageError."""
    if arguments.cards and arguments.pdf is not None:
        raise UsageError("--cards shows cards, --pdf writes the quiz: leave one of them out")
    if arguments.pdf is not None:
        new_pdf(arguments.pdf, overwrite=arguments.overwrite)
    if arguments.keep_score is not None:
        if arguments.cards or arguments.pdf is not None:
            raise UsageError("--keep-score is for a quiz that is asked here: leave --cards and --pdf out")
        new_file(arguments.keep_score, overwrite=True)  # a line is added to what is there


def quiz_of(subjects: Sequence[Subject], seed: int) -> Quiz:
    """Every subject with its questions."""
    return [(subject, questions_of(subject, seed)) for subject in subjects]


def _subjects(arguments: argparse.Namespace) -> list[Subject]:
    if arguments.pictures is None:
        return chosen(sample_subjects(), arguments.count, arguments.seed)
    arguments.pictures.mkdir(parents=True, exist_ok=True)
    return fresh_subjects(arguments.pictures, arguments.seed, arguments.count)


def _cards(quiz: Quiz) -> None:
    for subject, asked in quiz:
        print(f"\n{FAMILIES[subject.family].name} {subject.size}   picture: {plain(str(subject.photo))}")
        for question in asked:
            print(f"  {question.text}\n    {question.said}\n    {question.why}")


def _ask(quiz: Quiz, folder: Path) -> tuple[int, int]:
    """Ask until the end or until 'q'; returns how many were right, and how many were asked.

    The pictures are shown from ``folder``, by number: the photos' own names give the answers away.
    """
    right = asked = 0
    for k, (subject, questions) in enumerate(quiz, 1):
        picture = folder / f"instrument-{k}.png"
        picture_of(subject).save(picture)
        print(f"\nInstrument {k} of {len(quiz)}. Open its picture: {plain(str(picture))}")
        for question in questions:
            print(f"\n{question.text}")
            for letter, choice in zip(LETTERS, question.choices, strict=False):
                print(f"  {letter}) {choice}")
            try:
                answer = input(f"{_wanted(question)} (q ends): ")
            except EOFError:
                return right, asked
            if answer.strip().lower() == "q":
                return right, asked
            asked += 1
            good = is_right(question, answer)
            right += good
            print(f"{'right' if good else 'wrong'}: {question.key}\n{question.why}")
    return right, asked


def _wanted(question: Question) -> str:
    if not question.choices:
        return "answer in mm"
    return "answer, one letter" if len(question.right) == 1 else f"answer, {len(question.right)} letters"


def _keep(arguments: argparse.Namespace, right: int, asked: int) -> None:
    with arguments.keep_score.open("a", encoding="utf-8") as kept:
        kept.write(f"{dt.date.today().isoformat()},quiz {arguments.seed},{right},{asked}\n")
    print(f"score added to {plain(str(arguments.keep_score))}")
