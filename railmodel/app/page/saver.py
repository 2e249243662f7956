"""Keeps the job file on the disk as the page has it: shortly after the last good edit, whole or not at all.

A file that another program has changed is never written over: what is there then waits for a person to say which of
the two is to stay.
"""

import hashlib
from contextlib import suppress
from difflib import unified_diff
from glob import escape
from pathlib import Path
from time import time
from typing import Any, Literal

from railmodel.errors import InputError
from railmodel.files import write_whole
from railmodel.job.source import decoded, read_bytes
from railmodel.job.yaml_tree import MAX_BYTES, read_tree

State = Literal["saved", "waiting", "failed", "outside"]

WAIT = 0.7
"""Seconds after the last edit."""

BACKUP = ".bak"

STALE = 60.0
"""Seconds after which a file that is being written is one no longer."""


def tidy(path: Path) -> None:
    """Take away halves of a file that a page which was killed has left beside it."""
    for half in path.parent.glob(f".{escape(path.name[:40])}.*.part"):
        with suppress(OSError):
            if time() - half.stat().st_mtime > STALE:
                half.unlink()


class Saver:
    """One job file on the disk.

    `state` is what a person should know of it, `says` the same in words.
    """

    def __init__(self, path: Path, data: bytes) -> None:
        self.path = path
        self.state: State = "saved"
        self.says = "saved"
        self._disk = hashlib.sha256(data).hexdigest()
        self._last = data
        self._stamp = _stamp_of(self.path)
        self._theirs: Any = None
        self._met: Any = None
        self._kept = False

    def answer(self) -> dict[str, str]:
        """As the page shows it."""
        return {"state": self.state, "says": self.says}

    def waits(self) -> None:
        """Note that there is something to write."""
        if self.state != "outside":
            self._is("waiting", "not saved yet")

    def holds(self, data: bytes) -> bool:
        """Whether the file on the disk is this, as far as is known."""
        return self._last == data and self.state != "failed"

    def save(self, data: bytes) -> None:
        """Write, unless another program has; problems are noted and nothing is lost."""
        if self.state == "outside" or self.look():
            return
        if self.holds(data):  # changed and changed back
            self._is("saved", "saved")
        else:
            self._write(data)

    def look(self) -> bool:
        """Whether another program has changed the file; then nothing more is written until somebody decides."""
        stamp = _stamp_of(self.path)
        if self.state != "outside" and stamp != self._stamp:
            found = self._read()
            if found is None or hashlib.sha256(found).hexdigest() != self._disk:
                self._theirs = stamp
                gone = "was taken away" if found is None else "was changed by another program"
                self._is("outside", f"{self.path.name} {gone}; choose which of the two to keep")
                return True
            self._stamp = stamp
        return self.state == "outside"

    def again(self) -> bool:
        """Whether another program has written once more since this was last asked, while nobody has decided."""
        stamp = _stamp_of(self.path)
        moved = self.state == "outside" and stamp != self._theirs
        self._theirs = stamp
        return moved

    def theirs(self) -> bytes:
        """What the other program wrote.

        Raises:
            InputError: it cannot be read.
        """
        self._met = _stamp_of(self.path)  # before it is read: what is written from then on is something new
        return read_bytes(self.path, MAX_BYTES, self.path.name)

    def settle(self, data: bytes, *, write: bool) -> None:
        """Somebody has decided: write ours over it, with theirs kept beside it, or take theirs as it is."""
        if write:
            self._write(data, beside=self._read())
        else:
            self._took(data, self._met)

    def difference(self, data: bytes) -> list[dict[str, str]]:
        """Lines that differ, from ours to theirs.

        Raises:
            InputError: theirs cannot be read.
        """
        ours, theirs = (decoded(one, self.path.name).splitlines() for one in (data, self.theirs()))
        found = list(unified_diff(ours, theirs, n=1, lineterm=""))[2:]
        return [{"mark": line[:1], "text": line[1:]} for line in found if not line.startswith("@@")][:2000]

    def _write(self, data: bytes, beside: bytes | None = None) -> None:
        try:
            read_tree(data, self.path.name)  # nothing is written that could not be read again
            if beside is not None or not self._kept:
                self._beside(self._last if beside is None else beside)
            write_whole(self.path, data)
        except (OSError, InputError) as error:
            reason = (getattr(error, "strerror", None) or str(error)).lower()
            self._is("failed", f"{self.path.name} cannot be written ({reason}); your changes are only in this page")
            return
        self._took(data, _stamp_of(self.path))

    def _took(self, data: bytes, stamp: Any) -> None:
        self._disk = hashlib.sha256(data).hexdigest()
        self._last = data
        self._stamp = stamp
        self._is("saved", "saved")

    def _beside(self, data: bytes) -> None:
        """Keep what stood there under a name of its own; once for what the page found when it was opened."""
        write_whole(self.path.with_name(self.path.name + BACKUP), data)
        self._kept = True

    def _is(self, state: State, says: str) -> None:
        self.state, self.says = state, says

    def _read(self) -> bytes | None:
        try:
            return self.theirs()
        except InputError:
            return None


def _stamp_of(path: Path) -> Any:
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_mtime_ns, found.st_size, found.st_ino
