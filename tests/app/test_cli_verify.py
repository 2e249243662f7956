"""`railmodel verify`: files missing, changed and extra, a job that changed, and folders that cannot be asked."""

import json
import shutil
from collections.abc import Callable
from hashlib import sha256
from pathlib import Path

import pytest
from commands import run
from jobfiles import SHOP, parts_file

from railmodel.app.build import Outcome, Step
from railmodel.app.seal import sealed
from railmodel.fingerprint import fingerprint, short
from railmodel.frame import Frame, build_frame
from railmodel.job.reader import read_job

PARTS = """
- name: rail
  tube: main
  hand: pair
  start: {at: [0, 400, 0]}
  path: [{straight: 300}, {bend: {toward: top, angle: 9}}, {straight: 300}]
"""
LISTED = {"file": "a", "what": "", "sha256": "0" * 64}
WORDS = {Path("floor", "a.txt"): "one", Path("cnc", "b.csv"): "two", Path("check.json"): "{}"}


@pytest.fixture
def job(tmp_path: Path) -> Path:
    return parts_file(tmp_path, PARTS, SHOP)


@pytest.fixture
def frame(job: Path) -> Frame:
    return build_frame(read_job(job))


@pytest.fixture
def out(job: Path, frame: Frame, tmp_path: Path) -> Path:
    """A folder sealed as a build seals it, with small files in place of the real ones."""
    folder = tmp_path / "out"
    for name, text in WORDS.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_text(text)
    outcomes = [Outcome(step=Step(path=name, what="a file", write=lambda path: None)) for name in WORDS]
    list(sealed(outcomes, frame, folder, job))
    return folder


def test_a_build_can_be_verified_at_once_and_names_its_files_in_words(job: Path, tmp_path: Path) -> None:
    """The digests are those of the files' bytes: FIPS 180-4, by the standard library."""
    folder = tmp_path / "built"
    assert run("build", job, "--out", folder).status == 0
    manifest = json.loads((folder / "manifest.json").read_text(encoding="utf-8"))
    listed = {one["file"]: one for one in manifest["files"]}
    there = {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()}
    assert set(listed) == there - {"manifest.json"}
    for name, one in listed.items():
        assert one["sha256"] == sha256((folder / name).read_bytes()).hexdigest()
        assert one["what"]
    frame = build_frame(read_job(job))
    assert (manifest["job"], manifest["revision"]) == ("Test frame", "")
    assert manifest["fingerprint"] == fingerprint(frame)
    assert manifest["job_file"] == "../job.yaml"
    ran = run("verify", folder)
    assert (ran.status, ran.err) == (0, "")
    assert ran.out.splitlines() == [
        f"all {len(listed)} files are as they were written",
        f"the job {job} still has fingerprint {short(fingerprint(frame))}",
    ]


def test_what_is_missing_changed_and_extra_is_named(out: Path) -> None:
    (out / "floor" / "a.txt").unlink()
    (out / "cnc" / "b.csv").write_text("twp")
    (out / "floor" / "old.dxf").write_text("from another day")
    (out / ".hidden").write_text("a file system's own")
    ran = run("verify", out)
    assert (ran.status, ran.err) == (1, "")
    assert set(ran.out.splitlines()[:-1]) == {
        "missing: floor/a.txt was written and is not there any more",
        "changed: cnc/b.csv is not as it was written",
        "extra: floor/old.dxf is not from this build",
    }
    assert "still has fingerprint" in ran.out.splitlines()[-1]


def test_a_job_that_changed_is_told_and_comments_change_nothing(out: Path, job: Path) -> None:
    text = job.read_text()
    job.write_text("# looked at on a Monday\n" + text)
    assert run("verify", out).status == 0
    job.write_text(text.replace("angle: 9", "angle: 9.5"))
    ran = run("verify", out)
    assert (ran.status, ran.err) == (1, "")
    all_well, changed = ran.out.splitlines()
    assert all_well == "all 4 files are as they were written"
    assert changed.startswith(f"the job {job} has changed: its fingerprint is ")
    assert changed.endswith("; build again, and do not cut from them")


def test_the_job_can_be_named_where_it_has_moved(out: Path, job: Path, tmp_path: Path) -> None:
    (tmp_path / "elsewhere").mkdir()
    for name in ("job.yaml", "shop.yaml"):
        shutil.move(tmp_path / name, tmp_path / "elsewhere" / name)
    ran = run("verify", out)
    assert ran.status == 2
    assert ran.out == "all 4 files are as they were written\n"
    assert ran.err == f"{job}: the job file is not there; give --job JOB to learn whether the job has changed\n"
    moved = tmp_path / "elsewhere" / "job.yaml"
    ran = run("verify", out, "--job", moved)
    assert (ran.status, ran.err) == (0, "")
    assert str(moved) in ran.out


def test_the_folder_and_the_job_can_move_together(out: Path, tmp_path: Path) -> None:
    (tmp_path / "new").mkdir()
    for name in ("job.yaml", "shop.yaml", "out"):
        shutil.move(tmp_path / name, tmp_path / "new" / name)
    assert run("verify", tmp_path / "new" / "out").status == 0


@pytest.mark.parametrize(
    ("spoil", "says"),
    [
        (lambda folder: (folder / "manifest.json").unlink(), "found no manifest.json; give a folder that railmodel"),
        (lambda folder: put(folder, b"{"), "manifest.json: is not JSON text; build the folder anew"),
        (lambda folder: put(folder, b"\xff"), "manifest.json: is not JSON text; build the folder anew"),
        (lambda folder: put(folder, b"[" * 100_000), "manifest.json: is not JSON text; build the folder anew"),
        (lambda folder: put(folder, b"[]"), "the whole is not what a manifest holds"),
        (lambda folder: change(folder, fingerprint="x"), "fingerprint is not what a manifest holds"),
        (lambda folder: change(folder, version=2), "version is not what a manifest holds"),
        (lambda folder: change(folder, files=[{**LISTED, "file": "../x"}]), "files.0.file is not what a manifest"),
        (lambda folder: change(folder, files=[{**LISTED, "file": "/x"}]), "files.0.file is not what a manifest"),
        (lambda folder: change(folder, files=[{**LISTED, "file": "c:\\x"}]), "files.0.file is not what a manifest"),
        (lambda folder: change(folder, job_file=None), "its manifest names no job file; give --job JOB"),
        (shutil.rmtree, "is no folder; give one that railmodel build has written"),
    ],
)  # fmt: skip
def test_a_folder_that_cannot_be_asked_ends_with_2_and_one_sentence(
    out: Path, spoil: Callable[[Path], object], says: str
) -> None:
    spoil(out)
    ran = run("verify", out)
    assert ran.status == 2
    (line,) = ran.err.splitlines()
    assert says in line


def put(folder: Path, content: bytes) -> None:
    (folder / "manifest.json").write_bytes(content)


def change(folder: Path, **keys: object) -> None:
    path = folder / "manifest.json"
    path.write_text(json.dumps({**json.loads(path.read_text()), **keys}))


def test_a_build_that_is_broken_off_leaves_no_manifest(out: Path, job: Path, frame: Frame) -> None:
    outcomes = (Outcome(step=Step(path=name, what="a file", write=lambda path: None)) for name in WORDS)
    began = sealed(outcomes, frame, out, job)
    next(began)
    assert not (out / "manifest.json").exists()
    assert "found no manifest.json" in run("verify", out).sentence


def test_what_could_not_be_written_is_in_the_index_and_not_in_the_manifest(
    out: Path, job: Path, frame: Frame
) -> None:
    steps = [Step(path=name, what="a file", write=lambda path: None) for name in WORDS]
    outcomes = [Outcome(step=one) for one in steps]
    outcomes[0] = Outcome(step=steps[0], problem="bends <tighter> than the tube")
    found = list(sealed(outcomes, frame, out, job))
    assert [outcome.step.path.name for outcome in found[-2:]] == ["index.html", "manifest.json"]
    assert "floor/a.txt (a file): bends &lt;tighter&gt; than the tube" in (out / "index.html").read_text()
    manifest = json.loads((out / "manifest.json").read_text())
    assert {one["file"] for one in manifest["files"]} == {"cnc/b.csv", "check.json", "index.html"}
    assert not (out / "floor" / "a.txt").exists()  # the one of the build before
    assert run("verify", out).status == 0


def test_what_the_last_build_left_goes_unless_somebody_changed_it(out: Path, job: Path, frame: Frame) -> None:
    (out / "mine.txt").write_text("a file of the builder's own")
    (out / "check.json").write_text("noted on")
    steps = [Step(path=name, what="a file", write=lambda path: None) for name in WORDS]
    (out / "cnc" / "b_2.csv").write_text("two")
    renamed = Outcome(step=Step(path=Path("cnc", "b_2.csv"), what="a file", write=lambda path: None))
    found = list(sealed([Outcome(step=steps[0], problem="folds through itself"), renamed], frame, out, job))
    assert [name for outcome in found for name in outcome.removed] == ["cnc/b.csv", "floor/a.txt"]
    there = {path.relative_to(out).as_posix() for path in out.rglob("*") if path.is_file()}
    assert there == {"cnc/b_2.csv", "check.json", "index.html", "manifest.json", "mine.txt"}


def test_what_another_job_left_in_the_folder_stays(out: Path, job: Path, frame: Frame) -> None:
    other = job.with_name("other.yaml")
    other.write_text(job.read_text())
    step = Step(path=Path("floor", "a.txt"), what="a file", write=lambda path: None)
    found = list(sealed([Outcome(step=step)], frame, out, other))
    assert [name for outcome in found for name in outcome.removed] == []
    assert "extra: cnc/b.csv is not from this build" in run("verify", out).out


def test_the_same_job_gives_the_same_manifest_and_index(out: Path, job: Path, frame: Frame) -> None:
    first = [(out / name).read_bytes() for name in ("index.html", "manifest.json")]
    outcomes = [Outcome(step=Step(path=name, what="a file", write=lambda path: None)) for name in WORDS]
    list(sealed(outcomes, frame, out, job))
    assert [(out / name).read_bytes() for name in ("index.html", "manifest.json")] == first
