"""Fitting springback to the record of test bends. Angles in radians."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from math import degrees, radians
from typing import Final

import numpy as np

from railmodel.bending.bend_log import LoggedBend
from railmodel.bending.elastic import HIGH_FIXED, Estimate
from railmodel.bending.names import called, key
from railmodel.bending.robust import Array, RobustFit, fit_robust
from railmodel.bending.springback import GAUGE, RULE, SEPARATE, Springback
from railmodel.findings import Finding

HEAT_ROWS: Final = 4
"""A heat is fitted by itself from this many test bends on."""

SCATTER: Final = radians(0.5)
"""Test bends that scatter more than this about their line are worth a look (common practice, no source)."""

UNKNOWN: Final = (HIGH_FIXED, 0.05)
"""Greatest fixed and proportional part where nothing is known of the tube (common practice, no source)."""


def fit_springback(
    bends: Sequence[LoggedBend], estimate: Estimate | None, *, what: str = ""
) -> tuple[Springback, tuple[Finding, ...]]:
    """Springback from test bends of one die and tube, or the estimate where there are none.

    Robust least squares of springback on finished angle (see `railmodel.bending.robust`). Test bends at one angle
    only cannot separate the two parts: the proportional one is then the estimate's.

    Args:
        bends: usable test bends, all of one die and tube.
        estimate: the material estimate, or None where none could be made.
        what: names die and tube in messages, "die hard 7, tube main".

    Returns:
        The springback, and findings: what could not be separated, wild rows by line, a fit that makes no sense.
    """
    name = f"{what}: " if what else ""
    if not bends:
        return _from_estimate(estimate, name)
    finished = np.array([bend.measured_angle for bend in bends])
    values = np.array([bend.springback for bend in bends])
    span = (float(finished.min()), float(finished.max()))
    if span[1] - span[0] < SEPARATE:
        return _one_angle(bends, values, estimate, name, span)
    design = np.column_stack([np.ones_like(finished), finished])
    fit = fit_robust(design, values, gauge=GAUGE)
    found = Springback(
        fixed=float(fit.coefficients[0]),
        proportional=float(fit.coefficients[1]),
        kind="fit",
        source=_tests(len(bends)),
        count=len(bends),
        covariance=(float(fit.covariance[0, 0]), float(fit.covariance[0, 1]), float(fit.covariance[1, 1])),
        scatter=fit.scatter,
        residual=fit.residual,
        dof=fit.dof,
        angles=span,
    )
    findings = [*wild_rows(bends, fit, name, values - design @ fit.coefficients), *_nonsense(found, name)]
    if found.residual is not None and found.residual > SCATTER:
        says = (
            f"{name}the test bends scatter by {degrees(found.residual):.1f} degrees about their line; look for what "
            "changed between them (heat, lubricant, clamp) before trusting it"
        )
        findings.append(Finding(rule=RULE, level="warn", says=says, found=found.residual, needs=SCATTER, unit="angle"))
    if len(bends) == 2:
        says = f"{name}springback rests on two test bends and nothing checks them; bend a third at another angle"
        findings.append(Finding(rule=RULE, level="note", says=says))
    return found, tuple(findings)


def _tests(count: int) -> str:
    return "1 test bend" if count == 1 else f"{count} test bends"


def _from_estimate(estimate: Estimate | None, name: str) -> tuple[Springback, tuple[Finding, ...]]:
    if estimate is None:
        says = (
            f"{name}no test bends, and no estimate without a steel grade that is known; set angles are the finished "
            "angles: make a test bend, or write the tube's grade"
        )
        found = Springback(
            fixed=0.0,
            proportional=0.0,
            kind="none",
            source="not known: no test bends, no estimate",
            bounds=((0.0, 0.0), UNKNOWN),
        )
        return found, (Finding(rule=RULE, level="warn", says=says),)
    found = Springback(
        fixed=0.0,
        proportional=estimate.likely,
        kind="estimate",
        source=f"estimate: {estimate.source}",
        bounds=((0.0, estimate.low), (estimate.fixed_high, estimate.high)),
    )
    low, high = (degrees(angle - radians(90)) for angle in found.set_range(radians(90)))
    says = (
        f"{name}no test bends; springback is an estimate, {degrees(found.set_angle(radians(90))) - 90:.1f} degrees at "
        f"90 (between {low:.1f} and {high:.1f}): make a test bend before cutting a rail"
    )
    return found, (Finding(rule=RULE, level="warn", says=says),)


def _one_angle(
    bends: Sequence[LoggedBend], values: Array, estimate: Estimate | None, name: str, span: tuple[float, float]
) -> tuple[Springback, tuple[Finding, ...]]:
    slope = estimate.likely if estimate else 0.0
    doubt = (estimate.high - estimate.low) / 4 if estimate else 0.01  # low to high taken as four standard deviations
    finished = np.array([bend.measured_angle for bend in bends])
    fit = fit_robust(np.ones((len(bends), 1)), values - slope * finished, gauge=GAUGE)
    middle, variance = float(finished.mean()), doubt**2
    assumed = "proportional part from the estimate" if estimate else "all of it taken as fixed"
    found = Springback(
        fixed=float(fit.coefficients[0]),
        proportional=slope,
        kind="one angle",
        source=f"{_tests(len(bends))} at one angle, {assumed}",
        count=len(bends),
        covariance=(float(fit.covariance[0, 0]) + variance * middle**2, -variance * middle, variance),
        scatter=fit.scatter,
        residual=fit.residual,
        dof=fit.dof,
        angles=span,
    )
    where = f"at {degrees(middle):.1f} degrees"
    says = (
        f"{name}{_tests(len(bends))} {where} cannot tell the fixed from the proportional part of springback "
        f"({assumed}); bend one more at another angle"
    )
    wild = wild_rows(bends, fit, name, values - slope * finished - fit.coefficients[0])
    return found, (Finding(rule=RULE, level="warn", says=says), *wild, *_nonsense(found, name))


def wild_rows(bends: Sequence[LoggedBend], fit: RobustFit, name: str, residuals: Array) -> list[Finding]:
    """One finding for each test bend far off the line (more than about four standard deviations)."""
    far = [int(i) for i in np.flatnonzero(fit.weights < 1 / 3)]
    return [
        Finding(
            rule=RULE,
            level="warn",
            says=(
                f"{name}line {bends[i].line} of the test bends is {degrees(abs(float(residuals[i]))):.1f} degrees "
                "off the others and counts for little; measure it again or see what was different"
            ),
        )
        for i in far
    ]


def _nonsense(found: Springback, name: str) -> list[Finding]:
    if found.angles is None or all(found.set_angle(angle) >= angle - 1e-9 for angle in found.angles):
        return []
    says = (
        f"{name}the test bends give less than no springback somewhere between {degrees(found.angles[0]):.0f} and "
        f"{degrees(found.angles[1]):.0f} degrees; check them, and bend again"
    )
    return [Finding(rule=RULE, level="warn", says=says)]


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibration:
    """What the record says about one die and tube.

    Args:
        die: name as first written in the record.
        tube: likewise.
        bends: its usable test bends.
        springback: the fit.
        findings: what is to be said about it.
    """

    die: str
    tube: str
    bends: tuple[LoggedBend, ...]
    springback: Springback
    findings: tuple[Finding, ...]

    @property
    def heats(self) -> tuple[str, ...]:
        """Heats with enough test bends to be fitted by themselves."""
        groups = grouped(self.bends, lambda bend: key(bend.heat))
        return tuple(group[0].heat for group in groups if group[0].heat and _enough(group))


def calibrate(
    bends: Iterable[LoggedBend], estimate_of: Callable[[str, str], Estimate | None] = lambda _die, _tube: None
) -> tuple[Calibration, ...]:
    """Fit every die and tube of a record, in the order they first appear.

    Args:
        bends: usable test bends.
        estimate_of: gives the material estimate for a die and a tube.
    """
    found = []
    for group in grouped(bends, lambda bend: (key(bend.die), key(bend.tube))):
        die, tube = group[0].die, group[0].tube
        fitted, findings = springback_for(group, die=die, tube=tube, estimate=estimate_of(die, tube))
        found.append(Calibration(die=die, tube=tube, bends=group, springback=fitted, findings=findings))
    return tuple(found)


def grouped(bends: Iterable[LoggedBend], by: Callable[[LoggedBend], object]) -> list[tuple[LoggedBend, ...]]:
    """Test bends in groups that share a key, both in the order they first appear."""
    groups: dict[object, list[LoggedBend]] = {}
    for bend in bends:
        groups.setdefault(by(bend), []).append(bend)
    return [tuple(group) for group in groups.values()]


def _enough(bends: Sequence[LoggedBend]) -> bool:
    angles = [bend.measured_angle for bend in bends]
    return len(bends) >= HEAT_ROWS and max(angles) - min(angles) >= SEPARATE


def springback_for(
    bends: Iterable[LoggedBend],
    *,
    die: str | None,
    tube: str,
    heat: str | None = None,
    estimate: Estimate | None = None,
) -> tuple[Springback, tuple[Finding, ...]]:
    """Springback of a die and tube from the whole record.

    The test bends of one heat are taken by themselves where there are at least four at two angles or more.

    Args:
        bends: every usable test bend.
        die: name of the die; None where none is named.
        tube: name of the tube.
        heat: mill heat of the tube to be bent, where known.
        estimate: the material estimate for this die and tube.
    """
    die_key, tube_key, what = key(die or ""), key(tube), f"{called(die)}, tube {tube}"
    own = [bend for bend in bends if key(bend.die) == die_key and key(bend.tube) == tube_key]
    if heat:
        of_heat = [bend for bend in own if key(bend.heat) == key(heat)]
        if _enough(of_heat):
            found, findings = fit_springback(of_heat, estimate, what=f"{what}, heat {heat}")
            return replace(found, source=f"{found.source} of heat {heat}"), findings
    found, findings = fit_springback(own, estimate, what=what)
    return found, (*findings, *_mixed_walls(own, what))


def _mixed_walls(bends: Sequence[LoggedBend], what: str) -> list[Finding]:
    walls = [bend.wall for bend in bends if bend.wall is not None]
    if not walls or max(walls) <= 1.2 * min(walls):  # A500, A513 and EN 10219 allow a wall 10 % either way
        return []
    says = (
        f"{what}: the test bends are of walls from {min(walls):.2f} to {max(walls):.2f} mm and are fitted together; "
        "give tubes of another wall a name of their own"
    )
    return [Finding(rule=RULE, level="note", says=says)]
