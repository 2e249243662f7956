"""Springback of one die and tube: springback = fixed + proportional x finished angle.

The fixed part (take-up, clamp slip, the arm's give) is why a ratio taken at 90 degrees falls a degree short at 30:
test bends at 20 and 90 that come back to 18.2 and 87.5 give a fixed part of 1.62 and a proportional one of 0.010,
and a 30 degree bend needs 31.9 set, not 30.9. All angles in radians.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import degrees, hypot, radians, sqrt
from typing import Final, Literal

import numpy as np

from railmodel.bending.bend_log import LoggedBend
from railmodel.bending.robust import Array, student
from railmodel.findings import Finding

GAUGE: Final = radians(0.2)
"""Repeatability of an angle measured on a tube (common practice, no source)."""

SEPARATE: Final = radians(5)
"""Finished angles closer together than this cannot tell a fixed part from a proportional one."""

RULE: Final = "springback"

Kind = Literal["fit", "one angle", "estimate", "none"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Springback:
    """What to add to a finished angle.

    Args:
        fixed: fixed part, radians.
        proportional: part of the finished angle.
        kind: "fit" from test bends; "one angle" when test bends fix only their sum and the proportional part is the
            estimate's; "estimate" without test bends; "none" when not even an estimate could be made.
        source: what it rests on, for sheets: "12 test bends", "estimate: ...".
        count: test bends used.
        covariance: variance of the fixed part, covariance, variance of the proportional part.
        scatter: standard deviation of one bend about the line, the gauge's repeatability pooled in.
        residual: standard deviation of the residuals alone, None when there are too few rows.
        dof: degrees of freedom of `scatter`.
        angles: least and greatest finished angle bent in the tests; None without tests.
        bounds: (fixed, proportional) at the low and at the high end where nothing was tested; None for a fit.
    """

    fixed: float
    proportional: float
    kind: Kind
    source: str
    count: int = 0
    covariance: tuple[float, float, float] = (0.0, 0.0, 0.0)
    scatter: float = GAUGE
    residual: float | None = None
    dof: int = 0
    angles: tuple[float, float] | None = None
    bounds: tuple[tuple[float, float], tuple[float, float]] | None = None

    @property
    def fixed_error(self) -> float:
        """Standard error of the fixed part, radians."""
        return sqrt(self.covariance[0])

    @property
    def proportional_error(self) -> float:
        """Standard error of the proportional part."""
        return sqrt(self.covariance[2])

    def set_angle(self, finished: float) -> float:
        """Angle to set so that the bend comes out at `finished`, both radians."""
        return finished * (1 + self.proportional) + self.fixed

    def finished(self, set_angle: float) -> float:
        """Angle a bend comes out at, 0 at the least, both radians."""
        return max((set_angle - self.fixed) / (1 + self.proportional), 0.0)

    def error(self, finished: float) -> float:
        """Standard error of the line itself at a finished angle, radians (scatter of single bends not in it)."""
        fixed, both, slope = self.covariance
        return sqrt(max(fixed + 2 * both * finished + slope * finished**2, 0.0))

    def set_range(self, finished: float, chance: float = 0.95) -> tuple[float, float]:
        """Low and high set angle, radians.

        From test bends the interval that holds the right set angle of one new bend with this chance (Student's t);
        for an estimate its stated low and high, whatever the chance.
        """
        if self.bounds is not None:
            (low_fixed, low), (high_fixed, high) = self.bounds
            return finished * (1 + low) + low_fixed, finished * (1 + high) + high_fixed
        middle = self.set_angle(finished)
        half = student(chance, self.dof) * hypot(self.scatter, self.error(finished))
        return middle - half, middle + half

    def covers(self, finished: float) -> bool:
        """Whether a finished angle lies within those tested (to a tenth of a degree)."""
        slack = radians(0.1)
        return self.angles is not None and self.angles[0] - slack <= finished <= self.angles[1] + slack


def outside_tested(
    found: Springback, finished: float, *, part: str | None = None, hand: str | None = None, bend: int | None = None
) -> Finding | None:
    """A warning when a bend lies outside the angles tested; None inside, or where nothing was tested."""
    if found.angles is None or found.covers(finished):
        return None
    low, high = found.angles
    tested = f"{degrees(low):.0f}" if high - low < SEPARATE else f"{degrees(low):.0f} to {degrees(high):.0f}"
    number = "the bend" if bend is None else f"bend {bend}"
    return Finding(
        rule=RULE,
        level="warn",
        says=(
            f"{number} of {degrees(finished):.1f} degrees lies outside the test bends ({tested} degrees); "
            "its set angle is stretched beyond what was measured: make a test bend near it"
        ),
        part=part,
        hand=hand,
        bend=bend,
        found=finished,
        needs=low if finished < low else high,
        unit="angle",
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class FitCurve:
    """A fit as plain numbers in degrees, to plot.

    Args:
        finished: (n,) finished angle of each test bend.
        springback: (n,) its springback.
        line_finished: (m,) finished angles along the line.
        line: (m,) springback of the line.
        low: (m,) low end of the 95 % interval for one new bend, or of the estimate.
        high: (m,) high end.
    """

    finished: Array
    springback: Array
    line_finished: Array
    line: Array
    low: Array
    high: Array


def fit_curve(found: Springback, bends: Sequence[LoggedBend], *, points: int = 61) -> FitCurve:
    """The points, the line and its band, in degrees, from 0 to past the greatest tested angle (90 at the least)."""
    top = max([radians(90), *(bend.measured_angle * 1.05 for bend in bends)])
    along = np.linspace(0, top, points)
    ends = np.array([found.set_range(float(angle)) for angle in along])
    return FitCurve(
        finished=np.degrees([bend.measured_angle for bend in bends]),
        springback=np.degrees([bend.springback for bend in bends]),
        line_finished=np.degrees(along),
        line=np.degrees([found.set_angle(float(angle)) - float(angle) for angle in along]),
        low=np.degrees(ends[:, 0] - along),
        high=np.degrees(ends[:, 1] - along),
    )
