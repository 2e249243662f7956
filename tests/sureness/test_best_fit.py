"""A tube laid as well as it fits: derivatives against full re-fitting of every sample by a general library."""

from pathlib import Path

import numpy as np
import pytest
from commands import HAULER, run
from scipy.spatial.transform import Rotation

from railmodel.fitting.fit_job import Fit
from railmodel.fitting.fit_point import foot_on
from railmodel.frame import build_frame
from railmodel.geometry.centreline import Centreline, Pose
from railmodel.job.reader import read_job
from railmodel.sureness.best_fit import Held
from railmodel.sureness.datum import Datum
from railmodel.sureness.exact import laid_lines
from railmodel.sureness.march import columns_off, rails_off
from railmodel.sureness.screws import moved
from railmodel.sureness.sensitivity import point_on, sensitivity

COUNT = 1000
SIZES = {"distance": 0.05, "angle": 2e-4, "radius": 0.05, "roll": 2e-4}


def refitted(line: Centreline, held: Held) -> Centreline:
    """A tube turned and shifted onto its points by scipy's Rotation.align_vectors."""
    at = np.array([(one := line.stretches[p.stretch]).pose(one.length * p.share).at for p in held.places])
    share = held.weights / held.weights.sum()
    middle, target = share @ at, share @ held.points
    turn, _ = Rotation.align_vectors(held.points - target, at - middle, weights=held.weights)
    start = line.start
    pose = Pose(turn.apply(start.at - middle) + target, *(turn.apply(one) for one in (start.t, start.s, start.u)))
    return Centreline(line.rows, pose)


@pytest.mark.parametrize("working", ["marks fixed", "straights held"])
def test_spreads_are_those_of_tubes_refitted_one_by_one(working: str) -> None:
    found = sensitivity(build_frame(read_job(HAULER)), [Datum("best fit")], working)  # type: ignore[arg-type]
    bent = found.bent["side rail right"]
    assert bent.held is not None
    rng, count = np.random.default_rng(5), COUNT if working == "marks fixed" else 300
    off = [
        (bent.columns.of(field, bend), size * rng.normal(size=count))  # type: ignore[arg-type]
        for field, size in SIZES.items()
        for bend in range(1, bent.columns.bends + 1)
    ]
    lines = [
        refitted(line, bent.held)
        for line in laid_lines(bent, rails_off(bent, found.working, columns_off(bent.columns, off)), count)
    ]
    seen = 0
    for measure in found.measures:
        if measure.on != "side rail right" or not isinstance(fit := measure.about, Fit):
            continue
        roll = fit.part.read.roll_of(fit.point.to.face)
        gaps = np.array([foot_on(line, fit.part.section, point_on(fit), roll).gap for line in lines])
        told = sum(measure.slopes[measure.on][column] * by for column, by in off)
        assert gaps - measure.value == pytest.approx(told, abs=0.02 * float(told.std()) + 1e-4)  # each by itself
        assert gaps.std() == pytest.approx(float(told.std()), rel=0.02)
        seen += 1
    assert seen == 5


def test_no_shift_of_the_whole_tube_is_left_over() -> None:
    found = sensitivity(build_frame(read_job(HAULER)), [Datum("best fit")])
    bent = found.bent["side rail right"]
    assert bent.held is not None
    moves = bent.screws(bent.held.places)
    weights = bent.held.weights
    left = moved(moves, bent.held.points[:, None])
    assert np.einsum("m,mxc->xc", weights, left) == pytest.approx(0.0, abs=1e-6)


def test_it_is_a_datum_like_the_others_and_said(tmp_path: Path) -> None:
    ran = run("sure", HAULER, "--samples", "1000", "--datum", "best fit")
    assert ran.status == 0
    assert "  side rail: the best fit over its fit points, each by itself" in ran.out.splitlines()
    assert "Best fit: every rail is turned and shifted by itself" in ran.out
    only = run("sure", HAULER, "--samples", "1000", "--datum", "rear cap.best fit")
    assert "  side rail: the middle of straight 4, its longest" in only.out.splitlines()
