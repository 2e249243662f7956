"""What all requests share: the job that is open, if any, and how it is looked at from elsewhere."""

from dataclasses import dataclass
from pathlib import Path

from starlette.requests import Request

from railmodel.app.page.bench import Bench
from railmodel.app.page.bodies import Refused
from railmodel.app.page.desk import Desk
from railmodel.app.page.guard import COOKIE, Lan


@dataclass(slots=True)
class Room:
    """The server's own things.

    Args:
        folder: where new jobs go, and where jobs are looked for.
        port: the server's port.
        desk: the job that is open.
        lan: the second door, where there is one.
        bench: of the job that is open, once something is measured.
    """

    folder: Path
    port: int
    desk: Desk | None = None
    lan: Lan | None = None
    bench: Bench | None = None


def room_of(request: Request) -> Room:
    """The room of a request."""
    found = request.app.state.room
    assert isinstance(found, Room)
    return found


def desk_of(request: Request) -> Desk:
    """The job that is open.

    Raises:
        Refused: none is, or it is looked at from elsewhere without the code.
    """
    admitted(request)
    desk = room_of(request).desk
    if desk is None:
        raise Refused(404, "no job is open; choose one on the start page")
    return desk


def bench_of(request: Request) -> Bench:
    """The bench of the job that is open; see `desk_of`."""
    desk, room = desk_of(request), room_of(request)
    if room.bench is None:
        room.bench = Bench(desk.path)
    return room.bench


def readonly(request: Request) -> bool:
    """Whether the request came through the door for looking only."""
    return bool(request.scope["state"].get("readonly"))


def admitted(request: Request) -> None:
    """See that a request from elsewhere knows the code.

    Raises:
        Refused: it does not.
    """
    if not knows_code(request):
        raise Refused(401, "type the code that stands on the terminal where the page was started")


def knows_code(request: Request) -> bool:
    """Whether a request may look."""
    lan = room_of(request).lan
    return not readonly(request) or (lan is not None and lan.knows(request.cookies.get(COOKIE)))
