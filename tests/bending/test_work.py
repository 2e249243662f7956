"""The shop's work on a job: which tools it takes, what the record says of each, and what is said where it is silent."""

from math import degrees, radians
from pathlib import Path

import pytest
from jobfiles import HEAD, frame_of, job_file

from railmodel.bending.work import ToolUse, mark_from, record_path, shop_work
from railmodel.errors import InputError
from railmodel.frame import Frame, build_frame
from railmodel.job.reader import read_job

HEADER = "date,die,tube,wall,grade,heat,set_angle,measured_angle,tube_used,note\n"
SHOP = """\
shop: Test shop
units: mm
bender: {bends: clockwise}
dies:
  hard 200: {height: 80, width: 40, way: hard, radius: 200, grip: 100, tail: 150, mark_offset: 12}
  hard 260: {height: 80, width: 40, way: hard, radius: 260, grip: 100, tail: 150}
  easy 120: {height: 80, width: 40, way: easy, radius: 120, grip: 80, tail: 120}
test_bends: bends.csv
"""
PARTS = """
- name: rail
  tube: main
  hand: pair
  start: {at: [0, 400, 0]}
  path:
    - straight: 300
    - bend: {toward: top, angle: 30, die: hard 200}
    - straight: 400
    - bend: {toward: bottom, angle: 20, die: hard 200}
    - straight: 400
    - bend: {toward: outboard, angle: 25, die: easy 120}
    - straight: 300
"""
LINE = [
    f"2026-01-02,hard 200,main,3,,,{1 + 1.01 * angle},{angle},{0.98 * radians(angle) * 200}," for angle in (10, 45, 90)
]


def frame(folder: Path, *rows: str, parts: str = PARTS, shop: str | None = SHOP) -> Frame:
    (folder / "bends.csv").write_text(HEADER + "".join(f"{row}\n" for row in rows))
    return frame_of(folder, parts, shop)


def tools(found: Frame) -> dict[str | None, ToolUse]:
    return {tool.name: tool for tool in shop_work(found).tools}


def test_each_die_is_asked_once_for_each_tube_way_and_radius(tmp_path: Path) -> None:
    found = shop_work(frame(tmp_path, *LINE))
    assert [(tool.name, tool.tube, tool.way, tool.radius) for tool in found.tools] == [
        ("hard 200", "main", "hard", 200.0), ("easy 120", "main", "easy", 120.0),
    ]  # fmt: skip
    assert [marks.reading.part.label for marks in found.mark_outs] == ["rail right", "rail left"]


def test_the_record_gives_set_angles_and_tube_use(tmp_path: Path) -> None:
    """1 degree + 1 % and 2 % stretch, exactly: 30 degrees is set to 31.3 and takes 98 % of its arc."""
    found = frame(tmp_path, *LINE)
    tool = tools(found)["hard 200"]
    assert (tool.springback.kind, tool.springback.source) == ("fit", "3 test bends")
    assert tool.tube_use.stretch == pytest.approx(0.02, abs=1e-9)
    bend = shop_work(found).mark_outs[0].bends[0]
    assert degrees(bend.set_angle) == pytest.approx(31.3, abs=1e-9)
    assert bend.tube_use == pytest.approx(0.98 * radians(30) * 200, abs=1e-6)
    assert bend.mark_at_gauge - bend.mark == pytest.approx(12)


def test_both_hands_are_set_and_marked_alike_and_from_either_end(tmp_path: Path) -> None:
    found = frame(tmp_path, *LINE)
    right, left = shop_work(found).mark_outs
    assert [bend.mark for bend in right.bends] == pytest.approx([bend.mark for bend in left.bends], abs=1e-9)
    assert [bend.set_angle for bend in right.bends] == [bend.set_angle for bend in left.bends]
    rear = mark_from(found, found.parts[0], "rear")
    assert rear.cut_length == pytest.approx(right.cut_length, abs=1e-9)
    assert [bend.bend.die for bend in rear.bends] == ["easy 120", "hard 200", "hard 200"]
    assert [bend.set_angle for bend in rear.bends] == [bend.set_angle for bend in reversed(right.bends)]


def test_bends_outside_what_was_tested_are_named(tmp_path: Path) -> None:
    """Tested from 28 to 60; the bend of 20 lies below, the one of 30 does not."""
    rows = [f"d,hard 200,main,3,,,{angle + 1},{angle},," for angle in (28, 45, 60)]
    says = [f for f in shop_work(frame(tmp_path, *rows)).findings if f.bend is not None]
    assert [(f.part, f.hand, f.bend) for f in says] == [("rail", "right", 2), ("rail", "left", 2)]
    assert says[0].says.startswith("rail right: bend 2 of 20.0 degrees lies outside the test bends (28 to 60 degrees)")
    assert (says[0].found, says[0].needs) == (pytest.approx(radians(20)), pytest.approx(radians(28)))


def test_a_die_without_test_bends_is_estimated_where_the_grade_is_known(tmp_path: Path) -> None:
    head = HEAD.replace("corner: 6}", "corner: 6, grade: S235JRH}")
    (tmp_path / "bends.csv").write_text(HEADER)
    found = build_frame(read_job(job_file(tmp_path, f"{head}parts:{PARTS}", SHOP)))
    tool = tools(found)["hard 200"]
    assert tool.springback.kind == "estimate"
    assert "least yield 235 MPa (S235)" in tool.springback.source
    assert 0 < degrees(tool.springback.set_angle(radians(90))) - 90 < 3
    warned = [f for f in shop_work(found).findings if f.level == "warn" and "die hard 200, tube main" in f.says]
    assert "springback is an estimate" in warned[0].says
    assert "make a test bend before cutting a rail" in warned[0].says


def test_without_record_and_grade_the_set_angle_is_the_finished_one_and_that_is_said(tmp_path: Path) -> None:
    found = frame(tmp_path)
    assert tools(found)["hard 200"].springback.kind == "none"
    bend = shop_work(found).mark_outs[0].bends[0]
    assert degrees(bend.set_angle) == pytest.approx(30, abs=1e-9)
    assert any("set angles are the finished angles" in f.says for f in shop_work(found).findings)


def test_broken_and_contradictory_rows_are_named_by_line_and_the_others_go_on(tmp_path: Path) -> None:
    found = shop_work(frame(tmp_path, LINE[0], "d,hard 200,main,3,,,29,30,,", "nonsense", *LINE[1:]))
    assert {tool.name: tool.springback.count for tool in found.tools}["hard 200"] == 3
    says = [f.says for f in found.findings if f.rule == "test bend"]
    assert [words.split(":")[0] for words in says] == ["bends.csv line 3", "bends.csv line 4"]
    assert "measured 30 degrees, above the 29 set" in says[0]


def test_a_radius_beside_the_die_asks_the_die_with_that_radius(tmp_path: Path) -> None:
    parts = PARTS.replace("angle: 20, die: hard 200", "angle: 20, die: hard 200, radius: 201")
    found = shop_work(frame(tmp_path, *LINE, parts=parts))
    assert [(tool.name, tool.radius) for tool in found.tools] == [
        ("hard 200", 200), ("hard 200", 201), ("easy 120", 120),
    ]  # fmt: skip
    first, second = found.mark_outs[0].bends[:2]
    assert second.tube_use / radians(20) == pytest.approx(first.tube_use / radians(30) * 201 / 200, rel=0.02)


def test_without_a_shop_there_are_marks_all_the_same(tmp_path: Path) -> None:
    path = "[{straight: 300}, {bend: {toward: top, angle: 30.04, radius: 200}}, {straight: 300}]"
    parts = f"- {{name: rail, tube: main, path: {path}}}"
    found = shop_work(frame_of(tmp_path, parts))
    assert (found.log.bends, found.sense) == ((), "clockwise")
    bend = found.mark_outs[0].bends[0]
    assert (bend.mark, bend.mark_at_gauge) == (300, 300)
    assert degrees(bend.set_angle) == pytest.approx(30.0, abs=1e-9)  # a tenth of a degree, where nobody says
    assert [tool.name for tool in found.tools] == [None]


@pytest.mark.parametrize(
    ("unit", "tape", "step"), [("mm", "1/16", 1.0), ("in", "1/16", 25.4 / 16), ("in", "1/32", 25.4 / 32)]
)
def test_trims_go_by_the_tape_of_the_jobs_unit(tmp_path: Path, unit: str, tape: str, step: float) -> None:
    shop = f"{SHOP}tape_step: {tape}\n"
    job = (
        f"job: Test\nunits: {unit}\ntubes:\n  main: {{height: 80 mm, width: 40 mm, wall: 3 mm}}\nparts:\n"
        "- {name: rail, tube: main, path: [{straight: 99.3 mm}, {bend: {toward: top, angle: 30, die: hard 200}}, "
        "{straight: 300 mm}]}\n"
    )
    (tmp_path / "bends.csv").write_text(HEADER)
    marks = shop_work(build_frame(read_job(job_file(tmp_path, job, shop)))).mark_outs[0]
    assert marks.trim_lead == pytest.approx(step)  # 0.7 mm are wanting


def test_where_the_record_lies(tmp_path: Path) -> None:
    assert record_path(frame(tmp_path)) == tmp_path / "bends.csv"
    elsewhere = tmp_path / "elsewhere" / "other.csv"
    shop = SHOP.replace("bends.csv", str(elsewhere))
    assert record_path(frame_of(tmp_path, PARTS, shop)) == elsewhere
    assert record_path(frame_of(tmp_path, PARTS, SHOP.replace("test_bends: bends.csv\n", ""))) is None
    assert record_path(frame_of(tmp_path, "- {name: bar, tube: main, points: [[0, 0, 0], [500, 0, 0]]}")) is None


def test_a_record_without_its_columns_is_refused_in_one_sentence(tmp_path: Path) -> None:
    found = frame(tmp_path)
    (tmp_path / "bends.csv").write_text("when,what\n1,2\n")
    with pytest.raises(InputError, match="found no column die, tube, set_angle, measured_angle"):
        shop_work(found)


def test_the_work_is_done_once(tmp_path: Path) -> None:
    found = frame(tmp_path, *LINE)
    assert shop_work(found) is shop_work(found)
