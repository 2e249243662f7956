"""Build, measured and correct note themselves in the job's record, once, and never fail for want of it."""

import json
import shutil
from hashlib import sha256
from pathlib import Path

import pytest
from commands import DEMOS, run
from jobfiles import SHOP, parts_file

import railmodel.app.noted
from railmodel.errors import InputError
from railmodel.job.record import Entry, Record, read_record, record_beside

TIE = "- {name: tie, tube: box, points: [[100, -370, 0], [100, 370, 0]]}"


@pytest.fixture
def job(tmp_path: Path) -> Path:
    return parts_file(tmp_path, TIE, SHOP)


def record_of(job: Path) -> Record:
    return read_record(record_beside(job))


def test_a_build_is_noted_with_every_file_and_the_same_build_once(job: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    assert run("build", job, "--out", out).status == 0
    (entry,) = record_of(job).entries
    listed = {path.relative_to(out).as_posix(): path for path in out.rglob("*") if path.is_file()}
    assert entry.kind == "built"
    assert dict(entry.files) == {
        name: sha256(path.read_bytes()).hexdigest() for name, path in listed.items() if name != "manifest.json"
    }
    assert entry.note == f"{len(listed)} files"
    assert entry.fingerprint == json.loads((out / "manifest.json").read_text())["fingerprint"]
    before = record_beside(job).read_bytes()
    assert run("build", job, "--out", out).status == 0
    assert run("build", job, "--out", tmp_path / "elsewhere").status == 0
    assert record_beside(job).read_bytes() == before
    job.write_text(job.read_text().replace("[100, 370, 0]", "[100, 380, 0]"))
    assert run("build", job, "--out", out).status == 0
    assert record_beside(job).read_bytes().startswith(before)
    assert [entry.kind for entry in record_of(job).entries] == ["built", "built"]
    assert run("log", job).out.count("built") == 2


def test_a_build_that_is_not_to_be_noted_touches_the_out_folder_only(job: Path, tmp_path: Path) -> None:
    before = {path: path.read_bytes() for path in tmp_path.iterdir() if path.is_file()}
    assert run("build", job, "--out", tmp_path / "out", "--no-record").status == 0
    assert {path: path.read_bytes() for path in tmp_path.iterdir() if path.is_file()} == before


def test_other_formats_of_the_same_job_are_another_build(job: Path, tmp_path: Path) -> None:
    run("build", job, "--out", tmp_path / "out")
    run("build", job, "--out", tmp_path / "out", "--dxf", "r12")
    first, second = record_of(job).entries
    assert first.fingerprint == second.fingerprint
    assert first.files != second.files


def test_where_nothing_can_be_noted_the_build_is_made_all_the_same(
    job: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(path: Path, entry: Entry) -> bool:
        raise InputError(f"{path}: nothing was recorded (read-only file system); make room or check the folder")

    monkeypatch.setattr(railmodel.app.noted, "append_news", refuse)
    ran = run("build", job, "--out", tmp_path / "out")
    assert ran.status == 0
    assert (tmp_path / "out" / "manifest.json").is_file()
    (line,) = ran.err.splitlines()
    assert "nothing was recorded" in line
    assert "--no-record" in line


def test_a_folder_in_the_records_place_is_a_sentence_and_no_failure(job: Path, tmp_path: Path) -> None:
    record_beside(job).mkdir()
    ran = run("build", job, "--out", tmp_path / "out")
    assert ran.status == 0
    assert len(ran.err.splitlines()) == 1
    assert "cannot be read" in ran.err


def test_what_stops_the_job_is_noted_with_the_build(tmp_path: Path) -> None:
    shutil.copytree(DEMOS, tmp_path / "jobs")
    job = tmp_path / "jobs" / "cannot_bend" / "cannot_bend.yaml"
    ran = run("build", job, "--out", tmp_path / "out")
    assert ran.status == 1
    (entry,) = record_of(job).entries
    assert "findings stop it" in entry.note
    assert "not written" in entry.note


def test_measured_and_corrected_note_themselves_with_what_they_rest_on(tmp_path: Path) -> None:
    shutil.copytree(DEMOS, tmp_path / "jobs")
    folder = tmp_path / "jobs" / "hillside_hauler"
    job, sheet = folder / "hauler.yaml", folder / "measured" / "right_rail.yaml"
    for command in ("measured", "measured", "correct"):
        ran = run(command, job, sheet)
        assert ran.err == ""  # 0 or 1 by how the piece came out
    run("correct", job, sheet, "--no-record")
    entries = record_of(job).entries
    assert [entry.kind for entry in entries] == ["measured", "corrected"]
    assert {entry.part for entry in entries} == {"side rail right"}
    assert {entry.files for entry in entries} == {(("right_rail.yaml", sha256(sheet.read_bytes()).hexdigest()),)}
    assert "right_rail.yaml" in run("log", job).out
    sheet.write_text(sheet.read_text() + "# read again\n")
    run("measured", job, sheet)
    assert len(record_of(job).entries) == 3


def test_a_correction_from_several_records_is_noted_with_all_of_them(tmp_path: Path) -> None:
    shutil.copytree(DEMOS, tmp_path / "jobs")
    folder = tmp_path / "jobs" / "hillside_hauler"
    first = folder / "measured" / "right_rail.yaml"
    second = tmp_path / "second.yaml"
    second.write_text(first.read_text().replace("[15.0, 15.0]", "[15.1, 15.0]"))
    assert run("correct", folder / "hauler.yaml", first, second).err == ""
    (entry,) = record_of(folder / "hauler.yaml").entries
    assert entry.files == tuple((path.name, sha256(path.read_bytes()).hexdigest()) for path in (first, second))
