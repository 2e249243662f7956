"""One long piece of work at a time, in a process of its own: writing files, or solving the fit."""

import asyncio
import json
import sys
from asyncio.subprocess import DEVNULL, PIPE, Process
from collections.abc import Callable
from contextlib import suppress
from itertools import count
from pathlib import Path
from typing import Any

Message = dict[str, Any]

LONGEST = 64 * 1024 * 1024
"""Bytes of one message."""


class Work:
    """What is being done, and what came of it."""

    def __init__(self, news: Callable[[], None], solved: Callable[[int, Message], None]) -> None:
        self._news = news
        self._solved = solved
        self._numbers = count(1)
        self._process: Process | None = None
        self._task: asyncio.Task[None] | None = None
        self.now: Message | None = None
        self.files: list[Message] = []
        self.files_rev: int | None = None
        self.out: Path | None = None

    @property
    def busy(self) -> bool:
        """Whether something is being done."""
        return self.now is not None and self.now["state"] == "running"

    def start(self, kind: str, rev: int, message: Message) -> None:
        """Begin; see `errand`."""
        self.now = {
            "id": next(self._numbers), "kind": kind, "rev": rev, "state": "running", "done": 0, "of": 0,
            "says": "starting",
        }  # fmt: skip
        if kind == "build":
            self.files, self.files_rev, self.out = [], rev, Path(message["out"])
        self._task = asyncio.get_running_loop().create_task(self._run(self.now["id"], message))

    async def stop(self, says: str = "stopped") -> None:
        """Break off; files written already are whole."""
        if self.busy and self.now is not None:
            self.now = {**self.now, "state": "stopped", "says": says}
        process = self._process
        if process is not None and process.returncode is None:
            with suppress(ProcessLookupError):
                process.kill()
            await process.wait()
        if self._task is not None:
            with suppress(asyncio.CancelledError):
                await self._task
        self._news()

    async def _run(self, number: int, message: Message) -> None:
        self._process = process = await asyncio.create_subprocess_exec(
            sys.executable, "-m", "railmodel.app.page.errand", stdin=PIPE, stdout=PIPE, stderr=DEVNULL, limit=LONGEST
        )
        assert process.stdin is not None
        assert process.stdout is not None
        with suppress(ConnectionError):
            process.stdin.write(json.dumps(message).encode() + b"\n")
            await process.stdin.drain()
            process.stdin.close()
        while line := await process.stdout.readline():
            self._hear(json.loads(line))
            self._news()
        await process.wait()
        if self.busy and self.now is not None and self.now["id"] == number:  # the next work may have begun meanwhile
            self.now = {**self.now, "state": "failed", "says": "ended before it was done"}
            self._news()

    def _hear(self, told: Message) -> None:
        if self.now is None or not self.busy:
            return
        if "failed" in told:
            self.now = {**self.now, "state": "failed", "says": told["failed"]}
        elif "file" in told:
            self.files = [*self.files, told["file"]]
            done = self.now["done"] + 1
            self.now = {**self.now, "done": done, "says": told["file"]["path"]}
        elif "solved" in told:
            says = "every wish is met" if told["solved"]["ok"] else "not every wish can be met"
            self.now = {**self.now, "state": "solved", "says": says}
            self._solved(self.now["rev"], told["solved"])
        elif told.get("done") is True:
            problems = sum(file["problem"] is not None for file in self.files)
            written = len(self.files) - problems
            says = f"{written} files written" + (f", {problems} not" if problems else "")
            self.now = {**self.now, "state": "done", "says": says}
        else:
            self.now = {
                **self.now, "done": told.get("done_so_far", self.now["done"]), "of": told.get("of", self.now["of"]),
                "says": told.get("says", self.now["says"]),
            }  # fmt: skip
