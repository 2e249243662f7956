"""Requests for what takes longer: the bender, the travel of shapes, the solver, files."""

from math import isfinite
from urllib.parse import unquote

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import FileResponse, Response

from railmodel.app.page.bodies import Refused, answer, body_of
from railmodel.app.page.desk import Desk
from railmodel.app.page.kinds import LABELS, kinds
from railmodel.app.page.room import desk_of
from railmodel.app.page.store import TROUBLE
from railmodel.app.page.travel import MOST_POSES, pose_of, track_of
from railmodel.errors import GeometryError, InputError

PATIENCE = 20.0
"""Seconds that a request for a rehearsal waits for one."""


async def rehearsal(request: Request) -> Response:
    """A part on the bender, step by step.

    Raises:
        Refused: there is no such part, or nothing to rehearse.
    """
    desk, query = desk_of(request), request.query_params
    part, hand, end = query.get("part"), query.get("hand"), query.get("end") or None
    if not part or hand not in ("left", "right", "single") or end not in (None, "front", "rear"):
        raise Refused(422, "give part, hand (left, right or single) and, if need be, end (front or rear)")
    if desk.known.checks["rev"] != desk.store.rev or desk.known.checks["stage"] in ("fit", "gaps"):
        return answer({"busy": True, "says": "this is still being worked out"}, 202)
    if desk.known.checks["stage"] == "failed":
        raise Refused(404, desk.known.checks["says"])
    found = await desk.thinking.ask({"what": "rehearsal", "part": part, "hand": hand, "end": end}, PATIENCE)
    if "answer" in found:
        return answer(found["answer"])
    if found.get("busy"):
        return answer({"busy": True, "says": found["says"]}, 202)
    raise Refused(404, found["says"])


async def travel(request: Request) -> Response:
    """A keep-clear shape elsewhere in its travel.

    Raises:
        Refused: there is no such shape or position.
    """
    desk, query = desk_of(request), request.query_params
    number = _index(query.get("shape", "").removeprefix("shape "), len(desk.store.view.shapes))
    rev = desk.store.rev
    frame = desk.whole_frame()
    try:
        if "track" in query:
            count = _index(query["track"], MOST_POSES + 1)
            return answer({"rev": rev, **await run_in_threadpool(track_of, frame, number, max(count, 2))})
        drivers = len(desk.store.view.shapes[number]["drivers"])
        at = _shares(query.get("at", ""), drivers)
        return answer({"rev": rev, **await run_in_threadpool(pose_of, frame, number, at)})
    except (GeometryError, InputError) as error:
        raise Refused(422, str(error)) from None
    except TROUBLE as error:
        raise Refused(422, f"this cannot be worked out ({type(error).__name__})") from None


async def kinds_of_files(request: Request) -> Response:
    """Kinds of files that can be written."""
    return answer({"kinds": kinds(desk_of(request).whole_frame())})


async def write(request: Request) -> Response:
    """Write files of the job as it now stands.

    Raises:
        Refused: kinds that there are not, or something is being done.
    """
    desk, body = desk_of(request), await body_of(request)
    wanted = body.get("kinds", "all")
    known = isinstance(wanted, list) and all(isinstance(one, str) and one in LABELS for one in wanted)
    if wanted != "all" and not (known and wanted):
        raise Refused(422, f'kinds: allowed: "all", or a list of {", ".join(LABELS)}')
    out = desk.path.parent / f"{desk.path.stem}_files"
    return _begin(desk, "build", body.get("rev"), {"do": "build", "kinds": wanted, "out": str(out)})


async def solve(request: Request) -> Response:
    """Look for the shape that meets every wish."""
    desk, body = desk_of(request), await body_of(request)
    return _begin(desk, "solve", body.get("rev"), {"do": "solve"})


async def stop(request: Request) -> Response:
    """Break off what is being done."""
    desk = desk_of(request)
    await body_of(request)
    await desk.work.stop()
    return answer({"work": desk.work.now})


async def file(request: Request) -> Response:
    """A file that was written.

    Raises:
        Refused: there is none such.
    """
    desk = desk_of(request)
    rev, path = request.path_params["rev"], unquote(request.path_params["path"])
    work = desk.work
    listed = {one["path"] for one in work.files if one["problem"] is None}
    if work.out is None or rev != work.files_rev or path not in listed or not (work.out / path).is_file():
        raise Refused(404, "there is no such file among those written last")
    headers = {}
    if path.endswith((".html", ".svg")):  # a page of its own, which may not ask here
        headers["Content-Security-Policy"] = "sandbox allow-scripts"
    return FileResponse(work.out / path, headers=headers)


def _begin(desk: Desk, kind: str, rev: object, message: dict[str, object]) -> Response:
    if desk.work.busy:
        raise Refused(409, "something is being worked on already; wait for it or stop it")
    if rev != desk.store.rev:
        raise Refused(409, "somebody changed the job first; look at it again")
    if kind == "solve":
        desk.solve, desk.solved_meshes = None, []
    whole = {**message, "path": str(desk.path), "text": desk.store.source.text}
    desk.work.start(kind, desk.store.rev, whole)
    desk.news()
    return answer({"work": desk.work.now}, 202)


def _index(text: str, below: int) -> int:
    if not text.isascii() or not text.isdigit() or len(text) > 6 or int(text) >= below:
        raise Refused(404, "there is no such number here")
    return int(text)


def _shares(text: str, count: int) -> list[float]:
    try:
        found = [float(one) for one in text.split(",") if one.strip()]
    except ValueError:
        found = []
    if len(found) != count or not all(isfinite(one) and 0 <= one <= 1 for one in found):
        raise Refused(422, f"at: allowed: {count} numbers from 0 to 1, one for each travel of the shape")
    return found
