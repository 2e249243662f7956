"""`railmodel build`: everything written, progress, refusals before any work, and what a killed build leaves."""

import csv
import json
import os
import pty
import re
import select
import signal
import subprocess
import time
from collections.abc import Callable
from pathlib import Path
from xml.etree import ElementTree

import ezdxf
import numpy as np
import pytest
from commands import CANNOT_BEND, command, environment, run
from jobfiles import SHOP, parts_file
from openpyxl import load_workbook
from pypdfium2 import PdfDocument

import exporters.solids
from railmodel.app.build import plan_build, run_build
from railmodel.checks import run_checks
from railmodel.errors import GeometryError, InputError
from railmodel.frame import build_frame
from railmodel.job.reader import read_job
from railmodel.part import RailPart
from railmodel.units import Unit

PARTS = """
- name: rail
  tube: main
  hand: pair
  start: {at: [0, 400, 0]}
  path: [{straight: 300}, {bend: {toward: top, angle: 9}}, {straight: 300}]
- {name: tie, tube: box, points: [[100, -370, 0], [100, 370, 0]]}
"""
FILES = {
    "check.json", "floor/plan.json", "floor/plan.txt", "customer/test_frame.step", "customer/test_frame_ap214.step",
    "customer/test_frame.html",
    "index.html", "manifest.json",
    *(f"floor/{name}.pdf" for name in ("bend_sheets", "setup_cards", "cut_list", "inspection", "tape_check")),
    *(f"cnc/{stem}{ending}" for stem in ("rail_right", "rail_left", "tie")
      for ending in ("_bend_table.json", "_bend_table.csv", "_bend_table.xlsx", ".step")),
    *(f"floor/{stem}_flat_mm.dxf" for stem in ("rail_right", "rail_left", "tie")),
}  # fmt: skip


@pytest.fixture
def job(tmp_path: Path) -> Path:
    """A pair of one bend and a straight tie, with a shop."""
    return parts_file(tmp_path, PARTS, SHOP)


def written(out: Path) -> set[str]:
    return {path.relative_to(out).as_posix() for path in out.rglob("*") if path.is_file()}


def whole_step(path: Path) -> None:
    text = path.read_text(encoding="ascii")  # ISO 10303-21: a file begins and ends with these words
    assert text.startswith("ISO-10303-21;")
    assert text.rstrip().endswith("END-ISO-10303-21;")


def whole_csv(path: Path) -> None:
    with path.open(newline="") as stream:
        assert len(list(csv.DictReader(stream))) >= 1


WHOLE: dict[str, Callable[[Path], object]] = {
    ".json": lambda path: json.loads(path.read_text()),
    ".csv": whole_csv,
    ".xlsx": load_workbook,
    ".dxf": lambda path: ezdxf.readfile(path).audit(),
    ".step": whole_step,
    ".txt": lambda path: path.read_text().index("\n"),
    ".html": lambda path: path.read_text(encoding="utf-8").index("</html>"),
    ".pdf": lambda path: len(PdfDocument(path)),
    ".svg": lambda path: ElementTree.parse(path),
}


def test_it_writes_every_file_of_every_part_and_names_them_line_by_line(job: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    ran = run("build", job, "--out", out)
    assert (ran.status, ran.err) == (0, "")
    assert written(out) >= FILES
    *lines, last = ran.out.splitlines()
    assert {Path(line.split("  ")[0]).as_posix() for line in lines} == written(out)
    assert last == f"{len(lines)} files in {out}"
    for path in out.rglob("*.*"):
        WHOLE[path.suffix](path)


def test_a_second_build_writes_over_the_first(job: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    assert run("build", job, "--out", out).status == 0
    first = {path.name: path.read_bytes() for path in out.rglob("*_bend_table.json")}
    (out / "cnc" / "tie_bend_table.json").write_text("old")
    (out / "mine.txt").write_text("a file of the builder's own")
    assert run("build", job, "--out", out).status == 0
    assert {path.name: path.read_bytes() for path in out.rglob("*_bend_table.json")} == first
    assert (out / "mine.txt").read_text() == "a file of the builder's own"


def test_files_of_a_part_that_was_renamed_go_with_the_next_build(job: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    assert run("build", job, "--out", out).status == 0
    job.write_text(job.read_text().replace("name: tie", "name: brace"))
    ran = run("build", job, "--out", out)
    assert ran.status == 0
    assert "removed: cnc/tie.step, of the last build; this one does not make it" in ran.out.splitlines()
    assert not [name for name in written(out) if "tie" in name]
    assert run("verify", out).status == 0


def test_a_part_that_makes_no_solid_is_named_and_the_rest_is_written(
    job: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    kept = exporters.solids.check_solid

    def broken(part: RailPart, unit: Unit = "mm") -> None:
        if part.label == "rail left":
            raise GeometryError("rail left folds through itself")
        kept(part, unit)

    monkeypatch.setattr(exporters.solids, "check_solid", broken)
    out = tmp_path / "out"
    ran = run("build", job, "--out", out)
    assert ran.status == 1
    assert ran.err == "not written: cnc/rail_left.step (solid of rail left): rail left folds through itself\n"
    missing = FILES - written(out)
    assert missing == {"cnc/rail_left.step"}


def test_why_a_solid_is_not_written_is_said_in_the_jobs_unit(tmp_path: Path) -> None:
    path = tmp_path / "job.yaml"
    path.write_text(
        "job: t\nunits: in\ntubes: {main: {height: 3, width: 2, wall: 0.12}}\nparts: [{name: rail, tube: main, points: "
        "[[0, 0, 0], {at: [20, 0, 0], radius: 8}, {at: [24, 0, 4], radius: 8}, [40, 0, 4]]}]\n"
    )
    steps = [step for step in plan_build(build_frame(read_job(path)), [], dxf="R2010") if step.path.name == "rail.step"]
    (outcome,) = run_build(steps, tmp_path / "out")
    overlap = 2 * 8 * np.tan(np.pi / 8) - np.hypot(4, 4)  # two tangent lengths on one leg
    assert outcome.problem is not None
    assert f"overlap by {overlap:.6g} in;" in outcome.problem
    assert " mm" not in outcome.problem


def test_a_job_with_findings_that_stop_it_is_built_as_far_as_it_goes_and_ends_with_1(tmp_path: Path) -> None:
    out = tmp_path / "out"
    ran = run("build", CANNOT_BEND, "--out", out)
    assert ran.status == 1
    assert "Traceback" not in ran.err
    assert "STOP  doubled point" in ran.err
    assert "not written: cnc/tight_corner.step" in ran.err
    found = written(out)
    assert "cnc/rolled_at_the_end.step" in found
    assert "cnc/tight_corner.step" not in found
    assert not any(name.startswith("cnc/doubled_point") for name in found)
    assert "customer/cannot_bend.step" in found


@pytest.mark.parametrize("place", ["out", "out/deeper", "out/cnc"])
def test_a_file_where_the_folder_goes_is_said_before_any_work(job: Path, tmp_path: Path, place: str) -> None:
    in_the_way = tmp_path / ("out" if place != "out/cnc" else place)
    in_the_way.parent.mkdir(exist_ok=True)
    in_the_way.write_text("a file")
    out = tmp_path / (place if place != "out/cnc" else "out")
    assert "cannot write files here" in run("build", job, "--out", out).sentence
    assert {path.name for path in tmp_path.rglob("*") if path.is_file()} == {"job.yaml", "shop.yaml", in_the_way.name}


def test_a_folder_where_a_file_goes_is_said_before_any_work(job: Path, tmp_path: Path) -> None:
    (tmp_path / "out" / "cnc" / "tie.step").mkdir(parents=True)
    said = run("build", job, "--out", tmp_path / "out").sentence
    assert said.endswith("tie.step: found a folder where a file goes; nothing was written; move it away")
    assert written(tmp_path / "out") == set()


def test_a_folder_nobody_may_write_to_is_said(job: Path) -> None:
    assert "/proc/out: cannot write files here" in run("build", job, "--out", "/proc/out").sentence


def test_a_job_that_cannot_be_read_makes_no_folder(tmp_path: Path) -> None:
    assert run("build", tmp_path / "no.yaml", "--out", tmp_path / "out").status == 2
    assert not (tmp_path / "out").exists()


def test_no_two_files_of_a_build_have_one_name(tmp_path: Path) -> None:
    names = ["Ω", "Ψ", "a b", "a_b", "a-b", "A B"]
    line = "- {{name: {name}, tube: box, points: [[0, 0, 0], [0, 400, 0]]}}"
    parts = "\n".join(line.format(name=name) for name in names)
    frame = build_frame(read_job(parts_file(tmp_path, parts)))
    paths = [step.path.as_posix().lower() for step in plan_build(frame, run_checks(frame), dxf="R2010")]
    assert len(paths) == len(set(paths))
    assert all(re.fullmatch(r"[a-z0-9_/]+\.[a-z]+", path) for path in paths)


def test_the_controllers_table_of_one_part_is_not_the_bend_table_of_another(tmp_path: Path) -> None:
    (tmp_path / "lay.yaml").write_text("layout: l\nunits: mm\nending: csv\ncolumns: [{value: angle}]\n")
    path = "path: [{straight: 300}, {bend: {toward: top, angle: 9}}, {straight: 9}]"
    parts = "\n".join(f"- {{name: {name}, tube: main, {path}}}" for name in ("x", "x bend"))
    frame = build_frame(read_job(parts_file(tmp_path, parts, f"{SHOP}\ntable_layout: lay.yaml\n")))
    paths = [step.path for step in plan_build(frame, [], dxf="R2010")]
    assert Path("cnc", "x_table.csv") in paths
    assert len(paths) == len(set(paths))


def test_a_writer_that_fails_for_want_of_a_shape_does_not_end_the_others(job: Path, tmp_path: Path) -> None:
    frame = build_frame(read_job(job))
    steps = [step for step in plan_build(frame, [], dxf="R2010") if step.path.suffix in (".json", ".csv")]
    steps[1:1] = [type(steps[0])(path=Path("x.step"), what="a solid", write=lambda path: _no_shape())]
    outcomes = list(run_build(steps, tmp_path / "out"))
    assert [outcome.problem for outcome in outcomes].count("no shape") == 1
    assert len(written(tmp_path / "out")) == len(steps) - 1


def _no_shape() -> None:
    raise GeometryError("no shape")


def test_the_folder_is_proved_before_the_first_step(job: Path, tmp_path: Path) -> None:
    (tmp_path / "out").write_text("a file")
    frame = build_frame(read_job(job))
    outcomes = run_build(plan_build(frame, [], dxf="R2010"), tmp_path / "out")
    with pytest.raises(InputError, match="cannot write files here"):
        next(outcomes)


def test_on_a_terminal_it_shows_a_bar_and_no_lines(job: Path, tmp_path: Path) -> None:
    ours, theirs = pty.openpty()
    builder = subprocess.Popen(
        command("build", job, "--out", tmp_path / "out"), env=environment(TERM="xterm", COLUMNS="100"),
        stdout=theirs, stderr=theirs, stdin=theirs, close_fds=True,
    )  # fmt: skip
    os.close(theirs)
    seen = b""
    while True:
        ready, _, _ = select.select([ours], [], [], 60)
        try:
            piece = os.read(ours, 65536) if ready else b""
        except OSError:  # the other end is closed
            piece = b""
        if not piece:
            break
        seen += piece
    os.close(ours)
    assert builder.wait(60) == 0
    text = seen.decode()
    assert "\x1b[" in text  # it moves about on the screen
    assert "━" in text
    assert "writing" in text or "cnc/" in text
    assert "bend table of" not in text
    assert f"files in {tmp_path / 'out'}" in re.sub(r"\s*\r?\n", "", text)


@pytest.mark.parametrize("moment", range(10))
def test_a_build_killed_at_any_moment_leaves_whole_files_only(job: Path, tmp_path: Path, moment: int) -> None:
    rng = np.random.default_rng(moment)
    out = tmp_path / "out"
    builder = subprocess.Popen(
        command("build", job, "--out", out), env=environment(), stdout=subprocess.PIPE, stderr=subprocess.DEVNULL
    )
    assert builder.stdout is not None
    for _ in range(int(rng.integers(1, len(FILES)))):  # so many files are written
        builder.stdout.readline()
    time.sleep(float(rng.uniform(0.0, 0.15)))
    builder.send_signal(signal.SIGKILL)
    builder.stdout.close()
    builder.wait(60)
    found = [path for path in out.rglob("*") if path.is_file() and not path.name.startswith(".")]
    assert found
    for path in found:
        WHOLE[path.suffix](path)
