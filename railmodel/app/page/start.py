"""Jobs to start from: a commented starter, the demo jobs, jobs opened lately, and those in the folder at hand."""

import json
import os
import shutil
from contextlib import suppress
from pathlib import Path
from typing import Any

import railmodel
from railmodel.errors import InputError
from railmodel.files import write_whole
from railmodel.job.source import read_bytes
from railmodel.job.starter import write_starter

DEMOS: dict[str, tuple[str, str, str]] = {
    "hillside_hauler": ("Hillside hauler", "hillside_hauler/hauler.yaml", "side rails, cap, axles, engine"),
    "lake_trailer": ("Lake trailer", "lake_trailer/trailer.yaml", "a boat trailer given in millimetres"),
    "hay_rack": ("Hay rack", "hay_rack/hay_rack.yaml", "three dies, changed as seldom as can be"),
    "cannot_bend": ("What cannot be bent", "cannot_bend/cannot_bend.yaml", "a job full of mistakes, to see them named"),
}  # fmt: skip

RECENT = 12
"""Jobs remembered."""

MOST = 100
"""Files looked at in a folder."""


def jobs(folder: Path) -> dict[str, Any]:
    """What the start page offers."""
    demos = _demos()
    return {
        "folder": str(folder),
        "starter": {"file": _free(folder, "new_job.yaml").name},
        "demos": [
            {"id": id, "name": name, "says": says}
            for id, (name, file, says) in DEMOS.items()
            if demos is not None and (demos / file).is_file()
        ],
        "recent": [
            {"id": i, "name": path.stem, "path": str(path), "there": path.is_file()} for i, path in enumerate(recent())
        ],
        "here": [{"file": path.name, "name": path.stem} for path in _jobs_in(folder)],
    }


def job_to_open(asked: dict[str, Any], folder: Path) -> Path:
    """The job file that is asked for; a starter and a demo are written into the folder first.

    Raises:
        InputError: there is none such, or it cannot be written.
    """
    if "starter" in asked:
        path = folder / _name(asked["starter"])
        write_starter(path)
        return path
    if "demo" in asked:
        return _demo(asked["demo"], folder)
    if "recent" in asked:
        number, known = asked["recent"], recent()
        if isinstance(number, bool) or not isinstance(number, int) or not 0 <= number < len(known):
            raise InputError("recent: there is no such job in the list")
        return known[number]
    if "here" in asked:
        found = [path for path in _jobs_in(folder) if path.name == asked["here"]]
        if not found:
            raise InputError("here: there is no such job in this folder")
        return found[0]
    raise InputError("allowed: one of starter, demo, recent, here")


def recent() -> list[Path]:
    """Jobs opened lately, the latest first."""
    try:
        found = json.loads(read_bytes(_record(), 100_000))
        return [Path(text) for text in found if isinstance(text, str)][:RECENT]
    except (InputError, ValueError, TypeError, RecursionError):
        return []


def remember(path: Path) -> None:
    """Put a job first among those opened lately; where that cannot be written down it is left."""
    path = path.resolve()
    found = [path, *(one for one in recent() if one != path)][:RECENT]
    with suppress(OSError):
        _record().parent.mkdir(parents=True, exist_ok=True)
        write_whole(_record(), json.dumps([str(one) for one in found], indent=1) + "\n")


def _record() -> Path:
    """Where programs keep such things for their user (XDG Base Directory Specification)."""
    state = os.environ.get("XDG_STATE_HOME")
    return (Path(state) if state else Path.home() / ".local" / "state") / "railmodel" / "recent.json"


def _demos() -> Path | None:
    found = Path(railmodel.__file__).resolve().parents[1] / "demo_jobs"
    return found if found.is_dir() else None


def _demo(id: Any, folder: Path) -> Path:
    """A demo job copied with what it needs; one that was copied before is taken as it is.

    Raises:
        InputError: there is none such, or it cannot be copied.
    """
    demos = _demos()
    if not isinstance(id, str) or id not in DEMOS or demos is None:
        raise InputError("demo: there is no such demo job")
    target = folder / "demo_jobs"
    path = target / DEMOS[id][1]
    if path.exists():
        return path
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        for file in sorted([*demos.glob("*.*"), *(demos / DEMOS[id][1]).parent.iterdir()]):
            copy = target / file.relative_to(demos)
            if file.is_file() and not copy.exists():
                shutil.copyfile(file, copy)
    except OSError as error:
        raise InputError(f"{target}: cannot be written ({(error.strerror or str(error)).lower()})") from None
    return path


def _jobs_in(folder: Path) -> list[Path]:
    found = []
    for path in sorted(folder.glob("*.y*ml"))[:MOST]:
        with suppress(OSError), path.open("rb") as stream:
            if any(line.startswith(b"job:") for line in stream.read(4096).splitlines()):
                found.append(path)
    return found


def _free(folder: Path, name: str) -> Path:
    path, number = folder / name, 2
    while path.exists():
        path, number = folder / f"{Path(name).stem}_{number}.yaml", number + 1
    return path


def _name(value: Any) -> str:
    """The name of a new file in the folder.

    Raises:
        InputError: it would lie elsewhere, or is no name.
    """
    name = value.strip() if isinstance(value, str) else ""
    plain = name.isprintable() and not set(name) & set('/\\:*?"<>|') and not name.startswith(".")
    if not plain or not 1 <= len(name) <= 80:
        raise InputError("starter: allowed: a file name such as my_truck.yaml, without a folder")
    return name if name.endswith((".yaml", ".yml")) else f"{name}.yaml"
