"""Laying points on others, against a general library's rotation fit and a published example of four points.

The four points are those of the example in the documentation of Biopython's SVDSuperimposer (Bio.SVDSuperimposer): it
prints a root mean square of 0.00 and lays the first of the points on (51.7, -1.90, 50.1); the rest of the figures here
were worked out with scipy 1.17, whose fit is also run on them (scipy.spatial.transform.Rotation.align_vectors).
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from railmodel.as_bent.align import rigid

X = np.array([[51.65, -1.90, 50.07], [50.40, -1.23, 50.65], [50.68, -0.04, 51.54], [50.22, -0.02, 52.85]])
Y = np.array([[51.30, -2.99, 46.54], [51.09, -1.88, 47.58], [52.36, -1.20, 48.03], [52.71, -1.18, 49.38]])


def test_the_published_four_points() -> None:
    turn, shift = rigid(Y, X, np.ones(4))
    laid = Y @ turn.T + shift
    assert laid[0] == pytest.approx([51.7, -1.90, 50.1], abs=0.06)  # as printed, to three digits
    rms = np.sqrt(np.mean(np.sum((laid - X) ** 2, axis=1)))
    assert rms == pytest.approx(0.0030436, abs=1e-6)
    published = [[0.683049, -0.522774, -0.510050], [0.536645, 0.832932, -0.135046], [0.495435, -0.181472, 0.849477]]
    assert turn == pytest.approx(np.array(published), abs=2e-6)
    assert shift == pytest.approx([38.786064, -20.654562, -15.422249], abs=1e-4)  # of a turn rounded to six digits


@given(seed=st.integers(0, 2**32 - 1), count=st.integers(3, 12))
def test_turns_are_those_of_the_general_library(seed: int, count: int) -> None:
    rng = np.random.default_rng(seed)
    points, onto = rng.normal(size=(2, count, 3)) * 500
    weights = rng.uniform(0.2, 5.0, count)
    turn, shift = rigid(points, onto, weights)
    share = weights / weights.sum()
    middle, target = share @ points, share @ onto
    theirs, _ = Rotation.align_vectors(onto - target, points - middle, weights=weights)
    laid, their_laid = points @ turn.T + shift, theirs.apply(points - middle) + target
    costs = [float(share @ np.sum((one - onto) ** 2, axis=1)) for one in (laid, their_laid)]
    assert costs[0] == pytest.approx(costs[1], rel=1e-9)
    assert np.linalg.det(turn) == pytest.approx(1.0)


def test_a_mirrored_rail_is_not_mirrored_back_and_a_larger_one_not_shrunk() -> None:
    rng = np.random.default_rng(2)
    points = rng.normal(size=(6, 3)) * 300
    for onto in (points * [1.0, -1.0, 1.0], points * 1.1):
        turn, shift = rigid(points, onto, np.ones(6))
        assert np.linalg.det(turn) == pytest.approx(1.0)
        assert np.abs(points @ turn.T + shift - onto).max() > 5.0
