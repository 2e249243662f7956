"""A process for one long piece of work on a job as it stood: writing files, or solving the fit.

Reads one JSON line from standard input, writes a JSON line for every step to standard output, and ends.
"""

import json
import os
import signal
import sys
from contextlib import suppress
from math import radians
from pathlib import Path
from typing import IO, Any

from railmodel.errors import GeometryError, InputError
from railmodel.frame import build_frame
from railmodel.job.edit import in_file
from railmodel.job.reader import JobFile, job_from
from railmodel.job.yaml_tree import Loc

Message = dict[str, Any]


class Errand:
    """One piece of work."""

    def __init__(self, out: IO[bytes]) -> None:
        self._out = out

    def run(self, message: Message) -> None:
        """Do what a message asks."""
        try:
            source = job_from(message["text"].encode(), Path(message["path"]))
            if message["do"] == "build":
                self._build(source, message)
            else:
                self._solve(source)
        except (InputError, GeometryError) as error:
            self.send({"failed": str(error)})
        except OSError as error:
            reason = (error.strerror or str(error)).lower()
            self.send({"failed": f"{error.filename or 'a file'}: cannot be written ({reason})"})
        except (ArithmeticError, ValueError, LookupError, AssertionError, TypeError, RuntimeError) as error:
            self.send({"failed": f"could not be done ({type(error).__name__}: {error})"})

    def send(self, message: Message) -> None:
        """Tell the page."""
        self._out.write(json.dumps(message, separators=(",", ":"), ensure_ascii=False).encode() + b"\n")
        self._out.flush()

    def _build(self, source: JobFile, message: Message) -> None:
        from railmodel.app.build import plan_build, run_build
        from railmodel.app.page.kinds import kind_of
        from railmodel.app.seal import sealed
        from railmodel.checks import run_checks

        frame = build_frame(source)
        findings = run_checks(frame)
        wanted = message["kinds"]
        every = plan_build(frame, findings, dxf="R2010")
        steps = [step for step in every if wanted == "all" or kind_of(step) in wanted]
        out = Path(message["out"])
        outcomes = run_build(steps, out)
        whole = len(steps) == len(every)
        self.send({"of": len(steps) + 2 * whole})
        for outcome in sealed(outcomes, frame, out, source.path) if whole else outcomes:
            path = outcome.step.path
            written = outcome.problem is None
            self.send(
                {
                    "file": {
                        "path": path.as_posix(),
                        "what": outcome.step.what,
                        "kind": kind_of(outcome.step),
                        "bytes": (out / path).stat().st_size if written else 0,
                        "problem": outcome.problem,
                    }
                }
            )
        self.send({"done": True})

    def _solve(self, source: JobFile) -> None:
        from railmodel.app.fit_answer import fit_answer
        from railmodel.app.fit_limits import largest_angles
        from railmodel.checks import run_checks
        from railmodel.fitting.solve_job import solve_job

        step = source.job.angles_to
        solved = solve_job(source, largest_angles, step=None if step is None else radians(step), tell=self._tell)
        self.send({"says": "measuring what was found"})
        findings = [finding for finding in run_checks(solved.frame) if finding.level == "stop"] if solved.ok else []
        self.send(
            {
                "solved": {
                    "ok": solved.ok,
                    "answer": fit_answer(solved, findings, written=False),
                    "changes": [
                        {"at": list(loc), "from": _written(source, loc), "to": text}
                        for loc, text in solved.changes.items()
                    ],
                    "text": solved.text,
                }
            }
        )

    def _tell(self, missed: float, tried: int, of: int) -> None:
        state = "every wish is met" if missed <= 0 else "not every wish is met yet"
        self.send({"done_so_far": tried, "of": of, "says": f"shape {tried} of {of} looked at: {state}"})


def _written(source: JobFile, loc: Loc) -> str | None:
    """What stands in the job file at a place; None where nothing does."""
    node, exact = source.tree.node(in_file(source.tree.root, loc))
    return " ".join(source.tree.text[node.start : node.end].split()) if exact else None


def main() -> None:
    """Run on standard input and output; whatever else prints goes to standard error."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the page's process ends this one
    out = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    with suppress(BrokenPipeError):
        Errand(out).run(json.loads(sys.stdin.buffer.readline()))


if __name__ == "__main__":
    main()
