"""One view of the drawing under way: its lines, its dimensions, and what is taken on the paper round it.

Millimetres on paper from the view's datum.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from exporters.drawing.curves import Drawn, LinePiece
from exporters.drawing.dimensions import Dimension
from exporters.drawing.floor import Floor
from exporters.drawing.marks import Arc, Line, Mark, around, box_of
from exporters.dxf import Point
from exporters.room import Rect
from exporters.views import View
from railmodel.frame import Frame
from railmodel.geometry.rows import Array
from railmodel.units import format_decimal

LAYER_OF = {"visible": "VISIBLE", "hidden": "HIDDEN", "tangent": "TANGENT"}


@dataclass(frozen=True, kw_only=True, eq=False)
class Figure:
    """A view, ready to be laid on paper.

    Args:
        view: where it is seen from.
        denominator: how many times smaller than life it is.
        marks: its lines and texts.
        dimensions: its dimensions.
        left_out: how many angles and radii had no room.
    """

    view: View
    denominator: float
    marks: tuple[Mark, ...]
    dimensions: tuple[Dimension, ...] = ()
    left_out: int = 0

    @property
    def box(self) -> Rect:
        """The rectangle about all of it."""
        return around([*(box_of(mark) for mark in self.marks), *(one.box for one in self.dimensions)])


@dataclass
class Work:
    """A view under way.

    Args:
        frame: the job.
        view: where it is seen from.
        denominator: how many times smaller than life it is.
        marks: lines and texts so far.
        found: dimensions so far.
        floor: what is taken.
        left_out: angles and radii without room so far.
    """

    frame: Frame
    view: View
    denominator: float
    marks: list[Mark] = field(default_factory=list)
    found: list[Dimension] = field(default_factory=list)
    floor: Floor = field(default_factory=Floor)
    left_out: int = 0

    def at(self, point: Array) -> Point:
        """A point (3,) on paper."""
        return pair(self.view.flat(np.asarray(point)) / self.denominator)

    def way(self, direction: Array) -> Array:
        """A direction (3,) on paper, (2,)."""
        return np.asarray(self.view.flat(np.asarray(direction)))

    def say(self, length: float) -> str:
        """A length as dimensions print it."""
        return format_decimal(length, self.frame.unit)

    def draw(self, *marks: Mark) -> None:
        """Draw marks and keep texts off them."""
        self.marks += marks
        self.floor.draw(marks)

    def dimension(self, one: Dimension) -> None:
        """Draw a dimension; its lines leave out the texts that are there."""
        marks: list[Mark] = []
        for mark in one.marks:
            marks += self.floor.pieces(mark) if isinstance(mark, Line) else [mark]
        one = replace(one, marks=tuple(marks))
        self.found.append(one)
        self.floor.draw([*one.marks, one.label])

    @property
    def figure(self) -> Figure:
        """What there is so far."""
        return Figure(
            view=self.view, denominator=self.denominator, marks=tuple(self.marks), dimensions=tuple(self.found),
            left_out=self.left_out,
        )  # fmt: skip


def pair(point: Array) -> Point:
    """A point (2,) as two numbers."""
    return float(point[0]), float(point[1])


def on_paper(drawn: Sequence[Drawn], denominator: float, layer: str | None = None) -> Iterator[Line | Arc]:
    """Curves of a view at true size, on paper.

    Args:
        drawn: the curves.
        denominator: how many times smaller than life.
        layer: the layer of all of them; left out, the one of each curve's style.
    """
    for one in drawn:
        on, curve = layer or LAYER_OF[one.style], one.curve
        if isinstance(curve, LinePiece):
            yield Line(pair(curve.a / denominator), pair(curve.b / denominator), on)
        else:
            yield Arc(pair(curve.centre / denominator), curve.radius / denominator, curve.begin, curve.end, on)


def at_scale(figure: Figure, by: Point) -> Figure:
    """The figure elsewhere on paper."""
    from exporters.drawing.marks import moved

    return replace(
        figure,
        marks=tuple(moved(mark, by) for mark in figure.marks),
        dimensions=tuple(one.moved(by) for one in figure.dimensions),
    )
