"""What `check` answers, as data and as lines."""

import json
from dataclasses import replace
from math import degrees
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from commands import CANNOT_BEND
from hypothesis import given
from hypothesis import strategies as st
from jobfiles import frame_of

from railmodel.app.answers import check_answer, finding_answer, rolls
from railmodel.app.finding_lines import finding_lines
from railmodel.checks import run_checks
from railmodel.findings import Finding, Level, stops, worst_first
from railmodel.frame import build_frame
from railmodel.job.reader import read_job

# job-file.md, "Commands"
FINDING_KEYS = {"rule", "level", "part", "hand", "bend", "where", "says", "found", "needs", "unit"}
LEVELS: tuple[Level, ...] = ("stop", "warn", "note")


def finding(**more: Any) -> Finding:
    return replace(Finding(rule="grip", level="stop", says="rail right: too short"), **more)


@pytest.mark.parametrize(
    ("unit", "found", "needs", "shown"),
    [("length", 1.0, 2.0, "in"), ("angle", degrees(25.4), 45.0, "deg"), ("", 25.4, 50.8, "")],
)
def test_a_finding_leaves_in_the_jobs_unit_and_degrees(unit: Any, found: float, needs: float, shown: str) -> None:
    given_needs = 50.8 if unit != "angle" else np.radians(45.0)
    made = finding(part="rail", hand="right", bend=2, where=(25.4, 0, 50.8), found=25.4, needs=given_needs, unit=unit)
    answer = finding_answer(made, "in")
    assert set(answer) == FINDING_KEYS
    assert answer["where"] == [1.0, 0.0, 2.0]
    assert (answer["found"], answer["needs"], answer["unit"]) == (pytest.approx(found), pytest.approx(needs), shown)


def test_what_a_finding_does_not_know_is_null() -> None:
    answer = finding_answer(finding(), "mm")
    assert [answer[key] for key in ("part", "hand", "bend", "where", "found", "needs")] == [None] * 6


def test_check_json_holds_the_keys_of_the_contract(tmp_path: Path) -> None:
    frame = build_frame(read_job(CANNOT_BEND))
    findings = run_checks(frame)
    answer = check_answer(frame, findings)
    assert {"job", "ok", "findings", "roll"} <= set(answer)
    assert answer["job"] == "Cannot bend"
    assert answer["ok"] is False
    assert len(answer["findings"]) == len(findings)
    for said in answer["findings"]:
        assert set(said) == FINDING_KEYS
        assert said["level"] in LEVELS
        assert said["hand"] in (None, "left", "right", "single")
        assert said["says"].count("\n") == 0
    assert json.loads(json.dumps(answer, allow_nan=False)) == answer


def test_roll_is_listed_for_every_straight_from_the_leading_end(tmp_path: Path) -> None:
    parts = """
    - name: rail
      tube: main
      leading_end: {end}
      path: [{{straight: 300}}, {{bend: {{toward: top, angle: 20, radius: 200}}}}, {{straight: 310}},
             {{bend: {{toward: left, angle: 10, radius: 200}}}}, {{straight: 320}}]
    - {{name: post, tube: main, points: [[0, 0, 0], [0, 0, 500]], top: [1, 0, 0]}}
    """
    front, rear = (rolls(frame_of(tmp_path, parts.format(end=end))) for end in ("front", "rear"))
    assert [(one["part"], one["hand"], one["straight"]) for one in front] == [
        ("rail", "single", 0), ("rail", "single", 1), ("rail", "single", 2), ("post", "single", 0),
    ]  # fmt: skip
    assert front[-1]["degrees"] is None  # it stands upright
    assert front[0]["degrees"] == pytest.approx(0, abs=1e-9)
    assert [one["degrees"] for one in rear[:3]] == pytest.approx([-one["degrees"] for one in front[2::-1]])
    # up 20 then aside 10: tan(roll) = tan(20 degrees) sin(10 degrees), the solid-angle relation, by hand
    by_hand = np.degrees(np.arctan(np.tan(np.radians(20)) * np.sin(np.radians(10))))
    assert abs(front[2]["degrees"]) == pytest.approx(by_hand)


def test_what_is_said_of_both_hands_is_said_once() -> None:
    both = [finding(part="rail", hand=hand, says=f"rail {hand}: bend 1 is short") for hand in ("right", "left")]
    assert list(finding_lines(both)) == ["STOP  grip: rail: bend 1 is short (right and left hand)"]


def test_what_is_said_of_one_hand_or_a_single_part_stands_alone() -> None:
    lines = list(finding_lines([
        finding(part="rail", hand="left", says="rail left: bend 1 is short"),
        finding(part="tie", hand="single", says="tie: short", level="warn"), finding(says="no shop", level="note"),
    ]))  # fmt: skip
    assert lines == ["STOP  grip: rail: bend 1 is short (left hand)", "WARN  grip: tie: short", "note  grip: no shop"]


@given(st.lists(st.tuples(st.sampled_from(LEVELS), st.integers(0, 9)), max_size=12))
def test_the_worst_come_first_and_otherwise_in_the_order_made(made: list[tuple[Level, int]]) -> None:
    findings = [finding(level=level, says=str(number)) for level, number in made]
    ordered = worst_first(findings)
    assert [found.level for found in ordered] == sorted((found.level for found in findings), key=LEVELS.index)
    for level in LEVELS:
        assert [f for f in ordered if f.level == level] == [f for f in findings if f.level == level]
    assert stops(findings) == any(level == "stop" for level, _ in made)
