"""The end of a build: an index to read and a manifest to check the files against, made when all else is written."""

from collections.abc import Iterable, Iterator
from pathlib import Path

from railmodel.app.build import Outcome, Step
from railmodel.frame import Frame


def sealed(outcomes: Iterable[Outcome], frame: Frame, out: Path, job_file: Path) -> Iterator[Outcome]:
    """Pass outcomes on, then write index and manifest of what was written.

    An older manifest goes as soon as the first file is new: a build that is broken off leaves none.

    Args:
        outcomes: of the build's steps, in the order they come.
        frame: the job.
        out: the output folder.
        job_file: the job file.
    """
    from exporters.manifest import INDEX, MANIFEST, manifest_of, write_index, write_manifest

    written: list[tuple[Path, str]] = []
    troubles: list[str] = []
    for outcome in outcomes:
        (out / MANIFEST).unlink(missing_ok=True)
        if outcome.problem is None:
            written.append((outcome.step.path, outcome.step.what))
        else:
            troubles.append(f"{outcome.step.path.as_posix()} ({outcome.step.what}): {outcome.problem}")
        yield outcome

    def index(path: Path) -> None:
        write_index(frame, path.parent, written, troubles)

    def manifest(path: Path) -> None:
        listed = [*written, (Path(INDEX), what)]
        write_manifest(manifest_of(frame, path.parent, listed, job_file), path.parent)

    what = "list of the files"
    for step in (
        Step(path=Path(INDEX), what=what, write=index),
        Step(path=Path(MANIFEST), what="SHA-256 of the files, for verify", write=manifest),
    ):
        step.write(out / step.path)
        yield Outcome(step=step)
