"""`railmodel table`: what is chosen, where it goes, and what it refuses."""

import csv
import io
import json
from pathlib import Path

import pytest
from commands import CANNOT_BEND, HAULER, TRAILER, process, run
from jobfiles import SHOP, parts_file
from openpyxl import load_workbook

PARTS = """
- {name: rail, tube: main, hand: pair, path: [{straight: 300}, {bend: {toward: top, angle: 9}}, {straight: 300}]}
- {name: tie, tube: box, points: [[0, -400, 0], [0, 400, 0]]}
"""


@pytest.fixture
def job(tmp_path: Path) -> Path:
    """A pair of one bend and a straight tie, with a shop."""
    return parts_file(tmp_path, PARTS.replace("hand: pair,", "hand: pair, start: {at: [0, 400, 0]},"), SHOP)


def tables(*words: str | Path) -> list[tuple[str, str]]:
    ran = run("table", *words)
    assert (ran.status, ran.err) == (0, "")
    found = json.loads(ran.out)
    assert isinstance(found, list)
    return [(table["part"], table["hand"]) for table in found]


def test_json_of_all_parts_goes_to_standard_output_when_nothing_is_named(job: Path) -> None:
    assert tables(job) == [("rail", "right"), ("rail", "left"), ("tie", "single")]


def test_part_and_hand_choose_and_one_table_is_a_list_too(job: Path) -> None:
    assert tables(job, "--part", "rail") == [("rail", "right"), ("rail", "left")]
    assert tables(job, "--part", "rail", "--hand", "left") == [("rail", "left")]
    assert tables(job, "--part", "tie") == [("tie", "single")]
    assert tables(job, "--hand", "right") == [("rail", "right"), ("tie", "single")]


def test_crossmembers_are_parts_that_can_be_named() -> None:
    assert tables(HAULER, "--part", "front crossmember") == [("front crossmember", "single")]


def test_a_part_that_is_not_there_is_refused_with_the_nearest(job: Path) -> None:
    said = run("table", job, "--part", "rial").sentence
    assert said == '--part: found "rial"; allowed: rail, tie; did you mean "rail"?'
    assert run("table", job, "--part", "Ω\n").sentence == '--part: found "Ω\\n"; allowed: rail, tie'


def test_a_hand_of_what_is_no_pair_is_refused(job: Path) -> None:
    said = run("table", job, "--part", "tie", "--hand", "left").sentence
    assert said == '--hand: found "left"; nothing asked for is a pair; leave --hand out'


def test_csv_on_the_screen_and_in_a_file_are_the_same_bytes(job: Path, tmp_path: Path) -> None:
    shown = run("table", job, "--format", "csv")
    assert run("table", job, "--out", tmp_path / "rows.csv").out == ""
    written = (tmp_path / "rows.csv").read_bytes()
    assert written == shown.out.encode()
    lines = list(csv.reader(io.StringIO(written.decode(), newline="")))
    assert len(lines) == 4
    assert written.count(b"\r\n") == 4


@pytest.mark.parametrize(("name", "kind"), [("rows.json", "json"), ("rows.csv", "csv"), ("rows.XLSX", "xlsx")])
def test_the_ending_says_the_kind(job: Path, tmp_path: Path, name: str, kind: str) -> None:
    target = tmp_path / name
    assert run("table", job, "--out", target).status == 0
    if kind == "json":
        assert len(json.loads(target.read_text())) == 3
    elif kind == "csv":
        assert target.read_text().startswith("job,revision,part")
    else:
        assert len(list(load_workbook(target).active.iter_rows())) == 4


def test_the_format_goes_before_the_ending(job: Path, tmp_path: Path) -> None:
    assert run("table", job, "--format", "json", "--out", tmp_path / "rows.csv").status == 0
    assert len(json.loads((tmp_path / "rows.csv").read_text())) == 3


def test_one_written_table_can_be_read_as_rows(job: Path, tmp_path: Path) -> None:
    assert run("table", job, "--part", "rail", "--hand", "left", "--out", tmp_path / "rail.json").status == 0
    again = tmp_path / "again"
    again.mkdir()
    (again / "rail.json").write_bytes((tmp_path / "rail.json").read_bytes())
    copy = parts_file(again, "- {name: rail, tube: main, hand: pair, rows: {file: rail.json}}", SHOP)
    first = json.loads(run("table", job, "--part", "rail").out)
    second = json.loads(run("table", copy).out)
    assert [table["rows"] for table in first] == [table["rows"] for table in second]


def test_a_spreadsheet_cannot_be_shown(job: Path) -> None:
    assert run("table", job, "--format", "xlsx").sentence.startswith("--format xlsx needs --out FILE")


def test_targets_that_cannot_be_written_are_refused_before_any_work(tmp_path: Path) -> None:
    nowhere = tmp_path / "no.yaml"  # the job is not there either: the target is looked at first
    assert "is a folder; give a file name" in run("table", nowhere, "--out", tmp_path).sentence
    assert "does not exist; make it first" in run("table", nowhere, "--out", tmp_path / "x" / "y.json").sentence
    assert "/proc: cannot write files here" in run("table", nowhere, "--out", "/proc/x.json").sentence
    assert "name too long" in run("table", nowhere, "--out", tmp_path / ("x" * 300)).sentence


def test_parts_that_make_no_shape_are_named_and_the_others_come() -> None:
    ran = run("table", CANNOT_BEND)
    assert ran.status == 1
    found = [table["part"] for table in json.loads(ran.out)]
    assert "tight corner" in found
    assert "doubled point" not in found
    assert "STOP  doubled point: doubled point: points 2 and 3 lie on one spot" in ran.err


def test_only_what_stops_the_part_asked_for_is_said() -> None:
    ran = run("table", CANNOT_BEND, "--part", "doubled point")
    assert (ran.status, json.loads(ran.out)) == (1, [])
    (line,) = ran.err.splitlines()
    assert line.startswith("STOP  doubled point: doubled point:")


def test_inches_and_millimetres_leave_in_the_jobs_unit() -> None:
    units = {json.loads(run("table", job).out)[0]["units"]["length"] for job in (HAULER, TRAILER)}
    assert units == {"in", "mm"}


def test_as_a_process_it_writes_the_same_bytes(job: Path) -> None:
    ran = process("table", job)
    assert (ran.status, ran.err) == (0, "")
    assert ran.out == run("table", job).out
