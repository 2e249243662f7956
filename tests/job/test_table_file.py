"""Bend table files read back in as rows: what one program writes, another way round, is the same tube."""

import json
from collections.abc import Callable
from copy import deepcopy
from math import pi, radians
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from exporters.bend_table import as_json, table_of
from railmodel.errors import InputError
from railmodel.geometry.centreline import Centreline, Pose
from railmodel.geometry.rows import BendRows
from railmodel.geometry.section import Section
from railmodel.job.parts import Row
from railmodel.job.reader import read_job
from railmodel.job.table_file import Table, read_table
from railmodel.part import End, RailPart

SECTION = Section(height=76.2, width=50.8, wall=4.7625, corner=9.525)
TABLE: dict[str, Any] = {
    "table": "bend rows", "version": 1, "job": "x", "part": "side rail", "hand": "right",
    "units": {"length": "in", "angle": "deg"}, "leading_end": "front",
    "rows": [
        {"bend": 1, "distance": 20, "rotation": 0, "angle": 15, "radius": 7,
         "way": "hard", "toward": "top", "die": "hard 7"},
        {"bend": 2, "distance": 12.5, "rotation": 90, "angle": 25, "radius": 5,
         "way": "easy", "toward": "inboard", "die": None},
        {"bend": 3, "distance": 8, "rotation": 180, "angle": 25, "radius": 5,
         "way": "easy", "toward": "outboard", "die": "easy 5"},
    ],
    "tail": 40,
}  # fmt: skip


def written(path: Path, table: Any) -> Path:
    path.write_text(table if isinstance(table, str) else json.dumps(table))
    return path


def columns(rows: tuple[Row, ...]) -> BendRows:
    return BendRows.of(
        [row.distance for row in rows], [row.rotation for row in rows], [row.angle for row in rows],
        [row.radius or 0.0 for row in rows], 0.0,
    )  # fmt: skip


@st.composite
def legal_parts(draw: st.DrawFn) -> RailPart:
    """A right or single part whose bends all go toward a face."""
    count = draw(st.integers(0, 5))
    lengths = draw(st.lists(st.floats(0.01, 900), min_size=count + 1, max_size=count + 1))
    turns = draw(st.lists(st.sampled_from([0.0, pi / 2, pi, -pi / 2]), min_size=count, max_size=count))
    angles = draw(st.lists(st.floats(0.05, 2.5), min_size=count, max_size=count))
    forward = draw(st.booleans())
    start = Pose.of([0, 400, 500], [-1 if forward else 1, 0, 0], [0, 0, 1])
    single = draw(st.booleans())
    outside = ("inboard", "outboard") if forward else ("outboard", "inboard")
    line = Centreline(BendRows.of(lengths[:-1], turns, angles, [150.0] * count, lengths[-1]), start)
    dies = tuple(draw(st.sampled_from([None, "hard 7", "easy 5"])) for _ in range(count))
    return RailPart(
        name="side rail", hand="single" if single else "right", tube="main", section=SECTION, line=line,
        sides=("right", "left") if single else outside, dies=dies,  # type: ignore[arg-type]
    )  # fmt: skip


@given(legal_parts(), st.sampled_from(["front", "rear"]), st.booleans(), st.sampled_from(["in", "mm"]))
def test_a_table_written_for_either_hand_and_end_is_the_same_part(
    tmp_path_factory: pytest.TempPathFactory, part: RailPart, end: End, left: bool, unit: Any
) -> None:
    from dataclasses import replace

    shown = replace(part.mirrored() if left and part.hand != "single" else part, leading_end=end)
    path = tmp_path_factory.mktemp("tables") / "table.json"
    path.write_text(as_json([table_of(shown, job="x", revision=None, unit=unit)]))
    rows, tail = read_table(path).for_part(pair=part.hand != "single", forward=part.line.start.t[0] < 0)
    read, wanted = columns(rows), part.line.rows
    for name in ("distance", "rotation", "angle", "radius"):
        assert np.allclose(getattr(read, name), getattr(wanted, name), rtol=0, atol=1e-9), name
    assert tail == pytest.approx(float(wanted.tail), abs=1e-9)
    assert tuple(row.die for row in rows) == part.dies


def test_a_left_hand_table_is_unmirrored_and_a_reversal_stays_180(tmp_path: Path) -> None:
    table = deepcopy(TABLE)
    table["hand"] = "left"
    table["rows"][1]["toward"], table["rows"][2]["toward"] = "outboard", "inboard"
    rows, _ = read_table(written(tmp_path / "t.json", table)).for_part(pair=True)
    assert [row.rotation for row in rows] == pytest.approx([0, -pi / 2, pi])
    rows, _ = read_table(written(tmp_path / "t.json", table)).for_part(pair=False)
    assert [row.rotation for row in rows] == pytest.approx([0, pi / 2, pi])


def test_a_rear_led_table_is_reversed(tmp_path: Path) -> None:
    table = deepcopy(TABLE)
    table["leading_end"] = "rear"
    table["rows"][1]["toward"], table["rows"][2]["toward"] = "outboard", "inboard"
    rows, tail = read_table(written(tmp_path / "t.json", table)).for_part(pair=True)
    assert [row.distance for row in rows] == pytest.approx([40 * 25.4, 8 * 25.4, 12.5 * 25.4])
    assert tail == pytest.approx(20 * 25.4)
    assert [row.die for row in rows] == ["easy 5", None, "hard 7"]


def test_a_table_stands_in_for_the_rows_of_a_part(write: Callable[..., Path], job_text: str) -> None:
    begin, end = job_text.index("    rows:\n"), job_text.index("joints:")
    path = write(job_text[:begin] + "    hand: pair\n    rows: {file: tables/rail.json}\n" + job_text[end:])
    (path.parent / "tables").mkdir()
    written(path.parent / "tables" / "rail.json", TABLE)
    source = read_job(path)
    part = source.job.parts[2]
    assert part.rows is not None
    assert [row.angle for row in part.rows] == pytest.approx([radians(15), radians(25), radians(25)])
    assert part.tail == pytest.approx(40 * 25.4)
    assert source.tables == {"copied from an old sheet": path.parent / "tables" / "rail.json"}


@pytest.mark.parametrize(
    ("rows", "sentence"),
    [
        ("{file: ../rail.json}", "leads out of the job's folder"),
        ("{file: rail.json}", r"rail.json: cannot be read \(no such file or directory\)"),
        ("{file: shop.yaml}", r"shop.yaml:1:1: not readable as JSON: expecting value; write the table again"),
        ("{file: bad.json}", r"rows file: bad.json: tail: found nothing; allowed: a number"),
        ("{fil: rail.json}", r"rows: found a mapping; allowed: a list"),
        ("{file: good.json, x: 1}", r"allowed: rows: \{file: name of a bend table file\}"),
        ("{file: good.json}\n    tail: 4", r"the table file holds the tail; take it out here"),
        ("{file: other.json}", r'found "soft 9"; allowed: hard 7, easy 5'),
    ],
)
def test_a_table_that_cannot_be_read_is_a_problem_of_the_job(
    write: Callable[..., Path], job_text: str, rows: str, sentence: str
) -> None:
    begin, end = job_text.index("    rows:\n"), job_text.index("joints:")
    path = write(job_text[:begin] + f"    hand: pair\n    rows: {rows}\n" + job_text[end:])
    written(path.parent / "good.json", TABLE)
    written(path.parent / "bad.json", {**TABLE, "tail": None})
    written(path.parent / "other.json", json.dumps(TABLE).replace("hard 7", "soft 9"))
    with pytest.raises(InputError, match=sentence) as caught:
        read_job(path)
    assert len(caught.value.problems) == 1
    assert caught.value.problems[0].startswith("hauler.yaml:")


def changed(**values: Any) -> dict[str, Any]:
    return {**deepcopy(TABLE), **values}


def row_changed(**values: Any) -> dict[str, Any]:
    table = deepcopy(TABLE)
    table["rows"][1].update(values)
    return table


WRONG: dict[str, tuple[Any, str]] = {
    "no table": ({"a": 1}, 'found no "table": "bend rows"; allowed: a bend table file'),
    "two tables": ([TABLE, TABLE], "found a list of 2 tables; allowed: one; write it with --part and --hand given"),
    "version": (changed(version=2), "version: found 2; allowed: 1"),
    "unit": (changed(units={"length": "inch", "angle": "deg"}), 'units length: found "inch"; allowed: in, mm'),
    "no units": (changed(units=None), "units length: found nothing; allowed: in, mm"),
    "radians": (changed(units={"length": "in", "angle": "rad"}), 'units angle: found "rad"; allowed: deg'),
    "hand": (changed(hand="both"), 'hand: found "both"; allowed: left, right, single'),
    "end": (changed(leading_end="leading"), 'leading_end: found "leading"; allowed: front, rear'),
    "rows": (changed(rows={}), "rows: found a mapping; allowed: a list of up to 1000 rows"),
    "tail": (changed(tail=-1), "tail: found -1; allowed: a length of 0 or more"),
    "row": (changed(rows=[5]), r"rows\[0\]: found 5; allowed: an object with distance, rotation, angle, radius"),
    "distance": (row_changed(distance=-1), r"rows\[1\] distance: found -1; allowed: a length of 0 or more"),
    "text": (row_changed(distance="4 1/2"), r'rows\[1\] distance: found "4 1/2"; allowed: a number'),
    "truth": (row_changed(angle=True), r"rows\[1\] angle: found True; allowed: a number"),
    "rotation": (row_changed(rotation=-180), r"rows\[1\] rotation: found -180; allowed: degrees above -180 and up to"),
    "angle": (row_changed(angle=180), r"rows\[1\] angle: found 180; allowed: degrees above 0 and below 180"),
    "radius": (row_changed(radius=0), r"rows\[1\] radius: found 0; allowed: a length above 0"),
    "far": (row_changed(distance=1e8), r"rows\[1\] distance: .*lengths from -100 m to 100 m"),
    "way": (row_changed(way="flat"), r'rows\[1\] way: found "flat"; allowed: hard, easy'),
    "number": (row_changed(bend=3), r"rows\[1\] bend: found 3; allowed: 2; the rows stand in bending order"),
    "die": (row_changed(die="a\nb"), r"rows\[1\] die: found .*; allowed: a die's name, or null"),
    "face": (row_changed(toward="outboard"), r'rows\[1\] toward: found "outboard", but .*"inboard" \(90.0'),
    "top face": (row_changed(rotation=0), r'rows\[1\] toward: found "inboard", but .* toward "top"'),
    "not JSON": ("{", "t.json:1:2: not readable as JSON: "),
    "nan": (json.dumps(row_changed(angle=float("nan"))), "found NaN; allowed: finite numbers"),
    "infinity": (json.dumps(changed(tail=float("inf"))), "found Infinity; allowed: finite numbers"),
    "1e999": (json.dumps(TABLE).replace('"tail": 40', '"tail": 1e999'), "tail: found inf; allowed: a number"),
    "twice": ('{"table": "bend rows", "table": 1}', 'found the key "table" twice in one object'),
    "deep": ("[" * 100_000, "values nested too deep for a bend table"),
    "many digits": ('{"tail": ' + "9" * 5000 + "}", "t.json: "),
}  # fmt: skip


@pytest.mark.parametrize(("table", "sentence"), WRONG.values(), ids=WRONG)
def test_a_wrong_table_is_one_sentence(tmp_path: Path, table: Any, sentence: str) -> None:
    with pytest.raises(InputError, match=sentence) as caught:
        read_table(written(tmp_path / "t.json", table)).for_part(pair=True)
    assert caught.value.problems[0].startswith("t.json:")
    assert all(line.isprintable() for line in caught.value.problems)


def test_columns_that_only_help_a_reader_may_be_left_out(tmp_path: Path) -> None:
    table = deepcopy(TABLE)
    for row in table["rows"]:
        for name in ("bend", "way", "toward", "die"):
            del row[name]
    read = read_table(written(tmp_path / "t.json", [table]))
    assert isinstance(read, Table)
    assert read.dies == (None, None, None)


def test_a_table_of_a_part_that_heads_forward_has_its_sides_the_other_way_round(tmp_path: Path) -> None:
    table = deepcopy(TABLE)
    table["rows"][1]["toward"], table["rows"][2]["toward"] = "outboard", "inboard"
    read = read_table(written(tmp_path / "t.json", table))
    read.for_part(pair=True, forward=True)
    with pytest.raises(InputError, match='toward "inboard"'):
        read.for_part(pair=True, forward=False)


@given(st.binary(max_size=60) | st.text('[]{}:,"truefalsn0123456789.eE-+ \n', max_size=80).map(str.encode))
def test_no_bytes_raise_anything_else(tmp_path_factory: pytest.TempPathFactory, raw: bytes) -> None:
    path = tmp_path_factory.getbasetemp() / "any.json"
    path.write_bytes(raw)
    with pytest.raises(InputError):
        read_table(path)
