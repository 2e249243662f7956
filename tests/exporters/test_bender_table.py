"""The table in a controller's own columns: order, sign, unit, heading, separator, and sums that still hold."""

import csv
import io
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from exporters.bender_table import bender_table
from railmodel.bending.mark_out import MarkOut
from railmodel.bending.work import shop_work
from railmodel.errors import InputError
from railmodel.frame import build_frame
from railmodel.job.layout import Layout, read_layout
from railmodel.job.reader import read_job

HAULER = Path(__file__).parents[2] / "demo_jobs" / "hillside_hauler" / "hauler.yaml"


@pytest.fixture(scope="module")
def marks() -> MarkOut:
    return shop_work(build_frame(read_job(HAULER))).mark_outs[0]


def layout(**keys: object) -> Layout:
    columns = [{"value": "feed"}, {"value": "rotation"}, {"value": "set_angle"}, {"value": "tube_use"}]
    return Layout.model_validate({"layout": "test", "units": "mm", "columns": columns, **keys})


def test_feeds_and_tube_use_and_tail_add_up_to_the_cut_length(marks: MarkOut) -> None:
    lines = list(csv.reader(io.StringIO(bender_table(marks, layout(tail=True)))))
    assert lines[0] == ["feed", "rotation", "set_angle", "tube_use"]
    fed = [float(line[0]) for line in lines[1:]]
    used = [float(line[3]) for line in lines[1:-1]]
    assert sum(fed) + sum(used) == pytest.approx(marks.cut_length, abs=1e-6)


def test_sign_full_circle_places_separator_and_decimal_sign(marks: MarkOut) -> None:
    columns = [
        {"value": "rotation", "title": "TURN", "sign": -1, "places": 1, "full_circle": True},
        {"text": "M03", "title": "x;y"},
    ]
    text = bender_table(marks, layout(columns=columns, separator=";", decimal=",", line_end="lf"))
    lines = text.split("\n")
    assert lines[0] == 'TURN;"x;y"'
    turns = [float(line.split(";")[0].replace(",", ".")) for line in lines[1:-1]]
    wanted = np.round(np.degrees(-marks.reading.line.rows.rotation) % 360, 1)
    assert turns == pytest.approx(wanted.tolist())
    assert all(line.endswith(";M03") for line in lines[1:-1])


def test_a_turned_round_reversal_stays_180(marks: MarkOut) -> None:
    columns = [{"value": "rotation", "sign": -1, "places": 3}]
    lines = bender_table(marks, layout(columns=columns)).split("\r\n")[1:-1]
    assert "180.000" in lines
    assert "-180.000" not in lines


def test_numbers_without_places_come_back_exact(marks: MarkOut) -> None:
    columns = [{"value": "mark"}]
    lines = bender_table(marks, layout(columns=columns, header=False)).split()
    assert [float(line) for line in lines] == [marked.mark for marked in marks.bends]


def test_a_die_named_like_a_formula_stays_text(marks: MarkOut) -> None:
    bends = [replace(one, bend=replace(one.bend, die='=HYPERLINK("x")')) for one in marks.bends]
    told = bender_table(replace(marks, bends=type(marks.bends)(bends)), layout(columns=[{"value": "die"}]))
    _, *rows = csv.reader(io.StringIO(told))
    assert [row[0] for row in rows] == ['\'=HYPERLINK("x")'] * len(bends)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("layout: a\nunits: mm\ncolumns: [{value: spin}]\n", 'found "spin"; allowed: bend, distance'),
        ("layout: a\nunits: mm\ncolumns: []\n", "columns"),
        ("layout: a\nunits: mm\ncolumns: [{value: bend, text: x}]\n", "exactly one of them"),
        ("layout: a\nunits: mm\nending: ../x\ncolumns: [{value: bend}]\n", "allowed: 1 to 8 letters or digits"),
        ("layout: a\nunits: mm\nseparator: ','\ndecimal: ','\ncolumns: [{value: bend}]\n", "one sign for separator"),
        ("- 1\n", "found no keys"),
        ("layout: a\nunits: mm\ncolums: [{value: bend}]\n", 'did you mean "columns"'),
    ],
)
def test_a_layout_that_is_not_valid_is_one_sentence(tmp_path: Path, text: str, says: str) -> None:
    path = tmp_path / "layout.yaml"
    path.write_text(text)
    with pytest.raises(InputError) as caught:
        read_layout(path)
    assert any(says in problem for problem in caught.value.problems), caught.value.problems
