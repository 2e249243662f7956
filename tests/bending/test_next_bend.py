"""Which test bend to make next: the one that helps the job's bends most."""

from math import radians

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from railmodel.bending.bend_log import LoggedBend
from railmodel.bending.next_bend import next_test_bend
from railmodel.bending.springback import GAUGE
from railmodel.bending.springback_fit import fit_springback


def degrees_of(tested, wanted=()):
    return round(np.degrees(next_test_bend(np.radians(tested), np.radians(wanted)).angle), 6)


def test_a_job_bend_outside_the_tested_angles_comes_first():
    assert degrees_of([90], [12, 25]) <= 12
    assert degrees_of([18, 30], [45]) >= 45


def test_repeating_the_same_angle_is_never_the_best_advice():
    assert degrees_of([30, 30, 30], [10, 20, 30, 45]) != 30


@given(st.lists(st.floats(5, 90), max_size=6), st.lists(st.floats(5, 90), min_size=1, max_size=5))
def test_a_test_bend_never_makes_the_doubt_larger(tested, wanted):
    found = next_test_bend(np.radians(tested), np.radians(wanted))
    assert 0 < found.after < found.before
    assert f"Bend {np.degrees(found.angle):.0f} degrees next" in found.says


def test_the_promised_doubt_is_what_the_fit_then_has():
    # with many bends the weak evidence beforehand no longer matters: the fit's own standard error is the promise
    rng = np.random.default_rng(4)
    tested = np.tile(np.radians([20.0, 60.0]), 100)
    found = next_test_bend(tested, [radians(40)], scatter=GAUGE)
    angles = np.append(tested, found.angle)
    rows = [
        LoggedBend(die="d", tube="t", set_angle=a * 1.01 + 0.04 + e, measured_angle=a)
        for a, e in zip(angles, rng.uniform(-1, 1, 201) * 0.5 * GAUGE, strict=True)
    ]
    fit, _ = fit_springback(rows, None)
    assert fit.error(radians(40)) * GAUGE / fit.scatter == pytest.approx(found.after, rel=0.01)


def test_the_die_is_never_asked_for_more_than_it_bends():
    assert next_test_bend([], [radians(100)], max_angle=radians(60)).angle <= radians(60)
    assert next_test_bend([], [], max_angle=radians(8)).angle <= radians(8)
