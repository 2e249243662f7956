"""The drawing as a whole: its views at a scale that fits, laid on sheets with border, title block and table.

Millimetres on paper, from the lower left corner of each sheet.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from exporters.drawing import table
from exporters.drawing.bodies import Body, plate_body, tube_body
from exporters.drawing.callouts import angle, bend_letters, construction, part_letters, radius
from exporters.drawing.curves import Drawn
from exporters.drawing.features import PLAN, VIEWS, extent, turns
from exporters.drawing.figure import Figure, Work, on_paper
from exporters.drawing.margins import datum, ordinates_across, ordinates_up, over_all, widths_up
from exporters.drawing.marks import Line, Mark, Text, around, box_of, moved
from exporters.drawing.sight import centrelines, see
from exporters.drawing.title import WIDE, scale_bar, scale_words, title_block
from exporters.dxf import Point
from exporters.room import Rect
from exporters.views import PICTORIAL, SIDE, View
from railmodel.frame import Frame
from railmodel.plates import Plate, plates
from railmodel.units import Unit

PAPER: dict[Unit, tuple[str, float, float]] = {"in": ("ANSI B", 431.8, 279.4), "mm": ("ISO A3", 420.0, 297.0)}
"""The sheet of a job in each unit: its name, width and height."""

MARGIN: float = 10.0
"""From the sheet's edge to the border."""

_SCALES: dict[Unit, tuple[float, ...]] = {
    "in": (1, 2, 4, 6, 8, 10, 12, 16, 20, 24, 32, 40, 48, 64, 80),
    "mm": (1, 2, 2.5, 5, 7.5, 10, 15, 20, 25, 30, 40, 50, 75),
}
_ROUND: dict[Unit, float] = {"in": 254.0, "mm": 100.0}
"""The plan stands a multiple of this above or below the side view in model space, mm."""

_SMALLEST = 2000.0  # scale at which dimensions are still drawn
_PAD, _GAP, _TITLE = 4.0, 6.0, 7.0  # inside the border; between views; under a view for its name
_LEAST = (70.0, 45.0)  # of the room for the pictorial view


@dataclass(frozen=True, slots=True)
class Laid:
    """A view on a sheet.

    Args:
        figure: the view.
        at: where its datum lies on the sheet.
    """

    figure: Figure
    at: Point

    @property
    def box(self) -> Rect:
        """The rectangle it takes up on the sheet."""
        box, (x, y) = self.figure.box, self.at
        return Rect(box.left + x, box.low + y, box.right + x, box.high + y)


@dataclass(frozen=True, slots=True)
class Sheet:
    """One sheet: its own marks, and the views on it."""

    marks: tuple[Mark, ...]
    views: tuple[Laid, ...] = ()


@dataclass(frozen=True, kw_only=True, eq=False)
class Drawing:
    """The whole drawing.

    Args:
        frame: the job.
        paper: name of the sheet's size.
        size: width and height of every sheet.
        sheets: the first has the views, the others the table.
    """

    frame: Frame
    paper: str
    size: tuple[float, float]
    sheets: tuple[Sheet, ...]

    @property
    def views(self) -> tuple[Laid, ...]:
        """Side view, plan and pictorial view."""
        return self.sheets[0].views


_Corner = Callable[[Sequence[Laid]], Rect]


def make_drawing(frame: Frame) -> Drawing:
    """The drawing of a job: side view, plan, pictorial view, and a table of all points."""
    paper, width, height = PAPER[frame.unit]
    flat = plates(frame)
    bodies = [tube_body(part) for part in frame.parts]
    bodies += [plate_body(plate, place) for plate in flat for place in plate.places]
    views = _laid(frame, bodies, flat, (width, height))
    found = table.rows(frame, flat)
    columns = table.columns(found, height - 2 * MARGIN - 2 * _PAD - title_block(frame, 0.0, "", "")[1])
    each = max(int((width - 2 * MARGIN) / (table.WIDE + _GAP)), 1)
    pages = [columns[i : i + each] for i in range(0, len(columns), each)]
    count = 1 + len(pages)
    sheets = [_first(frame, views, (width, height), f"1 of {count}")]
    sheets += [_other(frame, page, (width, height), f"{i} of {count}") for i, page in enumerate(pages, start=2)]
    return Drawing(frame=frame, paper=paper, size=(width, height), sheets=tuple(sheets))


def _laid(frame: Frame, bodies: Sequence[Body], flat: Sequence[Plate], size: tuple[float, float]) -> tuple[Laid, ...]:
    """The three views at the largest scale that fits one of the arrangements."""
    seen = {view.name: see(bodies, view, dashed=view is not PICTORIAL) for view in (SIDE, PLAN, PICTORIAL)}
    sizes = {view.name: _sizes(frame, flat, view) for view in (SIDE, PLAN)} if frame.parts else {}
    foot = title_block(frame, 1.0, "1 of 1", "")[1]
    for scale in _scales(frame.unit):
        if frame.parts and _far_too_large(seen[SIDE.name], scale, size):
            continue
        whole = scale <= _SMALLEST  # beyond it the views are shown without dimensions
        pair = [_figure(frame, view, seen[view.name], scale, sizes.get(view.name) if whole else None) for view in VIEWS]
        for room, corner in _arrangements(size, foot):
            stacked = _stacked(frame.unit, pair[0], pair[1], room)
            if stacked is None:
                continue
            picture = _picture(frame, seen[PICTORIAL.name], corner(stacked))
            if picture is not None:
                return (*stacked, picture)
    return ()


def _scales(unit: Unit) -> Iterator[float]:
    for times in (1.0, 100.0, 10000.0):
        yield from (scale * times for scale in _SCALES[unit])


def _far_too_large(drawn: Sequence[Drawn], scale: float, size: tuple[float, float]) -> bool:
    """Whether the bare view is larger than the sheet, so that its dimensions need not be looked at."""
    box = around(box_of(mark) for mark in on_paper(drawn, scale))
    return box.right - box.left > size[0] or box.high - box.low > size[1]


def _sizes(frame: Frame, flat: Sequence[Plate], view: View) -> tuple[tuple[float, float], tuple[float, float]]:
    return extent(frame, flat, np.array(view.across)), extent(frame, flat, np.array(view.up))


def _figure(
    frame: Frame, view: View, drawn: Sequence[Drawn], scale: float,
    sizes: tuple[tuple[float, float], tuple[float, float]] | None,
) -> Figure:  # fmt: skip
    """The side or the plan view with its dimensions; without them where no sizes are given."""
    work = Work(frame, view, scale)
    work.draw(*on_paper(drawn, scale))
    if sizes is None:
        datum(work, Rect(0.0, 0.0, 0.0, 0.0))
        return work.figure
    box = around([*(box_of(mark) for mark in work.marks), Rect(0.0, 0.0, 0.0, 0.0)])
    work.draw(*on_paper(centrelines(frame.parts, view), scale, "CENTRE"))
    own = [turn for turn in turns(frame) if turn.square is view]
    for turn in own:
        work.draw(*construction(work, turn))
    ordinates_across(work, box)
    _, right = ordinates_up(work, *widths_up(work, box))
    over_all(work, sizes, box, right)
    datum(work, box)
    for turn in own:
        angle(work, turn)
    for turn in own:
        radius(work, turn)
    bend_letters(work, own)
    part_letters(work)
    return work.figure


def _arrangements(size: tuple[float, float], foot: float) -> Iterator[tuple[Rect, _Corner]]:
    """Where side view and plan may stand, and what is then left for the pictorial view."""
    left, low = MARGIN + _PAD, MARGIN + _PAD
    right, high = size[0] - MARGIN - _PAD, size[1] - MARGIN - _PAD
    title_left, title_high = size[0] - MARGIN - WIDE - _PAD, MARGIN + foot + _PAD

    def beside(stacked: Sequence[Laid]) -> Rect:
        return Rect(left, low, title_left, min(laid.box.low for laid in stacked) - _TITLE - _GAP)

    def above(stacked: Sequence[Laid]) -> Rect:
        return Rect(max(laid.box.right for laid in stacked) + _GAP, title_high, right, high)

    yield Rect(left, title_high, right, high), beside
    yield Rect(left, low, title_left, high), above


def _stacked(unit: Unit, side: Figure, plan: Figure, room: Rect) -> tuple[Laid, Laid] | None:
    """Side view and plan over each other, their stations in line; None where they do not fit the room.

    The plan stands over the side view where inches are used (third angle), under it otherwise (first angle).
    """
    upper, lower = (plan, side) if unit == "in" else (side, plan)
    boxes = upper.box, lower.box
    left, right = min(box.left for box in boxes), max(box.right for box in boxes)
    tall = sum(box.high - box.low + _TITLE for box in boxes)
    spare = room.high - room.low - tall - _GAP
    if right - left > room.right - room.left or spare < 0:
        return None
    spare = min(spare / 3, 12.0)
    x = (room.left + room.right) / 2 - (left + right) / 2
    y_upper = room.high - spare - upper.box.high
    y_lower = y_upper + upper.box.low - _TITLE - _GAP - spare - lower.box.high
    step = _ROUND[unit] / side.denominator
    y_lower = y_upper - step * round((y_upper - y_lower) / step) if step < spare else y_lower
    laid = {id(upper): Laid(upper, (x, y_upper)), id(lower): Laid(lower, (x, y_lower))}
    return laid[id(side)], laid[id(plan)]


def _picture(frame: Frame, drawn: Sequence[Drawn], room: Rect) -> Laid | None:
    """The pictorial view at the largest scale that fits some room."""
    wide, tall = room.right - room.left, room.high - room.low - _TITLE
    if wide < _LEAST[0] or tall < _LEAST[1]:
        return None
    for scale in _scales(frame.unit):
        if frame.parts and _far_too_large(drawn, scale, (wide, tall)):
            continue
        work = Work(frame, PICTORIAL, scale)
        work.draw(*on_paper(drawn, scale))
        part_letters(work)
        box = work.figure.box if work.marks else Rect(0.0, 0.0, 0.0, 0.0)
        if box.right - box.left <= wide and box.high - box.low <= tall:
            x = (room.left + room.right) / 2 - (box.left + box.right) / 2
            y = (room.low + _TITLE + room.high) / 2 - (box.low + box.high) / 2
            return Laid(work.figure, (x, y))
    return None


def _first(frame: Frame, views: Sequence[Laid], size: tuple[float, float], sheet: str) -> Sheet:
    scale = views[0].figure.denominator
    arrangement = "third angle" if frame.unit == "in" else "first angle"
    marks = _frame_of_sheet(frame, size, sheet, scale, arrangement)
    for laid in views:
        words = f"{laid.figure.view.name}, scale {scale_words(laid.figure.denominator)}"
        box = laid.box
        marks.append(Text(words, ((box.left + box.right) / 2, box.low - 5.0), 3.5, "LABEL", "centre"))
    bar, long = scale_bar(frame, scale)
    lowest = min(views[:2], key=lambda laid: laid.box.low)
    at = (lowest.box.right - long, lowest.box.low - 5.0)
    marks += [moved(mark, at) for mark in bar]
    return Sheet(tuple(marks), tuple(views))


def _other(frame: Frame, columns: Sequence[Sequence[table.Row]], size: tuple[float, float], sheet: str) -> Sheet:
    marks = _frame_of_sheet(frame, size, sheet, 0.0, "no views")
    x, y = MARGIN + _PAD, size[1] - MARGIN - _PAD
    for column in columns:
        marks += [moved(mark, (x, y)) for mark in table.drawn(column)]
        x += table.WIDE + _GAP
    return Sheet(tuple(marks))


def _frame_of_sheet(
    frame: Frame, size: tuple[float, float], sheet: str, scale: float, arrangement: str
) -> list[Mark]:  # fmt: skip
    """The border and the title block."""
    left, low, right, high = MARGIN, MARGIN, size[0] - MARGIN, size[1] - MARGIN
    corners = [(left, low), (right, low), (right, high), (left, high)]
    marks: list[Mark] = [Line(a, b, "BORDER") for a, b in zip(corners, [*corners[1:], corners[0]], strict=True)]
    block, _ = title_block(frame, scale, sheet, arrangement)
    return marks + [moved(mark, (right, low)) for mark in block]
