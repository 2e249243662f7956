"""`railmodel log`: add a line to a job's record, or show it."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import typer

from railmodel.errors import InputError
from railmodel.fingerprint import SHOWN, fingerprint, short
from railmodel.frame import Frame, build_frame
from railmodel.job.fields import not_among
from railmodel.job.reader import read_job
from railmodel.job.record import KINDS, Entry, Record, append_entry, now, read_record, record_beside
from railmodel.units import quoted


def run_log(
    job: Path, *, add: str | None, approved: str | None, part: str | None, by: str, note: str, as_json: bool
) -> list[str]:
    """Add a line to a job's record where one is asked for, and show the record.

    Args:
        job: the job file; its record lies beside it.
        add: what happened.
        approved: the fingerprint that the customer approved, where it is not the job's own now.
        part: the part it is about.
        by: who.
        note: anything worth remembering.
        as_json: show it as JSON.

    Returns:
        Lines for standard error: what could not be read, what does not fit.

    Raises:
        InputError: an option that does not fit, or a record that cannot be read or written.
    """
    frame = build_frame(read_job(job))
    path, whole = record_beside(job), fingerprint(frame)
    said: list[str] = []
    if add is not None:
        said += add_line(frame, path, add=add, approved=approved, part=part, by=by, note=note)
    elif approved or part or by or note:
        raise InputError("--add is missing: say what happened, such as --add sent; nothing was recorded")
    found = read_record(path)
    if as_json:
        answer = {"job": frame.job.job, "record": str(path.name), **record_answer(found, whole)}
        typer.echo(json.dumps(answer, indent=2, ensure_ascii=False, allow_nan=False))
    else:
        for line in record_lines(found, whole):
            typer.echo(line)
    return [*found.trouble, *said]


def add_line(
    frame: Frame, path: Path, *, add: str, approved: str | None = None, part: str | None = None, by: str = "",
    note: str = "",
) -> list[str]:  # fmt: skip
    """Add a line to a job's record.

    Args:
        frame: the job as it stands.
        path: its record.
        add: what happened.
        approved: the fingerprint that the customer approved, where it is not the job's own now.
        part: the part it is about.
        by: who.
        note: anything worth remembering.

    Returns:
        What does not fit, a sentence each.

    Raises:
        InputError: a value that does not fit, or a record that cannot be written; nothing was recorded.
    """
    whole = fingerprint(frame)
    entry = _entry(frame, whole, add, approved, part, by, note)
    append_entry(path, entry)
    if whole.startswith(entry.fingerprint):
        return []
    return [f"approved {short(entry.fingerprint)}, but the job now is {short(whole)}; send it again"]


def record_answer(record: Record, whole: str) -> dict[str, Any]:
    """A record as plain data, with whether each line is of the job as it stands.

    Args:
        record: the record.
        whole: the job's fingerprint now.
    """
    return {
        "fingerprint": whole,
        "entries": [
            {**{name: getattr(entry, name) for name in Entry.__dataclass_fields__}, "files": dict(entry.files),
             "as_it_stands": whole.startswith(entry.fingerprint)}
            for entry in record.entries
        ],
        "not_read": list(record.trouble),
    }  # fmt: skip


def record_lines(record: Record, whole: str) -> Iterator[str]:
    """A record to read, the oldest line first.

    Args:
        record: the record.
        whole: the job's fingerprint now.
    """
    if not record.entries:
        yield "Nothing is recorded yet."
    for entry in record.entries:
        words = [entry.at, f"{entry.kind:<9}", short(entry.fingerprint)]
        words += [f"revision {entry.revision}"] if entry.revision else []
        words += [value for value in (entry.part, entry.by and f"by {entry.by}", entry.note) if value]
        words += [entry.files[0][0]] if len(entry.files) == 1 else []
        words += [] if whole.startswith(entry.fingerprint) else ["(the job has changed since)"]
        yield "  ".join(words)
    approved = record.last("approved")
    if approved is not None and whole.startswith(approved.fingerprint):
        yield f"The job stands as it was approved on {approved.at[:10]}."
    elif approved is not None:
        yield f"The job has changed since it was approved on {approved.at[:10]}: have it approved again."


def _entry(
    frame: Frame, whole: str, add: str, approved: str | None, part: str | None, by: str, note: str
) -> Entry:
    if add not in KINDS:
        raise InputError(f"--add: {not_among(add, KINDS)}; nothing was recorded")
    if approved is not None and add != "approved":
        raise InputError("--fingerprint: belongs to --add approved; take it out; nothing was recorded")
    labels = [name for one in frame.parts for name in (one.name, one.label)]
    if part is not None and part not in labels:
        raise InputError(f"--part: {not_among(part, list(dict.fromkeys(labels)))}; nothing was recorded")
    digits = whole if approved is None else approved.strip().lower()
    if len(digits) not in (SHOWN, len(whole)):
        allowed = f"the {len(whole)} digits or the first {SHOWN}, as papers print them"
        raise InputError(f"--fingerprint: found {quoted(digits)}; allowed: {allowed}; nothing was recorded")
    return Entry(
        at=now(), kind=add, fingerprint=digits, revision=frame.job.revision or "", part=part or "", by=by, note=note
    )
