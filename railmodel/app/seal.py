"""The end of a build: an index to read and a manifest to check the files against, made when all else is written."""

from collections.abc import Iterable, Iterator
from pathlib import Path

from railmodel.app.build import Outcome, Step
from railmodel.frame import Frame


def sealed(outcomes: Iterable[Outcome], frame: Frame, out: Path, job_file: Path) -> Iterator[Outcome]:
    """Pass outcomes on, then write index and manifest of what was written.

    An older manifest goes as soon as the first file is new: a build that is broken off leaves none. With it go, once
    all is written, the files that the last build of the same job made and this one does not (of a part that was
    renamed or can no longer be made), where nobody has changed them: nothing old is left to cut or bend from.

    Args:
        outcomes: of the build's steps, in the order they come.
        frame: the job.
        out: the output folder.
        job_file: the job file.
    """
    from exporters.manifest import INDEX, MANIFEST, manifest_of, unchanged, write_index, write_manifest

    written: list[tuple[Path, str]] = []
    troubles: list[str] = []
    before = unchanged(out, job_file)
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
    old = tuple(sorted(before - {INDEX, *(path.as_posix() for path, _ in written)}))
    for name in old:
        (out / name).unlink(missing_ok=True)
    for step, removed in (
        (Step(path=Path(INDEX), what=what, write=index), ()),
        (Step(path=Path(MANIFEST), what="SHA-256 of the files, for verify", write=manifest), old),
    ):
        step.write(out / step.path)
        yield Outcome(step=step, removed=removed)
