"""What comes in with a request, and answers as the page expects them."""

import json
from typing import Any

from starlette.requests import Request
from starlette.responses import Response

from railmodel.app.page.as_json import dumps
from railmodel.errors import InputError

MOST = 400_000
"""Bytes of one request."""


class Refused(Exception):
    """A request that cannot be served.

    Args:
        status: HTTP status.
        says: one sentence.
    """

    def __init__(self, status: int, says: str) -> None:
        self.status, self.says = status, says
        super().__init__(says)


async def body_of(request: Request) -> dict[str, Any]:
    """The JSON object of a request.

    Raises:
        Refused: it is too large, or no JSON object.
    """
    data = b""
    async for chunk in request.stream():
        data += chunk
        if len(data) > MOST:
            raise Refused(413, f"found more than {MOST:,} bytes; nothing was changed")
    try:
        found = json.loads(data)
    except (ValueError, RecursionError):
        raise Refused(400, "found no JSON; nothing was changed") from None
    if not isinstance(found, dict):
        raise Refused(400, "found no JSON object; nothing was changed")
    return found


def answer(value: Any, status: int = 200) -> Response:
    """An answer as JSON."""
    return Response(dumps(value), status, media_type="application/json")


def refusal(status: int, *problems: tuple[str, list[str | int] | None], says: str | None = None) -> Response:
    """Why not: one sentence, and every problem with its place."""
    found = [{"says": text, "at": at} for text, at in problems]
    return answer({"error": says or problems[0][0], "problems": found}, status)


def not_valid(error: InputError) -> Response:
    """Why an edit was not made."""
    fields = [(says or error.problems[0], list(loc)) for loc, says in error.fields]
    problems: list[tuple[str, list[str | int] | None]] = [*fields] or [(says, None) for says in error.problems]
    return refusal(422, *problems, says=error.problems[0])
