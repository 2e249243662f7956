"""The one place where a job that is open in the page changes: each change counts, and can be taken back."""

import hashlib
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Generic, TypeVar

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

TROUBLE = (ArithmeticError, AssertionError, AttributeError, LookupError, RecursionError, TypeError, ValueError)
"""What numbers beyond all sense may end in."""

View = TypeVar("View")

_BOM = b"\xef\xbb\xbf"


class Stale(Exception):
    """Somebody else changed the job first."""


@dataclass(frozen=True, slots=True)
class Past:
    """A job file as it was, and what was done to it then, a few words."""

    text: str
    says: str


class Store(Generic[View]):
    """A job file with its changes.

    `source` is the job as it now stands, always valid, and `view` is what is made of it; `rev` goes up by one with
    every change.
    """

    def __init__(self, path: Path, look: Callable[[JobFile], View]) -> None:
        data = read_bytes(path, MAX_BYTES)
        self.path = path
        self.rev = 0
        self._look = look
        self.source = job_from(data, path)
        self.view = self._seen(self.source)
        self.bom = data.startswith(_BOM)
        self.undoes: list[Past] = []
        self.redoes: list[Past] = []
        self.known = set(named_in(self.source.tree.root.data).values())
        self._ready: OrderedDict[str, JobFile] = OrderedDict()
        self._group: str | None = None

    @property
    def data(self) -> bytes:
        """The job file as it is to be on the disk."""
        return self.with_mark(self.source.text)

    def apply(self, rev: Any, op: Any, group: Any = None) -> bool:
        """Make an edit.

        Args:
            rev: the revision the edit was made on.
            op: the edit; see `edits.edited`.
            group: text; right after an edit of the same group it is taken back together with that one.

        Returns:
            Whether anything changed.

        Raises:
            Stale: the job has changed since.
            InputError: the edit cannot be made, or the job would not be valid; nothing has changed.
        """
        self._check(rev)
        made = edited(self.source, op)
        joins = isinstance(group, str) and group == self._group
        changed = self._become(made.tree, made.says, joins=joins)
        if changed:
            self._group = group if isinstance(group, str) else None
        return changed

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

    def reread(self, shop: object) -> bool:
        """Read the files that the job names again; whether the shop is another one than it was.

        Raises:
            InputError: the job no longer reads with them.
        """
        source = self._read(self.source.tree)
        if source.shop == shop:
            return False
        view = self._seen(source)
        self._ready.clear()
        self.rev += 1
        self.source, self.view = source, view
        return True

    def read_afresh(self) -> None:
        """Read the whole job from its text again."""
        source = job_from(self.data, self.path)
        self.source, self.view = source, self._seen(source)

    def with_mark(self, text: str) -> bytes:
        """A text as bytes, with a byte order mark where the file has one."""
        return (_BOM if self.bom else b"") + text.encode()

    def _check(self, rev: Any) -> None:
        if isinstance(rev, bool) or not isinstance(rev, int):
            raise InputError("rev: found no number; allowed: the revision the change was made on")
        if rev != self.rev:
            raise Stale

    def _become(self, tree: Tree, says: str, source: JobFile | None = None, *, joins: bool = False) -> bool:
        if tree.text == self.source.text:
            return False
        source = source or self._read(tree)
        view = self._seen(source)
        self._keep(self.source)
        before = self.undoes.pop().text if joins and self.undoes else self.source.text
        self.undoes.append(Past(before, says))
        self._group = None
        self.redoes.clear()
        while len(self.undoes) > LEVELS or sum(len(past.text) for past in self.undoes) > MOST_TEXT:
            del self.undoes[0]
        self.source, self.view = source, view
        self.rev += 1
        return True

    def _step(self, rev: Any, back: list[Past], forth: list[Past]) -> bool:
        self._check(rev)
        if not back:
            return False
        self._group = None
        past = back[-1]
        source = self._ready.get(past.text) or job_from(past.text.encode(), self.path)
        view = self._seen(source)
        self._keep(self.source)
        back.pop()
        forth.append(Past(self.source.text, past.says))
        self.source, self.view = source, view
        self.rev += 1
        return True

    def _seen(self, source: JobFile) -> View:
        """What is made of a job.

        Raises:
            InputError: nothing can be made of it.
        """
        try:
            return self._look(source)
        except TROUBLE as error:
            raise InputError(f"this makes no job that can be shown ({type(error).__name__}: {error})") from None

    def _keep(self, source: JobFile) -> None:
        self._ready[source.text] = source
        self._ready.move_to_end(source.text)
        while len(self._ready) > _READY:
            self._ready.popitem(last=False)

    def _read(self, tree: Tree) -> JobFile:
        check_paths(tree.root.data, self.path.parent, self.known)
        return job_of_tree(tree, self.path, hashlib.sha256(self.with_mark(tree.text)).hexdigest())
