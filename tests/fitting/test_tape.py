"""The tape check of a pair: what it lists, and the diagonal formula of the trade."""

from pathlib import Path

import numpy as np
import pytest

from railmodel.fitting.fit_job import feet_of
from railmodel.fitting.tape import SKEW, tape_checks
from railmodel.frame import build_frame
from railmodel.job.reader import read_job

JOB = """
job: square
units: mm
tubes: {t: {height: 80, width: 40, wall: 3}}
parts:
  - {name: rail, tube: t, hand: pair, points: [[0, 380, 500], [2540, 380, 500]]}
fit_points:
  - {name: cab, at: [700, 380, 560], to: {part: rail, face: top}, gap: {want: 20, within: 1}}
"""


@pytest.fixture
def frame(tmp_path: Path):
    path = tmp_path / "job.yaml"
    path.write_text(JOB)
    return build_frame(read_job(path))


def test_equal_diagonals_equal_lengths_and_the_widths(frame) -> None:
    (check,) = tape_checks(frame)
    distances = {kind: [line.distance for line in check.lines if line.kind == kind] for kind in
                 ("length", "width", "diagonal")}  # fmt: skip
    assert distances["length"] == pytest.approx([2540, 2540])
    assert distances["width"] == pytest.approx([760, 760])
    assert distances["diagonal"] == pytest.approx([np.hypot(2540, 760)] * 2)


def test_skew_shows_on_the_diagonals_as_the_trade_s_formula_says(frame) -> None:
    """2 l s / d: trade formula, derived (l length, s skew, d diagonal); exact here by moving one rail."""
    (check,) = tape_checks(frame)
    formula = 2 * 2540 * SKEW / np.hypot(2540, 760)
    assert check.diagonal_difference == pytest.approx(formula, rel=1e-5)


def test_the_trade_s_worked_number_for_the_diagonals() -> None:
    """100 in long, 30 in apart, one rail 1/8 in ahead: 0.24 in (trade notes, derived)."""
    assert 2 * 100 * 0.125 / np.hypot(100, 30) == pytest.approx(0.24, abs=0.001)


def test_feet_of_fit_points_are_measured_too(frame) -> None:
    (check,) = tape_checks(frame, feet_of(frame))
    names = {line.start.name for line in check.lines} | {line.end.name for line in check.lines}
    assert "foot of cab" in names
    cab = [line for line in check.lines if line.kind == "width" and line.start.name == "foot of cab"]
    assert [line.distance for line in cab] == pytest.approx([760])
