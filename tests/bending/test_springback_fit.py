"""Fitting springback to test bends: right on clean rows, calm about wild ones, honest about what it cannot know."""

from itertools import pairwise
from math import degrees, radians

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats
from scipy.integrate import quad

from railmodel.bending.bend_log import LoggedBend
from railmodel.bending.elastic import estimate_springback, loaded_radius, lost_fraction, lying, tube_moment
from railmodel.bending.robust import fit_robust
from railmodel.bending.springback import GAUGE, fit_curve, outside_tested
from railmodel.bending.springback_fit import calibrate, fit_springback, springback_for
from railmodel.errors import GeometryError
from railmodel.geometry.section import Section

TUBE = Section(height=101.6, width=50.8, wall=3.048, corner=6.096)
ESTIMATE = estimate_springback(TUBE, way="hard", radius=254, yield_stress=317, grade="A500-B")


def bends(finished, springback, **more):
    return [
        LoggedBend(die="hard 7", tube="main", set_angle=f + s, measured_angle=f, line=i + 2, **more)
        for i, (f, s) in enumerate(zip(finished, springback, strict=True))
    ]


@given(st.floats(0, 0.05), st.floats(0, 0.05), st.lists(st.floats(0.1, 2.0), min_size=2, max_size=12))
def test_rows_on_a_line_give_the_line(fixed, proportional, angles):
    angles = [*angles, 0.1, 2.0]
    found, _ = fit_springback(bends(angles, [fixed + proportional * a for a in angles]), None)
    assert found.fixed == pytest.approx(fixed, abs=1e-12)
    assert found.proportional == pytest.approx(proportional, abs=1e-12)
    assert found.finished(found.set_angle(1.0)) == pytest.approx(1.0, abs=1e-12)


def test_without_wild_rows_it_is_ordinary_least_squares_with_its_standard_errors():
    # held against scipy.stats.linregress; the gauge's own repeatability is pooled into the scatter
    rng = np.random.default_rng(3)
    angles = rng.uniform(0.2, 1.5, 12)
    values = 0.03 + 0.012 * angles + rng.uniform(-0.8, 0.8, 12) * GAUGE
    found, _ = fit_springback(bends(angles, values), None)
    theirs = stats.linregress(angles, values)
    share = found.scatter / found.residual
    assert found.proportional == pytest.approx(theirs.slope, rel=1e-10)
    assert found.fixed == pytest.approx(theirs.intercept, rel=1e-10)
    assert found.proportional_error == pytest.approx(theirs.stderr * share, rel=1e-10)
    assert found.fixed_error == pytest.approx(theirs.intercept_stderr * share, rel=1e-10)
    assert found.residual == pytest.approx(
        np.sqrt(np.sum((values - theirs.intercept - theirs.slope * angles) ** 2) / 10)
    )
    assert found.scatter**2 * (10 + 3) == pytest.approx(found.residual**2 * 10 + GAUGE**2 * 3)


def test_one_slip_of_the_pen_moves_little_and_is_named():
    angles = np.radians([10, 15, 20, 30, 45, 60, 75, 90])
    values = np.radians(1.6) + 0.01 * angles
    values[3] += np.radians(10)
    found, findings = fit_springback(bends(angles, values), None)
    assert degrees(found.set_angle(radians(30))) == pytest.approx(31.9, abs=0.15)
    assert [f.says for f in findings if "line 5" in f.says]
    assert not [f.says for f in findings if "line 6" in f.says]
    plain = np.polyfit(angles, values, 1)
    assert abs(np.polyval(plain, radians(30)) - radians(1.9)) > radians(1)


def test_the_interval_holds_new_bends_as_often_as_it_says():
    rng = np.random.default_rng(11)
    inside = 0
    for _ in range(400):
        angles = rng.uniform(0.2, 1.5, 8)
        found, _ = fit_springback(bends(angles, 0.05 + 0.01 * angles + rng.normal(0, GAUGE, 8)), None)
        low, high = found.set_range(0.7)
        inside += low <= 0.7 * 1.01 + 0.05 + rng.normal(0, GAUGE) <= high
    assert 0.92 <= inside / 400 <= 0.985  # 95 %, give or take three standard errors of 400 draws


def test_huber_minimum_is_the_minimum():
    # held against a plain search over the Huber cost (scipy.optimize.minimize, no gradients)
    from scipy.optimize import minimize
    from scipy.special import huber

    rng = np.random.default_rng(5)
    x = rng.uniform(0, 1, 40)
    y = 1 + 2 * x + rng.normal(0, 0.05, 40) + np.where(rng.random(40) < 0.15, 3.0, 0.0)
    design = np.column_stack([np.ones(40), x])
    fit = fit_robust(design, y, gauge=0.01)
    clipped = fit.weights < 1
    limit = float(np.mean((np.abs(y - design @ fit.coefficients) * fit.weights)[clipped]))
    theirs = minimize(
        lambda c: float(np.sum(huber(limit, y - design @ c))), [0.0, 0.0], method="Nelder-Mead",
        options={"xatol": 1e-10, "fatol": 1e-14, "maxiter": 5000},
    )  # fmt: skip
    assert fit.coefficients == pytest.approx(theirs.x, abs=1e-6)
    assert fit.coefficients == pytest.approx([1, 2], abs=0.1)


def test_no_test_bend_is_an_estimate_with_a_range_and_a_source():
    found, (finding,) = fit_springback([], ESTIMATE)
    low, high = found.set_range(radians(90))
    assert low < found.set_angle(radians(90)) < high
    assert found.kind == "estimate"
    assert found.source.startswith("estimate: elastic-plastic")
    assert found.angles is None
    assert "estimate" in finding.says
    assert "test bend" in finding.says
    assert finding.level == "warn"


def test_no_test_bend_and_no_estimate_says_so():
    found, (finding,) = fit_springback([], None, what="die d")
    assert found.kind == "none"
    assert found.set_angle(0.5) == 0.5
    assert finding.says.startswith("die d: no test bends, and no estimate")
    assert found.set_range(0.5)[1] > 0.5


@pytest.mark.parametrize("angles", [[30], [30, 30, 30], [29, 31]])
def test_one_angle_cannot_separate_and_takes_the_estimates_slope(angles):
    finished = np.radians(angles)
    found, findings = fit_springback(bends(finished, 0.02 + ESTIMATE.likely * finished), ESTIMATE)
    assert found.kind == "one angle"
    assert found.proportional == ESTIMATE.likely
    assert found.fixed == pytest.approx(0.02, abs=1e-12)
    assert "cannot tell the fixed from the proportional part" in findings[0].says
    assert "proportional part from the estimate" in found.source
    assert found.error(radians(30)) < found.error(radians(90))


def test_one_angle_without_estimate_takes_all_as_fixed():
    found, _ = fit_springback(bends([0.5], [0.02]), None)
    assert (found.fixed, found.proportional) == (pytest.approx(0.02), 0.0)
    assert "all of it taken as fixed" in found.source


def test_two_bends_are_told_that_nothing_checks_them():
    _, findings = fit_springback(bends([0.3, 1.0], [0.03, 0.04]), None)
    assert "nothing checks them" in findings[0].says


def test_rows_that_scatter_get_a_finding():
    angles = np.radians([10, 20, 30, 45, 60, 90])
    _, findings = fit_springback(bends(angles, np.radians([1, 3, 1, 3, 1, 3])), None)
    assert any("scatter by" in finding.says for finding in findings)


def test_springback_that_turns_negative_gets_a_finding():
    _, findings = fit_springback(bends(np.radians([10, 20, 60, 90]), np.radians([1.6, 1.8, 2.2, 2.5])), None)
    assert not any("less than no springback" in finding.says for finding in findings)
    _, findings = fit_springback(bends(np.radians([10, 30, 60, 90]), np.radians([3, 0, 0, 0])), None)
    assert any("less than no springback" in finding.says for finding in findings)


def test_a_bend_outside_the_tested_angles_is_warned_of():
    found, _ = fit_springback(bends(np.radians([18.2, 87.5]), np.radians([1.8, 2.5])), None)
    assert outside_tested(found, radians(30)) is None
    assert outside_tested(found, radians(87.55)) is None
    finding = outside_tested(found, radians(8), part="rail", hand="left", bend=2)
    assert finding is not None
    assert (finding.level, finding.part, finding.bend, finding.unit) == ("warn", "rail", 2, "angle")
    assert finding.needs == radians(18.2)
    assert "bend 2 of 8.0 degrees lies outside the test bends (18 to 88 degrees)" in finding.says
    estimate, _ = fit_springback([], ESTIMATE)
    assert outside_tested(estimate, radians(8)) is None


def test_a_heat_with_enough_rows_is_fitted_by_itself():
    angles = np.radians([10, 20, 45, 90])
    soft = bends(angles, 0.02 + 0.01 * angles, heat="H1")
    hard = bends(angles, 0.02 + 0.02 * angles, heat="H2")
    few = bends(angles[:3], 0.05 + 0 * angles[:3], heat="H3")
    record = [*soft, *hard, *few]
    one, _ = springback_for(record, die="HARD  7", tube="Main", heat="h1")
    two, _ = springback_for(record, die="hard 7", tube="main", heat="H2")
    three, _ = springback_for(record, die="hard 7", tube="main", heat="H3")
    assert one.proportional == pytest.approx(0.01)
    assert two.proportional == pytest.approx(0.02)
    assert two.source == "4 test bends of heat H2"
    assert three.count == 11
    (calibration,) = calibrate(record)
    assert calibration.heats == ("H1", "H2")


def test_only_the_rows_of_the_die_and_tube_count():
    record = [*bends([0.3, 1.0], [0.03, 0.03]), LoggedBend(die="easy 5", tube="main", set_angle=1, measured_angle=0.5)]
    found, _ = springback_for(record, die="hard 7", tube="main", estimate=None)
    assert found.count == 2
    assert [c.die for c in calibrate(record)] == ["hard 7", "easy 5"]
    nothing, _ = springback_for(record, die="hard 7", tube="cap", estimate=ESTIMATE)
    assert nothing.kind == "estimate"


def test_walls_mixed_under_one_name_are_noted():
    record = [*bends([0.3, 1.0], [0.03, 0.03], wall=3.0), *bends([0.3, 1.0], [0.03, 0.03], wall=4.8)]
    _, findings = springback_for(record, die="hard 7", tube="main")
    assert any("walls from 3.00 to 4.80 mm" in finding.says for finding in findings)


def test_the_curve_to_plot_is_the_fit_in_degrees():
    rows = bends(np.radians([18.2, 87.5]), np.radians([1.8, 2.5]))
    found, _ = fit_springback(rows, None)
    curve = fit_curve(found, rows)
    assert curve.finished == pytest.approx([18.2, 87.5])
    assert curve.springback == pytest.approx([1.8, 2.5])
    assert np.interp(30, curve.line_finished, curve.line) == pytest.approx(1.92, abs=0.01)
    assert np.all(curve.low < curve.line)
    assert np.all(curve.high > curve.line)


@given(
    st.floats(30, 150), st.floats(30, 150), st.floats(1, 5), st.floats(0, 3), st.floats(1.1, 200), st.floats(200, 500)
)
def test_the_moment_is_the_fibre_integral(height, width, wall, round_, tight, stress):
    # held against adaptive quadrature (scipy) of stress x arm x breadth, fibre by fibre
    section = Section(height=height, width=width, wall=wall, corner=round_ * wall)
    curvature = 1 / (tight * height)

    def breadth(y, high, wide, corner):
        into = y - (high / 2 - corner)
        return wide if into <= 0 else wide - 2 * corner + 2 * max(corner**2 - into**2, 0.0) ** 0.5

    def integral(high, wide, corner):
        core = stress / (200e3 * curvature)
        stops = sorted({0.0, min(core, high / 2), high / 2 - corner, high / 2})

        def fibre(y):
            return min(200e3 * curvature * y, stress) * y * breadth(y, high, wide, corner)

        return 2 * sum(quad(fibre, a, b, epsrel=1e-10)[0] for a, b in pairwise(stops))

    theirs = integral(height, width, section.corner) - integral(
        height - 2 * wall, width - 2 * wall, section.inside_corner
    )
    ours = tube_moment(section, curvature=curvature, yield_stress=stress)
    assert ours == pytest.approx(theirs, rel=1e-7)
    assert ours <= stress * section.plastic_modulus_s * (1 + 1e-12)
    assert ours <= 200e3 * curvature * section.inertia_s * (1 + 1e-12)


def test_stronger_steel_and_larger_radius_spring_back_more():
    values = [lost_fraction(TUBE, radius=r, yield_stress=s) for r, s in [(200, 300), (250, 300), (250, 400)]]
    assert values == sorted(values)
    assert ESTIMATE.low < ESTIMATE.likely < ESTIMATE.high


def test_the_loaded_radius_springs_back_to_the_finished_one():
    held = loaded_radius(TUBE, finished=254, yield_stress=400)
    lost = lost_fraction(TUBE, radius=held, yield_stress=400)
    assert held / (1 - lost) == pytest.approx(254, rel=1e-12)
    assert held < 254


def test_hard_and_easy_way_lie_as_named():
    assert lying(TUBE, "hard").height == 101.6
    assert lying(TUBE, "easy").height == 50.8
    assert lying(TUBE.turned, "hard").height == 101.6
    square = Section(height=50, width=50, wall=3, corner=6)
    assert lying(square, "hard") == square


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"radius": 50.0}, "must be above 50.8"),
        ({"yield_stress": 0.0}, "not a strength"),
        ({"radius": float("nan")}, "radius nan"),
    ],
)
def test_impossible_bends_are_refused(change, says):
    with pytest.raises(GeometryError, match=says):
        lost_fraction(TUBE, **({"radius": 254.0, "yield_stress": 300.0} | change))
