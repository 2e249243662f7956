"""What `fit` answers, as plain data in the job's unit and degrees."""

from dataclasses import dataclass
from math import degrees, isfinite
from typing import Any

import numpy as np

from railmodel.app.answers import finding_answer
from railmodel.findings import Finding, stops
from railmodel.fitting.clear_job import clearances
from railmodel.fitting.conflict import Conflict
from railmodel.fitting.solve_job import Solved
from railmodel.fitting.variables import variables_of
from railmodel.fitting.wishes import Wish
from railmodel.geometry.rows import Array
from railmodel.units import Unit, to_unit

Answer = dict[str, Any]

NOTHING = 5e-3
"""A miss that does not show in the third decimal of an inch is not spoken of, mm; an angle counts at 300 mm."""


@dataclass(frozen=True, slots=True)
class Measured:
    """One wish before and after; quantities in mm or radians, None where they are not known.

    Args:
        wish: the wish.
        before: as the job was written.
        after: on the changed job.
        ok: whether it is met.
    """

    wish: Wish
    before: float | None
    after: float | None
    ok: bool

    @property
    def was_ok(self) -> bool:
        """Whether it was met before."""
        return self.before is not None and self.wish.miss(self.before) <= 1e-6


def measured(solved: Solved) -> list[Measured]:
    """Every wish, clearances as the check measures them on the changed job."""
    task = solved.task
    after = _with_gaps(solved)
    missed = task.missed(after)
    before = np.full(len(after), np.nan) if solved.before is None else solved.before
    small = 0.0 if solved.ok else NOTHING
    return [
        Measured(wish, _known(before[i]), _known(after[i]), bool(missed[i] <= small))
        for i, wish in enumerate(task.wishes)
    ]


def _with_gaps(solved: Solved) -> Array:
    """What was found after, with the gaps of the whole check; they are never above the true ones."""
    after, task = solved.after.copy(), solved.task
    found = clearances(solved.frame).gaps
    for i, names in enumerate(task.clear.names):
        part = task.problem.plans[task.clear.wishes[i].parts[0]].real.name
        labels = {real.label for real in solved.frame.parts if real.name == part}
        own = [gap.gap for gap, _ in found if gap.part in labels and gap.shape in names]
        after[len(task.smooth) + i] = min(own, default=np.inf)
    return after


def _known(value: float) -> float | None:
    return float(value) if isfinite(value) else None


def fit_answer(solved: Solved, findings: list[Finding], *, written: bool) -> Answer:
    """Everything `fit` found.

    Args:
        solved: the job solved.
        findings: of the checks on the changed job.
        written: whether it was stored in the job file.
    """
    unit = solved.source.job.units
    return {
        "job": solved.source.job.job,
        "units": {"length": unit, "angle": "deg"},
        "ok": solved.ok and not stops(findings),
        "met": solved.ok,
        "written": written,
        "angles_landed": solved.landed,
        "values": values(solved),
        "wishes": [_wish(one, unit) for one in measured(solved)],
        "conflicts": [_conflict(solved, conflict, unit) for conflict in solved.conflicts],
        "findings": [finding_answer(finding, unit) for finding in findings],
    }


def values(solved: Solved) -> list[Answer]:
    """Every free value, before and after, as numbers in its unit."""
    unit, changes = solved.source.job.units, solved.changes
    now = variables_of(solved.frame.source)
    return [
        {
            "part": variable.part,
            "value": variable.words,
            "unit": unit if variable.kind == "length" else "deg",
            "low": shown(variable.low, variable.kind, unit),
            "high": shown(variable.high, variable.kind, unit),
            "before": shown(variable.written, variable.kind, unit),
            "after": shown(after.written, variable.kind, unit),
            "changed": variable.loc in changes or variable.loc[:-1] in changes,
        }
        for variable, after in zip(variables_of(solved.source), now, strict=True)
    ]


def shown(value: float | None, kind: str, unit: Unit) -> float | None:
    """A quantity (mm, radians) as a number in the job's unit or degrees; None where there is none."""
    if value is None or not isfinite(value):
        return None
    return to_unit(value, unit) if kind == "length" else degrees(value)


def _wish(one: Measured, unit: Unit) -> Answer:
    wish = one.wish
    return {
        "wish": wish.name,
        "rule": wish.rule,
        "unit": unit if wish.unit == "length" else "deg",
        "low": shown(wish.low, wish.unit, unit),
        "high": shown(wish.high, wish.unit, unit),
        "before": shown(one.before, wish.unit, unit),
        "after": shown(one.after, wish.unit, unit),
        "missed_by": 0.0 if one.ok or one.after is None else shown(wish.miss(one.after), wish.unit, unit),
        "ok": one.ok,
    }


def _conflict(solved: Solved, conflict: Conflict, unit: Unit) -> Answer:
    return {
        "wishes": [
            {"wish": wish.name, "missed_by": shown(miss, wish.unit, unit)} for wish, miss in misses(solved, conflict)
        ],
        "at_an_end": [
            {"part": variable.part, "value": variable.words, "end": end} for variable, end in ends(solved, conflict)
        ],
    }


def misses(solved: Solved, conflict: Conflict) -> list[tuple[Wish, float]]:
    """The wishes of a fight, each with what it is missed by (mm or radians) where all of them are missed least."""
    scale, missed = solved.task.scale, conflict.best.missed
    return [(solved.task.wishes[i], float(missed[i] / scale[i])) for i in conflict.wishes]


def ends(solved: Solved, conflict: Conflict) -> list[tuple[Any, str]]:
    """Free values at an end of their range beyond which they would help, and which end."""
    given = variables_of(solved.source)
    return [(given[i], "low" if conflict.best.x[i] < 0.5 else "high") for i in conflict.ends]
