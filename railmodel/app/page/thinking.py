"""The page's side of the process that works out what takes longer."""

import asyncio
import json
import sys
from asyncio.subprocess import DEVNULL, PIPE, Process
from collections.abc import Callable
from contextlib import suppress
from itertools import count
from typing import Any

Message = dict[str, Any]

LONGEST = 64 * 1024 * 1024
"""Bytes of one message."""


class Thinking:
    """A process that thinks about the latest job it was given. It starts when first asked, and again if it dies."""

    def __init__(self, module: str, told: Callable[[Message], None]) -> None:
        self._module = module
        self._told = told
        self._process: Process | None = None
        self._reader: asyncio.Task[None] | None = None
        self._waiting: dict[int, asyncio.Future[Message]] = {}
        self._numbers = count(1)
        self._starting = asyncio.Lock()

    async def give(self, message: Message) -> None:
        """Hand a message over."""
        async with self._starting:
            if self._process is None or self._process.returncode is not None:
                await self._start()
        assert self._process is not None
        assert self._process.stdin is not None
        with suppress(ConnectionError):
            self._process.stdin.write(json.dumps(message, separators=(",", ":")).encode() + b"\n")
            await self._process.stdin.drain()

    def hold(self) -> None:
        """Let it rest for a moment, so that it does not compete with what a person waits for."""
        self._tell(b'{"rest":true}\n')

    def go_on(self) -> None:
        """Let it go on with what it was at."""
        self._tell(b'{"rest":false}\n')

    def _tell(self, line: bytes) -> None:
        """Say something to the process if there is one."""
        if self._process is not None and self._process.returncode is None and self._process.stdin is not None:
            with suppress(ConnectionError):
                self._process.stdin.write(line)

    async def ask(self, message: Message, seconds: float) -> Message:
        """The answer to a question; one that is not there in time is busy."""
        number = next(self._numbers)
        self._waiting[number] = asyncio.get_running_loop().create_future()
        try:
            await self.give({**message, "ask": number})
            return await asyncio.wait_for(self._waiting[number], seconds)
        except TimeoutError:
            return {"busy": True, "says": "this is still being worked out"}
        finally:
            del self._waiting[number]

    async def close(self) -> None:
        """End the process."""
        if self._reader is not None:
            self._reader.cancel()
        if self._process is not None and self._process.returncode is None:
            with suppress(ProcessLookupError):
                self._process.kill()
            await self._process.wait()

    async def _start(self) -> None:
        self._process = await asyncio.create_subprocess_exec(
            sys.executable, "-m", self._module, stdin=PIPE, stdout=PIPE, stderr=DEVNULL, limit=LONGEST
        )
        self._reader = asyncio.create_task(self._read(self._process))

    async def _read(self, process: Process) -> None:
        assert process.stdout is not None
        while line := await process.stdout.readline():
            message = json.loads(line)
            waiting = self._waiting.get(message.get("id", 0))
            if waiting is None:
                self._told(message)
            elif not waiting.done():
                waiting.set_result(message)
        await process.wait()
        self._told({"ended": process.returncode})
