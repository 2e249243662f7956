"""How far off a piece is, laid on a datum and as well as it fits, against other ways of working it out."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from commands import DEMOS, HAULER
from scipy.spatial.transform import Rotation

from railmodel.as_bent.align import weight_of
from railmodel.as_bent.deviations import Laying, best_fit, laid_on, pose_at
from railmodel.as_bent.estimate import Solution
from railmodel.as_bent.piece import Piece, read_piece
from railmodel.as_bent.spots import where
from railmodel.fitting.fit_point import foot_on
from railmodel.frame import build_frame
from railmodel.geometry.centreline import Centreline, Pose
from railmodel.job.reader import read_job
from railmodel.sureness.datum import Datum
from railmodel.sureness.screws import Place

EXAMPLE = DEMOS / "hillside_hauler" / "measured" / "right_rail.yaml"


@cache
def hauler() -> Piece:
    return read_piece(build_frame(read_job(HAULER)), EXAMPLE)


def solution() -> Solution:
    sifted = hauler().sifted
    assert sifted is not None
    return sifted.solution


def test_laid_on_its_leading_end_places_move_as_the_centreline_does() -> None:
    piece = hauler()
    laying = laid_on(solution(), piece.targets, Datum("front"))
    spots = [one.spot for one in piece.targets]
    expected = where(solution().line, spots) - where(piece.part.read.line, spots)
    assert np.array([one.moved for one in laying.deviations]) == pytest.approx(expected, abs=1e-9)


def test_laid_on_a_straight_that_straight_lies_where_it_belongs() -> None:
    piece = hauler()
    plan, line, place = piece.part.read.line, solution().line, Place(4, 0.5)
    laying = laid_on(solution(), piece.targets, Datum("straight 2"))
    own, there = pose_at(line, place), pose_at(plan, place)
    turn = np.array([there.t, there.s, there.u]).T @ np.array([own.t, own.s, own.u])
    at = where(line, [one.spot for one in piece.targets])
    expected = (at - own.at) @ turn.T + there.at - np.array([one.at for one in piece.targets])
    assert np.array([one.moved for one in laying.deviations]) == pytest.approx(expected, abs=1e-9)


def test_the_best_fit_is_that_of_a_general_library_and_gaps_are_measured_on_the_tube_laid_so() -> None:
    piece = hauler()
    laying = best_fit(solution(), piece.targets)
    at = where(solution().line, [one.spot for one in piece.targets])
    belongs, weights = np.array([one.at for one in piece.targets]), np.array([one.weight for one in piece.targets])
    share = weights / weights.sum()
    middle, target = share @ at, share @ belongs
    turn, _ = Rotation.align_vectors(
        (belongs - target)[weights > 0], (at - middle)[weights > 0], weights=weights[weights > 0]
    )
    laid = turn.apply(at - middle) + target
    assert np.array([one.moved for one in laying.deviations]) == pytest.approx(laid - belongs, abs=1e-6)
    start = solution().line.start
    pose = Pose(turn.apply(start.at - middle) + target, *(turn.apply(one) for one in (start.t, start.s, start.u)))
    line, reading = Centreline(solution().line.rows, pose), piece.part.read
    for one in laying.deviations:
        if one.target.fit is not None:
            point = one.target.fit.point
            foot = foot_on(line, piece.part.section, point.at, reading.roll_of(point.to.face))
            assert one.gap == pytest.approx(foot.gap, abs=1e-6)
    assert laying.rms <= min(each.rms for each in piece.layings([Datum("front"), Datum("main"), Datum("rear")])[:3])


def test_standard_errors_are_those_of_shapes_drawn_as_likely_as_the_estimate_says() -> None:
    """Monte Carlo: 150 shapes drawn about the estimate, each laid by itself in three ways."""
    piece, found = hauler(), solution()

    def lay(one: Solution) -> tuple[Laying, ...]:
        ways = (laid_on(one, piece.targets, Datum(datum)) for datum in ("front", "main"))
        return (*ways, best_fit(one, piece.targets))

    told = np.array([[place.sigma for place in laying.deviations] for laying in lay(found)])
    rng, root = np.random.default_rng(71), np.linalg.cholesky(found.covariance)
    drawn = []
    for _ in range(150):
        shape = replace(found, unknowns=found.unknowns + root @ rng.normal(size=len(root)))
        drawn.append([[place.moved for place in laying.deviations] for laying in lay(shape)])
    # a standard deviation of 150 is itself known to 6 %
    assert np.std(drawn, axis=0) == pytest.approx(told, rel=0.25, abs=0.02)


def test_weights_are_by_name_unless_given() -> None:
    assert [one.weight for one in hauler().targets] == [1, 1, 3, 5, 1, 0, 0]
    assert weight_of("Cab mount") == 3.0
    assert weight_of("cabinet") == 1.0
    assert weight_of("rear axle", [("rear axle", 2.0)]) == 2.0
