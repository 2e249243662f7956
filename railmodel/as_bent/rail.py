"""A tube whose bend table is a little off, and what each reading would be on it, with exact derivatives. mm, rad."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from math import cos, tan
from typing import Any

import numpy as np
from numpy.typing import NDArray

from railmodel.as_bent.align import rigid
from railmodel.as_bent.measured import Measured
from railmodel.as_bent.spots import Spot, slopes, where
from railmodel.geometry.centreline import Centreline
from railmodel.geometry.rows import Array, BendRows
from railmodel.part import Reading
from railmodel.sureness.screws import Columns, Movers, Working, movers

POSE_SPREAD = np.array([0.3, 0.3, 0.3, 300.0, 300.0, 300.0])
"""How little is known of where the tube lay on the table once it is laid to fit, radians and mm."""


@dataclass(frozen=True, eq=False)
class Rail:
    """A part as planned, and how it may come out.

    Args:
        reading: the part, read from its leading end.
        working: how the shop works.
        stretch: (n,) part of each arc that comes from stretching.
        spread: (6 n + 1,) standard deviation of each value of the bend table, as `Columns` has them; what has none
            is as planned.
    """

    reading: Reading
    working: Working
    stretch: Array
    spread: Array

    @cached_property
    def columns(self) -> Columns:
        """The values of the bend table."""
        return Columns(self.reading.line.rows.count)

    @cached_property
    def free(self) -> NDArray[np.intp]:
        """Indices of the values that may be off."""
        return np.flatnonzero(self.spread > 0)

    def rows(self, off: Array) -> BendRows:
        """The bend table with its values (6 n + 1,) off by so much."""
        plan, columns = self.reading.line.rows, self.columns
        distance, rotation, angle, radius, roll, use = (
            off[columns.block(field)] for field in ("distance", "rotation", "angle", "radius", "roll", "tube use")
        )
        straights = plan.straights.copy()
        straights[:-1] += distance
        straights[-1] += off[columns.tail]
        if self.working == "marks fixed":
            arc = (plan.angle + angle) * (plan.radius + radius) - plan.angle * plan.radius
            straights[1:] -= distance + use + (1 - self.stretch) * arc
        turned = plan.rotation + rotation + np.diff(roll, prepend=0.0)
        return BendRows.of(straights[:-1], turned, plan.angle + angle, plan.radius + radius, straights[-1])

    def line(self, off: Array) -> Centreline:
        """The centreline with the values of the bend table off by so much, from the same leading end."""
        return Centreline(self.rows(off), self.reading.line.start)

    def movers(self, line: Centreline) -> Movers:
        """How such a tube moves for each value of its bend table."""
        return movers(line, self.working, stretch=self.stretch)

    def relaxed(self, column: int, spread: float) -> "Rail":
        """The same with one value more uncertain."""
        changed = self.spread.copy()
        changed[column] = spread
        return replace(self, spread=changed)


def table_rows(movers: Movers) -> Array:
    """(6 n + 1, 4 n + 1) what each value does to the straights, turns, angles and radii as they are measured."""
    n = len(movers.angle)
    straights, angles, radii, rolls = np.split(movers.mix, [n + 1, 2 * n + 1, 3 * n + 1], axis=1)
    return np.concatenate([straights, np.diff(rolls, axis=1, prepend=0.0), angles, radii], axis=1)


@dataclass(frozen=True, eq=False)
class Readings:
    """Readings to be held against shapes of a rail.

    Args:
        rail: the rail.
        taken: the readings, m of them.
        pose: turn (3, 3) and shift (3,) that lay the tube as planned on the table; None where nothing was measured
            there.
    """

    rail: Rail
    taken: tuple[Measured, ...]
    pose: tuple[Array, Array] | None

    @classmethod
    def of(cls, rail: Rail, taken: Sequence[Measured]) -> "Readings":
        """Readings, the tube laid on the table as well as it fits."""
        return cls(rail, tuple(taken), _pose(rail, taken))

    @property
    def unknowns(self) -> int:
        """How many values are sought: the free ones of the bend table, and six for the place on the table."""
        return len(self.rail.free) + (6 if self.pose is not None else 0)

    @cached_property
    def scale(self) -> Array:
        """(unknowns,) standard deviation of each before anything was measured."""
        own = self.rail.spread[self.rail.free]
        return np.concatenate([own, POSE_SPREAD]) if self.pose is not None else own

    @cached_property
    def values(self) -> Array:
        """(m,) what was read."""
        return np.array([one.value for one in self.taken])

    @cached_property
    def sigmas(self) -> Array:
        """(m,) standard deviation of each reading."""
        return np.array([one.sigma for one in self.taken])

    @cached_property
    def _spots(self) -> tuple[list[Spot], list[int]]:
        """The spots that readings are of, each once, and which of them every reading's are, one after another."""
        found: dict[Spot, int] = {}
        which = [found.setdefault(spot, len(found)) for one in self.taken for spot in one.spots]
        return list(found), which

    def off(self, unknowns: Array) -> Array:
        """(6 n + 1,) values of the bend table for unknowns in their own units."""
        found = np.zeros(self.rail.columns.count)
        found[self.rail.free] = unknowns[: len(self.rail.free)]
        return found

    def look(self, unknowns: Array) -> tuple[Array, Array]:
        """What would be read, (m,), and its derivatives (m, unknowns)."""
        rail = self.rail
        line = rail.line(self.off(unknowns))
        moving = rail.movers(line)
        values, by_table = np.empty(len(self.taken)), np.zeros((len(self.taken), rail.columns.count))
        by_pose = np.zeros((len(self.taken), 6))
        spots, which = self._spots
        at, moves = np.zeros((0, 3)), np.zeros((0, rail.columns.count, 3))
        if spots:
            at = where(line, spots)
            at, moves = at[which], slopes(line, moving, spots, at)[which]
        flat, rows = table_rows(moving), _table_values(line.rows)
        pose = unknowns[len(rail.free) :]
        nudge = turns(pose[:3]) if self.pose is not None else None
        k = 0
        for i, one in enumerate(self.taken):
            if one.kind == "distance":
                apart = at[k + 1] - at[k]
                values[i] = np.linalg.norm(apart)
                by_table[i] = (moves[k + 1] - moves[k]) @ (apart / max(values[i], 1e-9))
            elif nudge is not None and one.kind == "table":
                values[i], by_table[i], by_pose[i] = self._on_table(one.index, at[k], moves[k], pose[3:], nudge)
            else:
                values[i], by_table[i] = _in_table(one, line.rows, rows, flat)
            k += len(one.spots)
        slope = by_table[:, rail.free]
        return values, np.concatenate([slope, by_pose], axis=1) if self.pose is not None else slope

    def _on_table(
        self, axis: int, at: Array, moves: Array, moved: Array, nudge: tuple[Array, Array]
    ) -> tuple[float, Array, Array]:
        """One coordinate of a place on the table, with its derivatives by the bend table and by the tube's place."""
        assert self.pose is not None
        (turn, shift), (by_turn, whole) = self.pose, nudge
        laid = turn @ at
        by_pose = np.zeros(6)
        by_pose[:3] = by_turn[:, axis] @ laid
        by_pose[3 + axis] = 1.0
        return float(whole[axis] @ laid + shift[axis] + moved[axis]), moves @ (whole[axis] @ turn), by_pose


def turns(about: Array) -> tuple[Array, Array]:
    """(3, 3, 3) derivatives of, and (3, 3), a turn about x, then y, then z."""
    axes, singles, slopes_ = np.eye(3), [], []
    for axis, angle in zip(axes, about, strict=True):
        cross = np.array([[0, -axis[2], axis[1]], [axis[2], 0, -axis[0]], [-axis[1], axis[0], 0]])
        singles.append(np.eye(3) + np.sin(angle) * cross + (1 - np.cos(angle)) * cross @ cross)
        slopes_.append(np.cos(angle) * cross + np.sin(angle) * cross @ cross)
    x, y, z = singles
    dx, dy, dz = slopes_
    return np.array([z @ y @ dx, z @ dy @ x, dz @ y @ x]), z @ y @ x


def _table_values(rows: BendRows) -> Array:
    """(4 n + 1,) straights, turns, angles, radii."""
    return np.concatenate([rows.straights, rows.rotation, rows.angle, rows.radius])


def _in_table(one: Measured, rows: BendRows, values: Array, flat: Array) -> tuple[float, Array]:
    """A reading that stands in the bend table, or between apexes, and its derivatives."""
    n = rows.count
    begin = {"straight": 0, "apexes": 0, "turn": n + 1, "angle": 2 * n + 1}[one.kind]
    value, slope = float(values[begin + one.index]), flat[:, begin + one.index].copy()
    if one.kind == "apexes":
        for bend in (one.index - 1, one.index):
            if 0 <= bend < n:
                half, radius = float(rows.angle[bend]) / 2, float(rows.radius[bend])
                value += radius * tan(half)
                slope += flat[:, 2 * n + 1 + bend] * (radius / 2 / cos(half) ** 2) + flat[:, 3 * n + 1 + bend] * tan(
                    half
                )
    return value, slope


def _pose(rail: Rail, taken: Sequence[Measured]) -> tuple[Array, Array] | None:
    """Where the tube as planned lies on the table; heights that were not measured count as one height."""
    points: dict[Any, list[float]] = {}
    for one in taken:
        if one.kind == "table":
            points.setdefault(one.spots[0], [0.0, 0.0, 0.0])[one.index] = one.value
    if not points:
        return None
    at = where(rail.reading.line, list(points))
    return rigid(at, np.array(list(points.values())), np.ones(len(points)))
