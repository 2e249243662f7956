"""Tube use: how much flat stock a bend takes up. tube use = (1 - k) x finished centreline arc.

k is the part of the arc that comes from stretching, 0 to 3 % for draw bending over a mandrel (common practice, no
source): more drag, more stretch. At frame angles (10 to 30 degrees) it is a larger part of the deduction than the
geometry. Lengths in millimetres, angles in radians.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import hypot, sqrt
from typing import Final

import numpy as np

from railmodel.bending.bend_log import LoggedBend
from railmodel.bending.legs import tube_used_from_legs
from railmodel.bending.names import called, key
from railmodel.bending.robust import fit_robust, student
from railmodel.findings import Finding

TAPE: Final = 0.5
"""Repeatability of a tube-use measurement, mm: 1/32 in a reading, about half as much a standard deviation
(common practice, no source)."""

BELIEVABLE: Final = (-0.05, 0.15)
"""Stretch outside these comes from a slip, not from a bend (common practice, no source)."""

RULE: Final = "tube use"


@dataclass(frozen=True, slots=True, kw_only=True)
class TubeUse:
    """How much stock a bend of this die takes up.

    Args:
        stretch: k, the part of the finished arc that comes from stretching; below 0 the bend takes up more.
        error: standard error of k; 0 where it is assumed.
        scatter: standard deviation of one tube-use measurement, mm.
        dof: degrees of freedom of `scatter`.
        count: test bends used.
        source: for sheets: "8 test bends", "assumed: ...".
    """

    stretch: float = 0.0
    error: float = 0.0
    scatter: float = TAPE
    dof: int = 0
    count: int = 0
    source: str = "assumed: no stretch, no test bends with tube use"

    @property
    def assumed(self) -> bool:
        """Whether nothing was measured."""
        return self.count == 0

    def used(self, angle: float, radius: float) -> float:
        """Stock used by a bend, mm.

        Args:
            angle: finished angle, radians.
            radius: finished centreline radius, mm.
        """
        return (1 - self.stretch) * radius * angle

    def used_range(self, angle: float, radius: float, chance: float = 0.95) -> tuple[float, float]:
        """Low and high stock used by one new bend, mm; for an assumed k, with k from 3 % down to 0."""
        arc = radius * angle
        if self.assumed:
            return 0.97 * arc, arc
        half = student(chance, self.dof) * hypot(self.scatter, self.error * arc)
        return self.used(angle, radius) - half, self.used(angle, radius) + half


def measured_use(bend: LoggedBend, *, radius: float, depth: float) -> float | None:
    """Tube use a test bend measured, mm: as written, or from its blank and legs; None where it measured none."""
    if bend.tube_used is not None:
        return bend.tube_used
    if bend.blank_length is None or bend.leg_a is None or bend.leg_b is None or bend.measured_to is None:
        return None
    return tube_used_from_legs(
        blank_length=bend.blank_length,
        leg_a=bend.leg_a,
        leg_b=bend.leg_b,
        measured_to=bend.measured_to,
        angle=bend.measured_angle,
        radius=radius,
        depth=depth,
    )


def fit_tube_use(
    bends: Sequence[LoggedBend], *, radius: float, depth: float, what: str = ""
) -> tuple[TubeUse, tuple[Finding, ...]]:
    """Stretch k from test bends of one die, by robust least squares of tube use on arc.

    Args:
        bends: usable test bends, all of one die; those that measured no tube use are passed over.
        radius: the die's finished centreline radius, mm.
        depth: section dimension in the plane of the bend, mm.
        what: names die and tube in messages.

    Returns:
        The tube use, and findings: rows that cannot be right and rows far off, by line.
    """
    name = f"{what}: " if what else ""
    arcs, stretched, kept, findings = [], [], [], []
    for bend in bends:
        used = measured_use(bend, radius=radius, depth=depth)
        if used is None:
            continue
        arc = radius * bend.measured_angle
        if not BELIEVABLE[0] - TAPE / arc <= 1 - used / arc <= BELIEVABLE[1] + TAPE / arc:
            says = (
                f"{name}line {bend.line} of the test bends gives {used:.1f} mm of tube for an arc of {arc:.1f} mm, "
                "which no bend does; the line is left out of the tube use: check its lengths and the die's radius"
            )
            findings.append(Finding(rule=RULE, level="warn", says=says, found=used, needs=arc, unit="length"))
            continue
        arcs.append(arc)
        stretched.append(arc - used)
        kept.append(bend)
    if not kept:
        return TubeUse(), tuple(findings)
    design = np.array(arcs)[:, np.newaxis]
    fit = fit_robust(design, np.array(stretched), gauge=TAPE)
    off = np.array(stretched) - design @ fit.coefficients
    for i in np.flatnonzero(fit.weights < 1 / 3):
        says = (
            f"{name}line {kept[int(i)].line} of the test bends is {abs(float(off[i])):.1f} mm off the others in "
            "tube use and counts for little; measure it again"
        )
        findings.append(Finding(rule=RULE, level="warn", says=says))
    found = TubeUse(
        stretch=float(fit.coefficients[0]),
        error=sqrt(float(fit.covariance[0, 0])),
        scatter=fit.scatter,
        dof=fit.dof,
        count=len(kept),
        source="1 test bend" if len(kept) == 1 else f"{len(kept)} test bends",
    )
    return found, tuple(findings)


def tube_use_for(
    bends: Iterable[LoggedBend], *, die: str | None, tube: str, radius: float, depth: float
) -> tuple[TubeUse, tuple[Finding, ...]]:
    """Tube use of a die and tube from the whole record.

    Test bends of this tube are taken by themselves; where there is none with tube use, those of the die's other
    tubes are, and where there is none at all no stretch is assumed, with a note.
    """
    of_die = [bend for bend in bends if key(bend.die) == key(die or "")]
    own = [bend for bend in of_die if key(bend.tube) == key(tube)]
    found, findings = fit_tube_use(own, radius=radius, depth=depth, what=f"{called(die)}, tube {tube}")
    if not found.assumed:
        return found, findings
    others = [bend for bend in of_die if key(bend.tube) != key(tube)]
    borrowed, more = fit_tube_use(others, radius=radius, depth=depth, what=called(die))
    if not borrowed.assumed:
        says = f"{called(die)}: no test bend of tube {tube} measured its tube use; that of other tubes is taken"
        return (
            TubeUse(
                stretch=borrowed.stretch,
                error=borrowed.error,
                scatter=borrowed.scatter,
                dof=borrowed.dof,
                count=borrowed.count,
                source=f"{borrowed.source} of other tubes on this die",
            ),
            (*findings, *more, Finding(rule=RULE, level="note", says=says)),
        )
    says = (
        f"{called(die)}, tube {tube}: no test bend measured its tube use; no stretch is assumed, and bends may run up "
        "to 3 % of their arc long: measure blank and legs of a test piece"
    )
    return TubeUse(), (*findings, Finding(rule=RULE, level="note", says=says))
