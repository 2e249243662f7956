"""The one registry of checks: command line, page and paper show this list in these words.

To add a check, write a function `(frame) -> findings` in the room it belongs to and list it here.
"""

from collections.abc import Callable, Iterable

from railmodel import shape_checks
from railmodel.findings import Finding, worst_first
from railmodel.frame import Frame

Check = Callable[[Frame], Iterable[Finding]]

SHAPE: tuple[Check, ...] = (
    shape_checks.unbuilt,
    shape_checks.overlapping_bends,
    shape_checks.tight_radii,
    shape_checks.two_planes,
    shape_checks.rolled_straights,
    shape_checks.pair_side,
)
"""Is it a shape a bender can make: all that a bend table rests on."""


def all_checks() -> tuple[Check, ...]:
    """Every check: shape, bending, fit, flat parts. Their rooms are opened here, not by a bend table."""
    from railmodel import crossmember_checks, plates
    from railmodel.bending import limits, rehearse_job
    from railmodel.fitting import clear_job, fit_job, plumb

    bending: tuple[Check, ...] = (
        limits.seams,
        limits.round_tubes,
        limits.die_fits,
        limits.no_die,
        limits.grip,
        limits.between,
        limits.small_offset,
        limits.tail,
        limits.greatest_angle,
        limits.mandrel_reach,
        limits.stock_length,
        limits.strain,
        limits.wall,
        rehearse_job.rehearsal_findings,
        rehearse_job.rehearsal_gaps,
        limits.springback_record,
        limits.sums,
        limits.unknown_limits,
    )
    fit: tuple[Check, ...] = (
        fit_job.fit_findings,
        clear_job.clearance_findings,
        plumb.plumb_findings,
        crossmember_checks.crossmember_ends,
    )
    return (*SHAPE, *bending, *fit, plates.plate_findings)


def run_checks(frame: Frame, checks: Iterable[Check] | None = None) -> list[Finding]:
    """Every finding of the checks (all of them, when left out), the ones that stop first."""
    return worst_first(finding for check in checks or all_checks() for finding in check(frame))
