"""What a drawing is made of: lines, arcs, filled arrow heads and texts, on layers by meaning. Millimetres on paper.

x runs to the right and y up; angles are in radians, turns of text in degrees as a DXF file keeps them.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from math import cos, hypot, pi, sin
from unicodedata import east_asian_width

from exporters.dxf import Align, Layer, Point
from exporters.dxf_text import WIDTH
from exporters.room import Rect

LAYERS: tuple[Layer, ...] = (
    Layer("VISIBLE", 7, 35),
    Layer("HIDDEN", 7, 18, "DASHED"),
    Layer("TANGENT", 8, 13),
    Layer("CENTRE", 5, 13, "CHAIN"),
    Layer("DATUM", 1, 25),
    Layer("DATUM_PLANE", 1, 13, "CHAIN"),
    Layer("CONSTRUCTION", 8, 13),
    Layer("DIMENSION", 7, 15),
    Layer("LABEL", 7, 18),
    Layer("TITLE", 7, 18),
    Layer("BORDER", 7, 50),
    Layer("STOP", 1, 50),
    Layer("VIEWPORT", 9, 13),
)
"""Layers by meaning: TANGENT is where bends begin and end, CONSTRUCTION runs from there to a bend's corner point, DATUM
holds the datum's axes; TITLE and BORDER are the sheet's own; VIEWPORT is not plotted."""

TEXT: float = 2.5
"""Height of dimensions and labels, mm (ISO 3098 lists 2.5 among its lettering heights; from memory)."""

ARROW: float = 2.5
"""Length of an arrow head, mm."""


@dataclass(frozen=True, slots=True)
class Line:
    """A straight line."""

    a: Point
    b: Point
    layer: str


@dataclass(frozen=True, slots=True)
class Arc:
    """An arc, counter-clockwise from angle `begin` to `end`; a turn of 2 pi is a circle."""

    centre: Point
    radius: float
    begin: float
    end: float
    layer: str

    @property
    def whole(self) -> bool:
        """Whether it is a circle."""
        return self.end - self.begin >= 2 * pi - 1e-9


@dataclass(frozen=True, slots=True)
class Fill:
    """A filled triangle."""

    corners: tuple[Point, Point, Point]
    layer: str


@dataclass(frozen=True, slots=True)
class Text:
    """One line of text; `at` is on its base line."""

    text: str
    at: Point
    height: float
    layer: str
    align: Align = "left"
    turn: float = 0.0

    @property
    def box(self) -> Rect:
        """The rectangle it takes up."""
        long = text_width(self.text, self.height)
        back = {"left": 0.0, "centre": long / 2, "right": long}[self.align]
        (x, y), drop = self.at, 0.25 * self.height  # for letters that reach below the line
        if self.turn:
            return Rect(x - self.height, y - back, x + drop, y - back + long)
        return Rect(x - back, y - drop, x - back + long, y + self.height)


Mark = Line | Arc | Fill | Text


def text_width(text: str, height: float) -> float:
    """Room that a text takes along its line, mm; wide characters count double."""
    return WIDTH * height * sum(2 if east_asian_width(c) in "WF" else 1 for c in text)


def middle_text(text: str, at: Point, layer: str, *, height: float = TEXT, turn: float = 0.0) -> Text:
    """A text about its middle."""
    x, y = at
    place = (x + height / 2, y) if turn else (x, y - height / 2)
    return Text(text, place, height, layer, "centre", turn)


def moved(mark: Mark, by: Point) -> Mark:
    """The same mark elsewhere."""

    def to(point: Point) -> Point:
        return point[0] + by[0], point[1] + by[1]

    if isinstance(mark, Line):
        return replace(mark, a=to(mark.a), b=to(mark.b))
    if isinstance(mark, Arc):
        return replace(mark, centre=to(mark.centre))
    if isinstance(mark, Fill):
        first, second, third = mark.corners
        return replace(mark, corners=(to(first), to(second), to(third)))
    return replace(mark, at=to(mark.at))


def box_of(mark: Mark) -> Rect:
    """The rectangle about a mark; that of an arc is about its ends and the outermost points between."""
    if isinstance(mark, Text):
        return mark.box
    if isinstance(mark, Line):
        points = [mark.a, mark.b]
    elif isinstance(mark, Fill):
        points = list(mark.corners)
    else:
        quarters = [k * pi / 2 for k in range(-8, 17) if mark.begin < k * pi / 2 < mark.end]
        points = [_on(mark, angle) for angle in (mark.begin, *quarters, mark.end)]
    xs, ys = zip(*points, strict=True)
    return Rect(min(xs), min(ys), max(xs), max(ys))


def around(boxes: Iterable[Rect]) -> Rect:
    """The rectangle about some rectangles."""
    lefts, lows, rights, highs = zip(*boxes, strict=True)
    return Rect(min(lefts), min(lows), max(rights), max(highs))


def head(tip: Point, toward: Point, layer: str, size: float = ARROW) -> Fill:
    """An arrow head with its tip at `tip`, pointing the way of the direction `toward` (any length)."""
    length = hypot(*toward)
    x, y = toward[0] / length * size, toward[1] / length * size
    back = (tip[0] - x, tip[1] - y)
    return Fill((tip, (back[0] - y / 6, back[1] + x / 6), (back[0] + y / 6, back[1] - x / 6)), layer)


def _on(arc: Arc, angle: float) -> Point:
    return arc.centre[0] + arc.radius * cos(angle), arc.centre[1] + arc.radius * sin(angle)
