"""Requests about bent pieces: what was measured on them, what that tells, and the shop's record of test bends."""

from collections.abc import Sequence
from functools import partial
from pathlib import Path
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from railmodel.app.noted import NOTED_ELSE, note_pieces
from railmodel.app.page.bench import Bench
from railmodel.app.page.bench_files import FOLDER, Changed, stamp_of
from railmodel.app.page.bench_look import TIMES, look, whole
from railmodel.app.page.bench_parts import bench_parts, sure_words
from railmodel.app.page.bodies import Refused, answer, body_of, not_valid
from railmodel.app.page.desk import Desk
from railmodel.app.page.room import bench_of, desk_of
from railmodel.app.page.store import TROUBLE
from railmodel.app.piece_command import laid
from railmodel.app.piece_words import logged_lines
from railmodel.as_bent.piece import Piece, read_piece
from railmodel.as_bent.record_file import LIMIT
from railmodel.as_bent.to_bender import log_pieces
from railmodel.bending.work import record_path
from railmodel.errors import GeometryError, InputError
from railmodel.findings import Finding
from railmodel.job.reader import JobFile
from railmodel.job.record import Kind
from railmodel.job.source import read_bytes

Answer = dict[str, Any]

NEW = "record.yaml"
"""What messages call a record that has no name yet."""


async def bench(request: Request) -> Response:
    """Bent parts, and the records that are there."""
    return await _asked(request, _bench)


def _bench(own: Bench, source: JobFile, body: Answer) -> Answer:
    frame = own.frame(source)
    log = record_path(frame)
    return {
        "folder": FOLDER, "unit": frame.unit, "parts": bench_parts(frame), "records": own.files.listed(frame.unit),
        "sure_to": sure_words(frame), "log": None if log is None else log.name,
    }  # fmt: skip


async def opened(request: Request) -> Response:
    """A record that is there, as it is typed, and what it tells."""
    return await _asked(request, _opened, {"name": request.query_params.get("name")})


def _opened(own: Bench, source: JobFile, body: Answer) -> Answer:
    frame = own.frame(source)
    found = own.files.opened(body["name"], frame.unit)
    base = own.files.base(found["name"], found["stamp"])
    return {**found, "look": look(frame, found["draft"], found["name"], base, 1)}


async def told(request: Request) -> Response:
    """What a draft tells."""
    return await _asked(request, _told, await body_of(request))


def _told(own: Bench, source: JobFile, body: Answer) -> Answer:
    base = own.files.base(body.get("name"), body.get("stamp"))
    times = body.get("times", 1)
    if times not in TIMES:
        raise InputError(f"times: allowed: {', '.join(map(str, TIMES))}")
    return look(own.frame(source), _draft(body), NEW if base is None else base.name, base, times)


async def save(request: Request) -> Response:
    """Write a record, whole or not at all, and note it in the job's record."""
    desk = desk_of(request)
    found = await _asked(request, partial(_save, desk), await body_of(request))
    if found.status_code == 200:
        desk.news()
    return found


def _save(desk: Desk, own: Bench, source: JobFile, body: Answer) -> Answer:
    frame, draft = own.frame(source), _draft(body)
    with own.writing:
        path = own.files.target(body.get("name"), body.get("stamp"))
        base = own.files.base(path.name, body.get("stamp"))
        tree, piece = whole(frame, draft, path.name, base)
        stamp = own.files.write(path, tree.text)
        said = _noted("measured", desk, piece, path, laid(piece)[1])
    return {"name": path.name, "stamp": stamp, "records": own.files.listed(frame.unit), "said": said}


def _noted(kind: Kind, desk: Desk, piece: Piece, path: Path, findings: Sequence[Finding]) -> list[str]:
    """Note a piece in the job's record as the command line does; why that was not done, where it was not."""
    stopped = sum(finding.level == "stop" for finding in findings)
    says = note_pieces(kind, piece.frame, desk.path, piece.part.label, [path], stopped=stopped)
    return [one.removesuffix(f"; {NOTED_ELSE}") for one in says]


async def log(request: Request) -> Response:
    """Add a saved piece's bends to the shop's record of test bends, and note in the job's record what it is told."""
    desk = desk_of(request)
    found = await _asked(request, partial(_log, desk), await body_of(request))
    if found.status_code == 200:
        desk.news()
        desk.think_soon()
    return found


def _log(desk: Desk, own: Bench, source: JobFile, body: Answer) -> Answer:
    path = own.files.path(body.get("name"))
    with own.writing:
        if stamp_of(read_bytes(path, LIMIT)) != body.get("stamp"):
            raise Changed(f"{path.name} is not as it stands here; save it or open it anew first; nothing was added")
        piece = read_piece(own.frame(source), path)
        try:
            logged = log_pieces(piece)
        except InputError as error:
            raise InputError([says.removeprefix("--log: ") for says in error.problems]) from None
        said = _noted("corrected", desk, piece, path, piece.findings)
    return {"says": [*logged_lines(logged), *said]}


def _draft(body: Answer) -> Answer:
    found = body.get("draft")
    if not isinstance(found, dict):
        raise InputError("draft: found none; allowed: what was measured")
    return found


async def _asked(request: Request, do: Any, body: Answer | None = None) -> Response:
    """Do something beside the event loop, and answer with what came of it, or with why not.

    Raises:
        Refused: another program was first, or the numbers are beyond all sense.
    """
    desk, own = desk_of(request), bench_of(request)
    try:
        return answer(await run_in_threadpool(do, own, desk.store.source, body or {}))
    except Changed as error:
        raise Refused(409, str(error)) from None
    except InputError as error:
        return not_valid(error)
    except GeometryError as error:
        raise Refused(422, str(error)) from None
    except TROUBLE as error:
        raise Refused(422, f"this cannot be worked out ({type(error).__name__})") from None
