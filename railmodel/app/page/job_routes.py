"""Requests about the job that is open: its state, edits, events, and choices between two files."""

from collections.abc import Callable
from typing import Any

from starlette.requests import Request
from starlette.responses import Response, StreamingResponse

from railmodel.app.page.as_json import Mixed
from railmodel.app.page.bodies import Refused, answer, body_of, not_valid
from railmodel.app.page.desk import Desk
from railmodel.app.page.room import desk_of, readonly
from railmodel.app.page.state import state_of
from railmodel.app.page.store import Stale
from railmodel.errors import InputError
from railmodel.job.reader import job_from


async def state(request: Request) -> Response:
    """The whole state, or nothing where the browser has it."""
    desk = desk_of(request)
    if request.query_params.get("have") == desk.key:
        return Response(status_code=204)
    return _state(desk, request)


async def mesh(request: Request) -> Response:
    """The meshes that the browser has not got."""
    desk = desk_of(request)
    have = set(request.query_params.get("have", "").split(","))
    return Response(desk.bank.reply(desk.store.rev, desk.meshes, have), media_type="application/octet-stream")


async def edit(request: Request) -> Response:
    """Make an edit."""
    desk, body = desk_of(request), await body_of(request)
    return _changed(desk, request, body, lambda: desk.store.apply(body.get("rev"), body.get("op"), body.get("group")))


async def undo(request: Request) -> Response:
    """Take the last change back."""
    desk, body = desk_of(request), await body_of(request)
    return _changed(desk, request, body, lambda: desk.store.undo(body.get("rev")))


async def redo(request: Request) -> Response:
    """Make the last change again."""
    desk, body = desk_of(request), await body_of(request)
    return _changed(desk, request, body, lambda: desk.store.redo(body.get("rev")))


async def events(request: Request) -> Response:
    """News as long as the browser listens.

    Raises:
        Refused: too many are listening.
    """
    desk = desk_of(request)
    if desk.hub.full:
        raise Refused(503, "too many pages are open on this job; close some")
    first = {"rev": desk.store.rev, "key": desk.key}
    return StreamingResponse(desk.hub.listen(first), media_type="text/event-stream")


async def outside(request: Request) -> Response:
    """How the file on the disk differs, or the choice between the two."""
    desk = desk_of(request)
    if request.method == "POST":
        body = await body_of(request)
        try:
            desk.settle(body.get("keep"))
        except InputError as error:
            return not_valid(error)
        return _state(desk, request)
    try:
        data = desk.saver.theirs()
        lines = desk.saver.difference(desk.store.data)
    except InputError as error:
        return answer({"theirs": {"reads": False, "error": str(error), "lines": []}})
    try:
        job_from(data, desk.path)
    except InputError as error:
        return answer({"theirs": {"reads": False, "error": error.problems[0], "lines": lines}})
    return answer({"theirs": {"reads": True, "error": None, "lines": lines}})


async def accept(request: Request) -> Response:
    """Take the solved values into the job."""
    desk, body = desk_of(request), await body_of(request)

    def do() -> Any:
        desk.accept(body.get("rev"))

    return _done(desk, request, do)


async def discard(request: Request) -> Response:
    """Forget what was solved."""
    desk = desk_of(request)
    await body_of(request)
    desk.discard()
    return _state(desk, request)


def _changed(desk: Desk, request: Request, body: dict[str, Any], make: Callable[[], bool]) -> Response:
    """The new state, with the meshes that a browser which says what it has needs for it."""
    have = body.get("have")
    held = {key for key in have if isinstance(key, str)} if isinstance(have, list) else None
    return _done(desk, request, lambda: desk.change(make), held)


def _done(desk: Desk, request: Request, do: Callable[[], Any], have: set[str] | None = None) -> Response:
    """The new state; the newest one where somebody else was first; or why not."""
    try:
        do()
    except Stale:
        says = "somebody changed the job first; nothing of this change was made"
        newest = state_of(desk, readonly=readonly(request))
        return answer(Mixed(error=says, problems=[{"says": says, "at": None}], state=newest), 409)
    except InputError as error:
        return not_valid(error)
    if have is None:
        return _state(desk, request)
    reply = desk.bank.reply(desk.store.rev, desk.meshes, have, state_of(desk, readonly=readonly(request)))
    return Response(reply, media_type="application/octet-stream")


def _state(desk: Desk, request: Request) -> Response:
    return answer(state_of(desk, readonly=readonly(request)))
