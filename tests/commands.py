"""Running the command line in tests: in this process, or as a process of its own."""

import io
import os
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

from railmodel.app.cli import main

ROOT = Path(__file__).resolve().parents[1]
DEMOS = ROOT / "demo_jobs"
HAULER = DEMOS / "hillside_hauler" / "hauler.yaml"
TRAILER = DEMOS / "lake_trailer" / "trailer.yaml"
CANNOT_BEND = DEMOS / "cannot_bend" / "cannot_bend.yaml"


@dataclass(frozen=True, slots=True)
class Ran:
    """What a command left behind."""

    status: int
    out: str
    err: str

    @property
    def sentence(self) -> str:
        """The one line on standard error of a command that was refused."""
        assert self.status == 2, (self.status, self.err)
        assert self.out == ""
        assert "Traceback" not in self.err
        (line,) = self.err.splitlines()
        return line


def _words(words: tuple[str | Path, ...]) -> list[str]:
    """The words of a command; nothing is noted beside a demo job of the checkout."""
    noting = words[:1] and words[0] in ("build", "measured", "correct")
    demo = any(Path(word).is_relative_to(DEMOS) for word in words[1:2])
    return [*map(str, words), *(["--no-record"] if noting and demo else [])]


def run(*words: str | Path) -> Ran:
    """Run `railmodel` with these words in this process."""
    before = sys.argv, sys.stdout, sys.stderr
    out, err = (io.TextIOWrapper(io.BytesIO(), encoding="utf-8", newline="") for _ in range(2))
    sys.argv, sys.stdout, sys.stderr = ["railmodel", *_words(words)], out, err
    try:
        main()
    except SystemExit as ended:
        status = int(ended.code or 0)
    else:
        status = 0
    finally:
        sys.argv, sys.stdout, sys.stderr = before
    texts = []
    for stream in (out, err):
        stream.flush()
        texts.append(stream.buffer.getvalue().decode())  # type: ignore[attr-defined]
    return Ran(status, *texts)


def command(*words: str | Path) -> list[str]:
    """The words that start `railmodel` as a process."""
    return [sys.executable, "-m", "railmodel", *_words(words)]


def environment(**more: str) -> dict[str, str]:
    """The environment of such a process: it finds the package wherever it is run."""
    return {**os.environ, "PYTHONPATH": str(ROOT), **more}


def process(*words: str | Path, **more: str) -> Ran:
    """Run `railmodel` as a process of its own."""
    ended = subprocess.run(command(*words), capture_output=True, env=environment(**more), timeout=120)
    return Ran(ended.returncode, ended.stdout.decode(), ended.stderr.decode())
