"""The bench of a job: its records of measurements, and the job built with the shop's newest test bends."""

from pathlib import Path
from threading import Lock
from typing import Any

from railmodel.app.page.bench_files import BenchFiles
from railmodel.bending.work import record_path, shop_work
from railmodel.frame import Frame, build_frame
from railmodel.job.reader import JobFile


class Bench:
    """What the panels of measured pieces and of the job's record share; requests come from several threads."""

    def __init__(self, job: Path) -> None:
        self.files = BenchFiles(job)
        self.writing = Lock()
        """Held while something is written beside the job."""
        self._building = Lock()
        self._held: tuple[JobFile, Any, Frame] | None = None

    def frame(self, source: JobFile) -> Frame:
        """The job with its crossmembers, as the command line would read it now.

        Raises:
            InputError: it cannot be built.
        """
        with self._building:
            held = self._held
            if held is None or held[0] is not source or held[1] != _stamp(held[2]):
                frame = build_frame(source)
                stamp = _stamp(frame)
                shop_work(frame)  # reads the record of test bends
                held = self._held = (source, stamp, frame)
            return held[2]


def _stamp(frame: Frame) -> Any:
    """Changes with the shop's record of test bends."""
    path = record_path(frame)
    try:
        found = None if path is None else path.stat()
    except OSError:
        found = None
    return path, None if found is None else (found.st_mtime_ns, found.st_size, found.st_ino)
