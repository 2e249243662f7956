"""Usual slips of the pen, the tape and the head, found by undoing them and seeing whether the reading then fits."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from math import pi, radians
from typing import Final

import numpy as np

from railmodel.as_bent.measured import Measured
from railmodel.as_bent.rail import Rail, Readings
from railmodel.as_bent.spots import Spot, across, where
from railmodel.geometry.rows import Array
from railmodel.part import Reading
from railmodel.units import LengthError, Unit, from_unit, parse_length

NEAR: Final = 3.0
"""A reading with its slip undone must lie within so many standard deviations of what the others say."""

INCH: Final = 25.4
FIT: Final = 3.0
"""A record fits where the mean of its squared deviations over their variance, each cut off, is below this."""

_CAP: Final = 16.0
_NEARER: Final = 3.0
_FEW: Final = 4
_UNIT_SLACK: Final = 0.1
"""Ratios of 25.4 are found within this part."""


@dataclass(frozen=True, eq=False)
class Slips:
    """Everything needed to undo slips in the readings of one part.

    Args:
        reading: the part, from its leading end.
        rail: its spread.
        unit: unit of bare lengths in the record.
        say: a length in words.
    """

    reading: Reading
    rail: Rail
    unit: Unit
    say: Callable[[float], str]
    _known: dict[tuple[str, int], float] = field(default_factory=dict)

    def explained(self, one: Measured, expected: float, sigma: float) -> bool:
        """Whether a usual slip turns a reading into what was expected."""
        return self.name(one, expected, sigma) is not None

    def name(self, one: Measured, expected: float, sigma: float) -> str | None:
        """The slip that explains a reading best, in words; None where none does."""
        if abs(one.value - expected) <= 2 * NEAR * sigma:
            return None  # so near that a chance match would mean nothing
        best, words = NEAR * sigma, None
        for undone, what in self._undone(one):
            if abs(undone - expected) < best:
                best, words = abs(undone - expected), what
        return words

    def _undone(self, one: Measured) -> Iterator[tuple[float, str]]:
        yield from self._digits(one)
        if one.unit == "length":
            yield one.value * INCH, "reads like a length in inches written down as millimetres (out by 25.4)"
            yield one.value / INCH, "reads like a length in millimetres written down as inches (out by 25.4)"
            yield one.value - INCH, "reads one inch too long: a tape held at its 1 in mark and not taken off"
            yield one.value + INCH, "reads one inch too short: a tape held at its 1 in mark and taken off twice"
            yield one.value - 12 * INCH, "reads one foot too long"
            yield one.value + 12 * INCH, "reads one foot too short"
        if one.kind == "angle":
            yield pi - one.value, "reads like the angle between the legs; the bend is 180 degrees less that"
        if one.kind == "turn":
            yield -one.value, "has the wrong side: a turn seen from the other end"
            yield -one.value + 2 * pi, "has the wrong side: a turn seen from the other end"
        if one.kind == "table":
            yield -one.value, "has the wrong sign: a place on the wrong side of the table's axis"
        yield one.value / 10, "reads ten times too much: a decimal point"
        yield one.value * 10, "reads ten times too little: a decimal point"
        yield from self._places(one)

    def _digits(self, one: Measured) -> Iterator[tuple[float, str]]:
        """The reading with two neighbouring digits swapped back."""
        text = one.text
        places = [i for i, letter in enumerate(text) if letter.isdigit()]
        for i, k in pairwise(places):
            if text[i] != text[k] and text[i + 1 : k] in ("", "."):
                swapped = text[:i] + text[k] + text[i + 1 : k] + text[i] + text[k + 1 :]
                value = self._value(swapped, one)
                if value is not None:
                    yield value, f"has two digits swapped: {text} for {swapped}"

    def _value(self, text: str, one: Measured) -> float | None:
        try:
            if one.unit == "length":
                plain = text.replace(".", "", 1).isdecimal()
                return from_unit(float(text), self.unit) if plain else parse_length(text, self.unit)
            return radians(float(text.removesuffix("°")))
        except (LengthError, ValueError):
            return None

    def _places(self, one: Measured) -> Iterator[tuple[float, str]]:
        """A reading of something else: what stands there is taken off, what was asked for put on, as planned."""
        n = self.rail.columns.bends
        asked = self._planned(one)
        others: list[tuple[Measured, str]] = []
        if one.kind in ("straight", "apexes"):
            other = "apexes" if one.kind == "straight" else "tangents"
            kind = "apexes" if one.kind == "straight" else "straight"
            others.append((replace(one, kind=kind), f"reads like the leg between {other}"))  # type: ignore[arg-type]
            if n - one.index != one.index:
                others.append((replace(one, index=n - one.index), "reads like the straight counted from the other end"))
        if one.kind in ("angle", "turn") and n - 1 - one.index != one.index:
            others.append((replace(one, index=n - 1 - one.index), "reads like the bend counted from the other end"))
        if one.kind == "angle":
            for bend in range(n):
                if bend not in (one.index, n - 1 - one.index):
                    number = one.name.rsplit(" ", 1)[0]
                    others.append((replace(one, index=bend), f"reads like the {number} {bend + 1}"))
        if one.kind == "distance":
            others += self._faces(one)
            others += self._turned(one)
        for other_one, words in others:
            yield one.value - self._planned(other_one) + asked, words

    def _faces(self, one: Measured) -> Iterator[tuple[Measured, str]]:
        start, end = one.spots
        for spots in ((across(start, self.reading), end), (start, across(end, self.reading)),
                      (across(start, self.reading), across(end, self.reading))):  # fmt: skip
            if spots[0] is not None and spots[1] is not None:
                words = f"reads like the wrong side of the tube: {spots[0].name} to {spots[1].name}"
                yield replace(one, spots=(spots[0], spots[1])), words

    def _turned(self, one: Measured) -> Iterator[tuple[Measured, str]]:
        """The distance from the other end of the tube."""
        start, end = one.spots
        last = 2 * self.rail.columns.bends
        for k, spot in enumerate((start, end)):
            if spot.place.stretch in (0, last) and spot.place.share in (0.0, 1.0) and not spot.apex:
                place = replace(spot.place, stretch=last - spot.place.stretch, share=1.0 - spot.place.share)
                other = Spot("the other end", place, spot.s, spot.u)
                spots = (other, end) if k == 0 else (start, other)
                if spots[0] != spots[1]:
                    yield replace(one, spots=spots), "reads like a tape hooked on the wrong end"

    def _planned(self, one: Measured) -> float:
        if one.kind == "table":
            return 0.0
        if one.kind == "distance":
            start, end = where(self.rail.reading.line, list(one.spots))
            return float(np.linalg.norm(end - start))
        thing = (one.kind, one.index)
        if thing not in self._known:
            readings = Readings(self.rail, (one,), None)
            self._known[thing] = float(readings.look(np.zeros(readings.unknowns))[0][0])
        return self._known[thing]


def misfits(rail: Rail, taken: Sequence[Measured]) -> Array:
    """(m,) how badly each reading goes with a part as planned: its squared deviation over its variance."""
    readings = Readings.of(rail, taken)
    values, slopes = readings.look(np.zeros(readings.unknowns))
    count = len(rail.free)
    scaled = slopes[:, :count] * readings.scale[:count]
    variance = readings.sigmas**2 + np.sum(scaled**2, axis=1)
    return np.asarray((readings.values - values) ** 2 / variance)


def wrong_units(rail: Rail, taken: Sequence[Measured]) -> str | None:
    """Whether the lengths of a whole record are out by 25.4, in words."""
    lengths = [one for one in taken if one.unit == "length" and one.kind != "table"]
    readings = Readings.of(rail, lengths)
    planned = readings.look(np.zeros(readings.unknowns))[0] if lengths else np.zeros(0)
    ratios = [one.value / plan for one, plan in zip(lengths, planned, strict=True) if plan > 1.0 and one.value > 0]
    if not ratios:
        ratios = _table_ratios(rail, taken)
    for factor, words in (
        (INCH, "25.4 times what they should be: millimetres in a record that says inches"),
        (1 / INCH, "25.4 times too small: inches in a record that says millimetres"),
    ):
        near = sum(abs(np.log(ratio / factor)) < _UNIT_SLACK for ratio in ratios)
        if len(ratios) > 1 and near * 3 >= len(ratios) * 2:
            return f"the lengths are {words}; correct units:"
    return None


def _table_ratios(rail: Rail, taken: Sequence[Measured]) -> list[float]:
    """How far apart places on the table lie, over how far apart they should."""
    points: dict[Spot, Array] = {}
    for one in taken:
        if one.kind == "table":
            points.setdefault(one.spots[0], np.zeros(3))[one.index] = one.value
    if len(points) < 2:
        return []
    planned, found = where(rail.reading.line, list(points)), np.array(list(points.values()))
    spans = [np.linalg.norm(one - one[0], axis=1)[1:] for one in (found, planned)]
    return [float(a / b) for a, b in zip(*spans, strict=True) if b > 1.0 and a > 0]


def other_reading(
    rail: Rail, taken: Sequence[Measured], turned: Sequence[Measured] | None, mirrored: tuple[Rail, Sequence[Measured]],
    *, single: bool = False,
) -> str | None:  # fmt: skip
    """Whether a whole record is of the other hand, or counted from the other end, in words.

    Args:
        rail: the part the record says it is of.
        taken: its readings.
        turned: the same counted from the other end; None where that makes no sense.
        mirrored: the other hand, and the readings as they are on it.
        single: whether the part is made in one hand only, so that its record names none.
    """
    plain = misfits(rail, taken)
    if turned is not None and _explains(misfits(rail, turned), plain) > 1:
        return "fits when it is counted from the other end; correct numbered_from:"
    told = _explains(misfits(*mirrored), plain)
    if not told:
        return None
    other = "" if told > 1 else " (or its one turn has the wrong sign)"
    cure = "the part is a single one: correct turns: or reject the piece" if single else "correct hand:"
    return f"fits the other hand: it is the record of a mirrored rail{other}; {cure}"


def _explains(other: Array, plain: Array) -> int:
    """How many wild readings another way to take a record explains; 0 where it does not explain the record.

    It does where it leaves none wild and makes none so, or, for a piece that is itself well off plan, where it brings
    several readings three times nearer, or one all the way, and takes hardly one as far away.
    """
    wild = plain >= _CAP
    quiet = np.minimum(other, _CAP).mean() < FIT and not np.any((other >= _CAP) & ~wild)
    if quiet and np.all(other[wild] < NEAR**2):
        return int(wild.sum())
    nearer = wild & (other * _NEARER**2 < plain)
    farther = (other >= _CAP) & (plain * _NEARER**2 < other)
    count = int(nearer.sum())
    enough = count > 1 or np.all(other[nearer] < NEAR**2)
    return count if enough and _FEW * int(farther.sum()) <= count else 0


def twice(taken: Sequence[Measured], say: Callable[[Measured, float], str]) -> tuple[list[Measured], list[str]]:
    """Readings without those that stand in two places alike, and what is to be said of things read in several.

    Args:
        taken: all readings.
        say: a value of a reading in words.
    """
    by_thing: dict[tuple[object, ...], list[Measured]] = {}
    for one in taken:
        by_thing.setdefault(one.thing, []).append(one)
    left, said = [], []
    for same in by_thing.values():
        values: list[Measured] = []
        for one in same:
            first = next((other for other in values if other.at != one.at and other.value == one.value), None)
            if first is None:
                values.append(one)
                left.append(one)
            else:
                said.append(f"{one.name} stands twice, at {first.at} and {one.at}, with one reading; it counts once")
        for one in values[1:]:
            apart = abs(one.value - values[0].value)
            if apart > 4 * float(np.hypot(one.sigma, values[0].sigma)):
                said.append(
                    f"{one.name} contradicts itself: {say(values[0], values[0].value)} at {values[0].at} and "
                    f"{say(one, one.value)} at {one.at}; measure it again"
                )
                break
    return left, said
