"""What is said of each bend and part in a view: its angle, its radius, its letter. Millimetres on paper, radians."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise, product
from math import atan2, cos, inf, pi, sin, tan
from typing import Generic, TypeVar

import numpy as np

from exporters.approval_points import letters
from exporters.drawing import dimensions as dims
from exporters.drawing.dimensions import angle_words
from exporters.drawing.features import Turn, shown
from exporters.drawing.figure import Work, pair
from exporters.drawing.marks import TEXT, Arc, Line, Mark, Text, middle_text, text_width
from exporters.dxf import Point
from exporters.dxf_text import shortened
from exporters.room import Rect
from railmodel.geometry.rows import Array
from railmodel.part import RailPart

_Tried = TypeVar("_Tried")

BALLOON: float = 2.6
"""Radius of the circle about a letter."""

_FULL = 2 * pi
_REACHES = (5.0, 9.0, 14.0, 20.0, 28.0, 38.0, 60.0, 100.0, 150.0)  # from a tube to what is said of it
_OUTS = (0.0, 3.0, 7.0, 12.0, 30.0, 60.0, 120.0)  # from an angle's arc to its text
_CROSSED = 5.0  # mm of distance that a line under a text is worth
_CROWDED = 25.0  # mm of distance, lines under it counted in, beyond which an angle or radius stands in the table only
_CLEAR = 1.2  # between texts
_LONGEST = 28  # characters of a part's name beside its letter
_BEYOND = 2.0  # that a construction line goes beyond an angle's arc


def construction(work: Work, turn: Turn) -> Iterator[Mark]:
    """Lines from a bend's tangents to its corner point, which its angle is measured at."""
    corner, first, last = (work.at(point) for point in (turn.corner, *_tangents(turn)))
    yield Line(first, corner, "CONSTRUCTION")
    yield Line(corner, last, "CONSTRUCTION")


def angle(work: Work, turn: Turn) -> None:
    """A bend's angle, between one straight carried on and the other."""
    stretch, corner = turn.stretch, np.array(work.at(turn.corner))
    before, after = work.way(stretch.pose(np.array([0.0, stretch.length])).t)
    setback = stretch.radius * tan(stretch.angle / 2) / work.denominator
    words = angle_words(stretch.angle)
    wide = text_width(words, TEXT)

    def tries() -> Iterator[_Try[tuple[tuple[Point, Point], float, Point]]]:
        for radius, carried in product((0.0, 4.0, 9.0, 15.0), (True, False)):
            reach = max(9.0, min(setback, 20.0) + 5.0) + radius
            legs = (before, after) if carried else (-after, -before)
            left = legs[0][0] * legs[1][1] - legs[0][1] * legs[1][0] > 0
            ordered = (pair(legs[0]), pair(legs[1])) if left else (pair(legs[1]), pair(legs[0]))
            lines = tuple(pairwise(_sector(corner, ordered, reach)))
            middle = atan2(ordered[0][1], ordered[0][0]) + stretch.angle / 2
            for out, lean in product(_OUTS, (0.0, 0.5, -0.5, 1.0, -1.0, 1.6, -1.6)):
                where = middle + lean * (stretch.angle / 2 + 2.5 * TEXT / reach)
                away = reach + out + abs(cos(where)) * (wide / 2 + 1.0) + abs(sin(where)) * (TEXT / 2 + 1.0)
                at = (float(corner[0] + away * cos(where)), float(corner[1] + away * sin(where)))
                box = Rect.around(*at, wide, 1.3 * TEXT)
                aside = max(abs(where - middle) - stretch.angle / 2, 0.0) * reach  # from the arc's end
                cost = out + radius / 3 + aside / 2 + (0.0 if carried else 6.0)
                yield _Try((ordered, reach, at), box, cost, lines)

    found = _best(work, tries(), _CROWDED)
    if found is None:
        work.left_out += 1
        return
    legs, reach, at = found
    work.dimension(dims.angle(pair(corner), legs, reach, words, at))
    reach += _BEYOND
    for way in map(np.array, legs):
        on_tube = float(way @ after) > 1 - 1e-9 or float(way @ -before) > 1 - 1e-9
        if not on_tube or setback < reach:
            start = corner + (setback if on_tube else 0.0) * way
            work.draw(*work.floor.pieces(Line(pair(start), pair(corner + reach * way), "CONSTRUCTION")))


def _sector(corner: Array, legs: tuple[Point, Point], reach: float) -> list[Point]:
    """A leg out, along the arc and back, as the angle's lines run."""
    begin, end = (atan2(y, x) for x, y in legs)
    turn = np.linspace(begin, begin + (end - begin) % _FULL, 5)
    arc = corner + reach * np.stack([np.cos(turn), np.sin(turn)], axis=1)
    return [pair(corner), *map(pair, arc), pair(corner)]


def radius(work: Work, turn: Turn) -> None:
    """A bend's radius, to the centreline."""
    stretch = turn.stretch
    centre, on_arc = work.at(stretch.centre), work.at(stretch.pose([stretch.length / 2]).at[0])
    out = np.array(on_arc) - np.array(centre)
    outward = out / np.linalg.norm(out)
    half = turn.part.depth_toward(turn.toward) / 2 / work.denominator
    words = f"R {work.say(stretch.radius)}"

    def tries() -> Iterator[_Try[Point]]:
        for reach, sign, lean in product(_REACHES, (1.0, -1.0), (0.0, 0.35, -0.35, 0.7, -0.7)):
            elbow = pair(np.array(on_arc) + sign * (half + reach) * _turned(outward, lean))
            box = dims.radius(centre, on_arc, elbow, words).label.box
            yield _Try(elbow, box, reach - _REACHES[0] + abs(lean), ((on_arc, elbow),))

    elbow = _best(work, tries(), _CROWDED)
    if elbow is None:
        work.left_out += 1
        return
    work.dimension(dims.radius(centre, on_arc, elbow, words))


def bend_letters(work: Work, seen: Sequence[Turn]) -> None:
    """The names of bends, in balloons."""
    for turn in seen:
        middle = turn.stretch.pose(np.array([turn.stretch.length / 2])).at[0]
        out = (middle - turn.stretch.centre) / turn.stretch.radius
        outside = middle + out * turn.part.depth_toward(turn.toward) / 2
        balloon(work, turn.name, outside, 0.0, work.way(out))


def part_letters(work: Work) -> None:
    """The letters of parts without bends, in balloons."""
    named = letters(work.frame)
    for part in shown(work.frame):
        if not part.line.rows.count:
            balloon(work, named[part.name], _middle(part), _half(work, part), np.array([0.3, 1.0]))


def part_names(work: Work) -> None:
    """Every part's letter and name on a leader, once a name: of a pair on the left hand."""
    named = letters(work.frame)
    for part in work.frame.parts:
        if part.hand != "right":
            _leader(work, f"{named[part.name]}  {shortened(part.name, _LONGEST)}", _middle(part), _half(work, part))


def balloon(work: Work, words: str, point: Array, half: float, out: Array) -> None:
    """Letters in a circle with a line to a point of the vehicle; `out` (2,) is the way it had better go."""
    tip = np.array(work.at(point))
    long = max(BALLOON, text_width(words, TEXT) / 2 + 0.8)
    first = atan2(float(out[1]), float(out[0])) if np.linalg.norm(out) > 1e-6 else pi / 2

    def tries() -> Iterator[_Try[Point]]:
        turns = [sign * k * pi / 12 for k in range(13) for sign in (1, -1)]
        for reach, lean in product(_REACHES, turns):
            x, y = tip + (half + reach + long) * np.array([cos(first + lean), sin(first + lean)])
            at = (float(x), float(y))
            box = Rect.around(*at, 2 * long + 0.6, 2 * long + 0.6)
            yield _Try(at, box, reach - _REACHES[0] + abs(lean), ((pair(tip), _rim(at, tip, long)),))

    at = _anywhere(work, tries())
    work.draw(Arc(at, long, 0.0, _FULL, "LABEL"), middle_text(words, at, "LABEL"))
    work.draw(Line(_rim(at, tip, long), pair(tip), "LABEL"), _dot(tip))
    work.floor.take(Rect.around(*at, 2 * long, 2 * long))


def _leader(work: Work, words: str, point: Array, half: float) -> None:
    """Words on a shelf with a line to a point of the vehicle."""
    tip = np.array(work.at(point))
    long = text_width(words, TEXT)

    def tries() -> Iterator[_Try[tuple[Point, float]]]:
        for reach, turn, away in product(_REACHES, range(24), (1.0, -1.0)):
            way = turn * pi / 12
            if away * cos(way) < -0.3:
                continue  # the shelf would run back over the line
            x, y = tip + (half + reach) * np.array([cos(way), sin(way)])
            left = x if away > 0 else x - long - 1.0
            box = Rect(float(left - 2.0), float(y), float(left + long + 3.0), float(y + TEXT + 1.2))
            at = (float(x), float(y))
            yield _Try((at, away), box, reach - _REACHES[0], ((pair(tip), at),))

    elbow, away = _anywhere(work, tries())
    end = (elbow[0] + away * (long + 1.0), elbow[1])
    text = Text(words, (elbow[0] + away * 0.5, elbow[1] + 0.8), TEXT, "LABEL", "left" if away > 0 else "right")
    work.draw(Line(pair(tip), elbow, "LABEL"), Line(elbow, end, "LABEL"), text, _dot(tip))


def _middle(part: RailPart) -> Array:
    """A place on a part's longest straight, off its middle: that of a crossing is on the centreline."""
    longest = max(part.line.straights, key=lambda stretch: stretch.length)
    return np.asarray(longest.pose(np.array([longest.length * 0.42])).at[0])


def _half(work: Work, part: RailPart) -> float:
    return max(part.section.width, part.section.height) / 2 / work.denominator


def _dot(at: Array) -> Arc:
    return Arc(pair(at), 0.4, 0.0, _FULL, "LABEL")


def _rim(at: Point, tip: Array, long: float) -> Point:
    away = tip - np.array(at)
    return pair(np.array(at) + long * away / np.linalg.norm(away))


def _turned(way: Array, turn: float) -> Array:
    return np.array([way[0] * cos(turn) - way[1] * sin(turn), way[0] * sin(turn) + way[1] * cos(turn)])


@dataclass(frozen=True, slots=True)
class _Try(Generic[_Tried]):
    """Something at a place.

    Args:
        one: what would be drawn.
        rect: the paper its text needs.
        cost: how much worse the place is than the best one, mm of distance.
        lines: its other lines, which had better not run over texts.
    """

    one: _Tried
    rect: Rect
    cost: float
    lines: tuple[tuple[Point, Point], ...] = ()


def _best(work: Work, tries: Iterable[_Try[_Tried]], most: float = inf) -> _Tried | None:
    """The cheapest try on free paper, lines under it counted in, if there is one cheaper than `most`."""
    best: tuple[float, _Tried] | None = None
    for tried in tries:
        if tried.cost >= (best[0] if best is not None else most) or not work.floor.free(tried.rect.grown(_CLEAR)):
            continue
        over = sum(work.floor.texts_under(a, b) for a, b in tried.lines)
        cost = tried.cost + _CROSSED * (work.floor.crossed(tried.rect) + 4 * over)
        if cost < (best[0] if best is not None else most):
            best = (cost, tried.one)
    return None if best is None else best[1]


def _anywhere(work: Work, tries: Iterator[_Try[_Tried]]) -> _Tried:
    """The same; where all paper is taken, the last try."""
    every = list(tries)
    found = _best(work, every)
    return every[-1].one if found is None else found


def _tangents(turn: Turn) -> tuple[Array, Array]:
    pose = turn.stretch.pose(np.array([0.0, turn.stretch.length]))
    return pose.at[0], pose.at[1]
