"""How good first order is for clearances: exact gaps of many samples beside it. mm, radians."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from railmodel.as_bent.align import rigid
from railmodel.errors import GeometryError
from railmodel.fitting.bodies import rail_body
from railmodel.fitting.clearance import gaps
from railmodel.fitting.keep_clear import shapes_of
from railmodel.frame import Frame
from railmodel.geometry.centreline import Centreline, Pose
from railmodel.geometry.rows import Array, BendRows, wrap
from railmodel.sureness.best_fit import Held
from railmodel.sureness.march import Rails, columns_off, rails_off
from railmodel.sureness.sample import Chance, Chances, draw
from railmodel.sureness.sensitivity import Bent, Measure, Sensitivity

SAMPLES: Final = 2000
CHECKED: Final = 2
"""How many clearances are checked: those least sure to be kept."""

_TOGETHER: Final = 100
"""Rails whose gaps are searched together."""


@dataclass(frozen=True, slots=True, kw_only=True)
class GapCheck:
    """One clearance, exact and to first order.

    Args:
        name: of the shape.
        on: label of the part.
        samples: how many.
        largest: largest difference, mm; the exact gap itself is never above the true one and up to 0.05 mm below.
        usual: nineteen in twenty differ by less than this, mm.
        exact: chance that the gap is kept, by the exact gaps.
        linear: the same samples to first order.
    """

    name: str
    on: str
    samples: int
    largest: float
    usual: float
    exact: Chance
    linear: Chance


def check_gaps(
    frame: Frame, found: Sensitivity, chances: Chances, *, samples: int = SAMPLES, seed: int = 3
) -> tuple[GapCheck, ...]:
    """Work out the exact gaps of those clearances that are least sure to be kept."""
    measures, spread = found.measures, chances.stack.spread
    rows = [
        row
        for row, one in enumerate(measures)
        if one.kind == "clearance" and spread[row] > 0 and found.bent[one.on].part.hand != "left"
    ]
    rows.sort(key=lambda row: (measures[row].value - measures[row].low) / spread[row])
    rows = rows[:CHECKED]
    drawn = draw(np.random.default_rng(seed), chances.stack.causes, samples)
    exact: dict[int, Array] = {}
    for label in dict.fromkeys(measures[row].on for row in rows):
        own = [row for row in rows if measures[row].on == label]
        exact |= dict(zip(own, _exact(frame, found, chances, own, drawn), strict=True))
    return tuple(
        _compared(measures[row], exact[row], chances.stack.effects[row] @ drawn)
        for row in rows
        if np.isfinite(exact[row]).any()
    )


def _exact(frame: Frame, found: Sensitivity, chances: Chances, rows: Sequence[int], drawn: Array) -> Array:
    """(rows, samples) exact gaps of some clearances of one part; nan where a sample makes no tube."""
    label = found.measures[rows[0]].on
    bent = found.bent[label]
    by_name = {shape.name: shape for shape, _ in shapes_of(frame.source)}
    shapes = [by_name[found.measures[row].name] for row in rows]
    hits = [
        (column, by * cause.sigma.predictive * drawn[c])
        for c, cause in enumerate(chances.stack.causes)
        for column, by in cause.hits.get(label, ())
    ]
    rails = rails_off(bent, found.working, columns_off(bent.columns, hits))
    lines = laid_lines(bent, rails, drawn.shape[1])
    answers = np.full((len(lines), len(rows)), np.nan)
    for begin in range(0, len(lines), _TOGETHER):
        bodies = {}
        for i, line in enumerate(lines[begin : begin + _TOGETHER], start=begin):
            try:
                bodies[i] = rail_body(label, line, bent.part.section)
            except GeometryError:
                continue  # so far off that it makes no tube
        found_gaps = [gap.gap for gap in gaps(list(bodies.values()), shapes)]
        answers[list(bodies)] = np.array(found_gaps).reshape(-1, len(rows))
    return answers.T


def _compared(measure: Measure, exact: Array, moved: Array) -> GapCheck:
    linear = (measure.value + moved)[np.isfinite(exact)]
    exact = exact[np.isfinite(exact)]
    off, count = np.sort(np.abs(exact - linear)), len(exact)
    return GapCheck(
        name=measure.name, on=measure.on, samples=count, largest=float(off[-1]),
        usual=float(off[round(0.95 * (count - 1))]), exact=Chance(int((exact >= measure.low).sum()), count),
        linear=Chance(int((linear >= measure.low).sum()), count),
    )  # fmt: skip


def laid_lines(bent: Bent, rails: Rails, count: int) -> list[Centreline]:
    """The centrelines of rails, each laid with its datum where it belongs, from the leading end."""
    columns = [np.broadcast_to(np.array(each), (len(each), count)) for each in _columns(rails, count)]
    straights, angle, radius, roll = columns
    return [_line(bent, straights[:, k], angle[:, k], radius[:, k], roll[:, k]) for k in range(count)]


def _columns(rails: Rails, count: int) -> list[Sequence[Array]]:
    wide = np.zeros(count)
    fields = (rails.straights, rails.angle, rails.radius, rails.roll)
    return [[one + wide for one in field] for field in fields]


def _line(bent: Bent, straights: Array, angle: Array, radius: Array, roll: Array) -> Centreline:
    rows = BendRows.of(straights[:-1], wrap(np.diff(roll, prepend=0.0)), angle, radius, straights[-1])
    line = Centreline(rows, bent.line.start)
    here, there = (_datum(one, bent) for one in (line, bent.line))
    turn = np.stack([there.t, there.s, there.u], axis=-1) @ np.stack([here.t, here.s, here.u])
    start = line.start
    moved = Pose(there.at + turn @ (start.at - here.at), turn @ start.t, turn @ start.s, turn @ start.u)
    laid = Centreline(rows, moved)
    return laid if bent.held is None else _fitted(laid, bent.held)


def _fitted(line: Centreline, held: Held) -> Centreline:
    """A centreline laid as well as it fits."""
    at = [(one := line.stretches[place.stretch]).pose(one.length * place.share).at for place in held.places]
    turn, shift = rigid(np.array(at), held.points, held.weights)
    start = line.start
    return Centreline(line.rows, Pose(turn @ start.at + shift, turn @ start.t, turn @ start.s, turn @ start.u))


def _datum(line: Centreline, bent: Bent) -> Pose:
    stretch = line.stretches[bent.datum.stretch]
    return stretch.pose(stretch.length * bent.datum.share)
