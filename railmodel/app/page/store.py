"""The one place where a job that is open in the page changes: each change counts, and can be taken back."""

import hashlib
from collections import OrderedDict
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from railmodel.app.page.edits import edited
from railmodel.app.page.paths import check_paths, named_in
from railmodel.errors import InputError
from railmodel.job.reader import JobFile, job_from, job_of_tree
from railmodel.job.source import read_bytes
from railmodel.job.yaml_tree import MAX_BYTES, Tree

LEVELS = 200
"""Changes that can be taken back."""

MOST_TEXT = 8_000_000
"""Characters of all texts kept for that."""

_READY = 3
"""Jobs kept as read, so that going back one step is quick."""

_BOM = b"\xef\xbb\xbf"


class Stale(Exception):
    """Somebody else changed the job first."""


@dataclass(frozen=True, slots=True)
class Past:
    """A job file as it was, and what was done to it then, a few words."""

    text: str
    says: str


class Store:
    """A job file with its changes.

    `source` is the job as it now stands, always valid; `rev` goes up by one with every change.
    """

    def __init__(self, path: Path) -> None:
        data = read_bytes(path, MAX_BYTES)
        self.path = path
        self.rev = 0
        self.source = job_from(data, path)
        self.bom = data.startswith(_BOM)
        self.undoes: list[Past] = []
        self.redoes: list[Past] = []
        self.known = set(named_in(self.source.tree.root.data).values())
        self._ready: OrderedDict[str, JobFile] = OrderedDict()

    @property
    def data(self) -> bytes:
        """The job file as it is to be on the disk."""
        return (_BOM if self.bom else b"") + self.source.text.encode()

    def apply(self, rev: Any, op: Any) -> bool:
        """Make an edit.

        Args:
            rev: the revision the edit was made on.
            op: the edit; see `edits.edited`.

        Returns:
            Whether anything changed.

        Raises:
            Stale: the job has changed since.
            InputError: the edit cannot be made, or the job would not be valid; nothing has changed.
        """
        self._check(rev)
        made = edited(self.source, op)
        return self._become(made.tree, made.says)

    def undo(self, rev: Any) -> bool:
        """Take the last change back; False where there is none.

        Raises:
            Stale: the job has changed since.
            InputError: the files that the job names have changed so that it no longer reads.
        """
        return self._step(rev, self.undoes, self.redoes)

    def redo(self, rev: Any) -> bool:
        """Make the change again that was taken back last; see `undo`."""
        return self._step(rev, self.redoes, self.undoes)

    def take(self, data: bytes, says: str) -> bool:
        """Take in a whole file from elsewhere as one change.

        Raises:
            InputError: it is not valid.
        """
        source = job_from(data, self.path)
        self.known |= set(named_in(source.tree.root.data).values())
        self.bom = data.startswith(_BOM)
        return self._become(source.tree, says, source)

    def reread(self) -> None:
        """Read the files that the job names again; counts as a change where they have changed.

        Raises:
            InputError: the job no longer reads with them.
        """
        source = self._read(self.source.tree)
        self._ready.clear()
        if source.shop != self.source.shop:
            self.rev += 1
        self.source = source

    def _check(self, rev: Any) -> None:
        if isinstance(rev, bool) or not isinstance(rev, int):
            raise InputError("rev: found no number; allowed: the revision the change was made on")
        if rev != self.rev:
            raise Stale

    def _become(self, tree: Tree, says: str, source: JobFile | None = None) -> bool:
        if tree.text == self.source.text:
            return False
        source = source or self._read(tree)
        self._keep(self.source)
        self.undoes.append(Past(self.source.text, says))
        self.redoes.clear()
        while len(self.undoes) > LEVELS or sum(len(past.text) for past in self.undoes) > MOST_TEXT:
            del self.undoes[0]
        self.source = source
        self.rev += 1
        return True

    def _step(self, rev: Any, back: list[Past], forth: list[Past]) -> bool:
        self._check(rev)
        if not back:
            return False
        past = back[-1]
        source = self._ready.get(past.text) or job_from(past.text.encode(), self.path)
        self._keep(self.source)
        back.pop()
        forth.append(Past(self.source.text, past.says))
        self.source = source
        self.rev += 1
        return True

    def _keep(self, source: JobFile) -> None:
        self._ready[source.text] = source
        self._ready.move_to_end(source.text)
        while len(self._ready) > _READY:
            self._ready.popitem(last=False)

    def _read(self, tree: Tree) -> JobFile:
        check_paths(tree.root.data, self.path.parent, self.known)
        digest = hashlib.sha256((_BOM if self.bom else b"") + tree.text.encode()).hexdigest()
        return job_of_tree(tree, self.path, digest)
