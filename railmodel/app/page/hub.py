"""News to every browser that listens: server-sent events (WHATWG HTML, section 9.2)."""

import asyncio
import json
from collections.abc import AsyncIterator
from typing import Any

QUIET = 15.0
"""Seconds after which a comment is sent, so that a lost connection is noticed."""

MOST = 64
"""Listeners at once, and messages that one may lag behind."""


class Hub:
    """Sends each message to everybody."""

    def __init__(self) -> None:
        self._queues: set[asyncio.Queue[bytes | None]] = set()
        self.closing = False

    def send(self, event: str, data: Any) -> None:
        """Tell everybody; who lags far behind misses it and catches up with the next state."""
        text = f"event: {event}\ndata: {json.dumps(data, separators=(',', ':'))}\n\n".encode()
        for queue in self._queues:
            if queue.qsize() < MOST:
                queue.put_nowait(text)

    def close(self) -> None:
        """Say goodbye and end every stream."""
        self.closing = True
        self.send("bye", {})
        for queue in self._queues:
            queue.put_nowait(None)

    @property
    def full(self) -> bool:
        """Whether nobody more can listen."""
        return len(self._queues) >= MOST

    async def listen(self, first: Any) -> AsyncIterator[bytes]:
        """What one browser hears.

        Args:
            first: the state it starts from.
        """
        queue: asyncio.Queue[bytes | None] = asyncio.Queue()
        self._queues.add(queue)
        try:
            yield f"event: state\ndata: {json.dumps(first, separators=(',', ':'))}\n\n".encode()
            while not self.closing or queue.qsize():
                try:
                    message = await asyncio.wait_for(queue.get(), QUIET)
                except TimeoutError:
                    yield b": still here\n\n"
                    continue
                if message is None:
                    return
                yield message
        finally:
            self._queues.discard(queue)
