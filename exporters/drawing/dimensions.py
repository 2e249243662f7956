"""Dimensions: what each measures and how it is drawn, once for every file. Millimetres on paper, radians.

A dimension keeps the points a DXF reader needs to measure it anew, and its whole picture.
"""

from dataclasses import dataclass, replace
from math import atan2, cos, degrees, hypot, pi, sin
from typing import Literal

from exporters.drawing.marks import (
    ARROW,
    TEXT,
    Arc,
    Line,
    Mark,
    Text,
    around,
    box_of,
    head,
    middle_text,
    moved,
    text_width,
)
from exporters.dxf import Point
from exporters.room import Rect

Kind = Literal["across", "up", "linear", "angle", "radius"]
"""Ordinates along x ("across") and along y ("up"), distances, angles, radii."""

LAYER = "DIMENSION"
_GAP = 1.0  # between a feature and the extension line that starts at it
_OVER = 1.5  # that extension lines go beyond a dimension line
_OFF = 0.8  # between a line and the text on it


@dataclass(frozen=True, slots=True, kw_only=True)
class Dimension:
    """One dimension.

    Args:
        kind: what it measures.
        points: for an ordinate the origin, the feature, the leader's end; for a distance the two features and a point
            of the dimension line; for an angle the corner, a point on each leg, counter-clockwise, and one of the arc;
            for a radius the centre and the point of the arc.
        turn: of a distance: 0 along x, 90 along y.
        text: what is written, that stands for the value measured.
        label: the text's mark.
        marks: the other marks of its picture.
    """

    kind: Kind
    points: tuple[Point, ...]
    text: str
    label: Text
    marks: tuple[Mark, ...]
    turn: float = 0.0

    @property
    def box(self) -> Rect:
        """The rectangle about its picture."""
        return around(box_of(mark) for mark in (*self.marks, self.label))

    @property
    def text_middle(self) -> Point:
        """The middle of its text."""
        box = self.label.box
        return (box.left + box.right) / 2, (box.low + box.high) / 2

    def moved(self, by: Point) -> "Dimension":
        """The same dimension elsewhere."""
        points = tuple((x + by[0], y + by[1]) for x, y in self.points)
        label = moved(self.label, by)
        assert isinstance(label, Text)  # a text stays a text
        return replace(self, points=points, label=label, marks=tuple(moved(mark, by) for mark in self.marks))


def ordinate_across(feature: Point, label: float, row: float, lean: float, text: str) -> Dimension:
    """Distance along x from the origin; its text reads upward.

    Args:
        feature: what is measured.
        label: x of the text.
        row: y where the leader begins to lean, over or under the feature.
        lean: height in which it leans.
        text: the value.
    """
    away = 1.0 if row > feature[1] else -1.0
    end = (label, row + away * (lean + 1.0))
    start = (feature[0], feature[1] + away * _GAP)
    marks = (
        Line(start, (feature[0], row), LAYER),
        Line((feature[0], row), (label, row + away * lean), LAYER),
        Line((label, row + away * lean), end, LAYER),
    )
    place = (label + TEXT / 2, end[1] + away * _OFF)
    words = Text(text, place, TEXT, LAYER, "left" if away > 0 else "right", 90.0)
    return Dimension(kind="across", points=((0.0, 0.0), feature, end), text=text, label=words, marks=marks)


def ordinate_up(feature: Point, label: float, column: float, lean: float, text: str) -> Dimension:
    """Distance along y from the origin, its text beside the view; see `ordinate_across`."""
    away = 1.0 if column > feature[0] else -1.0
    end = (column + away * (lean + 1.0), label)
    start = (feature[0] + away * _GAP, feature[1])
    marks = (
        Line(start, (column, feature[1]), LAYER),
        Line((column, feature[1]), (column + away * lean, label), LAYER),
        Line((column + away * lean, label), end, LAYER),
    )
    words = Text(text, (end[0] + away * _OFF, label - TEXT / 2), TEXT, LAYER, "left" if away > 0 else "right")
    return Dimension(kind="up", points=((0.0, 0.0), feature, end), text=text, label=words, marks=marks)


def distance(a: Point, b: Point, at: float, text: str, *, upright: bool = False) -> Dimension:
    """Distance along x (or along y, where `upright`) between two features, its line at y (or x) `at`."""
    if upright:
        turned = distance((a[1], -a[0]), (b[1], -b[0]), -at, text)
        return _quarter(turned, (a, b, (at, b[1])))
    (x1, y1), (x2, y2) = sorted((a, b))
    marks: list[Mark] = []
    for x, y in ((x1, y1), (x2, y2)):
        away = 1.0 if at > y else -1.0
        marks.append(Line((x, y + away * _GAP), (x, at + away * _OVER), LAYER))
    long = text_width(text, TEXT)
    middle = (x1 + x2) / 2
    if x2 - x1 > 2 * ARROW + 1.0:
        marks += [Line((x1, at), (x2, at), LAYER), head((x1, at), (-1, 0), LAYER), head((x2, at), (1, 0), LAYER)]
    else:  # arrows from outside
        marks += [Line((x1 - 2 * ARROW, at), (x2 + 2 * ARROW, at), LAYER)]
        marks += [head((x1, at), (1, 0), LAYER), head((x2, at), (-1, 0), LAYER)]
    if long > x2 - x1 - 1.0:  # no room between: the text stands beside
        middle = x2 + 2 * ARROW + _OFF + long / 2
        marks.append(Line((x2, at), (middle + long / 2, at), LAYER))
    label = Text(text, (middle, at + _OFF), TEXT, LAYER, "centre")
    return Dimension(kind="linear", points=(a, b, (x2, at)), text=text, label=label, marks=tuple(marks))


def angle(corner: Point, legs: tuple[Point, Point], radius: float, text: str, at: Point) -> Dimension:
    """The angle from one leg's direction round to the other's, counter-clockwise, its text about `at`."""
    begin, end = (atan2(y, x) for x, y in legs)
    end = begin + (end - begin) % (2 * pi)
    x, y = corner

    def on(where: float, reach: float = radius) -> Point:
        return x + reach * cos(where), y + reach * sin(where)

    span = radius * (end - begin)
    inside = span > 2.2 * ARROW
    slack = 0.0 if inside else 2 * ARROW / radius
    marks: list[Mark] = [Arc(corner, radius, begin - slack, end + slack, LAYER)]
    for where, sign in ((begin, -1.0), (end, 1.0)):
        way = sign if inside else -sign
        lean = where - way * ARROW / (2 * radius)  # along the chord under the head
        marks.append(head(on(where), (-way * sin(lean), way * cos(lean)), LAYER))
    label = middle_text(text, at, LAYER)
    points = (corner, on(begin), on(end), on((begin + end) / 2))
    return Dimension(kind="angle", points=points, text=text, label=label, marks=tuple(marks))


def radius(centre: Point, on_arc: Point, elbow: Point, text: str) -> Dimension:
    """A radius: an arrow from the elbow to the arc, the text on a shelf that runs on from the elbow away from it."""
    away = 1.0 if elbow[0] >= on_arc[0] else -1.0
    long = text_width(text, TEXT)
    shelf = (elbow[0] + away * (long + 1.0), elbow[1])
    marks = (
        Line(on_arc, elbow, LAYER),
        Line(elbow, shelf, LAYER),
        head(on_arc, (on_arc[0] - elbow[0], on_arc[1] - elbow[1]), LAYER),
    )
    middle = (elbow[0] + away * (long / 2 + 0.5), elbow[1] + _OFF)
    label = Text(text, middle, TEXT, LAYER, "centre")
    return Dimension(kind="radius", points=(centre, on_arc), text=text, label=label, marks=marks)


def angle_words(turn: float) -> str:
    """An angle as it is written: `15.52°`."""
    return f"{degrees(turn):.2f}\N{DEGREE SIGN}"


def reach(a: Point, b: Point) -> float:
    """Distance between two points."""
    return hypot(b[0] - a[0], b[1] - a[1])


def _quarter(flat: Dimension, points: tuple[Point, ...]) -> Dimension:
    """A distance along x turned a quarter counter-clockwise: (x, y) becomes (-y, x)."""

    def to(point: Point) -> Point:
        return -point[1], point[0]

    marks: list[Mark] = []
    for mark in flat.marks:
        if isinstance(mark, Line):
            marks.append(replace(mark, a=to(mark.a), b=to(mark.b)))
        elif not isinstance(mark, Arc | Text):
            first, second, third = mark.corners
            marks.append(replace(mark, corners=(to(first), to(second), to(third))))
    label = replace(flat.label, at=to(flat.label.at), turn=90.0)
    return replace(flat, points=points, marks=tuple(marks), label=label, turn=90.0)
