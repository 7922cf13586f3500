"""Puts the desk together: routes by group, the guard before them, a sentence for whatever goes wrong."""

from __future__ import annotations

import contextlib
from collections.abc import AsyncIterator
from dataclasses import replace
from importlib.resources import files

from fastapi import FastAPI
from starlette.middleware import Middleware
from starlette.staticfiles import StaticFiles

from vision.desk import (
    api,
    pages_camera,
    pages_instruments,
    pages_read,
    pages_records,
    pages_reports,
    pages_setup,
    pages_setup_steps,
    pages_share,
    pages_study,
    pages_tray_lists,
    pages_trays,
)
from vision.desk.answers import Answers
from vision.desk.guard import Guard
from vision.desk.jobs import LIMIT_S, Bench
from vision.desk.keeping import give_up, keep_answer
from vision.desk.live_process import LiveEye
from vision.desk.problems import explain_problems
from vision.desk.settings import MEGABYTE, MOST_REQUEST_MB, Desk
from vision.desk.setup_bench import SetupBench
from vision.report.document import version


def make_app(desk: Desk, *, warm: bool = True) -> FastAPI:
    """Return the desk as an ASGI app. ``warm``: start the measuring process at once."""
    bench = desk.bench or Bench(
        lambda task, answer: keep_answer(desk.folder, task, answer),
        crashed=desk.say("job.crashed"),
        too_long=desk.say("job.too_long", seconds=f"{LIMIT_S:.0f}"),
        give_up=lambda task: give_up(desk.folder, task),
    )
    eye = desk.eye or LiveEye(desk.say("camera.eye_gone"))
    desk = replace(desk, bench=bench, eye=eye)
    answers, setup = Answers(desk), desk.setup or SetupBench()

    @contextlib.asynccontextmanager
    async def life(_: FastAPI) -> AsyncIterator[None]:
        if warm:
            bench.warm_up()
        yield
        eye.close()
        setup.close()
        bench.close()

    guard = Middleware(Guard, port=desk.port, most_bytes=MOST_REQUEST_MB * MEGABYTE, refuse=answers.refusal)
    app = FastAPI(
        title="Flutegauge desk", version=version(), openapi_url="/api/openapi.json", docs_url=None, redoc_url=None,
        middleware=[guard], lifespan=life,
    )  # fmt: skip
    pages = (pages_read, pages_camera, pages_instruments, pages_records, pages_reports, pages_setup, pages_share)
    for group in (*pages, pages_tray_lists, pages_trays, pages_study, api):
        app.include_router(group.routes(desk, answers))
    app.include_router(pages_setup_steps.routes(desk, answers, setup))
    app.mount("/static", StaticFiles(directory=str(files("vision.desk") / "static")), name="static")
    explain_problems(app, desk, answers)
    app.state.desk = desk  # with its bench, for what else this run serves
    return app
