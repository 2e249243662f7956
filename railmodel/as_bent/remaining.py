"""A rail half bent: what to do with the bends that are left so that the places that matter come out as well as can be.

Bounded least squares over the straights and angles that are left, and over where the tube is laid. Planes stay where
they are: a flat-sided die takes quarter turns only. Along the tube a place counts for a tenth of what it counts across
it, since brackets go on where they belong. mm, radians.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from math import radians
from typing import Final

import numpy as np

from railmodel.as_bent.align import rigid
from railmodel.as_bent.deviations import Target, pose_at
from railmodel.as_bent.rail import turns
from railmodel.as_bent.spots import Spot, slopes, where
from railmodel.fitting.least_squares import descend
from railmodel.geometry.centreline import Centreline
from railmodel.geometry.rows import Array, BendRows
from railmodel.part import Reading
from railmodel.sureness.screws import Columns, movers

_ALONG: Final = 0.1
_ANGLE: Final = radians(15)
_STRAIGHT: Final = 150.0
_LEAST: Final = radians(1.0)
_PULLS: Final = (3.0, 0.03)
_TURN, _SHIFT = 0.3, 300.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Room:
    """What a bend that is left must keep to.

    Args:
        straight: least straight before it, mm.
        angle: greatest finished angle, radians.
    """

    straight: float
    angle: float


@dataclass(frozen=True, eq=False, kw_only=True)
class Remaining:
    """What to do with the bends that are left.

    Args:
        bent: bends made already.
        rows: the whole tube's bend table: as bent so far, then as it is to be bent.
        before: the same with the rest bent as planned.
        angle: (n - bent,) finished angles to aim for, radians.
        straight: (n - bent + 1,) straights to set, the tail last, mm.
        error_before: weighted root mean square of what the places that matter are off across the tube, the rest bent
            as planned and the tube laid as well as it fits, mm.
        error_after: the same with these commands.
        at_limit: bends (numbers from the leading end) whose straight or angle stands at its limit.
    """

    bent: int
    rows: BendRows
    before: BendRows
    angle: Array
    straight: Array
    error_before: float
    error_after: float
    at_limit: tuple[int, ...]

    @property
    def removed(self) -> float:
        """How much of the error the commands remove, from 0 to 1."""
        return 1 - self.error_after / self.error_before if self.error_before > 1e-9 else 0.0


def remaining(reading: Reading, now: BendRows, bent: int, chosen: Sequence[Target], rooms: Sequence[Room]) -> Remaining:
    """The best commands for the bends that are left.

    Args:
        reading: the part as planned, from its leading end.
        now: its bend table as bent so far; what is not bent is as it would come out.
        bent: bends made.
        chosen: places that matter, on any part of the tube.
        rooms: of the n - bent bends that are left, and of the tail (`angle` is not used there).
    """
    work = _Work(reading, now, bent, tuple(one for one in chosen if one.weight > 0), tuple(rooms))
    home = work.home
    found = descend(work.look, home[None], home, _PULLS)[0]
    low, high = work.bounds
    count = reading.line.rows.count - bent
    stuck = (found[: 2 * count + 1] < 1e-6) | (found[: 2 * count + 1] > 1 - 1e-6)
    fixed = [bent + i + 1 for i in range(count) if stuck[i] or stuck[count + 1 + i]]
    before, after = work.error(home), work.error(found)
    if after > before:
        found, after, fixed = home, before, []
    values = low + (high - low) * found
    return Remaining(
        bent=bent, rows=work.rows(found), before=work.rows(home), straight=values[: count + 1],
        angle=values[count + 1 : 2 * count + 1], error_before=before, error_after=after, at_limit=tuple(fixed),
    )  # fmt: skip


@dataclass(frozen=True, eq=False)
class _Work:
    reading: Reading
    now: BendRows
    bent: int
    chosen: tuple[Target, ...]
    rooms: tuple[Room, ...]

    @property
    def planned(self) -> Array:
        """Straights that are left, then angles, as planned; then six for where the tube lies."""
        rows = self.reading.line.rows
        return np.concatenate([rows.straights[self.bent :], rows.angle[self.bent :], np.zeros(6)])

    @property
    def bounds(self) -> tuple[Array, Array]:
        count = len(self.rooms) - 1
        planned, pose = self.planned, np.array([_TURN] * 3 + [_SHIFT] * 3)
        straight, angle = planned[: count + 1], planned[count + 1 : -6]
        least = np.array([room.straight for room in self.rooms])
        most = np.array([room.angle for room in self.rooms[:-1]]).reshape(count)
        low = [np.maximum(straight - _STRAIGHT, np.minimum(least, straight)), np.maximum(angle - _ANGLE, _LEAST), -pose]
        high = [straight + _STRAIGHT, np.minimum(angle + _ANGLE, np.maximum(most, angle)), pose]
        return np.minimum(np.concatenate(low), planned), np.maximum(np.concatenate(high), planned)

    @property
    def home(self) -> Array:
        low, high = self.bounds
        return np.asarray((self.planned - low) / (high - low))

    def rows(self, x: Array) -> BendRows:
        low, high = self.bounds
        values = low + (high - low) * x
        count = len(self.rooms) - 1
        straight, angle = self.now.straights.copy(), self.now.angle.copy()
        straight[self.bent :], angle[self.bent :] = values[: count + 1], values[count + 1 : -6]
        return BendRows.of(straight[:-1], self.now.rotation, angle, self.now.radius, straight[-1])

    def look(self, x: Array) -> tuple[Array, Array]:
        seen = [self._one(lane) for lane in x]
        return np.array([one for one, _ in seen]), np.array([slope for _, slope in seen])

    @cached_property
    def laid(self) -> tuple[Array, Array]:
        """Turn and shift that lay the tube, bent on as planned, where it belongs."""
        at = where(Centreline(self.rows(self.home), self.reading.line.start), self.spots)
        return rigid(at, self.belongs, np.array([one.weight for one in self.chosen]))

    @property
    def spots(self) -> list[Spot]:
        return [one.spot for one in self.chosen]

    @property
    def belongs(self) -> Array:
        return np.array([one.at for one in self.chosen])

    @cached_property
    def _frames(self) -> Array:
        """(m, 3, 3) for each place: across twice, then along, each scaled by what it counts."""
        found = np.empty((len(self.chosen), 3, 3))
        for i, one in enumerate(self.chosen):
            pose = pose_at(self.reading.line, one.spot.place)
            found[i] = np.sqrt(one.weight) * np.array([pose.s, pose.u, _ALONG * pose.t])
        return found

    def _one(self, x: Array) -> tuple[Array, Array]:
        low, high = self.bounds
        line = Centreline(self.rows(x), self.reading.line.start)
        at, (turn, shift), pose = where(line, self.spots), self.laid, (low + (high - low) * x)[-6:]
        n, columns = line.rows.count, Columns(line.rows.count)
        taken = [*(columns.of("distance", i + 1) for i in range(self.bent, n)), columns.tail]
        taken += [columns.of("angle", i + 1) for i in range(self.bent, n)]
        by_turn, nudge = turns(pose[:3])
        middle = self.belongs.mean(axis=0)
        laid = at @ turn.T + shift - middle
        slope = np.empty((len(at), len(taken) + 6, 3))
        slope[:, :-6] = slopes(line, movers(line, "straights held"), self.spots, at)[:, taken] @ (nudge @ turn).T
        slope[:, -6:-3] = np.einsum("aij,mj->mai", by_turn, laid)
        slope[:, -3:] = np.eye(3)
        frames, off = self._frames, laid @ nudge.T + middle + pose[3:] - self.belongs
        residual = np.einsum("mij,mj->mi", frames, off).reshape(-1)
        slope = slope * (high - low)[:, None]
        return residual, np.einsum("mij,mxj->mix", frames, slope).reshape(len(residual), -1)

    def error(self, x: Array) -> float:
        """Weighted root mean square across the tube, laid as well as it fits, mm."""
        x = x.copy()
        for _ in range(6):
            residual, slope = self._one(x)
            x[-6:] -= np.linalg.lstsq(slope[:, -6:], residual, rcond=1e-9)[0]
        across = self._one(x)[0].reshape(-1, 3)[:, :2]
        return float(np.sqrt((across**2).sum() / sum(one.weight for one in self.chosen)))
