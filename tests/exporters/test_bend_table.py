"""Bend tables: the keys of the contract, exact numbers, one set of columns in three kinds, and the way back."""

import csv
import io
import json
from math import radians
from pathlib import Path
from time import sleep
from typing import Any

import numpy as np
import pytest
from drawn import centrelines
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from jobfiles import SHOP, frame_of, job_file, parts_file
from openpyxl import load_workbook

from exporters.bend_table import COLUMNS, as_csv, as_json, table_of, write_xlsx
from railmodel.frame import build_frame
from railmodel.geometry.centreline import Centreline
from railmodel.geometry.section import Section
from railmodel.job.reader import read_job
from railmodel.part import End, Hand, RailPart
from railmodel.units import Unit

in_a_folder = settings(suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
CLOSE = 1e-9  # mm

# job-file.md, "Bend table file", key by key and in that order
KEYS = [
    "table", "version", "job", "revision", "part", "hand", "units", "leading_end", "rotation", "lengths", "tube",
    "rows", "tail", "developed_length",
]  # fmt: skip
ROW_KEYS = ["bend", "distance", "rotation", "angle", "radius", "way", "toward", "die"]
TUBE_KEYS = ["height", "width", "wall", "corner"]
TUBE = Section(height=76.2, width=50.8, wall=4.7625, corner=9.525)


def part_of(line: Centreline, **more: Any) -> RailPart:
    return RailPart(name="rail", hand=more.pop("hand", "single"), tube="main", section=TUBE, line=line, **more)


def table(part: RailPart, unit: Unit = "mm", revision: str | None = "B") -> dict[str, Any]:
    return table_of(part, job="Test frame", revision=revision, unit=unit)


@st.composite
def tables(draw: st.DrawFn) -> tuple[dict[str, Any], RailPart, Unit]:
    """A table, the part it is of, and its unit."""
    line = draw(centrelines(0, 6))
    hand: Hand = draw(st.sampled_from(("left", "right", "single")))
    end: End = draw(st.sampled_from(("front", "rear")))
    sides = ("right", "left") if hand == "single" else ("outboard", "inboard")
    part = part_of(line, hand=hand, leading_end=end, sides=sides, dies=("hard 7", None) * 3)
    unit: Unit = draw(st.sampled_from(("in", "mm")))
    return table(part, unit), part, unit


@given(tables())
def test_it_holds_the_keys_of_the_contract_and_no_other(case: tuple[dict[str, Any], RailPart, Unit]) -> None:
    found, part, unit = case
    assert list(found) == KEYS
    assert list(found["tube"]) == TUBE_KEYS
    assert found["units"] == {"length": unit, "angle": "deg"}
    assert (found["table"], found["version"]) == ("bend rows", 1)
    assert (found["part"], found["hand"], found["leading_end"]) == ("rail", part.hand, part.leading_end)
    for number, row in enumerate(found["rows"], start=1):
        assert list(row) == ROW_KEYS
        assert row["bend"] == number
        assert row["way"] in ("hard", "easy")


@given(tables())
def test_its_numbers_are_the_rows_read_from_the_leading_end_unrounded(
    case: tuple[dict[str, Any], RailPart, Unit]
) -> None:
    found, part, unit = case
    rows, scale = part.read.line.rows, 25.4 if unit == "in" else 1.0  # ISO 80000-3: 1 in = 25.4 mm
    for key, want in (("distance", rows.distance), ("radius", rows.radius)):
        assert [row[key] * scale for row in found["rows"]] == pytest.approx(want.tolist(), rel=1e-15)
    for key, want in (("angle", rows.angle), ("rotation", rows.rotation)):
        assert [row[key] for row in found["rows"]] == pytest.approx(np.degrees(want).tolist(), rel=3e-16)
    assert found["tail"] * scale == pytest.approx(float(rows.tail), rel=1e-15)
    assert found["developed_length"] * scale == pytest.approx(float(rows.developed_length), rel=1e-15)
    assert found["tube"]["height"] * scale == pytest.approx(76.2, rel=1e-15)
    total = sum(row["distance"] + row["radius"] * radians(row["angle"]) for row in found["rows"]) + found["tail"]
    assert found["developed_length"] == pytest.approx(total, rel=1e-12)


TYPED = st.integers(1, 3199).map(lambda marks: marks / 16)


@in_a_folder
@given(length=TYPED, radius=TYPED, tail=st.integers(1, 99_999).map(lambda n: n / 1000), tenths=st.integers(1, 1799))
def test_what_was_typed_comes_out_as_it_was_typed(
    tmp_path: Path, length: float, radius: float, tail: float, tenths: int
) -> None:
    bend = f"{{bend: {{toward: top, angle: {tenths / 10}, radius: {radius}}}}}"
    part_text = f"{{name: a, tube: m, path: [{{straight: {length}}}, {bend}, {{straight: {tail}}}]}}"
    for unit in ("mm", "in"):
        text = f"job: x\nunits: {unit}\ntubes: {{m: {{height: 3, width: 2, wall: 1/8}}}}\n"
        path = job_file(tmp_path, f"{text}parts: [{part_text}]\n")
        (part,) = build_frame(read_job(path)).parts
        found = table(part, "in" if unit == "in" else "mm")
        (row,) = found["rows"]
        assert (row["distance"], row["radius"], found["tail"], row["angle"]) == (length, radius, tail, tenths / 10)
        assert found["tube"]["wall"] == 0.125


@pytest.mark.parametrize("length", [88_911.83, 99_999.99, 100_000.0])
def test_a_rail_as_long_as_any_may_be_has_its_table(length: float) -> None:
    # 88,911.83 mm is 3500.5 in: rounded to one digit, 4000 in, it would be longer than any length may be
    found = table(part_of(Centreline.from_points([[0, 0, 0], [length, 0, 0]], [])), "in")
    assert found["tail"] * 25.4 == pytest.approx(length, rel=1e-15)


@given(tables())
def test_json_text_gives_every_number_back_exactly(case: tuple[dict[str, Any], RailPart, Unit]) -> None:
    found, _, _ = case
    assert json.loads(as_json([found])) == [found]
    assert as_json([found]).endswith("\n")


def test_a_bend_without_a_die_says_null(tmp_path: Path) -> None:
    frame = frame_of(tmp_path, """
    - {name: a, tube: main, path: [{straight: 300}, {bend: {toward: top, angle: 9, radius: 222}}, {straight: 300}]}
    - {name: b, tube: main, path: [{straight: 300}, {bend: {toward: top, angle: 9}}, {straight: 300}]}
    """, SHOP)  # fmt: skip
    first, second = (table(part)["rows"][0] for part in frame.parts)
    assert first["die"] is None
    assert '"die": null' in as_json([table(frame.parts[0])])
    assert second["die"] == "hard 200"


def test_the_words_say_sense_first_row_and_length_basis() -> None:
    found = table(part_of(Centreline.from_points([[0, 0, 0], [9, 0, 0]], [])))
    assert "right-handed in the direction of travel from the leading end to the tail" in found["rotation"]
    assert "at the tail looking toward the leading end, positive is counter-clockwise" in found["rotation"]
    assert "The first row is measured from the top face" in found["rotation"]
    assert "between tangents" in found["lengths"]
    assert "along the centreline" in found["lengths"]


def test_the_words_are_true_of_the_numbers() -> None:
    # first toward the top, then +90: seen from the tail toward the leading end (that is, looking toward -t) the second
    # bend lies a quarter turn counter-clockwise from the first
    rows = table(part_of(Centreline.from_points([[0, 0, 0], [900, 0, 0], [1500, 0, 600], [1500, -800, 600]], [99, 99])))
    assert rows["rows"][0]["toward"] == "top"
    assert rows["rows"][1]["rotation"] == pytest.approx(90)
    # heading rearward, the viewer at the tail looks forward: up is up, the vehicle's left is at his left hand
    assert rows["rows"][1]["toward"] == "left"  # from up to his left is counter-clockwise


def test_a_left_hand_table_negates_the_rotations_and_keeps_inboard_and_outboard(tmp_path: Path) -> None:
    right, left = (table(part) for part in frame_of(tmp_path, RAIL).parts)
    assert [row["rotation"] for row in left["rows"]] == [
        180.0 if row["rotation"] == 180.0 else -row["rotation"] + 0.0 for row in right["rows"]
    ]
    for ours, theirs in zip(right["rows"], left["rows"], strict=True):
        assert {**ours, "rotation": 0} == {**theirs, "rotation": 0}
    assert {row["toward"] for row in right["rows"]} == {"top", "bottom", "inboard", "outboard"}


def test_a_rear_led_table_reverses_the_order_and_keeps_sense_and_faces(tmp_path: Path) -> None:
    for hand in (0, 1):
        front = frame_of(tmp_path, RAIL).parts[hand]
        rear = frame_of(tmp_path, RAIL.replace("end: front", "end: rear")).parts[hand]
        ours, theirs = table(front)["rows"], table(rear)["rows"][::-1]
        assert [row["toward"] for row in ours] == [row["toward"] for row in theirs]
        assert [row["angle"] for row in ours] == [row["angle"] for row in theirs]
        assert [row["rotation"] for row in ours[1:]] == [row["rotation"] for row in theirs[:-1]]
        reversed_rows = front.line.rows.reversed()
        assert [radians(row["rotation"]) for row in theirs[::-1]] == pytest.approx(reversed_rows.rotation.tolist())
        assert [row["distance"] for row in theirs[::-1]] == pytest.approx(reversed_rows.distance.tolist())


# csv and xlsx --------------------------------------------------------------------------------------------------------


def flat(found: dict[str, Any]) -> list[dict[str, Any]]:
    """The records a spreadsheet must hold, made here from the JSON keys."""
    shared = {key: found[key] for key in ("job", "revision", "part", "hand", "leading_end", "tail", "developed_length")}
    shared |= {"length_unit": found["units"]["length"], "angle_unit": "deg", **found["tube"]}
    shared |= {"rotation_means": found["rotation"], "lengths_mean": found["lengths"]}
    return [{**shared, **row} for row in found["rows"] or [dict.fromkeys(ROW_KEYS)]]


@given(tables())
def test_csv_holds_the_same_columns_and_numbers(case: tuple[dict[str, Any], RailPart, Unit]) -> None:
    found, _, _ = case
    text = as_csv([found])
    lines = list(csv.DictReader(io.StringIO(text, newline="")))
    assert set(COLUMNS) == set(flat(found)[0])
    for line, record in zip(lines, flat(found), strict=True):
        for name, value in record.items():
            if isinstance(value, float):
                assert float(line[name]) == value
            else:
                assert line[name] == ("" if value is None else str(value))


@settings(in_a_folder, max_examples=10)
@given(case=tables())
def test_xlsx_holds_the_same_columns_and_numbers(case: tuple[dict[str, Any], RailPart, Unit], tmp_path: Path) -> None:
    found, _, _ = case
    write_xlsx([found], tmp_path / "rows.xlsx")
    book = load_workbook(tmp_path / "rows.xlsx")
    assert book.sheetnames == ["bend rows"]
    head, *lines = book["bend rows"].iter_rows(values_only=True)
    assert head == COLUMNS
    for line, record in zip(lines, flat(found), strict=True):
        for name, value in zip(head, line, strict=True):
            want = record[str(name)]
            if isinstance(want, float):
                assert value == pytest.approx(want, rel=1e-15, abs=1e-300)  # a spreadsheet's 16 digits
            else:
                assert value == (want or None)


def test_tables_of_several_parts_follow_one_another_under_one_head(tmp_path: Path) -> None:
    found = [table(part) for part in frame_of(tmp_path, RAIL).parts]
    lines = list(csv.DictReader(io.StringIO(as_csv(found), newline="")))
    assert [(line["hand"], line["bend"]) for line in lines] == [
        (hand, str(number)) for hand in ("right", "left") for number in (1, 2, 3, 4)
    ]
    write_xlsx(found, tmp_path / "rows.xlsx")
    rows = list(load_workbook(tmp_path / "rows.xlsx").active.iter_rows(values_only=True))
    assert len(rows) == 9


@pytest.mark.parametrize("name", ["=1+1", "+A1", "-2+3", "@SUM(A1)", '=HYPERLINK("http://x")', "{=A1}"])
def test_names_like_formulas_stay_text(name: str, tmp_path: Path) -> None:
    part = RailPart(
        name=name, hand="single", tube="main", section=TUBE, line=Centreline.from_points([[0, 0, 0], [9, 0, 0]], [])
    )
    found = table_of(part, job=name, revision=name, unit="mm")
    write_xlsx([found], tmp_path / "rows.xlsx")
    sheet = load_workbook(tmp_path / "rows.xlsx").active
    cells = {cell.value: cell for cell in sheet[1]}
    for column in ("job", "revision", "part"):
        cell = sheet.cell(2, cells[column].column)
        assert (cell.value, cell.data_type) == (name, "s")
    (line,) = csv.DictReader(io.StringIO(as_csv([found]), newline=""))
    assert line["part"].removeprefix("'") == name
    assert line["part"][0] not in "=+-@"


def test_a_spreadsheet_written_later_is_the_same_bytes(tmp_path: Path) -> None:
    found = table(part_of(Centreline.from_points([[0, 0, 0], [900, 0, 0]], [])))
    for name in ("first", "second"):
        write_xlsx([found], tmp_path / name)
        sleep(1.1)  # the kind of file keeps time in whole seconds
    assert (tmp_path / "first").read_bytes() == (tmp_path / "second").read_bytes()


def test_a_part_without_bends_has_one_line_with_its_length(tmp_path: Path) -> None:
    found = table(part_of(Centreline.from_points([[0, 0, 0], [900, 0, 0]], [])))
    (line,) = csv.DictReader(io.StringIO(as_csv([found]), newline=""))
    assert (line["bend"], line["distance"], float(line["tail"]), float(line["developed_length"])) == ("", "", 900, 900)


def test_without_a_revision_the_key_is_there_and_empty() -> None:
    found = table(part_of(Centreline.from_points([[0, 0, 0], [9, 0, 0]], [])), revision=None)
    assert found["revision"] == ""


# and back ------------------------------------------------------------------------------------------------------------

RAIL = """
- name: rail
  tube: main
  hand: pair
  leading_end: front
  start: {at: [100, 700, 500], heading: [1, 0, 0]}
  path:
    - straight: 300
    - bend: {toward: inboard, angle: 12.3, radius: 200}
    - straight: 310
    - bend: {toward: top, angle: 23.4, radius: 210}
    - straight: 320
    - bend: {toward: outboard, angle: 11.1, radius: 220}
    - straight: 330
    - bend: {toward: bottom, angle: 9.9, radius: 230}
    - straight: 340
"""


@pytest.mark.parametrize("heading", ["[1, 0, 0]", "[-1, 0, 0]", "[0, 1, 0]"])
@pytest.mark.parametrize("end", ["front", "rear"])
@pytest.mark.parametrize("hand", ["right", "left", "single"])
@pytest.mark.parametrize("units", ["mm", "in"])
def test_a_table_read_back_as_rows_is_the_same_part(
    tmp_path: Path, heading: str, end: str, hand: str, units: Unit
) -> None:
    text = RAIL.replace("end: front", f"end: {end}").replace("[1, 0, 0]", heading)
    if hand == "single" or heading == "[0, 1, 0]":
        text = text.replace("inboard", "left").replace("outboard", "right")
    if hand == "single":
        text = text.replace("hand: pair", "hand: single")
    first = frame_of(tmp_path, text)
    part = next(part for part in first.parts if part.hand == hand)
    written = table(part, units)
    (tmp_path / "rail.json").write_text(as_json([written]))
    kind = "single" if hand == "single" else "pair"
    again = frame_of(tmp_path, f"""
    - name: rail
      tube: main
      hand: {kind}
      leading_end: {end}
      start: {{at: [100, 700, 500], heading: {heading}}}
      rows: {{file: rail.json}}
    """)  # fmt: skip
    for ours, theirs in zip(first.parts, again.parts, strict=True):
        assert np.abs(ours.line.points - theirs.line.points).max() < CLOSE
        assert [bend.toward for bend in ours.read.bends] == [bend.toward for bend in theirs.read.bends]
    back = table(next(part for part in again.parts if part.hand == hand), units)
    assert as_json([{**back, "rows": []}]) == as_json([{**written, "rows": []}])
    for ours, theirs in zip(written["rows"], back["rows"], strict=True):
        assert ours == pytest.approx(theirs, abs=1e-12)


def test_dies_come_back_with_the_rows(tmp_path: Path) -> None:
    parts = RAIL.replace("radius: 2", "die: hard 200, radius: 2")
    parts = parts.replace("angle: 12.3, die: hard 200", "angle: 12.3, die: easy 120")
    first = build_frame(read_job(parts_file(tmp_path, parts, SHOP)))
    (tmp_path / "rail.json").write_text(as_json(table(first.parts[1])))
    again = frame_of(tmp_path, "- {name: rail, tube: main, hand: pair, rows: {file: rail.json}}", SHOP)
    assert again.parts[0].dies == first.parts[0].dies
    assert "easy 120" in first.parts[0].dies


def test_job_file_needs_no_shop_for_its_tables(tmp_path: Path) -> None:
    path = job_file(tmp_path, "job: x\nunits: in\ntubes: {m: {height: 3, width: 2, wall: 1/8}}\n"
                    "parts: [{name: a, tube: m, path: [{bend: {toward: top, angle: 9, radius: 8}}]}]\n")  # fmt: skip
    (part,) = build_frame(read_job(path)).parts
    assert table(part, "in")["rows"][0]["radius"] == 8.0
