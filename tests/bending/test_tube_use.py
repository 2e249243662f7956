"""Tube use from test bends: the stretch k, from what was written or from blank and legs."""

from math import pi, radians, tan

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from railmodel.bending.bend_log import LoggedBend
from railmodel.bending.legs import tube_used_from_legs
from railmodel.bending.tube_use import TubeUse, fit_tube_use, tube_use_for

INCH = 25.4


def bend(angle, used=None, tube="main", line=2, **more):
    return LoggedBend(
        die="hard 7", tube=tube, set_angle=angle + 0.03, measured_angle=angle, tube_used=used, line=line, **more
    )


@given(
    st.floats(0.2, 2.6),
    st.floats(50, 400),
    st.floats(20, 95),
    st.floats(0, 0.03),
    st.floats(50, 500),
    st.floats(50, 500),
)
def test_every_way_to_measure_the_legs_gives_the_same_tube_use(angle, radius, depth, stretch, first, last):
    used = (1 - stretch) * radius * angle
    blank = first + used + last
    for name, reach in {
        "tangent": 0,
        "apex": radius,
        "outside": radius + depth / 2,
        "inside": radius - depth / 2,
    }.items():
        extra = reach * tan(angle / 2)
        found = tube_used_from_legs(
            blank_length=blank, leg_a=first + extra, leg_b=last + extra, measured_to=name,
            angle=angle, radius=radius, depth=depth,
        )  # fmt: skip
        assert found == pytest.approx(used, abs=1e-9 * blank * max(1, tan(angle / 2)))


@pytest.mark.parametrize(
    ("angle", "stretch", "deduction"),
    [
        (10, 0, 0.004),
        (20, 0.01, 0.071),
        (30, 0, 0.123),
        (30, 0.02, 0.228),
        (45, 0.01, 0.509),
        (90, 0, 4.292),
        (90, 0.02, 4.606),
    ],
)
def test_the_deduction_table_of_the_trade(angle, stretch, deduction):
    # derived table: deduction = 2 R tan(angle / 2) - (1 - k) R angle at R = 10 in
    use = TubeUse(stretch=stretch, count=1)
    assert 20 * tan(radians(angle) / 2) - use.used(radians(angle), 10) == pytest.approx(deduction, abs=5.1e-4)


def test_rows_on_a_line_give_the_stretch():
    rows = [bend(a, 0.985 * 250 * a) for a in np.radians([20, 45, 90])]
    found, findings = fit_tube_use(rows, radius=250, depth=100)
    assert found.stretch == pytest.approx(0.015, abs=1e-12)
    assert found.count == 3
    assert findings == ()
    assert found.used(pi / 2, 250) == pytest.approx(0.985 * 250 * pi / 2)
    low, high = found.used_range(pi / 2, 250)
    assert low < 0.985 * 250 * pi / 2 < high


def test_the_standard_error_is_that_of_a_line_through_the_origin():
    # textbook: var(k) = scatter^2 / sum(arc^2)
    rng = np.random.default_rng(2)
    angles = np.radians([20, 30, 45, 60, 90])
    rows = [bend(a, 0.98 * 250 * a + e) for a, e in zip(angles, rng.uniform(-0.4, 0.4, 5), strict=True)]
    found, _ = fit_tube_use(rows, radius=250, depth=100)
    assert found.error == pytest.approx(found.scatter / np.sqrt(np.sum((250 * angles) ** 2)))
    assert found.stretch == pytest.approx(0.02, abs=4 * found.error)


def test_a_wild_row_is_named_and_counts_for_little():
    angles = np.radians([20, 30, 45, 60, 90, 30])
    rows = [bend(a, 0.98 * 250 * a, line=i + 2) for i, a in enumerate(angles)]
    rows[1] = bend(angles[1], 0.98 * 250 * angles[1] - 12, line=3)
    found, findings = fit_tube_use(rows, radius=250, depth=100)
    assert found.stretch == pytest.approx(0.02, abs=0.002)
    assert any("line 3" in finding.says for finding in findings)


def test_a_row_that_cannot_be_true_is_left_out():
    rows = [bend(1.0, 245.0), bend(1.0, 24.5, line=9)]
    found, (finding,) = fit_tube_use(rows, radius=250, depth=100)
    assert found.count == 1
    assert "line 9" in finding.says
    assert finding.unit == "length"


def test_legs_count_like_written_tube_use():
    angle, radius = radians(90), 177.8
    rows = [
        bend(
            angle,
            blank_length=1000.0,
            leg_a=500.0,
            leg_b=1000 - 500 - 0.99 * radius * angle + 2 * radius,
            measured_to="apex",
        )
    ]
    found, _ = fit_tube_use(rows, radius=radius, depth=76.2)
    assert found.stretch == pytest.approx(0.01, abs=1e-12)


def test_nothing_measured_is_an_assumption_with_a_note():
    found, findings = tube_use_for([bend(1.0)], die="hard 7", tube="main", radius=250, depth=100)
    assert (found.stretch, found.assumed) == (0.0, True)
    assert found.source.startswith("assumed")
    assert findings[-1].level == "note"
    assert "no stretch is assumed" in findings[-1].says
    assert found.used_range(1.0, 250) == (pytest.approx(242.5), 250)


def test_another_tube_of_the_die_is_better_than_nothing():
    found, findings = tube_use_for([bend(1.0, 245.0, tube="cap")], die="Hard 7", tube="main", radius=250, depth=100)
    assert found.stretch == pytest.approx(0.02)
    assert found.source == "1 test bend of other tubes on this die"
    assert "other tubes" in findings[-1].says
