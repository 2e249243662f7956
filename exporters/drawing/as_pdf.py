"""The drawing as PDF: the same lines, numbers and words as the DXF file, laid on pages by typst."""

from collections.abc import Iterator
from math import ceil, cos, pi, sin, tan
from typing import Any

from exporters.drawing.marks import LAYERS, Arc, Fill, Line, Mark, Text, moved
from exporters.drawing.sheets import Drawing, Sheet
from exporters.dxf import Point
from exporters.dxf_text import WIDTH

_LETTER = 0.6021  # width of a letter of the page's font, DejaVu Sans Mono, in font sizes
_SIZE = WIDTH / _LETTER  # font size that gives letters the width that the drawing reckons with, in text heights
_DASHES: dict[str, list[float] | None] = {"CONTINUOUS": None, "DASHED": [2.5, 1.2], "CHAIN": [8.0, 1.2, 0.6, 1.2]}
_GREYS = {"TANGENT": 110, "CONSTRUCTION": 120, "CENTRE": 60, "DATUM_PLANE": 60, "HIDDEN": 60}
_HIDDEN = {"VIEWPORT"}


def drawing_pdf(drawing: Drawing) -> bytes:
    """The drawing as a PDF file, a page a sheet."""
    from exporters.sheets.typeset import typeset

    return typeset("drawing", page_data(drawing))


def page_data(drawing: Drawing) -> dict[str, Any]:
    """What the pages show, as plain data: mm, y down from the upper edge."""
    width, height = drawing.size
    return {
        "title": f"Frame drawing, {drawing.frame.job.job}",
        "width": width,
        "height": height,
        "sheets": [_sheet(sheet, height) for sheet in drawing.sheets],
    }


def marks_of(sheet: Sheet) -> Iterator[Mark]:
    """Everything on a sheet, at its place."""
    yield from sheet.marks
    for laid in sheet.views:
        for mark in laid.figure.marks:
            yield moved(mark, laid.at)
        for one in laid.figure.dimensions:
            for mark in (*one.marks, one.label):
                yield moved(mark, laid.at)


def _sheet(sheet: Sheet, height: float) -> dict[str, Any]:
    marks = list(marks_of(sheet))
    strokes: dict[str, list[list[float]]] = {layer.name: [] for layer in LAYERS}
    for mark in marks:
        if isinstance(mark, Line):
            strokes[mark.layer] += [[0, *_at(mark.a, height)], [1, *_at(mark.b, height)]]
        elif isinstance(mark, Arc):
            strokes[mark.layer] += _arc(mark, height)
    return {
        "strokes": [
            {
                "width": layer.weight / 100, "grey": _GREYS.get(layer.name, 0), "dash": _DASHES[layer.line],
                "steps": strokes[layer.name],
            }
            for layer in LAYERS
            if strokes[layer.name] and layer.name not in _HIDDEN
        ],
        "fills": [[_at(corner, height) for corner in mark.corners] for mark in marks if isinstance(mark, Fill)],
        "texts": [
            {
                "text": mark.text, "x": mark.at[0], "y": height - mark.at[1], "size": _SIZE * mark.height,
                "align": mark.align, "turn": mark.turn,
            }
            for mark in marks
            if isinstance(mark, Text) and mark.text
        ],
    }  # fmt: skip


def _at(point: Point, height: float) -> list[float]:
    return [round(point[0], 4), round(height - point[1], 4)]


def _arc(arc: Arc, height: float) -> list[list[float]]:
    """An arc as cubic curves of at most an eighth of a circle, within 5e-6 of its radius of it."""
    count = max(1, ceil((arc.end - arc.begin) / (pi / 4)))
    step = (arc.end - arc.begin) / count
    pull = 4 / 3 * tan(step / 4) * arc.radius
    x, y = arc.centre

    def on(angle: float, along: float = 0.0) -> list[float]:
        return _at(
            (x + arc.radius * cos(angle) - along * sin(angle), y + arc.radius * sin(angle) + along * cos(angle)), height
        )

    steps: list[list[float]] = [[0, *on(arc.begin)]]
    for i in range(count):
        begin, end = arc.begin + i * step, arc.begin + (i + 1) * step
        steps.append([*on(begin, pull), *on(end, -pull), *on(end)])
    return steps
