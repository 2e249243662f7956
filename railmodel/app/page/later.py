"""Things done a little later, and beside what is being done."""

import asyncio
from collections.abc import Callable, Coroutine
from typing import Any


class Later:
    """Timers by name, and tasks that nobody waits for."""

    def __init__(self) -> None:
        self._timers: dict[str, asyncio.TimerHandle] = {}
        self._tasks: set[asyncio.Task[None]] = set()

    def once(self, name: str, seconds: float, do: Callable[[], None]) -> None:
        """Do something once nothing has asked for it again for a while."""
        if name in self._timers:
            self._timers[name].cancel()
        self._timers[name] = asyncio.get_running_loop().call_later(seconds, do)

    def at_most(self, name: str, seconds: float, do: Callable[[], None]) -> None:
        """Do something in a while; what asks for it again before that is served with it."""
        timer = self._timers.get(name)
        if timer is None or timer.cancelled() or timer.when() < asyncio.get_running_loop().time():
            self.once(name, seconds, do)

    def beside(self, work: Coroutine[Any, Any, None]) -> None:
        """Let something run beside everything else."""
        task = asyncio.get_running_loop().create_task(work)
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)

    def stop(self) -> None:
        """Forget everything that has not begun, and break off the rest."""
        for timer in self._timers.values():
            timer.cancel()
        for task in self._tasks:
            task.cancel()
