"""Simulated rails, bent with known errors and measured with known noise: how near the estimate comes, and how surely.

Few at the desk, 2,000 where CI is set.
"""

import os
from dataclasses import replace

import numpy as np
import pytest
from measured_rails import drawn, frame_rail, read, some_things

from railmodel.as_bent.choose import candidates
from railmodel.as_bent.estimate import Solution, dimensions, sift, solve
from railmodel.as_bent.rail import Rail, Readings
from railmodel.as_bent.spots import Spot, slopes, where
from railmodel.geometry.rows import Array
from railmodel.sureness.screws import Place

RAILS = 2000 if os.environ.get("CI") == "true" else 50


def never(*_: object) -> bool:
    return False


def scores(rail: Rail, solution: Solution, off: Array) -> tuple[list[float], list[float]]:
    """How many standard errors each dimension, and the far end's place, is off the truth."""
    truth, n = rail.rows(off), rail.columns.bends
    values = {"straight": [*truth.straights], "turn": [0, *truth.rotation], "angle": [0, *truth.angle],
              "radius": [0, *truth.radius]}  # fmt: skip
    shape = [(values[one.kind][one.number] - one.value) / one.sigma for one in dimensions(solution, rail, n)]
    end = [Spot("rear axle", Place(2 * n, 0.8))]
    found = where(solution.line, end)
    sigma = solution.sigma(slopes(solution.line, rail.movers(solution.line), end, found)[0].T)
    return shape, list((where(rail.line(off), end)[0] - found[0]) / sigma)


@pytest.mark.long
def test_the_intervals_hold_the_truth_as_often_as_they_say() -> None:
    rng = np.random.default_rng(31)
    shape, ends = [], []
    for _ in range(RAILS):
        rail = frame_rail(rng, int(rng.integers(2, 6)))
        off = drawn(rail, rng)
        found = sift(rail, read(rail, off, some_things(rail, rng), rng), never)
        one, other = scores(rail, found.solution, off)
        shape += one
        ends += other
    held = np.mean(np.abs(shape) < 1.96)
    assert 0.93 <= held <= 0.97
    assert np.std(shape) == pytest.approx(1.0, abs=0.05)
    # far fewer, and three of one rail go together: four standard deviations of a share of 0.95
    assert abs(np.mean(np.abs(ends) < 1.96) - 0.95) < 4 * np.sqrt(0.95 * 0.05 / RAILS)


def test_everything_measured_without_noise_is_found_again() -> None:
    rng = np.random.default_rng(32)
    for _ in range(5):
        rail = frame_rail(rng, 3)
        off = drawn(rail, rng)
        every = read(rail, off, candidates(rail), None)
        sharp = tuple(replace(one, sigma=one.sigma / 1e4) for one in every)
        found = solve(Readings.of(rail, sharp)).line.rows
        truth = rail.rows(off)
        assert np.abs(found.straights - truth.straights).max() < 0.01
        assert np.degrees(np.abs(found.angle - truth.angle).max()) < 0.001


def test_without_a_reading_the_plan_stands_with_the_spread_it_had() -> None:
    rail = frame_rail(np.random.default_rng(33), 3)
    solution = solve(Readings.of(rail, ()))
    assert np.abs(solution.off).max() == 0.0
    assert np.sqrt(np.diag(solution.spread)) == pytest.approx(rail.spread)
    assert {one.learned for one in dimensions(solution, rail, 3)} == {"not"}


def test_a_bend_far_off_is_believed_when_its_reading_stands_alone() -> None:
    rng = np.random.default_rng(34)
    rail = frame_rail(rng, 3)
    off = np.zeros(rail.columns.count)
    off[rail.columns.of("angle", 2)] = np.radians(6.0)
    angles = tuple(one for one in candidates(rail) if one.kind == "angle")
    found = sift(rail, read(rail, off, angles, None), never)
    assert found.dropped == ()
    assert found.off_plan == (rail.columns.of("angle", 2),)
    assert np.degrees(found.solution.off[rail.columns.of("angle", 2)]) == pytest.approx(6.0, abs=0.2)


def test_a_reading_that_the_others_contradict_is_left_out_and_no_other() -> None:
    rng = np.random.default_rng(35)
    for trial in range(6):
        rail = frame_rail(rng, 3)
        off = drawn(rail, rng)
        taken = list(read(rail, off, candidates(rail), rng))
        wrong = trial % len(taken)
        one = taken[wrong]
        shift = np.radians(9.0) if one.unit == "angle" else 50.0
        taken[wrong] = replace(one, value=one.value + shift)
        found = sift(rail, taken, never)
        assert [dropped is taken[wrong] for dropped, _, _ in found.dropped] == [True]
        assert found.dropped[0][1] == pytest.approx(one.value, abs=5 * found.dropped[0][2])
