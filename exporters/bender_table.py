"""A part's bend table in the columns, order, signs and units of a shop's own layout file."""

from collections.abc import Iterator
from math import degrees, pi

from railmodel.bending.mark_out import MarkedBend, MarkOut
from railmodel.job.layout import Column, Layout
from railmodel.units import to_unit

_LENGTHS = ("distance", "feed", "radius", "mark", "mark_at_gauge", "tube_use")


def bender_table(marks: MarkOut, layout: Layout) -> str:
    """The table of one part, marked out, as text."""
    lines = []
    if layout.header:
        lines.append([column.title or column.value or "" for column in layout.columns])
    for marked in marks.bends:
        lines.append([_cell(column, _value(column, marks, marked), layout) for column in layout.columns])
    if layout.tail:
        lines.append(list(_tail(marks, layout)))
    end = "\r\n" if layout.line_end == "crlf" else "\n"
    return "".join(layout.separator.join(_plain(cell, layout) for cell in line) + end for line in lines)


def _value(column: Column, marks: MarkOut, marked: MarkedBend) -> float | str | None:
    rows, i = marks.reading.line.rows, marked.bend.number - 1
    before = marks.bends[i - 1] if i else None
    found: dict[str, float | str | None] = {
        "bend": str(marked.bend.number),
        "distance": float(rows.distance[i]),
        "feed": marked.mark - (before.mark + before.tube_use if before else 0.0),
        "rotation": float(rows.rotation[i]),
        "roll": float(rows.roll[i]),
        "angle": marked.finished_angle,
        "set_angle": marked.set_angle,
        "radius": float(rows.radius[i]),
        "way": marked.bend.way,
        "toward": marked.bend.toward,
        "die": marked.bend.die,
        "mark": marked.mark,
        "mark_at_gauge": marked.mark_at_gauge,
        "tube_use": marked.tube_use,
    }
    return column.text if column.value is None else found[column.value]


def _cell(column: Column, value: float | str | None, layout: Layout) -> str:
    if value is None or isinstance(value, str):
        # a name that a spreadsheet would take for a formula; what the layout itself says is the shop's own
        return f"'{value}" if value and column.value is not None and value[0] in "=+-@" else value or ""
    if column.value in _LENGTHS:
        shown = to_unit(value, layout.units)
    else:
        turned = value * column.sign
        if column.full_circle:
            turned %= 2 * pi
        elif turned <= -pi:
            turned = pi
        shown = degrees(turned) if layout.angles == "degrees" else turned
        return _number(shown, column, layout)
    return _number(shown * column.sign, column, layout)


def _number(value: float, column: Column, layout: Layout) -> str:
    text = repr(value) if column.places is None else f"{value:.{column.places}f}"
    if float(text) == 0:
        text = text.removeprefix("-")
    return text.replace(".", layout.decimal)


def _tail(marks: MarkOut, layout: Layout) -> Iterator[str]:
    """The last line: the tail under the first column of lengths fed, the rest empty."""
    values = [column.value for column in layout.columns]
    under = next((name for name in ("distance", "feed") if name in values), None)
    length = float(marks.reading.line.rows.tail) + (marks.trim_tail if under == "feed" else 0.0)
    for column in layout.columns:
        yield _cell(column, length, layout) if under is not None and column.value == under else ""


def _plain(cell: str, layout: Layout) -> str:
    """A cell that cannot be taken for two."""
    if layout.separator in cell or '"' in cell:
        return '"' + cell.replace('"', '""') + '"'
    return cell
