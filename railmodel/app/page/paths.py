"""Files that a job names: a browser may name only what lies in the job's folder, or what the job named before."""

from collections.abc import Collection, Mapping
from pathlib import Path
from typing import Any

from railmodel.errors import InputError
from railmodel.job.reader import JobFile
from railmodel.job.references import find
from railmodel.job.source import beside
from railmodel.job.yaml_tree import Loc

_NAMED: tuple[Loc, ...] = (("shop",), ("keep_clear", "*", "shape", "mesh"), ("parts", "*", "rows", "file"))

MESHES = (".stl", ".obj", ".glb", ".step", ".stp")
MOST = 200
"""Files looked at in a folder."""


def named_in(data: Any) -> dict[Loc, str]:
    """Every file that a job names, by its place."""
    return {
        loc: str(getattr(value, "raw", value))
        for pattern in _NAMED
        for loc, value in find(data, pattern)
        if not isinstance(value, dict | list)
    }


def check_paths(data: Any, folder: Path, known: Collection[str]) -> None:
    """See that a job names no file elsewhere that it did not name when it was opened.

    Raises:
        InputError: it does.
    """
    wrong: list[tuple[Loc, str]] = []
    for loc, text in named_in(data).items():
        if text in known:
            continue
        try:
            outside = Path(text).is_absolute() or not _inside(folder, text)
        except (OSError, ValueError):
            outside = True
        if outside:
            wrong.append((loc, "found a file outside the job's folder; allowed: a file in that folder or under it"))
    if wrong:
        raise InputError([f"{' '.join(map(str, loc))}: {says}" for loc, says in wrong], wrong)


def _inside(folder: Path, text: str) -> bool:
    return beside(folder, text).resolve().is_relative_to(folder.resolve())


def choices(source: JobFile) -> Mapping[str, list[str]]:
    """Shop files and meshes that the page offers: in the job's folder, and the shop the job names now."""
    shops, meshes = [], []
    for path in _files(source.path.parent):
        if path.suffix.lower() in MESHES:
            meshes.append(path.name)
        elif path.suffix.lower() in (".yaml", ".yml") and _starts_with(path, b"shop:"):
            shops.append(path.name)
    now = source.job.shop
    return {"shops": ([now] if now is not None and now not in shops else []) + shops, "meshes": meshes}


def _files(folder: Path) -> list[Path]:
    try:
        return sorted(path for path in folder.iterdir() if path.is_file() and not path.name.startswith("."))[:MOST]
    except OSError:
        return []


def _starts_with(path: Path, key: bytes) -> bool:
    """Whether a line near the top of a file begins with a key."""
    try:
        with path.open("rb") as stream:
            return any(line.startswith(key) for line in stream.read(4096).splitlines())
    except OSError:
        return False
