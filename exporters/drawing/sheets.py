"""The drawing as a whole: its views at a scale that fits, laid on sheets with border, title block and table.

Millimetres on paper, from the lower left corner of each sheet.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import inf

import numpy as np

from exporters.drawing import table
from exporters.drawing.bodies import Body, plate_body, tube_body
from exporters.drawing.callouts import angle, bend_letters, construction, part_letters, part_names, radius
from exporters.drawing.curves import Drawn
from exporters.drawing.features import VIEWS, extent, turns
from exporters.drawing.figure import Figure, Work, on_paper
from exporters.drawing.margins import datum, ordinates_across, ordinates_up, over_all, widths_up
from exporters.drawing.marks import TEXT, Line, Mark, Text, around, box_of, moved
from exporters.drawing.sight import centrelines, see
from exporters.drawing.title import fitted, scale_words, title_block
from exporters.dxf import Point
from exporters.room import Rect
from exporters.views import PICTORIAL, SIDE, View
from railmodel.errors import GeometryError
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
_ROUND: dict[Unit, float] = {"in": 25.4, "mm": 10.0}
"""The plan stands a multiple of this above or below the side view in model space, mm."""

_SMALLEST = 2000.0  # scale at which dimensions are still drawn
_MOST_STOPS, _STOP_PITCH = 5, 5.0  # findings on the sheet, and the height of a line of them
_PAD, _GAP, _TITLE = 4.0, 6.0, 7.0  # inside the border; between views; under a view for its name
_LEAST = (90.0, 60.0)  # of the room for the pictorial view
_LEAST_ROUND = 60.0  # what names and dimensions take up over and under both views


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
        sheets: the first has the side view and the plan, the others the table; the pictorial view is where it fits.
    """

    frame: Frame
    paper: str
    size: tuple[float, float]
    sheets: tuple[Sheet, ...]

    @property
    def views(self) -> tuple[Laid, ...]:
        """Side view, plan and pictorial view."""
        return tuple(laid for sheet in self.sheets for laid in sheet.views)


def make_drawing(frame: Frame, stops: Sequence[str] = ()) -> Drawing:
    """The drawing of a job: side view, plan, pictorial view, and a table of all points.

    Args:
        frame: the job.
        stops: why it must not be built as it stands, a sentence each; written large on the first sheet.

    Raises:
        GeometryError: no part of the job makes a shape.
    """
    if not frame.parts:
        raise GeometryError("no part of this job makes a shape; see the findings that stop it")
    paper, *size = PAPER[frame.unit]
    flat = plates(frame)
    bodies = [tube_body(part) for part in frame.parts]
    bodies += [plate_body(plate, place) for plate in flat for place in plate.places]
    foot = title_block(frame, size[0] - 2 * MARGIN, 1.0, "", "")[1]
    room = Rect(MARGIN + _PAD, MARGIN + foot + _PAD, size[0] - MARGIN - _PAD, size[1] - MARGIN - _PAD)
    banner = _banner(stops, room)
    room = Rect(room.left, room.low, room.right, room.high - (len(banner) + 1) * _STOP_PITCH if banner else room.high)
    views = _two_views(frame, bodies, flat, room)
    seen = see(bodies, PICTORIAL, dashed=False)
    picture = _picture(frame, seen, [_beside(views, room), _below(views, room)], 1.6 * views[0].figure.denominator)
    room = Rect(room.left, room.low, room.right, size[1] - MARGIN - _PAD)
    columns = table.columns(table.rows(frame, flat), room.high - room.low)
    each = max(int((room.right - room.left + _GAP) / (table.WIDE + _GAP)), 1)
    pages = [columns[i : i + each] for i in range(0, len(columns), each)]
    first = views if picture is None else (*views, picture)
    others: list[tuple[Sequence[Sequence[table.Row]], Laid | None]] = [(page, None) for page in pages]
    if picture is None:
        beside = _picture(frame, seen, _left_by_table(pages[0], room), 2.0 * views[0].figure.denominator)
        if beside is not None:
            others[0] = (pages[0], beside)
        else:
            others.insert(0, ((), _picture(frame, seen, [room], inf)))
    count = 1 + len(others)
    sheets = [_first(frame, first, size, f"1 of {count}", banner)]
    sheets += [_other(frame, *other, size, f"{i} of {count}") for i, other in enumerate(others, start=2)]
    return Drawing(frame=frame, paper=paper, size=(size[0], size[1]), sheets=tuple(sheets))


def _two_views(frame: Frame, bodies: Sequence[Body], flat: Sequence[Plate], room: Rect) -> tuple[Laid, Laid]:
    """Side view and plan at the largest scale at which both fit."""
    seen = [see(bodies, view, dashed=True) for view in VIEWS]
    sizes = [_sizes(frame, flat, view) for view in VIEWS]
    boxes = [around(box_of(mark) for mark in on_paper(drawn, 1.0)) for drawn in seen]
    wide = max(box.right - box.left for box in boxes)
    tall = sum(box.high - box.low for box in boxes)
    for scale in _scales(frame.unit):
        if wide / scale > room.right - room.left or tall / scale + _LEAST_ROUND > room.high - room.low:
            continue  # the bare views are too large, whatever stands round them
        whole = scale <= _SMALLEST  # beyond it the views are shown without dimensions
        side, plan = (
            _figure(frame, view, drawn, scale, size if whole else None)
            for view, drawn, size in zip(VIEWS, seen, sizes, strict=True)
        )
        stacked = _stacked(frame.unit, side, plan, room)
        if stacked is not None:
            return stacked
    side, plan = (_figure(frame, view, (), 1.0, None) for view in VIEWS)
    stacked = _stacked(frame.unit, side, plan, room)
    assert stacked is not None  # a bare datum fits
    return stacked


def _scales(unit: Unit) -> Iterator[float]:
    for times in (1.0, 100.0, 10000.0):
        yield from (scale * times for scale in _SCALES[unit])


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
    every = turns(frame)
    own = [turn for turn in every if turn.square is view]
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
    blind = [turn for turn in every if turn.square is None and view is SIDE]
    bend_letters(work, [*own, *blind])
    part_letters(work)
    return work.figure


def _beside(views: Sequence[Laid], room: Rect) -> Rect:
    """What is left right of views."""
    return Rect(max(laid.box.right for laid in views) + _GAP, room.low, room.right, room.high)


def _below(views: Sequence[Laid], room: Rect) -> Rect:
    """What is left under views."""
    return Rect(room.left, room.low, room.right, min(laid.box.low for laid in views) - _TITLE - _GAP)


def _left_by_table(columns: Sequence[Sequence[table.Row]], room: Rect) -> list[Rect]:
    """What columns of a table leave of a sheet: beside them, and under them."""
    right = room.left + len(columns) * (table.WIDE + _GAP)
    low = room.high - (max(map(len, columns)) + 1) * table.ROW - _GAP
    return [Rect(right, room.low, room.right, room.high), Rect(room.left, room.low, room.right, low)]


def _stacked(unit: Unit, side: Figure, plan: Figure, room: Rect) -> tuple[Laid, Laid] | None:
    """Side view and plan over each other, their stations in line; None where they do not fit the room.

    The plan stands over the side view where inches are used (third angle), under it otherwise (first angle).
    """
    upper, lower = (plan, side) if unit == "in" else (side, plan)
    boxes = _named(upper), _named(lower)
    left, right = min(box.left for box in boxes), max(box.right for box in boxes)
    tall = sum(box.high - box.low + _TITLE for box in boxes)
    spare = room.high - room.low - tall - _GAP
    if right - left > room.right - room.left or spare < 0:
        return None
    narrow = room.right - room.left - (right - left) > _LEAST[0] + _GAP  # room for the pictorial view beside them
    x = room.left - left if narrow else (room.left + room.right) / 2 - (left + right) / 2
    between = min(spare / 3, 12.0)
    y_upper = room.high - between - upper.box.high
    y_lower = y_upper + upper.box.low - _TITLE - _GAP - between - lower.box.high
    step = _ROUND[unit] / side.denominator
    round_y = y_upper - step * int((y_upper - y_lower) / step + 1.0)
    if round_y + lower.box.low - _TITLE >= room.low:
        y_lower = round_y
    laid = {id(upper): Laid(upper, (x, y_upper)), id(lower): Laid(lower, (x, y_lower))}
    return laid[id(side)], laid[id(plan)]


def _picture(frame: Frame, drawn: Sequence[Drawn], rooms: Sequence[Rect], most: float) -> Laid | None:
    """The pictorial view in the room that holds it largest; None where it would be smaller than 1 to `most`."""
    sizes = [(room, room.right - room.left, room.high - room.low - _TITLE) for room in rooms]
    bare = around(box_of(mark) for mark in on_paper(drawn, 1.0)) if drawn else Rect(0.0, 0.0, 1.0, 1.0)
    for scale in _scales(frame.unit):
        fits = [
            (room, wide, tall)
            for room, wide, tall in sizes
            if (bare.right - bare.left) / scale < wide and (bare.high - bare.low) / scale < tall
        ]
        if scale > most or not fits:
            if scale > most:
                return None
            continue
        work = Work(frame, PICTORIAL, scale)
        work.draw(*on_paper(drawn, scale))
        part_names(work)
        box = _named(work.figure) if work.marks else bare
        for room, wide, tall in fits:
            if box.right - box.left <= wide and box.high - box.low <= tall:
                x = (room.left + room.right) / 2 - (box.left + box.right) / 2
                y = (room.low + _TITLE + room.high) / 2 - (box.low + box.high) / 2
                return Laid(work.figure, (x, y))
    return None


def _banner(stops: Sequence[str], room: Rect) -> list[Mark]:
    """What stops the job, along the top of a sheet: a few sentences, and how many more there are."""
    if not stops:
        return []
    width = room.right - room.left
    said = [line for one in stops[:_MOST_STOPS] for line in fitted(f"- {one}", width, TEXT, 1)]
    if len(stops) > _MOST_STOPS:
        said.append(f"- and {len(stops) - _MOST_STOPS} more findings that stop this job")
    marks: list[Mark] = [Text("DO NOT BUILD", (room.left, room.high - _STOP_PITCH), 4.5, "STOP")]
    for i, line in enumerate(said, start=2):
        marks.append(Text(line, (room.left, room.high - i * _STOP_PITCH), TEXT, "STOP"))
    return marks


def _first(frame: Frame, views: Sequence[Laid], size: Sequence[float], sheet: str, banner: Sequence[Mark]) -> Sheet:
    scale = views[0].figure.denominator
    names = [text for laid in views for text in _name(laid)]
    marks = _frame_of_sheet(frame, size, sheet, scale, "third angle" if frame.unit == "in" else "first angle")
    return Sheet((*marks, *banner, *names), tuple(views))


def _other(
    frame: Frame, columns: Sequence[Sequence[table.Row]], picture: Laid | None, size: Sequence[float], sheet: str
) -> Sheet:
    marks = _frame_of_sheet(frame, size, sheet, 0.0, "none" if picture is None else "pictorial")
    x, y = MARGIN + _PAD, size[1] - MARGIN - _PAD
    for column in columns:
        marks += [moved(mark, (x, y)) for mark in table.drawn(column)]
        x += table.WIDE + _GAP
    views = () if picture is None else (picture,)
    return Sheet((*marks, *(text for laid in views for text in _name(laid))), views)


def _name(laid: Laid) -> list[Text]:
    """A view's name and scale, under it, and what had no room in it."""
    words = f"{laid.figure.view.name}, scale {scale_words(laid.figure.denominator)}"
    x, low = (laid.box.left + laid.box.right) / 2, laid.box.low
    said = [Text(words, (x, low - 5.5), 3.5, "LABEL", "centre")]
    if laid.figure.left_out:
        note = f"{laid.figure.left_out} angles and radii in the table only"
        said.append(Text(note, (x, low - 9.2), TEXT, "LABEL", "centre"))
    return said


def _named(figure: Figure) -> Rect:
    """What a view takes up, as wide at the least as its name."""
    box, at = figure.box, Laid(figure, (0.0, 0.0))
    names = [box_of(text) for text in _name(at)]
    return Rect(min(box.left, *(n.left for n in names)), box.low, max(box.right, *(n.right for n in names)), box.high)


def _frame_of_sheet(frame: Frame, size: Sequence[float], sheet: str, scale: float, views: str) -> list[Mark]:
    """The border and the title block."""
    left, low, right, high = MARGIN, MARGIN, size[0] - MARGIN, size[1] - MARGIN
    corners = [(left, low), (right, low), (right, high), (left, high)]
    marks: list[Mark] = [Line(a, b, "BORDER") for a, b in zip(corners, [*corners[1:], corners[0]], strict=True)]
    block, _ = title_block(frame, right - left, scale, sheet, views)
    return marks + [moved(mark, (left, low)) for mark in block]
