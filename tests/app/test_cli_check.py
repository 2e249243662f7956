"""`railmodel check`: findings first, then what was measured; the same in JSON."""

import json
from pathlib import Path

import pytest
from commands import CANNOT_BEND, HAULER, run
from jobfiles import SHOP, parts_file

MARKS = ("STOP ", "WARN ", "note ")

ROLLED = """
- name: rail
  tube: main
  hand: pair
  start: {at: [0, 900, 0]}
  path:
    - straight: 400
    - bend: {toward: top, angle: 20, die: hard 200}
    - straight: 300
    - bend: {toward: inboard, angle: 10, die: easy 120}
    - straight: 300
    - bend: {toward: bottom, angle: 20, die: hard 200}
    - straight: 400
"""


def test_findings_come_first_the_worst_of_them_before_all() -> None:
    ran = run("check", CANNOT_BEND)
    marks = [line[:4] for line in ran.out.splitlines() if line[:5] in MARKS]
    assert marks == sorted(marks, key=("STOP", "WARN", "note").index)
    assert marks.count("STOP") >= 6
    lines = ran.out.splitlines()
    assert lines[: len(marks)] == [line for line in lines if line[:5] in MARKS]
    assert lines[-1].startswith("Findings: ")
    assert lines[-1].split()[1] != "0"


def test_every_part_and_hand_has_a_line_with_its_length() -> None:
    out = run("check", HAULER).out
    for words in (("side rail", "right"), ("side rail", "left"), ("rear cap", "single"), ("middle crossmember",)):
        assert any(all(word in line for word in words) and " in " in line for line in out.splitlines()), words


def test_the_largest_roll_stands_in_the_parts_line(tmp_path: Path) -> None:
    job = parts_file(tmp_path, ROLLED, SHOP)
    out = run("check", job).out
    assert any("rail" in line and "right" in line and "degrees at most" in line for line in out.splitlines())


def test_json_holds_the_contract_and_nothing_else_on_the_screen(tmp_path: Path) -> None:
    ran = run("check", parts_file(tmp_path, ROLLED, SHOP), "--json")
    answer = json.loads(ran.out)
    assert ran.err == ""
    assert answer["job"] == "Test frame"
    assert isinstance(answer["findings"], list)
    assert answer["ok"] is (ran.status == 0)
    rolls = [(roll["part"], roll["hand"], roll["straight"]) for roll in answer["roll"]]
    assert rolls == [("rail", hand, number) for hand in ("right", "left") for number in range(4)]
    right, left = answer["roll"][:4], answer["roll"][4:]
    assert [roll["degrees"] for roll in left] == pytest.approx([-roll["degrees"] for roll in right])


def test_in_a_file_or_a_pipe_long_names_stay_on_their_line(tmp_path: Path) -> None:
    name = "the rail that runs from the cab step to the kick over the rear axle, as drawn by the customer"
    job = parts_file(tmp_path, f"- {{name: '{name}', tube: main, points: [[0, 0, 0], [900, 0, 0]]}}")
    ran = run("check", job)
    assert ran.status == 0
    assert max(len(line) for line in ran.out.splitlines() if line[:5] not in MARKS) <= 120


def test_names_with_square_brackets_are_shown_as_they_are(tmp_path: Path) -> None:
    job = parts_file(tmp_path, "- {name: '[red]rail[/red]', tube: main, points: [[0, 0, 0], [900, 0, 0]]}")
    assert "[red]rail[/red]" in run("check", job).out


def test_numbers_are_exact_and_in_the_jobs_unit() -> None:
    answer = json.loads(run("check", CANNOT_BEND, "--json").out)
    tight = next(found for found in answer["findings"] if found["rule"] == "tight radius")
    assert (tight["unit"], tight["bend"]) == ("in", 1)
    assert (tight["found"], tight["needs"]) == (pytest.approx(1.25), pytest.approx(1.5))
    roll = next(found for found in answer["findings"] if found["rule"] == "roll")
    assert roll["unit"] == "deg"
    assert roll["needs"] % 90 == pytest.approx(0, abs=1e-9)


def test_where_a_fit_point_stands_is_counted_as_the_bend_table_counts(tmp_path: Path) -> None:
    """Straights and bends are numbered from the leading end: at the front of three bends it is straight 0, or 3."""
    to = "to: {part: rail, face: top}, gap: {want: 20, within: 1}"
    point = f"fit_points: [{{name: mount, at: [100, 900, 60], {to}}}]\n"
    for end, straight in (("front", 0), ("rear", 3)):
        job = parts_file(tmp_path, ROLLED.replace("  hand: pair", f"  hand: pair\n  leading_end: {end}"), SHOP)
        job.write_text(job.read_text() + "\n" + point)
        told = " ".join(run("check", job).out.split())
        assert f" straight {straight}," in told
