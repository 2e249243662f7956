"""What is said of each bend and part in a view: its angle, its radius, its letter. Millimetres on paper, radians."""

from collections.abc import Callable, Iterator, Sequence
from itertools import product
from math import atan2, cos, hypot, pi, sin, tan
from typing import TypeVar

import numpy as np

from exporters.approval_points import letters
from exporters.drawing import dimensions as dims
from exporters.drawing.dimensions import Dimension, angle_words
from exporters.drawing.features import Turn, shown
from exporters.drawing.figure import Work, pair
from exporters.drawing.marks import TEXT, Arc, Line, Mark, middle_text, text_width
from exporters.dxf import Point
from exporters.room import Rect
from exporters.views import PICTORIAL
from railmodel.geometry.rows import Array
from railmodel.part import RailPart

_Tried = TypeVar("_Tried")

BALLOON: float = 2.6
"""Radius of the circle about a letter."""

_FULL = 2 * pi
_REACHES = (5.0, 9.0, 14.0, 20.0, 28.0, 38.0, 60.0, 100.0, 150.0)  # from a tube to what is said of it
_BEYOND = 2.0  # that a construction line goes beyond an angle's arc


def construction(work: Work, turn: Turn) -> Iterator[Mark]:
    """Lines from a bend's tangents to its corner point, which its angle is measured at."""
    corner, first, last = (work.at(point) for point in (turn.corner, *_tangents(turn)))
    yield Line(first, corner, "CONSTRUCTION")
    yield Line(corner, last, "CONSTRUCTION")


def angle(work: Work, turn: Turn) -> None:
    """A bend's angle, between the straight before it carried on and the straight after it."""
    corner = np.array(work.at(turn.corner))
    before, after = work.way(turn.stretch.pose(np.array([0.0, turn.stretch.length])).t)
    left = before[0] * after[1] - before[1] * after[0] > 0
    legs = (pair(before), pair(after)) if left else (pair(after), pair(before))
    begin = atan2(legs[0][1], legs[0][0])
    middle = begin + turn.stretch.angle / 2
    setback = turn.stretch.radius * tan(turn.stretch.angle / 2) / work.denominator
    words = angle_words(turn.stretch.angle)
    wide = text_width(words, TEXT)

    def tries() -> Iterator[tuple[Dimension, Rect]]:
        for radius in (max(9.0, min(setback, 20.0) + 5.0) + step for step in (0.0, 4.0, 8.0, 13.0, 19.0)):
            for out, lean in product((0.0, 3.0, 7.0, 12.0, 30.0, 60.0, 120.0), (0.0, 0.5, -0.5, 1.0, -1.0, 1.6, -1.6)):
                where = middle + lean * (turn.stretch.angle / 2 + 2.5 * TEXT / radius)
                away = radius + out + abs(cos(where)) * (wide / 2 + 1.0) + abs(sin(where)) * (TEXT / 2 + 1.0)
                at = (float(corner[0] + away * cos(where)), float(corner[1] + away * sin(where)))
                one = dims.angle(pair(corner), legs, radius, words, at)
                yield one, one.label.box

    best = _best(work, tries())
    work.dimension(best)
    reach = hypot(best.points[1][0] - corner[0], best.points[1][1] - corner[1]) + _BEYOND
    work.draw(Line(pair(corner), pair(corner + reach * before), "CONSTRUCTION"))
    if setback < reach:
        work.draw(Line(pair(corner + setback * after), pair(corner + reach * after), "CONSTRUCTION"))


def radius(work: Work, turn: Turn) -> None:
    """A bend's radius, to the centreline."""
    stretch = turn.stretch
    centre, on_arc = work.at(stretch.centre), work.at(stretch.pose([stretch.length / 2]).at[0])
    out = np.array(on_arc) - np.array(centre)
    outward = out / np.linalg.norm(out)
    half = turn.part.depth_toward(turn.toward) / 2 / work.denominator
    words = f"R {work.say(stretch.radius)}"

    def tries() -> Iterator[tuple[Dimension, Rect]]:
        for reach, sign, lean in product(_REACHES, (1.0, -1.0), (0.0, 0.35, -0.35, 0.7, -0.7)):
            elbow = np.array(on_arc) + sign * (half + reach) * _turned(outward, lean)
            one = dims.radius(centre, on_arc, pair(elbow), words)
            yield one, one.label.box

    work.dimension(_best(work, tries(), lambda one: work.floor.texts_under(one.points[1], _elbow(one))))


def bend_letters(work: Work, seen: Sequence[Turn]) -> None:
    """The names of bends, in balloons."""
    for turn in seen:
        middle = turn.stretch.pose([turn.stretch.length / 2]).at[0]
        out = work.way(middle - turn.stretch.centre)
        half = turn.part.depth_toward(turn.toward) / 2 / work.denominator
        balloon(work, turn.name, middle, half, out)


def part_letters(work: Work) -> None:
    """The letters of parts, in balloons: in the pictorial view every part, else those without bends."""
    named = letters(work.frame)
    for part in _nearest_hands(work):
        if work.view is not PICTORIAL and part.line.rows.count:
            continue
        longest = max(part.line.straights, key=lambda stretch: stretch.length)
        middle = longest.pose([longest.length * 0.42]).at[0]
        half = max(part.section.width, part.section.height) / 2 / work.denominator
        balloon(work, named[part.name], middle, half, np.array([0.3, 1.0]))


def balloon(work: Work, words: str, point: Array, half: float, out: Array) -> None:
    """Letters in a circle with a line to a point of the vehicle; `out` (2,) is the way it had better go."""
    tip = np.array(work.at(point))
    long = max(BALLOON, text_width(words, TEXT) / 2 + 0.8)
    first = atan2(float(out[1]), float(out[0])) if np.linalg.norm(out) > 1e-6 else pi / 2

    def tries() -> Iterator[tuple[Point, Rect]]:
        turns = [sign * k * pi / 12 for k in range(13) for sign in (1, -1)]
        for reach, lean in product(_REACHES, turns):
            x, y = tip + (half + reach + long) * np.array([cos(first + lean), sin(first + lean)])
            yield (float(x), float(y)), Rect.around(float(x), float(y), 2 * long + 0.6, 2 * long + 0.6)

    at = _best(work, tries(), lambda spot: work.floor.texts_under(pair(tip), _rim(spot, tip, long)))
    rim = _rim(at, tip, long)
    work.draw(
        Arc(at, long, 0.0, _FULL, "LABEL"), middle_text(words, at, "LABEL"), Line(rim, pair(tip), "LABEL"),
        Arc(pair(tip), 0.4, 0.0, _FULL, "LABEL"),
    )  # fmt: skip
    work.floor.take(Rect.around(*at, 2 * long, 2 * long))


def _rim(at: Point, tip: Array, long: float) -> Point:
    away = tip - np.array(at)
    return pair(np.array(at) + long * away / np.linalg.norm(away))


def _turned(way: Array, turn: float) -> Array:
    return np.array([way[0] * cos(turn) - way[1] * sin(turn), way[0] * sin(turn) + way[1] * cos(turn)])


def _elbow(one: Dimension) -> Point:
    first = one.marks[0]
    assert isinstance(first, Line)  # the leader, from the arc to its elbow
    return first.b


def _best(work: Work, tries: Iterator[tuple[_Tried, Rect]], more: Callable[[_Tried], int] = lambda one: 0) -> _Tried:
    """The first try on free paper, else the one over the fewest lines, else the last."""
    found: list[tuple[int, _Tried]] = []
    last: _Tried | None = None
    for one, rect in tries:
        last = one
        if not work.floor.free(rect):
            continue
        crossed = work.floor.crossed(rect) + 3 * more(one)
        if not crossed:
            return one
        found.append((crossed, one))
    if found:
        return min(found, key=lambda pair: pair[0])[1]
    assert last is not None  # there is always something to try
    return last


def _tangents(turn: Turn) -> tuple[Array, Array]:
    pose = turn.stretch.pose(np.array([0.0, turn.stretch.length]))
    return pose.at[0], pose.at[1]


def _nearest_hands(work: Work) -> list[RailPart]:
    """One part of every name: of a pair the left hand in the pictorial view, which is seen from there."""
    if work.view is not PICTORIAL:
        return shown(work.frame)
    return [part for part in work.frame.parts if part.hand != "right"]
