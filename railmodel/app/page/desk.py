"""A job on the desk: the store, what is known of it, the file on the disk, and everybody who looks at it."""

import asyncio
from collections.abc import Callable
from pathlib import Path
from typing import Any

from railmodel.app.page.hub import Hub
from railmodel.app.page.known import Known
from railmodel.app.page.later import Later
from railmodel.app.page.mesh_bank import MeshBank, Named
from railmodel.app.page.saver import WAIT, Saver, tidy
from railmodel.app.page.scene import Scene, SceneMaker, rails_only
from railmodel.app.page.store import TROUBLE, Stale, Store
from railmodel.app.page.thinking import Thinking
from railmodel.app.page.work import Work
from railmodel.errors import InputError
from railmodel.frame import Frame, build_frame
from railmodel.job.reader import job_from

Message = dict[str, Any]

REST = 0.25
"""Seconds without an edit before the slow checks begin: they leave the processor to the picture until it is there."""

LOOK = 2.0
"""Seconds between looks at the files on the disk."""

NEWS = 0.2
"""Seconds between two reports of work that is being done."""


class Desk:
    """One job that is open. Everything here runs in the server's one event loop."""

    def __init__(self, path: Path) -> None:
        self.path = path.resolve()
        self.bank = MeshBank()
        self._maker = SceneMaker(self.bank)
        self.store: Store[Scene] = Store(self.path, self._maker.scene)
        self.saver = Saver(self.path, self.store.data)
        self.known = Known(self.bank)
        self.hub = Hub()
        self.work = Work(self._work_news, self._solved)
        self.thinking = Thinking("railmodel.app.page.thinker", self._told)
        self.solve: Message | None = None
        self.solved_meshes: list[Named] = []
        self.turn = 0
        self._later = Later()
        self.saving = False
        self._whole: tuple[int, Frame] | None = None

    @property
    def key(self) -> str:
        """Changes with everything that a browser shows."""
        return f"{self.store.rev}.{self.turn}"

    def open(self) -> None:
        """Begin to work: look at the disk now and then, and think."""
        tidy(self.path)
        self._later.beside(look_around(self))
        self._think()

    async def close(self) -> None:
        """Save what is not saved and end everything."""
        while self.saving:
            await asyncio.sleep(0.01)
        self._later.stop()
        if not self.saver.holds(self.store.data):
            self.saver.save(self.store.data)
        self.hub.close()
        await self.work.stop()
        await self.thinking.close()

    def change(self, make: Callable[[], bool]) -> None:
        """Change the job.

        Args:
            make: changes the store; says whether anything changed.

        Raises:
            Stale: somebody else was first.
            InputError: it is not to be; nothing has changed.
        """
        changed = False
        self.thinking.hold()
        try:
            changed = make()
        except TROUBLE as error:
            raise InputError(f"this cannot be done to the job ({type(error).__name__})") from None
        finally:
            if not changed:
                self.thinking.go_on()
        if changed:
            self._changed()

    def settle(self, keep: Any) -> None:
        """Decide between this page's job and what another program has written to its file.

        Raises:
            InputError: neither is named, or theirs does not read.
        """
        if keep not in ("mine", "theirs"):
            raise InputError('keep: allowed: "mine", "theirs"')
        if self.saver.state != "outside":
            raise InputError("the file on the disk is as this page wrote it; there is nothing to decide")
        if keep == "mine":
            self.saver.settle(self.store.data, write=True)
        else:
            data = self.saver.theirs()
            changed = self.store.take(data, "take in what another program wrote")
            self.saver.settle(data, write=False)
            if changed:
                self._changed(saved=True)
        self.news()

    def accept(self, rev: Any) -> None:
        """Take the solved values into the job.

        Raises:
            InputError: there are none.
            Stale: the job has changed since they were found.
        """
        if self.solve is None:
            raise InputError("there is nothing solved to accept")
        if rev != self.store.rev or self.solve["rev"] != self.store.rev:
            raise Stale
        text = self.solve["text"]
        self.discard()
        self.change(lambda: self.store.take(self.store.with_mark(text), "accept the solved values"))

    def discard(self) -> None:
        """Forget what was solved."""
        self.solve, self.solved_meshes = None, []
        self.news()

    def whole_frame(self) -> Frame:
        """The job built with its crossmembers."""
        if self._whole is None or self._whole[0] != self.store.rev:
            self._whole = (self.store.rev, build_frame(self.store.source))
        return self._whole[1]

    @property
    def meshes(self) -> list[Named]:
        """Every mesh of the picture as it now stands."""
        return [*self.store.view.meshes, *self.known.meshes, *self.solved_meshes]

    def news(self) -> None:
        """Tell everybody that there is something new to see."""
        self.turn += 1
        self.hub.send("state", {"rev": self.store.rev, "key": self.key})

    def _changed(self, *, saved: bool = False) -> None:
        if not saved:
            self.saver.waits()
            self._later.once("save", WAIT, self._save)
        self.think_soon()
        self.bank.trim(self.meshes)
        self.news()

    def _save(self) -> None:
        """Write the job file beside everything else; one writing at a time."""
        if self.saving:
            self._later.once("save", WAIT, self._save)
        else:
            self._later.beside(self._save_aside())

    async def _save_aside(self) -> None:
        self.saving = True
        try:
            await asyncio.to_thread(self.saver.save, self.store.data)
        finally:
            self.saving = False
        if self.saver.state == "saved" and not self.saver.holds(self.store.data):  # edited meanwhile
            self.saver.waits()
            self._later.once("save", WAIT, self._save)
        self.turn += 1
        self.hub.send("saved", {**self.saver.answer(), "key": self.key})

    def think_soon(self) -> None:
        """Begin the slow checks once no edit has come for a moment."""
        self._later.once("think", REST, self._think)

    def _think(self) -> None:
        message = {"job": self.store.rev, "path": str(self.path), "text": self.store.source.text}
        self._later.beside(self.thinking.give(message))

    def _told(self, message: Message) -> None:
        """Take in what the process beside the page has found, or that it has ended."""
        if "ended" in message:
            says = "working this out was broken off; the next change begins it anew"
            message = {"rev": self.store.rev, "stage": "failed", "says": says}
        if "stage" not in message or message["rev"] != self.store.rev:
            return
        self.known.hear(message)
        own = dict(zip(self.store.view.labels, self.store.view.keys, strict=True))
        if message["stage"] == "fit" and own != self.known.keys:
            self.store.read_afresh()  # a quick reading must come to what a full one does
        self.news()

    def _solved(self, rev: int, found: Message) -> None:
        source = job_from(found["text"].encode(), self.path)
        parts = build_frame(rails_only(source)).parts
        self.solved_meshes = self._maker.part_meshes(parts, prefix="solved ", kind="solved")
        self.solve = {"rev": rev, **found}

    def _work_news(self) -> None:
        """Report work at a pace that can be read; its end at once."""
        if self.work.busy:
            self._later.at_most("work", NEWS, lambda: self.hub.send("work", self.work.now))
            return
        self.hub.send("work", self.work.now)
        self.news()


async def look_around(desk: Desk) -> None:
    """See now and then whether another program has changed the job or its shop."""
    shop = _shop(desk)
    while True:
        await asyncio.sleep(LOOK)
        if desk.saving:
            continue  # what it would find is half of the page's own
        if desk.saver.state != "outside" and desk.saver.look():
            desk.hub.send("outside", {"says": desk.saver.says})
            desk.news()
        elif desk.saver.again():
            desk.news()  # what differs is shown anew
        now = _shop(desk)
        if now != shop:
            shop = now
            reread(desk)


def reread(desk: Desk) -> None:
    """Take in a shop file that has changed."""
    try:
        if desk.store.reread(desk.store.source.shop):
            desk.think_soon()
            desk.news()
    except InputError as error:
        desk.known.fail(desk.store.rev, str(error))
        desk.news()


def _shop(desk: Desk) -> Any:
    path = desk.store.source.shop_path
    try:
        found = None if path is None else path.stat()
    except OSError:
        found = None
    return path, None if found is None else (found.st_mtime_ns, found.st_size)
