"""Fit points, joints and clearances of a job as `check` answers them."""

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from railmodel.app.cli import app
from railmodel.checks import run_checks
from railmodel.frame import Frame, build_frame
from railmodel.job.reader import read_job

JOB = """
job: fit
units: in
tubes: {main: {height: 3, width: 2, wall: 3/16}}
parts:
  - {name: rail, tube: main, hand: pair, points: [[0, 15, 20], {at: [40, 15, 20], radius: 8}, [90, 15, 30]]}
  - {name: cap, tube: main, start: {at: [CAPX, 14, 20], heading: [0, -1, 0]}, path: [{straight: 28}]}
joints:
  - {between: [rail right.front, cap.front], gap: 2, offset: 2}
fit_points:
  - {name: cab mount, at: [20, 15, 22 1/2], to: {part: rail, face: FACE}, gap: {want: 1, within: 1/16}, on: straight,
     from_bend: 2, width: 3}
keep_clear:
  - {name: engine, shape: {box: {at: [20, 0, 20], size: [10, 20, 10]}}, moves: {up: 2}, gap: NEEDS}
"""


def frame_of(tmp_path: Path, **words: str) -> Frame:
    text = JOB
    for key, word in {"CAPX": "0", "FACE": "top", "NEEDS": "1", **words}.items():
        text = text.replace(key, word)
    path = tmp_path / "job.yaml"
    path.write_text(text)
    return build_frame(read_job(path))


def stops(frame: Frame) -> dict[str, str]:
    return {finding.rule: finding.says for finding in run_checks(frame) if finding.level == "stop"}


def test_a_job_that_fits_has_no_stop(tmp_path: Path) -> None:
    assert stops(frame_of(tmp_path)) == {}


def test_a_missed_fit_point_says_the_spacer_that_cures_it(tmp_path: Path) -> None:
    says = stops(frame_of(tmp_path, FACE="bottom"))["fit point"]
    assert "cab mount on rail" in says
    assert "from the bottom face" in says


def test_a_face_the_part_does_not_have_is_one_sentence(tmp_path: Path) -> None:
    says = stops(frame_of(tmp_path, FACE="left"))["fit point"]
    assert "cab mount: rail left has no left face; use top, bottom, inboard or outboard" in says


def test_a_gap_too_small_names_both_numbers_and_the_cure(tmp_path: Path) -> None:
    says = stops(frame_of(tmp_path, NEEDS="4 1/2"))["clearance"]
    assert "engine comes within 4.000 in of rail" in says
    assert "4.500 in is wanted; move rail and shape 0.500 in or more apart" in says


def test_a_joint_out_of_its_limits_is_a_stop(tmp_path: Path) -> None:
    assert "joint" in stops(frame_of(tmp_path, CAPX="5"))


def test_the_answer_lists_everything_measured_on_both_hands(tmp_path: Path) -> None:
    frame_of(tmp_path)
    result = CliRunner().invoke(app, ["check", str(tmp_path / "job.yaml"), "--json"])
    answer = json.loads(result.stdout)
    assert [(one["name"], one["part"], one["hand"]) for one in answer["fit"]] == [
        ("cab mount", "rail", "right"), ("cab mount", "rail", "left"),
    ]  # fmt: skip
    for one in answer["fit"]:
        assert one["gap"] == pytest.approx(1.0)
        assert one["station"] == pytest.approx(20)
        assert one["ok"]
    assert {(gap["part"], gap["hand"]) for gap in answer["gaps"]} == {
        ("rail", "right"), ("rail", "left"), ("cap", "single"),
    }  # fmt: skip
    side = next(gap for gap in answer["gaps"] if gap["hand"] == "right")
    assert side["gap"] == pytest.approx(4.0, abs=0.05 / 25.4)
    assert side["gap"] <= 4.0
    assert set(side["at"]) == {"up", "roll", "turn", "slide"}
    assert answer["joints"][0]["between"] == ["rail right.front", "cap.front"]


@pytest.mark.parametrize(
    ("shape", "says"),
    [
        ("{box: {at: [20, 15, 20], size: [10, 1, 1]}}", "runs"),
        ("{mesh: gone.stl, units: mm}", "gone.stl"),
        ("{sphere: {at: [20, 0, 20], diameter: 2}}, turns: {about: {axis: [0, 0, 1]}, from: 5, to: 5}", "empty"),
    ],
)
def test_bad_shapes_are_named(tmp_path: Path, shape: str, says: str) -> None:
    text = JOB.replace("CAPX", "0").replace("FACE", "top").replace("NEEDS", "1")
    head = text[: text.index("keep_clear:")]
    path = tmp_path / "job.yaml"
    path.write_text(head + f"keep_clear:\n  - {{name: odd, shape: {shape}, gap: 1}}\n")
    result = CliRunner().invoke(app, ["check", str(path)])
    assert result.exit_code in (1, 2)
    assert says in result.stdout + result.stderr + str(result.exception)
