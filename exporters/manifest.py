"""What a build left in its folder: `index.html` to read and `manifest.json` to check the files against later."""

import os
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from hashlib import sha256
from json import JSONDecodeError, dumps, loads
from pathlib import Path, PurePosixPath
from typing import Literal
from urllib.parse import quote

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator

from railmodel import __version__
from railmodel.errors import InputError
from railmodel.files import write_whole
from railmodel.fingerprint import fingerprint
from railmodel.frame import Frame

INDEX = "index.html"
MANIFEST = "manifest.json"

FOLDERS: tuple[tuple[str, str], ...] = (
    ("customer", "For the customer"),
    ("floor", "For the floor"),
    ("floor/plates", "Plates to cut"),
    ("floor/templates", "Templates to check bends with"),
    ("cnc", "For the bender and other programs"),
    ("", "About the job"),
)
"""Where files lie and what is said of it, in the order of the index."""


class Listed(BaseModel):
    """One file of a manifest.

    Args:
        file: its path in the folder, with forward slashes.
        what: what it is, a few words.
        sha256: of its bytes, hexadecimal.
    """

    model_config = ConfigDict(frozen=True, extra="ignore")
    file: str
    what: str
    sha256: str = Field(pattern="^[0-9a-f]{64}$")

    @field_validator("file")
    @classmethod
    def _inside(cls, value: str) -> str:
        path = PurePosixPath(value)
        if not value or path.is_absolute() or ".." in path.parts or "\\" in value or ":" in value or "\0" in value:
            raise ValueError("a file that does not lie in the folder")
        return value


class Manifest(BaseModel):
    """What was written, from which job.

    Args:
        manifest: what kind of file it is.
        version: goes up when its keys change meaning.
        job: the job's name.
        revision: the job's revision, empty for none.
        fingerprint: of the job the files were made from, 64 hexadecimal digits.
        job_file: path of the job file from the folder; None where there is no such path.
        program: what wrote it.
        files: everything written but the manifest itself.
    """

    model_config = ConfigDict(frozen=True, extra="ignore")
    manifest: Literal["files of a job"] = "files of a job"
    version: Literal[1] = 1
    job: str
    revision: str
    fingerprint: str = Field(pattern="^[0-9a-f]{64}$")
    job_file: str | None
    program: str
    files: tuple[Listed, ...]


@dataclass(frozen=True, slots=True)
class Difference:
    """A file that is not as the manifest says."""

    file: str
    state: Literal["missing", "changed", "extra"]


def manifest_of(frame: Frame, folder: Path, written: Iterable[tuple[Path, str]], job_file: Path) -> Manifest:
    """The manifest of files that lie in a folder.

    Args:
        frame: the job they were made from.
        folder: where they lie.
        written: path in the folder and a few words of each.
        job_file: the job file.
    """
    return Manifest(
        job=frame.job.job,
        revision=frame.job.revision or "",
        fingerprint=fingerprint(frame),
        job_file=_way(folder, job_file),
        program=f"railmodel {__version__}",
        files=tuple(
            Listed(file=path.as_posix(), what=what, sha256=_digest(folder / path)) for path, what in sorted(written)
        ),
    )


def write_manifest(manifest: Manifest, folder: Path) -> None:
    """Write `manifest.json`."""
    write_whole(folder / MANIFEST, dumps(manifest.model_dump(), indent=2, ensure_ascii=False) + "\n")


def read_manifest(folder: Path) -> Manifest:
    """The manifest in a folder.

    Raises:
        InputError: there is none, or it is none.
    """
    path = folder / MANIFEST
    if not path.is_file():
        raise InputError(f"{folder}: found no {MANIFEST}; give a folder that railmodel build has finished writing")
    try:
        return Manifest.model_validate(loads(path.read_bytes()))
    except ValidationError as error:
        first = error.errors()[0]
        where = ".".join(str(step) for step in first["loc"]) or "the whole"
        raise InputError(f"{path}: {where} is not what a manifest holds; build the folder anew") from None
    except (JSONDecodeError, UnicodeDecodeError, RecursionError):
        raise InputError(f"{path}: is not JSON text; build the folder anew") from None


def differences(manifest: Manifest, folder: Path) -> list[Difference]:
    """Files of a folder that are not as its manifest says; names that start with a dot are passed over."""
    found: list[Difference] = []
    for listed in manifest.files:
        path = folder / listed.file
        if not path.is_file():
            found.append(Difference(listed.file, "missing"))
        elif _digest(path) != listed.sha256:
            found.append(Difference(listed.file, "changed"))
    known = {MANIFEST, *(listed.file for listed in manifest.files)}
    return found + [Difference(name, "extra") for name in sorted(_names(folder)) if name not in known]


def unchanged(folder: Path, job_file: Path) -> set[str]:
    """Files that the last build of a job left in a folder and that are as they were written; none without a manifest.

    Args:
        folder: an output folder.
        job_file: the job file; files made from another one do not count.
    """
    try:
        manifest = read_manifest(folder)
    except InputError:
        return set()
    if manifest.job_file is None or manifest.job_file != _way(folder, job_file):
        return set()
    return {one.file for one in manifest.files} - {one.file for one in differences(manifest, folder)}


def write_index(frame: Frame, folder: Path, written: Sequence[tuple[Path, str]], troubles: Sequence[str]) -> None:
    """Write `index.html`: every file, what it is, and what could not be written.

    Args:
        frame: the job.
        folder: where the files lie.
        written: path in the folder and a few words of each.
        troubles: a sentence for each file that could not be written.
    """
    from exporters.page import page, shipped

    groups = []
    for name, title in FOLDERS:
        inside = [(path, what) for path, what in written if path.parent.as_posix() == (name or ".")]
        if inside:
            links = [{"link": quote(path.as_posix()), "file": path.name, "what": what} for path, what in inside]
            groups.append({"title": title, "folder": name, "files": links})
    style = shipped("pages/page.css")
    write_whole(folder / INDEX, page("index.html", frame, style=style, groups=groups, troubles=troubles))


def _digest(path: Path) -> str:
    with path.open("rb") as stream:
        return sha256(stream.read()).hexdigest()


def _names(folder: Path) -> Iterator[str]:
    for place, folders, files in os.walk(folder):
        folders[:] = [name for name in folders if not name.startswith(".")]
        for name in files:
            if not name.startswith("."):
                yield (Path(place) / name).relative_to(folder).as_posix()


def _way(folder: Path, job_file: Path) -> str | None:
    """The path from a folder to the job file, with forward slashes; None from one drive to another."""
    try:
        return Path(os.path.relpath(job_file.resolve(), folder.resolve())).as_posix()
    except ValueError:
        return None
