"""Finding places for texts: never on another text, off the lines where that can be. Millimetres on paper."""

from collections.abc import Iterable

import numpy as np

from exporters.drawing.marks import Arc, Line, Mark, Text
from exporters.dxf import Point
from exporters.room import Rect, Room
from railmodel.geometry.rows import Array

_STUB = 0.3  # mm; no piece of a line is shorter
_STEP = 0.1  # radians; arcs are looked at in chords of this


class Floor:
    """What is taken: rectangles that nothing may lie on, and lines that a text had better keep off."""

    def __init__(self) -> None:
        self._texts: Array = np.empty((0, 4))
        self._lines: Array = np.empty((0, 4))

    def take(self, *rects: Rect) -> None:
        """Take rectangles."""
        self._texts = np.concatenate([self._texts, np.array(rects).reshape(-1, 4)])

    def draw(self, marks: Iterable[Mark]) -> None:
        """Take what marks cover: texts as rectangles, lines and arcs as lines."""
        lines: list[tuple[float, float, float, float]] = []
        texts: list[Rect] = []
        for mark in marks:
            if isinstance(mark, Line):
                lines.append((*mark.a, *mark.b))
            elif isinstance(mark, Arc):
                count = max(2, int((mark.end - mark.begin) / _STEP) + 2)
                turn = np.linspace(mark.begin, mark.end, count)
                x, y = mark.centre[0] + mark.radius * np.cos(turn), mark.centre[1] + mark.radius * np.sin(turn)
                lines += list(zip(x[:-1], y[:-1], x[1:], y[1:], strict=True))
            elif isinstance(mark, Text):
                texts.append(mark.box)
        self.take(*texts)
        self._lines = np.concatenate([self._lines, np.array(lines, dtype=float).reshape(-1, 4)])

    def free(self, rect: Rect) -> bool:
        """Whether no text is there."""
        left, low, right, high = self._texts.T
        return not bool(np.any((rect.left < right) & (left < rect.right) & (rect.low < high) & (low < rect.high)))

    def crossed(self, rect: Rect) -> int:
        """How many lines run through a rectangle."""
        return int(np.count_nonzero(_runs_through(self._lines, np.array([rect]))))

    def pieces(self, line: Line) -> list[Line]:
        """What is left of a line beside the texts."""
        room = Room(texts=[Rect(*text).grown(0.4) for text in self._texts.tolist()])
        return [Line(a, b, line.layer) for a, b in room.pieces(line.a, line.b, _STUB)]

    def texts_under(self, a: Point, b: Point) -> int:
        """How many texts a line would run over."""
        return int(np.count_nonzero(_runs_through(np.array([[*a, *b]]), self._texts)))


def _runs_through(lines: Array, rects: Array) -> Array:
    """Whether lines (n, 4) run through rectangles (m, 4), n or m being 1, by clipping (Liang and Barsky)."""
    start, stop = np.zeros(max(len(lines), len(rects))), np.ones(max(len(lines), len(rects)))
    if not len(lines) or not len(rects):
        return np.zeros(0, dtype=bool)
    with np.errstate(divide="ignore", invalid="ignore"):
        for axis in (0, 1):
            low, high = rects[:, axis], rects[:, axis + 2]
            at, by = lines[:, axis], lines[:, axis + 2] - lines[:, axis]
            near, far = (low - at) / by, (high - at) / by
            still = by == 0
            outside = still & ((at <= low) | (at >= high))
            near, far = np.where(still, -np.inf, near), np.where(still, np.inf, far)
            start = np.maximum(start, np.minimum(near, far))
            stop = np.where(outside, -1.0, np.minimum(stop, np.maximum(near, far)))
    return np.asarray(start < stop)
