"""Pages: learning to tell instruments apart: cards, a quiz with its answers explained, the quiz to print. Scores only if asked."""

from __future__ import annotations

import datetime as dt
import io
import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Any

from fastapi import APIRouter, Query
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from vision.desk import asked
from vision.desk.access import form_of
from vision.desk.answers import Answers
from vision.desk.settings import Desk
from vision.records.faults import RecordsError
from vision.teach.facts import FAMILIES
from vision.teach.questions import LETTERS, Question, is_right, questions_of
from vision.teach.subjects import Subject, chosen, picture_of, sample_subjects

Json = dict[str, Any]
MOST, USUAL = 5, 3  # a page of that many can be answered at one go
MOST_SEED = 10**6
SCORES = "scores.csv"
Count = Annotated[int, Query(ge=1, le=MOST)]
Seed = Annotated[int, Query(ge=0, le=MOST_SEED)]
Quiz = list[tuple[Subject, list[Question]]]


def routes(desk: Desk, answers: Answers) -> APIRouter:
    """Return the routes of this group."""
    router = APIRouter(include_in_schema=False)
    _pages(router, desk, answers)
    _files(router, desk)
    return router


def _pages(router: APIRouter, desk: Desk, answers: Answers) -> None:
    @router.get("/study")
    def start(request: Request) -> Response:
        return answers.page(request, "study", usual=USUAL, most=MOST, most_seed=MOST_SEED, scores=_scores(desk))

    @router.get("/study/cards")
    def cards(request: Request, seed: Seed = 1, count: Count = USUAL) -> Response:
        return answers.page(request, "study_cards", quiz=quiz_of(seed, count), seed=seed, count=count, families=FAMILIES)

    @router.get("/study/quiz")
    def quiz(request: Request, seed: Seed = 1, count: Count = USUAL) -> Response:
        page: Json = {"quiz": quiz_of(seed, count), "seed": seed, "count": count, "letters": LETTERS, "most_seed": MOST_SEED}
        return answers.page(request, "study_quiz", given=None, right=0, **page)

    @router.post("/study/quiz")
    async def answered(request: Request) -> Response:
        form = await form_of(request, desk)
        seed, count = asked.whole(form, "seed", 0, MOST_SEED) or 0, asked.whole(form, "count", 1, MOST) or USUAL
        made = quiz_of(seed, count)
        given = {(k, n): answer_in(form, k, n, question) for k, (_, some) in enumerate(made) for n, question in enumerate(some)}
        right = sum(is_right(made[k][1][n], said) for (k, n), said in given.items())
        if form.get("keep") == "1":
            _keep_score(desk, asked.text(form, "code", 16) or "", seed, right, len(given))
        page: Json = {"quiz": made, "seed": seed, "count": count, "letters": LETTERS, "most_seed": MOST_SEED}
        return answers.page(request, "study_quiz", given=given, right=right, is_right=is_right, **page)

    @router.post("/study/scores/drop")
    async def forget(request: Request) -> Response:
        await form_of(request, desk)
        (desk.folder / SCORES).unlink(missing_ok=True)
        return RedirectResponse("/study", 303)


def _files(router: APIRouter, desk: Desk) -> None:
    @router.get("/study/quiz.pdf")
    def printed(seed: Seed = 1, count: Annotated[int, Query(ge=1, le=60)] = USUAL) -> Response:
        from vision.teach.quiz_page import write_quiz  # noqa: PLC0415 - loads the PDF library

        with tempfile.TemporaryDirectory(prefix="flutegauge-") as place:
            target = Path(place) / "quiz.pdf"
            write_quiz(target, quiz_of(seed, count), seed)
            headers = {"Content-Disposition": f'attachment; filename="quiz-{seed}.pdf"'}
            return Response(target.read_bytes(), media_type="application/pdf", headers=headers)

    @router.get("/study/picture/{name}.jpg")
    def picture(name: str) -> Response:
        known = {subject.photo.stem: subject for subject in sample_subjects()}
        if name not in known:
            raise RecordsError("unknown", desk.say("problem.not_found"))
        made = io.BytesIO()
        picture_of(known[name]).save(made, "JPEG", quality=88)
        return Response(made.getvalue(), media_type="image/jpeg")


def quiz_of(seed: int, count: int) -> Quiz:
    """The same seed draws the same quiz. Raises UsageError where the sample photos are missing."""
    return [(subject, questions_of(subject, seed)) for subject in chosen(sample_subjects(), count, seed)]


def answer_in(form: Mapping[str, str], k: int, n: int, question: Question) -> str:
    """What was answered to one question: letters, or a number with the rule that it follows. Raises AskedError."""
    name = f"q{k}-{n}"
    if len(question.right) > 1:
        return "".join(letter for letter in LETTERS if form.get(f"{name}-{letter}") == "1")
    return " ".join(filter(None, (asked.text(form, name, 24), asked.text(form, f"{name}-rule", 8))))


def _keep_score(desk: Desk, code: str, seed: int, right: int, of: int) -> None:
    """Add one line. ``code`` stands for a person; no names. Raises RecordsError, OSError."""
    if code and not code.replace("-", "").isalnum():
        raise RecordsError("invalid", desk.say("study.code_wrong", code=code))
    desk.folder.mkdir(parents=True, exist_ok=True)
    with (desk.folder / SCORES).open("a", encoding="utf-8") as kept:
        kept.write(f"{dt.date.today().isoformat()},{code},{seed},{right},{of}\n")


def _scores(desk: Desk) -> list[list[str]]:
    """The latest scores, the newest first."""
    path = desk.folder / SCORES
    lines = path.read_text(encoding="utf-8").splitlines() if path.is_file() else []
    return [row for line in reversed(lines[-20:]) if len(row := line.split(",")) == 5]
