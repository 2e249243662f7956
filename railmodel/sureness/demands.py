"""What the job demands, judged one by one: fit points within tolerance, two ends that meet, a shape kept clear."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from railmodel.fitting.fit_job import Joined
from railmodel.geometry.rows import Array
from railmodel.sureness.sensitivity import Kind, Measure, Sensitivity
from railmodel.tolerances import ANGLE, LENGTH

Flags = NDArray[np.bool_]


@dataclass(frozen=True, eq=False, kw_only=True)
class Demand:
    """One thing that must be right.

    Args:
        kind: what it is.
        name: of the fit point, joint or shape.
        parts: names of the parts it is about.
        hand: of the part it is measured on.
        rows: its numbers among the measures of the job.
        measures: the numbers themselves.
    """

    kind: Kind
    name: str
    parts: frozenset[str]
    hand: str
    rows: tuple[int, ...]
    measures: tuple[Measure, ...]

    def met(self, values: Array) -> Flags:
        """(b,) whether it is met.

        Args:
            values: (m, b) every number of the job.
        """
        own = values[list(self.rows)]
        first = self.measures[0]
        if self.kind != "joint":
            return np.asarray((own[0] >= first.low - LENGTH) & (own[0] <= first.high + LENGTH))
        assert isinstance(first.about, Joined)
        joint = first.about.joint
        found = meeting_of(own)
        met = np.ones(values.shape[1], dtype=bool)
        for value, limit, slack in zip(
            found, (joint.gap, joint.offset, joint.angle, joint.roll), (LENGTH, LENGTH, ANGLE, ANGLE), strict=True
        ):
            if limit is not None:
                met &= value <= limit + slack
        return met


def meeting_of(own: Array) -> tuple[Array, Array, Array, Array]:
    """Size (b,) of gap, offset, angle and roll of a joint from its six numbers (6, b)."""
    gap, aside, up, tilt_aside, tilt_up, roll = own
    lean = np.arcsin(np.minimum(np.hypot(tilt_aside, tilt_up), 1.0))
    return np.abs(gap), np.hypot(aside, up), lean, np.abs(roll)


def demands(found: Sensitivity) -> tuple[Demand, ...]:
    """Everything the job demands of its bent parts."""
    groups: dict[int, list[int]] = {}  # the six numbers of a joint belong together
    for row, measure in enumerate(found.measures):
        groups.setdefault(-1 - row if measure.about is None else id(measure.about), []).append(row)
    return tuple(_demand(found, rows) for rows in groups.values())


def _demand(found: Sensitivity, rows: Sequence[int]) -> Demand:
    first = found.measures[rows[0]]
    return Demand(
        kind=first.kind, name=first.name, parts=frozenset(found.bent[label].part.name for label in first.slopes),
        hand=found.bent[first.on].part.hand, rows=tuple(rows), measures=tuple(found.measures[row] for row in rows),
    )  # fmt: skip


def wholes(found: Sensitivity, asked: Sequence[Demand]) -> dict[str, list[int]]:
    """What must fit as a whole, each with the numbers of its demands: every pair, then the whole job.

    A pair fits when every demand on either of its hands is met, joints with other parts among them.
    """
    pairs = dict.fromkeys(one.part.name for one in found.bent.values() if one.part.hand != "single")
    groups = {f"{name} pair": [i for i, one in enumerate(asked) if name in one.parts] for name in pairs}
    groups = {name: rows for name, rows in groups.items() if rows}
    return groups | {"everything": list(range(len(asked)))}
