"""Forms with the token checked, for every page that changes something."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from starlette.datastructures import FormData
from starlette.requests import Request

from vision.desk.guard import TOKEN_HEADER, same
from vision.desk.settings import MOST_PHOTOS, Desk


class ExpiredError(Exception):
    """The token is missing or of another run."""


async def form_of(request: Request, desk: Desk) -> FormData:
    """Return a form whose token is ours. Raises ExpiredError."""
    form = await request.form(max_files=MOST_PHOTOS + 1, max_fields=60)
    if not same(desk.token, form.get("token") or request.headers.get(TOKEN_HEADER)):
        raise ExpiredError
    return form


async def json_of(request: Request, desk: Desk) -> Mapping[str, Any]:
    """Return a JSON object sent with our token in the header. Raises ExpiredError, ValueError."""
    check_header(request, desk)
    sent = await request.json()
    if not isinstance(sent, dict):
        raise ValueError(f"an object is needed, got {type(sent).__name__}")
    return sent


def check_header(request: Request, desk: Desk) -> None:
    """Raise ExpiredError unless the header carries our token."""
    if not same(desk.token, request.headers.get(TOKEN_HEADER)):
        raise ExpiredError
