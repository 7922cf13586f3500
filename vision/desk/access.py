"""Forms with the token checked, for every page that changes something."""

from __future__ import annotations

from starlette.datastructures import UploadFile
from starlette.requests import Request

from vision.desk.guard import TOKEN_HEADER, same
from vision.desk.settings import MOST_PHOTOS, Desk


class ExpiredError(Exception):
    """The token is missing or of another run."""


async def form_of(request: Request, desk: Desk) -> dict[str, str]:
    """Return the fields of a form whose token is ours. Raises ExpiredError."""
    return (await photos_of(request, desk))[1]


async def photos_of(
    request: Request, desk: Desk, token: str | None = None
) -> tuple[list[tuple[str | None, bytes]], dict[str, str]]:
    """Return the files (name, bytes) and the fields of a form whose token is ours (or the one given). Raises ExpiredError."""
    async with request.form(max_files=MOST_PHOTOS + 1, max_fields=60) as form:
        fields = {name: value for name, value in form.items() if isinstance(value, str)}
        if not same(token or desk.token, fields.get("token") or request.headers.get(TOKEN_HEADER)):
            raise ExpiredError
        files = [(one.filename, await one.read()) for one in form.getlist("photos") if isinstance(one, UploadFile)]
    return [(name, data) for name, data in files if name or data], fields


def check_header(request: Request, desk: Desk) -> None:
    """Raise ExpiredError unless the header carries our token."""
    if not same(desk.token, request.headers.get(TOKEN_HEADER)):
        raise ExpiredError
