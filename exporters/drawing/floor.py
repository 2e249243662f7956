"""Finding places for texts: never on another text, off the lines where that can be. Millimetres on paper."""

from collections.abc import Iterable

import numpy as np

from exporters.drawing.marks import Arc, Line, Mark, Text
from exporters.dxf import Point
from exporters.room import Rect
from railmodel.geometry.rows import Array

_STEP = 0.1  # radians; arcs are looked at in chords of this


class Floor:
    """What is taken: rectangles that nothing may lie on, and lines that a text had better keep off."""

    def __init__(self) -> None:
        self._texts: list[Rect] = []
        self._lines: list[tuple[float, float, float, float]] = []
        self._fixed: Array = np.empty((0, 4))

    def take(self, rect: Rect) -> None:
        """Take a rectangle."""
        self._texts.append(rect)

    def draw(self, marks: Iterable[Mark]) -> None:
        """Take what marks cover: texts as rectangles, lines and arcs as lines."""
        for mark in marks:
            if isinstance(mark, Line):
                self._lines.append((*mark.a, *mark.b))
            elif isinstance(mark, Arc):
                count = max(2, int((mark.end - mark.begin) / _STEP) + 2)
                turn = np.linspace(mark.begin, mark.end, count)
                x, y = mark.centre[0] + mark.radius * np.cos(turn), mark.centre[1] + mark.radius * np.sin(turn)
                self._lines += list(zip(x[:-1], y[:-1], x[1:], y[1:], strict=True))
            elif isinstance(mark, Text):
                self.take(mark.box)
        self._fixed = np.array(self._lines, dtype=float).reshape(-1, 4)

    def free(self, rect: Rect) -> bool:
        """Whether no text is there."""
        return not any(rect.meets(taken) for taken in self._texts)

    def crossed(self, rect: Rect) -> int:
        """How many lines run through a rectangle."""
        return int(np.count_nonzero(_runs_through(self._fixed, rect)))

    def texts_under(self, a: Point, b: Point) -> int:
        """How many texts a line would run over."""
        line = np.array([[*a, *b]])
        return sum(bool(_runs_through(line, rect)[0]) for rect in self._texts)


def _runs_through(lines: Array, rect: Rect) -> Array:
    """(n,) whether lines (n, 4) run through a rectangle, by clipping (Liang and Barsky)."""
    start, stop = np.zeros(len(lines)), np.ones(len(lines))
    with np.errstate(divide="ignore", invalid="ignore"):
        for axis, (low, high) in enumerate(((rect.left, rect.right), (rect.low, rect.high))):
            at, by = lines[:, axis], lines[:, axis + 2] - lines[:, axis]
            near, far = (low - at) / by, (high - at) / by
            still = by == 0
            outside = still & ((at <= low) | (at >= high))
            near, far = np.where(still, -np.inf, near), np.where(still, np.inf, far)
            start = np.maximum(start, np.minimum(near, far))
            stop = np.where(outside, -1.0, np.minimum(stop, np.maximum(near, far)))
    return np.asarray(start < stop)
