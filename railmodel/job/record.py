"""The record of a job: what was built, sent, approved, measured and corrected, a line each, only ever added to.

JSON lines in UTF-8 beside the job file. A line that cannot be read (a write that was cut short) is passed over and
told; nothing in the file is ever rewritten.
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final, Literal, get_args

from railmodel.errors import InputError
from railmodel.files import append_synced
from railmodel.job.fields import not_among
from railmodel.job.source import printable
from railmodel.units import quoted

Kind = Literal["built", "sent", "approved", "measured", "corrected"]

KINDS: Final[tuple[Kind, ...]] = get_args(Kind)

VERSION: Final = 1
_LONGEST: Final = 500
_MOST_BYTES: Final = 50_000_000
_HEX: Final = frozenset("0123456789abcdef")


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One line.

    Args:
        at: when, ISO 8601 in UTC.
        kind: what happened.
        fingerprint: of the job then, or that the customer approved; 64 hexadecimal digits, or the first 12 of them.
        revision: of the job then.
        part: the part it is about, if one.
        by: who.
        note: anything worth remembering.
        files: name and SHA-256 of every file it is about, hexadecimal.
    """

    at: str
    kind: Kind
    fingerprint: str
    revision: str = ""
    part: str = ""
    by: str = ""
    note: str = ""
    files: tuple[tuple[str, str], ...] = ()

    def same_as(self, other: "Entry") -> bool:
        """Whether both say the same but for when; a STEP file's own header has its time, so of that the name counts."""
        return replace(self, at=other.at, files=_timeless(self)) == replace(other, files=_timeless(other))


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """A record as read.

    Args:
        entries: in the order they were added.
        trouble: lines that could not be read, a sentence each.
    """

    entries: tuple[Entry, ...]
    trouble: tuple[str, ...]

    def last(self, kind: Kind) -> Entry | None:
        """The last entry of a kind."""
        return next((entry for entry in reversed(self.entries) if entry.kind == kind), None)


def _timeless(entry: Entry) -> tuple[tuple[str, str], ...]:
    return tuple((file, "" if file.endswith(".step") else digest) for file, digest in entry.files)


def record_beside(job: Path) -> Path:
    """Where the record of a job lies: `hauler.yaml` has `hauler.record.jsonl` beside it."""
    return job.with_name(f"{job.stem}.record.jsonl")


def read_record(path: Path) -> Record:
    """Read a record; one that is not there yet is empty.

    Raises:
        InputError: a file that cannot be read at all.
    """
    try:
        data = path.read_bytes() if path.exists() else b""
    except OSError as error:
        raise InputError(f"{path}: cannot be read ({error.strerror or error}); check the name and the disk") from None
    if len(data) > _MOST_BYTES:
        raise InputError(f"{path}: is larger than any record; give the job's own record")
    entries: list[Entry] = []
    trouble: list[str] = []
    name, lines = printable(path.name), data.split(b"\n")
    for number, line in enumerate(lines, start=1):
        if not line.strip():
            continue
        try:
            entries.append(_entry(line))
        except ValueError as error:
            torn = number == len(lines)
            why = "it was cut short when it was written" if torn else str(error)
            trouble.append(f"{name} line {number}: cannot be read and is passed over: {why}")
    return Record(entries=tuple(entries), trouble=tuple(trouble))


def append_entry(path: Path, entry: Entry) -> None:
    """Add one line; what is there is never touched, and a last line that was cut short is closed first.

    Raises:
        InputError: a value that is not plausible, or a file that cannot be written.
    """
    problems = _problems(entry)
    if problems:
        raise InputError([f"nothing was recorded: {problem}" for problem in problems])
    try:
        block = _closing(path) + _line(entry)
        written = append_synced(path, block)
    except OSError as error:
        raise InputError(
            f"{path}: nothing was recorded ({error.strerror or error}); make room or check the folder"
        ) from None
    if written != len(block):
        raise InputError(f"{path}: the disk is full; the last line is incomplete: make room and add it again")


def append_news(path: Path, entry: Entry) -> bool:
    """Add one line, unless the last of its kind and part says the same; whether it was added.

    Raises:
        InputError: as `append_entry`, or a record that cannot be read.
    """
    alike = [old for old in read_record(path).entries if (old.kind, old.part) == (entry.kind, entry.part)]
    if alike and alike[-1].same_as(entry):
        return False
    append_entry(path, entry)
    return True


def now() -> str:
    """The time in UTC, to the second."""
    return datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def _closing(path: Path) -> bytes:
    """The line end that the last line lacks, if it lacks one."""
    if not path.exists() or path.stat().st_size == 0:
        return b""
    with path.open("rb") as file:
        file.seek(-1, 2)
        return b"" if file.read(1) == b"\n" else b"\n"


def _line(entry: Entry) -> bytes:
    data = {"record": VERSION, **{name: getattr(entry, name) for name in Entry.__dataclass_fields__}}
    kept = {name: value for name, value in data.items() if value not in ("", ())}
    if entry.files:
        kept["files"] = dict(entry.files)
    return (json.dumps(kept, ensure_ascii=False, allow_nan=False) + "\n").encode()


def _entry(line: bytes) -> Entry:
    """An entry from its line.

    Raises:
        ValueError: it is none.
    """
    try:
        data: Any = json.loads(line.decode())
    except (UnicodeDecodeError, json.JSONDecodeError, RecursionError):
        raise ValueError("it is not JSON") from None
    if not isinstance(data, Mapping):
        raise ValueError("it is not a record")
    if data.get("record") != VERSION:
        raise ValueError(f"it is of version {quoted(str(data.get('record')))}; this program reads {VERSION}")
    values = {name: data.get(name, "") for name in Entry.__dataclass_fields__ if name != "files"}
    for name, value in values.items():
        if not isinstance(value, str):
            raise ValueError(f"{name} is not text")
    files = data.get("files", {})
    if not isinstance(files, Mapping) or not all(isinstance(digest, str) for digest in files.values()):
        raise ValueError("files is not a list of names, each with its SHA-256")
    entry = Entry(**values, files=tuple(files.items()))
    problems = _problems(entry)
    if problems:
        raise ValueError(problems[0])
    return entry


def _problems(entry: Entry) -> list[str]:
    found = []
    if entry.kind not in KINDS:
        found.append(f"what happened: {not_among(entry.kind, KINDS)}")
    digits = entry.fingerprint
    if len(digits) not in (12, 64) or set(digits) - _HEX:
        found.append(f"fingerprint: found {quoted(digits)}; allowed: the 64 or the first 12 digits of a fingerprint")
    try:
        datetime.fromisoformat(entry.at)
    except ValueError:
        found.append(f"at: found {quoted(entry.at)}; allowed: a time such as 2031-02-28T14:30:00Z")
    for file, digest in entry.files:
        if not file.isprintable() or len(digest) != 64 or set(digest) - _HEX:
            found.append(f"files: found {quoted(file)}: {quoted(digest)}; allowed: a name and 64 hexadecimal digits")
    for name in ("revision", "part", "by", "note"):
        text = getattr(entry, name)
        if not text.isprintable() or len(text) > _LONGEST:
            found.append(f"{name}: found {quoted(text)}; allowed: one line of plain text up to {_LONGEST} letters")
    return found
