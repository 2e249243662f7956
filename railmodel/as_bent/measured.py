"""What a record measured, thing by thing, ready to be held against a shape. mm, radians."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from math import hypot, radians, tan
from typing import Final, Literal

import numpy as np

from railmodel.as_bent.record import AngleReading, Distance, Leg, Record, TablePoint, TurnReading
from railmodel.as_bent.record import Reading as Read
from railmodel.as_bent.spots import Spot, bend_index, find_spot, straight_index
from railmodel.bending.springback import GAUGE
from railmodel.bending.tube_use import TAPE
from railmodel.errors import InputError
from railmodel.job.yaml_tree import Loc
from railmodel.part import End, Reading

Kind = Literal["straight", "apexes", "angle", "turn", "distance", "table"]
Tool = Literal["tape", "protractor", "level", "grid"]

SIGMA: Final[dict[Tool, float]] = {"tape": TAPE, "protractor": GAUGE, "level": radians(0.3), "grid": 1.0}
"""Standard deviation of one reading where the record says nothing, mm and radians (common practice, no source)."""

LEAST: Final = radians(5.0)
"""The apex of a bend gentler than this is found as badly as of this one."""

TWENTIETH: Final = 1.96
"""Nineteen of twenty readings lie within so many standard deviations."""

TOOLS: Final[dict[Kind, Tool]] = {
    "straight": "tape", "apexes": "tape", "distance": "tape", "angle": "protractor", "turn": "level", "table": "grid",
}  # fmt: skip


def apex_doubt(angle: float, tape: float) -> float:
    """Standard deviation of where an apex is found along the tube, mm.

    Two straight lines, each out by what the tape is, cross so far off at a gentle bend (derived; common practice of
    the trade not to measure to the apex of one).
    """
    return tape / tan(min(max(angle, LEAST), radians(90)) / 2) / 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """One reading.

    Args:
        kind: what it is of.
        index: straight or bend from 0 in reading order, or the axis (0, 1, 2) of a place on the table.
        spots: the places of a distance, or the one on the table.
        value: mm or radians.
        sigma: its standard deviation.
        text: as it was written.
        name: what it is called in messages, in the record's own numbers.
        at: where it stands in the file.
    """

    kind: Kind
    index: int
    spots: tuple[Spot, ...] = ()
    value: float
    sigma: float
    text: str
    name: str
    at: str

    @property
    def unit(self) -> Literal["length", "angle"]:
        """What it is measured in."""
        return "angle" if self.kind in ("angle", "turn") else "length"

    @property
    def thing(self) -> tuple[object, ...]:
        """Equal for two readings of one thing."""
        return (self.kind, self.index, frozenset((spot.place, spot.s, spot.u, spot.apex) for spot in self.spots))


def measured(
    record: Record,
    reading: Reading,
    feet: Mapping[str, Spot],
    places: Mapping[Loc, str],
    *,
    counted_from: End | None = None,
) -> tuple[Measured, ...]:
    """Every reading of a record.

    Args:
        record: the record.
        reading: the part, read from its leading end.
        feet: feet of fit points by name.
        places: where every entry stands in the file.
        counted_from: count from this end instead of what the record says.

    Raises:
        InputError: a bend, straight or place that the part does not have, or lies beyond the bends made.
    """
    found: list[Measured] = []
    problems: list[str] = []
    work = _Taking(record, reading, feet, counted_from or record.numbered_from or reading.end)
    for section, i, take in work.entries():
        at = places.get((section, i), section)
        try:
            found += [replace(one, at=at) for one in take()]
        except InputError as error:
            problems += [f"{at}: {said}" for said in error.problems]
    if problems:
        raise InputError(problems)
    return tuple(found)


def apexes(spots: Sequence[Spot]) -> list[int]:
    """Bends (from 0) whose apexes are among some places."""
    return [bend for spot in spots if spot.apex and (bend := spot.place.bend) is not None]


@dataclass(frozen=True, slots=True)
class _Taking:
    """Reads the entries of a record one by one."""

    record: Record
    reading: Reading
    feet: Mapping[str, Spot]
    counted_from: End

    def sigma(self, kind: Kind, own: float | None, bends: Sequence[int] = ()) -> float:
        """Standard deviation of a reading; `bends` (from 0) are those whose apexes it goes to."""
        tool = TOOLS[kind]
        sure = getattr(self.record.tools, tool)
        plain = float(sure) / TWENTIETH if sure else SIGMA[tool]
        angles = self.reading.line.rows.angle
        return own / TWENTIETH if own else hypot(plain, *(apex_doubt(float(angles[bend]), plain) for bend in bends))

    def entries(self) -> Iterator[tuple[str, int, Callable[[], Iterator[Measured]]]]:
        """Every entry: the list it stands in, its place there, and what reads it."""
        given = self.record
        yield from (("legs", i, partial(self.legs, one)) for i, one in enumerate(given.legs))
        yield from (("angles", i, partial(self.angles, one)) for i, one in enumerate(given.angles))
        yield from (("turns", i, partial(self.turns, one)) for i, one in enumerate(given.turns))
        yield from (("distances", i, partial(self.distances, one)) for i, one in enumerate(given.distances))
        yield from (("table", i, partial(self.table, one)) for i, one in enumerate(given.table))

    @property
    def count(self) -> int:
        return int(self.reading.line.rows.count)

    @property
    def turned(self) -> bool:
        return self.counted_from != self.reading.end

    def _bent(self, last: int, what: str) -> None:
        """See that a bend (from 0) is made already.

        Raises:
            InputError: it is not.
        """
        if self.record.bent is not None and last >= self.record.bent:
            raise InputError(f"{what} lies behind bend {self.record.bent}, the last one made so far; correct bent:")

    def _many(
        self, kind: Kind, index: int, reads: tuple[Read, ...], own: float | None, name: str, bends: Sequence[int] = ()
    ) -> Iterator[Measured]:
        sigma = self.sigma(kind, own, bends)
        for one in reads:
            yield Measured(kind=kind, index=index, value=one.value, sigma=sigma, text=one.text, name=name, at="")

    def legs(self, leg: Leg) -> Iterator[Measured]:
        index = straight_index(leg.straight, self.count, self.turned)
        name = f"straight {leg.straight} between {leg.between}"
        self._bent(index if leg.between == "apexes" and index < self.count else index - 1, name)
        kind: Kind = "straight" if leg.between == "tangents" else "apexes"
        bends = [bend for bend in (index - 1, index) if kind == "apexes" and 0 <= bend < self.count]
        return self._many(kind, index, leg.reads, leg.sure_to, name, bends)

    def angles(self, angle: AngleReading) -> Iterator[Measured]:
        index = bend_index(angle.bend, self.count, self.turned)
        self._bent(index, f"bend {angle.bend}")
        return self._many("angle", index, angle.reads, angle.sure_to, f"angle of bend {angle.bend}")

    def turns(self, turn: TurnReading) -> Iterator[Measured]:
        index = bend_index(turn.bend, self.count, self.turned)
        if self.turned:  # the turn onto the bend before, as the other end counts, belongs to the bend behind
            index = index + 1 if turn.bend > 1 else 0
            if turn.bend == 1:
                raise InputError(
                    "turn of bend 1: counted from the trailing end it has none before it; count from the leading end"
                )
        self._bent(index, f"bend {turn.bend}")
        nominal = float(self.reading.line.rows.rotation[index])
        for one in self._many("turn", index, turn.reads, turn.sure_to, f"turn of bend {turn.bend}"):
            yield replace(one, value=nominal + float(np.angle(np.exp(1j * (one.value - nominal)))))

    def distances(self, tape: Distance) -> Iterator[Measured]:
        start, end = self._spot(tape.start, "from"), self._spot(tape.end, "to")
        if start == end or (start.place, start.s, start.u, start.apex) == (end.place, end.s, end.u, end.apex):
            raise InputError(f"from and to: found {start.name} twice; allowed: two places apart")
        name = f"distance from {start.name} to {end.name}"
        bends = apexes((start, end))
        found = self._many("distance", 0, tape.reads, tape.sure_to, name, bends)
        return (replace(one, spots=(start, end)) for one in found)

    def table(self, point: TablePoint) -> Iterator[Measured]:
        spot = self._spot(point.place, "place")
        for axis, one in enumerate(point.at):
            if one is not None:
                name = f"{'xyz'[axis]} of {spot.name} on the table"
                for found in self._many("table", axis, (one,), point.sure_to, name, apexes((spot,))):
                    yield replace(found, spots=(spot,))

    def _spot(self, text: str, key: str) -> Spot:
        try:
            found = find_spot(text, self.reading, self.feet, self.counted_from)
        except InputError as error:
            raise InputError([f"{key}: {said}" for said in error.problems]) from None
        place = found.place
        last = place.stretch if found.apex else place.stretch - (place.stretch % 2 == 0 and place.share == 0.0)
        self._bent((last + 1) // 2 - 1, found.name)
        return found
