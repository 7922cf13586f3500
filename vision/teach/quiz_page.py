"""A quiz -> pages to print: questions with pictures first, the key with its sources on pages of its own."""

from __future__ import annotations

import io
from collections.abc import Sequence
from pathlib import Path

from reportlab.lib.units import mm
from reportlab.platypus import Flowable, Image, KeepTogether, PageBreak

from vision.teach.questions import LETTERS, Question
from vision.teach.subjects import Subject, picture_of
from vision.tray.pages import gap, heading, title, words, write_pages

WIDE_MM, TALL_MM = 165.0, 52.0


def write_quiz(target: Path, quiz: Sequence[tuple[Subject, Sequence[Question]]], seed: int) -> None:
    """Write quiz and key. Raises OSError."""
    head = "Every instrument is invented and rendered. No names: a code is enough. Code: ________"
    story: list[Flowable] = [title(f"Quiz {seed}"), words(head)]
    for k, (subject, asked) in enumerate(quiz, 1):
        first: list[Flowable] = [heading(f"Instrument {k}"), _picture(subject), gap(1.5)]
        blocks = [_question(f"{k}.{n}", question) for n, question in enumerate(asked, 1)]
        story.append(KeepTogether([*first, *blocks[0]]))
        story += [KeepTogether(block) for block in blocks[1:]]
    story += [PageBreak(), title(f"Key to quiz {seed}")]
    for k, (_, asked) in enumerate(quiz, 1):
        story.append(heading(f"Instrument {k}"))
        for n, question in enumerate(asked, 1):
            story.append(KeepTogether([words(f"{k}.{n}  {question.key}", bold=True), words(question.why)]))
    write_pages(target, f"Quiz {seed}", story)


def _question(number: str, question: Question) -> list[Flowable]:
    lines: list[Flowable] = [words(f"{number}  {question.text}", bold=True)]
    lines += [words(f"    {LETTERS[i]})  {choice}") for i, choice in enumerate(question.choices)]
    return [*lines, *([] if question.choices else [words(_blank(question))]), gap(1.5)]


def _blank(question: Question) -> str:
    return "    Answer: ____________" + ("  by the rule: ____________" if len(question.numbers) > 1 else "")


def _picture(subject: Subject) -> Image:
    shown = picture_of(subject)
    data = io.BytesIO()
    shown.save(data, format="JPEG", quality=88)
    data.seek(0)
    scale = min(WIDE_MM / shown.width, TALL_MM / shown.height)
    return Image(data, shown.width * scale * mm, shown.height * scale * mm, hAlign="LEFT")
