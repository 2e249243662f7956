"""`railmodel verify`: do the files of a folder still match, and is the job still the one they were made from."""

from dataclasses import dataclass
from os.path import normpath
from pathlib import Path

from railmodel.errors import InputError
from railmodel.fingerprint import fingerprint, short
from railmodel.frame import build_frame
from railmodel.job.reader import read_job


@dataclass(frozen=True, slots=True)
class Verdict:
    """What was found.

    Args:
        lines: a sentence each.
        ok: whether files and job are as they were.
        refused: why the job could not be asked; empty where it was.
    """

    lines: tuple[str, ...]
    ok: bool
    refused: tuple[str, ...] = ()


def verify(folder: Path, job: Path | None) -> Verdict:
    """Compare a folder with its manifest and its job.

    Args:
        folder: an output folder.
        job: the job file; None for the one the manifest names.

    Raises:
        InputError: there is no folder or no manifest.
    """
    from exporters.manifest import differences, read_manifest

    if not folder.is_dir():
        raise InputError(f"{folder}: is no folder; give one that railmodel build has written")
    manifest = read_manifest(folder)
    found = differences(manifest, folder)
    lines = [_says(one.file, one.state) for one in found]
    count = len(manifest.files)
    if not found:
        lines.append(f"all {count} files are as they were written")
    try:
        line, same = _job(folder, job, manifest.job_file, manifest.fingerprint)
    except InputError as error:
        return Verdict(tuple(lines), False, error.problems)
    return Verdict((*lines, line), same and not found)


def _says(file: str, state: str) -> str:
    return {
        "missing": f"missing: {file} was written and is not there any more",
        "changed": f"changed: {file} is not as it was written",
        "extra": f"extra: {file} is not from this build",
    }[state]


def _job(folder: Path, given: Path | None, named: str | None, wanted: str) -> tuple[str, bool]:
    """What is to be said of the job, and whether it is the one the files were made from.

    Raises:
        InputError: there is no such job file, or it is not valid.
    """
    if given is None and named is None:
        raise InputError(f"{folder}: its manifest names no job file; give --job JOB")
    path = given if given is not None else Path(normpath(folder.resolve() / str(named)))
    if given is None and not path.is_file():
        raise InputError(f"{path}: the job file is not there; give --job JOB to learn whether the job has changed")
    now = fingerprint(build_frame(read_job(path)))
    if now == wanted:
        return f"the job {path} still has fingerprint {short(now)}", True
    says = f"the job {path} has changed: its fingerprint is {short(now)} and these files were made from {short(wanted)}"
    return f"{says}; build again, and do not cut from them", False
