"""A process of its own that works out what takes longer, so that the page never waits for it.

Reads a message a line from standard input and writes a message a line to standard output, all JSON. It ends when its
input does.

    {"job": rev, "path": ..., "text": ...}          the job to think about from now on; older ones are dropped
    {"ask": id, "what": "rehearsal", ...}           a question about the latest job
    {"rest": true}                                  rest until anything else comes in, a second at most
"""

import _thread
import json
import os
import signal
import sys
from contextlib import suppress
from pathlib import Path
from queue import Empty, Queue
from threading import Event, Thread
from typing import IO, Any

from railmodel.app.page.rehearsal_view import rehearsal_view
from railmodel.app.page.stages import stages
from railmodel.errors import GeometryError, InputError
from railmodel.frame import Frame, build_frame
from railmodel.job.reader import job_from

Message = dict[str, Any]

RESTS = 1.0
"""Seconds that it rests at most."""


class Thinker:
    """Answers about one job after another."""

    def __init__(self, out: IO[bytes]) -> None:
        self._out = out
        self._inbox: Queue[Message | None] = Queue()
        self._jobs: list[Message] = []
        self._asked: list[Message] = []
        self._frame: tuple[int, Frame] | None = None
        self._closed = False
        self._go = Event()
        self._go.set()

    def rest(self) -> None:
        """Do nothing as long as that is asked for; called between two steps of whatever is being worked out."""
        self._go.wait(RESTS)

    def run(self, lines: IO[bytes]) -> None:
        """Work until the input ends."""
        Thread(target=self._listen, args=(lines,), daemon=True).start()
        while not self._closed:
            self._collect(wait=True)
            while self._jobs and not self._closed:
                self._think(self._jobs.pop())
            self._answer()

    def _listen(self, lines: IO[bytes]) -> None:
        for line in lines:
            message = json.loads(line)
            if message.get("rest"):
                self._go.clear()
                _thread.interrupt_main()
                continue
            self._go.set()
            if "rest" not in message:
                self._inbox.put(message)
        self._go.set()
        self._inbox.put(None)

    def _collect(self, *, wait: bool = False) -> None:
        """Sort what has come in; of several jobs only the last one counts."""
        with suppress(Empty):
            message = self._inbox.get(block=wait)
            while True:
                if message is None:
                    self._closed = True
                elif "job" in message:
                    self._jobs = [message]
                else:
                    self._asked.append(message)
                message = self._inbox.get(block=False)

    def _think(self, message: Message) -> None:
        rev = message["job"]
        try:
            self._frame = None
            frame = build_frame(job_from(message["text"].encode(), Path(message["path"])))
            self._frame = (rev, frame)
            for stage in stages(frame):
                self._send({"rev": rev, **stage})
                self._collect()
                self._answer()
                if self._jobs or self._closed:
                    return
        except (InputError, GeometryError) as error:
            self._send({"rev": rev, "stage": "failed", "says": str(error)})
        except (ArithmeticError, ValueError, LookupError, AssertionError, TypeError, RuntimeError) as error:
            says = f"could not be worked out ({type(error).__name__}); railmodel check on this job says more"
            self._send({"rev": rev, "stage": "failed", "says": says})

    def _answer(self) -> None:
        """Answer what was asked about the job at hand."""
        asked, self._asked = self._asked, []
        for question in asked:
            if self._frame is None:
                self._send({"id": question["ask"], "says": "the job is not ready yet", "busy": True})
                continue
            rev, frame = self._frame
            try:
                found = rehearsal_view(frame, question["part"], question["hand"], question.get("end"))
            except (ArithmeticError, ValueError, LookupError, AssertionError, RuntimeError) as error:
                found = f"could not be worked out ({type(error).__name__})"
            if isinstance(found, str):
                self._send({"id": question["ask"], "says": found})
            else:
                self._send({"id": question["ask"], "answer": {"rev": rev, **found}})

    def _send(self, message: Message) -> None:
        self._out.write(json.dumps(message, separators=(",", ":"), ensure_ascii=False).encode() + b"\n")
        self._out.flush()


def main() -> None:
    """Run on standard input and output; whatever else prints goes to standard error."""
    out = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    thinker = Thinker(out)
    signal.signal(signal.SIGINT, lambda *_: thinker.rest())  # from the keyboard too: the page's process ends this one
    with suppress(BrokenPipeError):
        thinker.run(sys.stdin.buffer)


if __name__ == "__main__":
    main()
