"""The page's server: every address it answers to."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles

import exporters
from railmodel.app.page import bench_routes, job_routes, record_routes, start_routes, view_routes
from railmodel.app.page.bodies import Refused, refusal
from railmodel.app.page.guard import Guard
from railmodel.app.page.lock import drop, hold
from railmodel.app.page.room import Room

VIEWER = Path(exporters.__file__).resolve().parent / "viewer"


def make_app(room: Room) -> Starlette:
    """The whole server as an ASGI application."""

    @asynccontextmanager
    async def life(app: Starlette) -> AsyncIterator[None]:
        if room.desk is not None:
            hold(room.desk.path, room.port)
            room.desk.open()
        yield
        if room.desk is not None:
            await room.desk.close()
            drop(room.desk.path, room.port)

    app = Starlette(
        routes=_routes(),
        middleware=[Middleware(Guard, port=room.port, lan=room.lan)],
        exception_handlers={Refused: _refused, HTTPException: _not_here},
        lifespan=life,
    )
    app.state.room = room
    return app


def _routes() -> list[Route | Mount]:
    post = ["POST"]
    return [
        Route("/", start_routes.home),
        Route("/bend", start_routes.bend),
        Route("/code", start_routes.code_page),
        Route("/favicon.ico", start_routes.icon),
        Route("/api/here", start_routes.here),
        Route("/api/code", start_routes.code, methods=post),
        Route("/api/jobs", start_routes.listed),
        Route("/api/open", start_routes.choose, methods=post),
        Route("/api/state", job_routes.state),
        Route("/api/mesh", job_routes.mesh),
        Route("/api/edit", job_routes.edit, methods=post),
        Route("/api/undo", job_routes.undo, methods=post),
        Route("/api/redo", job_routes.redo, methods=post),
        Route("/api/outside", job_routes.outside, methods=["GET", "POST"]),
        Route("/events", job_routes.events),
        Route("/api/rehearsal", view_routes.rehearsal),
        Route("/api/travel", view_routes.travel),
        Route("/api/kinds", view_routes.kinds_of_files),
        Route("/api/write", view_routes.write, methods=post),
        Route("/api/write/stop", view_routes.stop, methods=post),
        Route("/api/solve", view_routes.solve, methods=post),
        Route("/api/solve/stop", view_routes.stop, methods=post),
        Route("/api/solve/accept", job_routes.accept, methods=post),
        Route("/api/solve/discard", job_routes.discard, methods=post),
        Route("/api/as_bent", bench_routes.bench),
        Route("/api/as_bent/record", bench_routes.opened),
        Route("/api/as_bent/look", bench_routes.told, methods=post),
        Route("/api/as_bent/save", bench_routes.save, methods=post),
        Route("/api/as_bent/log", bench_routes.log, methods=post),
        Route("/api/record", record_routes.record, methods=["GET", "POST"]),
        Route("/files/{rev:int}/{path:path}", view_routes.file),
        Mount("/static/viewer", StaticFiles(directory=VIEWER)),
        Mount("/static", StaticFiles(directory=start_routes.HERE / "static")),
    ]


async def _refused(request: Request, error: Exception) -> Response:
    assert isinstance(error, Refused)
    return refusal(error.status, (error.says, None))


async def _not_here(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    says = {404: "there is nothing under this address", 405: "this address does not take that kind of request"}
    return refusal(error.status_code, (says.get(error.status_code, str(error.detail)), None))
