"""Requests about the record of the job: what was built, sent and approved, and is it the job as it stands."""

from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from railmodel.app.log_command import add_line, record_answer
from railmodel.app.page.bench import Bench
from railmodel.app.page.bodies import Refused, answer, body_of, not_valid
from railmodel.app.page.desk import Desk
from railmodel.app.page.room import bench_of, desk_of, readonly
from railmodel.errors import InputError
from railmodel.fingerprint import fingerprint, short
from railmodel.job.reader import JobFile
from railmodel.job.record import read_record, record_beside

NOTED = ("sent", "approved")
"""What a person notes in the page; all else is written down by what does it."""

_PRINT = "--fingerprint: "


async def record(request: Request) -> Response:
    """The record, or a line added to it.

    Raises:
        Refused: the job has changed, or its file is not as the page has it.
    """
    desk, own = desk_of(request), bench_of(request)
    said: list[str] = []
    try:
        if request.method == "POST":
            body = await body_of(request)
            _may(desk, body)
            said = await run_in_threadpool(_add, own, desk, desk.store.source, body)
            desk.news()
        found = await run_in_threadpool(_shown, own, desk, desk.store.source)
    except InputError as error:
        return not_valid(error)
    return answer({"rev": desk.store.rev, "said": said, "readonly": readonly(request), **found})


def _may(desk: Desk, body: dict[str, Any]) -> None:
    """See that what is noted is of the job that the person sees.

    Raises:
        Refused: it is not.
        InputError: something else than the page notes.
    """
    if body.get("kind") not in NOTED:
        raise InputError(f"kind: allowed: {', '.join(NOTED)}; nothing was recorded")
    if body.get("rev") != desk.store.rev:
        raise Refused(409, "somebody changed the job first; look at it again; nothing was recorded")
    if desk.saver.state in ("outside", "failed"):
        raise Refused(409, f"{desk.saver.says}; nothing was recorded")


def _add(own: Bench, desk: Desk, source: JobFile, body: dict[str, Any]) -> list[str]:
    texts = {key: body.get(key) or "" for key in ("by", "note", "fingerprint")}
    for key, text in texts.items():
        if not isinstance(text, str):
            raise InputError(f"{key}: found no text; nothing was recorded", [((key,), "found no text")])
    if not texts["by"].strip():
        says = "who it was is missing; nothing was recorded"
        raise InputError(f"by: {says}", [(("by",), says)])
    frame = own.frame(source)
    try:
        with own.writing:
            return add_line(
                frame, record_beside(desk.path), add=body["kind"], approved=texts["fingerprint"].strip() or None,
                by=texts["by"].strip(), note=texts["note"].strip(),
            )  # fmt: skip
    except InputError as error:
        own_field = [says for says in error.problems if says.startswith(_PRINT)]
        plain = [says.removeprefix(_PRINT) for says in error.problems]
        raise InputError(plain, [(("fingerprint",), says.removeprefix(_PRINT)) for says in own_field]) from None


def _shown(own: Bench, desk: Desk, source: JobFile) -> dict[str, Any]:
    now = fingerprint(own.frame(source))
    found = read_record(record_beside(desk.path))
    answered = record_answer(found, now)
    approved = found.last("approved")
    return {
        **answered,
        "entries": [_entry(one) for one in reversed(answered["entries"])],
        "short": short(now),
        "file": record_beside(desk.path).name,
        "stands": None if approved is None else now.startswith(approved.fingerprint),
    }


def _entry(one: dict[str, Any]) -> dict[str, Any]:
    """A line of the record without the sums of all files that were built."""
    return {**{key: value for key, value in one.items() if key != "files"}, "short": short(one["fingerprint"])}
