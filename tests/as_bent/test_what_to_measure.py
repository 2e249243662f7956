"""What to measure first, against trying every choice there is."""

from itertools import combinations

import numpy as np
import pytest
from measured_rails import drawn, frame_rail, read

from railmodel.as_bent.choose import Question, candidates, choose, exchange, telling
from railmodel.as_bent.estimate import solve
from railmodel.as_bent.rail import Readings
from railmodel.as_bent.spots import Spot, slopes, where
from railmodel.sureness.screws import Place


def best(question: Question, count: int) -> float:
    """The most information that any choice of so many readings has."""
    return max(question.information(taken) for taken in combinations(range(len(question.rows)), count))


@pytest.mark.parametrize("placed", [False, True], ids=["whole shape", "places"])
def test_the_choice_is_the_best_there_is(placed: bool) -> None:
    rng = np.random.default_rng(51)
    short = 0
    for _ in range(8):
        rail = frame_rail(rng, 2)
        rows = telling(rail, candidates(rail))[:11]
        matters = rng.normal(size=(4, rows.shape[1])) * 10 if placed else None
        question = Question(rows, matters)
        for count in (1, 2, 3, 4):
            found, most = question.information(exchange(question, count)), best(question, count)
            assert found <= most + 1e-9
            short += found < most - 1e-9
            assert found - question.information(()) >= 0.95 * (most - question.information(()))
    assert short <= 2  # of 32: an exchange of one at a time may end beside the best


def test_a_gain_is_the_difference_of_two_determinants() -> None:
    rng = np.random.default_rng(52)
    rows, matters = rng.normal(size=(6, 5)), rng.normal(size=(3, 5))
    for question in (Question(rows), Question(rows, matters)):
        gains = question.gains([0, 3])
        for i in range(6):
            expected = question.information([0, 3, i]) - question.information([0, 3])
            assert gains[i] == pytest.approx(expected, abs=1e-9)


def test_what_is_told_first_makes_the_rear_axle_surest() -> None:
    """Simulated: the chosen few leave less error at the axle than as many others taken at random."""
    rng = np.random.default_rng(53)
    chosen_errors, random_errors = [], []
    for _ in range(12):
        rail = frame_rail(rng, 4)
        axle = Spot("rear axle", Place(2 * rail.columns.bends, 0.6))
        every = candidates(rail)
        few = choose(rail, every, 5, spots=[axle]).measures
        others = [every[i] for i in rng.choice(len(every), 5, replace=False)]
        off = drawn(rail, rng)
        for things, errors in ((few, chosen_errors), (others, random_errors)):
            solution = solve(Readings.of(rail, read(rail, off, things, None)))
            at = where(solution.line, [axle])
            moves = slopes(solution.line, rail.movers(solution.line), [axle], at)[0]
            errors.append(float(np.linalg.norm(solution.sigma(moves.T))))
    assert np.mean(chosen_errors) < 0.8 * np.mean(random_errors)


def test_what_was_measured_already_is_not_asked_again() -> None:
    rail = frame_rail(np.random.default_rng(54), 3)
    every = candidates(rail)
    first = choose(rail, every, 1).measures
    assert choose(rail, every, 1, beside=[*first] * 4).measures != first


def test_the_gains_say_by_how_much_what_is_open_shrinks() -> None:
    rail = frame_rail(np.random.default_rng(55), 3)
    found = choose(rail, candidates(rail))
    assert len(found.measures) == 5
    question = Question(telling(rail, found.candidates))
    volume = np.exp(-(question.information(found.chosen) - question.information(())) / 2)
    assert np.prod(found.gains) == pytest.approx(volume)
    assert all(0 < gain < 1 for gain in found.gains)
