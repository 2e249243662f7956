"""What commands add to the job's record of their own accord: built, measured, corrected.

The record lies beside the job. Where it cannot be written (a job on a disk that is only read, a demo job of the
installed package) the command's work is done all the same, and that it was not noted is one sentence.
"""

from collections.abc import Sequence
from hashlib import sha256
from pathlib import Path

from railmodel.errors import InputError
from railmodel.fingerprint import fingerprint
from railmodel.frame import Frame
from railmodel.job.record import Entry, Kind, append_news, now, record_beside

NOTED_ELSE = "use --no-record where nothing is to be noted"


def note_built(frame: Frame, job: Path, out: Path, *, words: Sequence[str] = ()) -> list[str]:
    """Note that a job was built: its fingerprint and every file with its SHA-256, unless the last build was the same.

    Args:
        frame: the job.
        job: the job file.
        out: the folder that was written, with its manifest.
        words: what else is to be said of it, such as `stopping(2)`.

    Returns:
        Why it was not noted, one sentence, or nothing.
    """
    from exporters.manifest import read_manifest

    files = tuple((one.file, one.sha256) for one in read_manifest(out).files)
    return _note(job, Entry(
        at=now(), kind="built", fingerprint=fingerprint(frame), revision=frame.job.revision or "",
        note=", ".join([f"{len(files) + 1} files", *words]), files=files,  # the manifest counts as one
    ))  # fmt: skip


def note_pieces(
    kind: Kind, frame: Frame, job: Path, part: str, measured: Sequence[Path], *, stopped: int = 0
) -> list[str]:
    """Note that a piece was measured, or what to change was said, unless the last line of that part says the same.

    Args:
        kind: "measured" or "corrected".
        frame: the job.
        job: the job file.
        part: the part's label.
        measured: the files with what was measured.
        stopped: how many findings stop the piece.

    Returns:
        Why it was not noted, one sentence, or nothing.
    """
    files: dict[str, str] = {}
    for path in measured:
        try:
            digest = sha256(path.read_bytes()).hexdigest()
        except OSError as error:
            return [f"not noted: {path} cannot be read again ({error.strerror or error})"]
        name = _plain(path.name) if _plain(path.name) not in files else _plain(str(path))
        files[name] = digest
    return _note(job, Entry(
        at=now(), kind=kind, fingerprint=fingerprint(frame), revision=frame.job.revision or "", part=part,
        note=", ".join(stopping(stopped)), files=tuple(files.items()),
    ))  # fmt: skip


def stopping(count: int) -> list[str]:
    """How many findings stop a job or a piece, in words; nothing where none does."""
    return [f"{count} finding{' stops' if count == 1 else 's stop'} it"] if count else []


def _note(job: Path, entry: Entry) -> list[str]:
    try:
        append_news(record_beside(job), entry)
    except InputError as error:
        return [f"{problem}; {NOTED_ELSE}" for problem in error.problems]
    return []


def _plain(name: str) -> str:
    """A file's name without what cannot be printed."""
    return "".join(letter if letter.isprintable() else "?" for letter in name)
