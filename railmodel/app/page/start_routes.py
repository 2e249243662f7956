"""Requests before a job is open, and the pages themselves."""

from pathlib import Path

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.templating import Jinja2Templates

from railmodel.app.page.bodies import Refused, answer, body_of, not_valid
from railmodel.app.page.desk import Desk
from railmodel.app.page.guard import COOKIE, WRONG
from railmodel.app.page.lock import hold, running_page
from railmodel.app.page.room import admitted, knows_code, readonly, room_of
from railmodel.app.page.start import job_to_open, jobs, remember
from railmodel.errors import InputError

HERE = Path(__file__).resolve().parent
templates = Jinja2Templates(directory=HERE / "templates")


async def home(request: Request) -> Response:
    """The page of the job, or the start page."""
    return _page(request, "page.html")


async def bend(request: Request) -> Response:
    """The page that stands beside the machine."""
    return _page(request, "bend.html")


async def code_page(request: Request) -> Response:
    """Where the code is typed."""
    return templates.TemplateResponse(request, "code.html", {"job": "", "live": _live(request)})


async def code(request: Request) -> Response:
    """Take the code.

    Raises:
        Refused: it is not the right one.
    """
    lan = room_of(request).lan
    body = await body_of(request)
    if lan is None or not readonly(request):
        raise Refused(404, "no code is needed here")
    if not lan.takes(body.get("code")):
        if lan.wrong >= WRONG:
            raise Refused(429, "too many wrong codes; start the page again for a new one")
        raise Refused(403, "this is not the code on the terminal")
    response = answer({"url": "/"})
    response.set_cookie(COOKIE, lan.token, httponly=True, samesite="strict")
    return response


async def listed(request: Request) -> Response:
    """Jobs to choose from.

    Raises:
        Refused: to those who may only look.
    """
    admitted(request)
    if readonly(request):
        raise Refused(423, "this page is for looking only")
    return answer(jobs(room_of(request).folder))


async def choose(request: Request) -> Response:
    """Open a job.

    Raises:
        Refused: one is open.
    """
    room, body = room_of(request), await body_of(request)
    if room.desk is not None:
        raise Refused(409, "a job is open here already; start the page again for another one")
    try:
        path = job_to_open(body, room.folder)
        elsewhere = await run_in_threadpool(running_page, path)
        if elsewhere is not None:
            return answer({"url": elsewhere})
        desk = Desk(path)
    except InputError as error:
        return not_valid(error)
    if room.desk is None:
        room.desk = desk
        hold(desk.path, room.port)
        desk.open()
        remember(path)
    return answer({"url": "/"})


async def here(request: Request) -> Response:
    """Which job is open here: for a second start on the same one.

    Raises:
        Refused: to other machines.
    """
    if readonly(request):
        raise Refused(404, "there is nothing here")
    desk = room_of(request).desk
    return answer({"program": "railmodel", "job": None if desk is None else str(desk.path)})


async def icon(request: Request) -> Response:
    """No picture for the tab."""
    return Response(status_code=204)


def _page(request: Request, name: str) -> Response:
    if not knows_code(request):
        return RedirectResponse("/code", 303)
    desk = room_of(request).desk
    if desk is None:
        return templates.TemplateResponse(request, "start.html", {"job": "", "live": _live(request)})
    return templates.TemplateResponse(request, name, {"job": desk.store.source.job.job, "live": _live(request)})


def _live(request: Request) -> dict[str, bool]:
    far = readonly(request)
    return {"lan": far, "readonly": far}
