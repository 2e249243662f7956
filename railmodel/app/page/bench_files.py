"""Records of measurements beside the job, in its folder `measured`: listed, opened, and written whole or not at all."""

import hashlib
from pathlib import Path
from typing import Any, Final

from railmodel.app.names import file_stem
from railmodel.app.page.bench_draft import draft_of
from railmodel.as_bent.record_file import LIMIT, read_record, record_yaml
from railmodel.errors import InputError
from railmodel.files import write_whole
from railmodel.job.source import read_bytes
from railmodel.job.yaml_tree import Tree, read_tree
from railmodel.units import Unit

FOLDER: Final = "measured"
ENDINGS: Final = (".yaml", ".yml", ".csv")
MOST: Final = 200
"""Files looked at."""


class Changed(Exception):
    """Another program wrote the file first."""


class BenchFiles:
    """The records of one job."""

    def __init__(self, job: Path) -> None:
        self.folder = job.parent / FOLDER
        self._home = job.parent

    def listed(self, unit: Unit) -> list[dict[str, Any]]:
        """Every record, with what it is of or why it cannot be read."""
        found: list[dict[str, Any]] = []
        for path in self._paths():
            try:
                record, _ = read_record(path, unit)
            except InputError as error:
                found.append({"name": path.name, "part": None, "hand": None, "date": "", "problem": error.problems[0]})
                continue
            found.append(
                {
                    "name": path.name, "part": record.part, "hand": record.hand, "date": record.date or "",
                    "problem": None,
                }
            )  # fmt: skip
        return found

    def path(self, name: Any) -> Path:
        """The file of a record that is there.

        Raises:
            InputError: there is none such.
        """
        found = next((path for path in self._paths() if path.name == name), None)
        if found is None:
            raise InputError(f"name: there is no such record in the folder {FOLDER}")
        return found

    def opened(self, name: Any, unit: Unit) -> dict[str, Any]:
        """A record as it is typed, with the name and stamp it is to be saved under.

        Raises:
            InputError: there is none such, or it does not read.
        """
        path = self.path(name)
        if path.suffix.lower() == ".csv":
            tree = read_tree(record_yaml(read_record(path, unit)[0]).encode(), path.name)
            return {"name": f"{file_stem(path.stem)}.yaml", "stamp": None, "draft": draft_of(tree)}
        data = read_bytes(path, LIMIT)
        return {"name": path.name, "stamp": stamp_of(data), "draft": draft_of(read_tree(data, path.name))}

    def base(self, name: Any, stamp: Any) -> Tree | None:
        """The file that a draft was opened from; None where it is another one now, or none."""
        path = next((path for path in self._paths() if path.name == name), None)
        if path is None or stamp is None:
            return None
        data = read_bytes(path, LIMIT)
        return read_tree(data, path.name) if stamp_of(data) == stamp else None

    def target(self, name: Any, stamp: Any) -> Path:
        """Where a record is to be written.

        Args:
            name: as typed; a new one is made a plain file name.
            stamp: of the file it was opened from; None for a new one.

        Raises:
            InputError: it has no name, or there is such a record already.
            Changed: the file is not as it was when it was opened.
        """
        if not isinstance(name, str) or not name.strip() or len(name) > 200:
            raise InputError("name: a record needs a name, such as right_rail_1", [(("name",), "it needs a name")])
        path = next((path for path in self._paths() if path.name == name), None)
        if path is None:
            if stamp is not None:
                raise Changed(f"{name} was taken away or renamed since it was opened; save it under another name")
            path = self.folder / f"{file_stem(Path(name.strip()).stem, 'record')}.yaml"
            if path.exists() or path.is_symlink():
                says = f"there is a record {path.name} already; open it, or give this one another name"
                raise InputError(f"name: {says}", [(("name",), says)])
        elif stamp is None or stamp_of(read_bytes(path, LIMIT)) != stamp:
            if stamp is None:
                says = f"there is a record {path.name} already; open it, or give this one another name"
                raise InputError(f"name: {says}", [(("name",), says)])
            raise Changed(
                f"{name} was changed by another program since it was opened; nothing was written: open it anew, or "
                "save this one under another name"
            )
        return path

    def write(self, path: Path, text: str) -> str:
        """Write a record; the stamp it then has.

        Raises:
            InputError: it cannot be written.
        """
        data = text.encode()
        try:
            self.folder.mkdir(exist_ok=True)
            if not self._within(self.folder):
                raise InputError(f"the folder {FOLDER} leads elsewhere; nothing was written")
            write_whole(path, data)
        except OSError as error:
            reason = (error.strerror or str(error)).lower()
            raise InputError(f"{FOLDER}/{path.name}: cannot be written ({reason}); nothing was saved") from None
        return stamp_of(data)

    def _paths(self) -> list[Path]:
        """Records that lie in the folder itself."""
        try:
            if not self._within(self.folder):
                return []
            return [
                path
                for path in sorted(self.folder.iterdir())[: 10 * MOST]
                if path.suffix.lower() in ENDINGS and not path.name.startswith(".") and path.is_file()
                and self._within(path)
            ][:MOST]  # fmt: skip
        except OSError:
            return []

    def _within(self, path: Path) -> bool:
        return path.resolve().is_relative_to(self._home.resolve() / FOLDER)


def stamp_of(data: bytes) -> str:
    """A name of what a file holds."""
    return hashlib.sha256(data).hexdigest()
