"""The drawing as DXF: model space at true size in the job's unit, and sheets to scale in paper space.

In model space the side view's x and y are the vehicle's X and Z; plan and pictorial view lie clear of it. R12 knows one
paper space only: there the sheets lie side by side in it. It knows no line weights either; the rest is the same.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from math import atan2, degrees, hypot, pi
from pathlib import Path
from typing import Any

from exporters.drawing.dimensions import Dimension
from exporters.drawing.marks import ARROW, LAYERS, TEXT, Fill, Line, Mark, Text
from exporters.drawing.sheets import Drawing, Laid, Sheet
from exporters.dxf import Point, new_document, write_document
from exporters.dxf_text import WIDTH, Version, inert
from exporters.room import Rect
from railmodel.units import Unit, to_unit

_KINDS = {"linear": 0, "radius": 4, "angle": 5, "across": 6 | 64, "up": 6}
_OWN_BLOCK, _OWN_PLACE = 32, 128  # flags of a dimension: its picture is its own block; its text stands where it is put
_LINE_TYPES = 0.42  # of a line type's own lengths, on paper
_BETWEEN = 20.0  # sheets side by side in R12, mm
_EDGE = 1.0  # of a viewport round its view, mm on paper


@dataclass(frozen=True, slots=True)
class _Pen:
    """Draws marks into a space of a document.

    Args:
        space: model space, a layout or a block.
        unit: of the file.
        version: of the file.
        times: mm on the vehicle or on paper that one mm of a mark stands for.
        by: where the marks' (0, 0) goes, mm.
    """

    space: Any
    unit: Unit
    version: Version
    times: float
    by: Point

    def size(self, length: float) -> float:
        """A length in the file's unit."""
        return to_unit(length * self.times, self.unit)

    def at(self, point: Point) -> Point:
        """A place in the file's unit."""
        x, y = (value * self.times + by for value, by in zip(point, self.by, strict=True))
        return to_unit(x, self.unit), to_unit(y, self.unit)

    def draw(self, marks: Iterable[Mark]) -> None:
        """Draw marks."""
        for mark in marks:
            on = {"layer": mark.layer}
            if isinstance(mark, Line):
                self.space.add_line(self.at(mark.a), self.at(mark.b), dxfattribs=on)
            elif isinstance(mark, Fill):
                self.space.add_solid([self.at(corner) for corner in (*mark.corners, mark.corners[2])], dxfattribs=on)
            elif isinstance(mark, Text):
                self._write(mark)
            elif mark.whole:
                self.space.add_circle(self.at(mark.centre), self.size(mark.radius), dxfattribs=on)
            else:
                begin, end = degrees(mark.begin), degrees(mark.end)
                self.space.add_arc(self.at(mark.centre), self.size(mark.radius), begin, end, dxfattribs=on)

    def _write(self, text: Text) -> None:
        from ezdxf.enums import TextEntityAlignment as Alignment

        if not text.text:
            return
        where = {"left": Alignment.LEFT, "centre": Alignment.CENTER, "right": Alignment.RIGHT}[text.align]
        entity = self.space.add_text(
            inert(text.text, self.version), height=self.size(text.height), rotation=text.turn,
            dxfattribs={"layer": text.layer, "width": WIDTH},
        )  # fmt: skip
        entity.set_placement(self.at(text.at), align=where)


def write_dxf(drawing: Drawing, path: Path, version: Version = "R2010") -> None:
    """Write the drawing to a DXF file, whole or not at all.

    Args:
        drawing: the drawing.
        path: the file.
        version: DXF version; "R12" for old readers.
    """
    unit = drawing.frame.unit
    document = new_document(LAYERS, unit, version)
    document.layers.get("VIEWPORT").dxf.plot = 0
    scale = drawing.views[0].figure.denominator
    document.header["$LTSCALE"] = _LINE_TYPES * scale
    if version != "R12":
        document.header["$PSLTSCALE"] = 0  # a line type is as long on paper as $LTSCALE makes it
    places = _places(drawing)
    for laid, by in zip(drawing.views, places, strict=True):
        pen = _Pen(document.modelspace(), unit, version, laid.figure.denominator, by)
        pen.draw(laid.figure.marks)
        style = _style(document, unit, laid.figure.denominator)
        for one in laid.figure.dimensions:
            _dimension(document, pen, one, style)
    _opening(document, drawing, places)
    _paper(document, drawing, version, places)
    write_document(document, version, path)


def _places(drawing: Drawing) -> list[Point]:
    """Where the views' datums lie in model space, mm: as on the sheet, the pictorial view under the others."""
    side, plan, *others = drawing.views
    scale = side.figure.denominator
    found = [(0.0, 0.0), (0.0, round((plan.at[1] - side.at[1]) * scale, 6))]
    low = min(
        laid.figure.box.low * scale + y for laid, (_, y) in zip((side, plan), found, strict=True)
    )  # fmt: skip
    for laid in others:
        box, times = laid.figure.box, laid.figure.denominator
        step = 254.0 if drawing.frame.unit == "in" else 100.0
        found.append((0.0, step * int((low - box.high * times) / step - 1.0)))
        low = found[-1][1] + box.low * times
    return found


def _style(document: Any, unit: Unit, scale: float) -> str:
    """A dimension style for views at a scale; made once."""
    name = f"SCALE_{scale:g}".replace(".", "_")
    if name not in document.dimstyles:
        text, arrow = to_unit(TEXT, unit), to_unit(ARROW, unit)
        document.dimstyles.new(name, dxfattribs={
            "dimtxt": text, "dimasz": arrow, "dimgap": text / 3, "dimexo": to_unit(1.0, unit),
            "dimexe": to_unit(1.5, unit), "dimtad": 1, "dimtih": 0, "dimtoh": 0, "dimscale": scale, "dimlfac": 1.0,
            "dimdec": 3 if unit == "in" else 1, "dimadec": 2, "dimaunit": 0, "dimlunit": 2, "dimzin": 0,
            "dimlwd": -1, "dimlwe": -1,
        })  # fmt: skip
    return name


def _dimension(document: Any, pen: _Pen, one: Dimension, style: str) -> None:
    """A DIMENSION with its picture as a block of its own."""
    block = document.blocks.new_anonymous_block(type_char="D")
    _Pen(block, pen.unit, pen.version, pen.times, pen.by).draw([*one.marks, one.label])
    points = [pen.at(point) for point in one.points]
    attributes: dict[str, Any] = {
        "layer": "DIMENSION", "dimstyle": style, "geometry": block.name, "text": one.text,
        "dimtype": _KINDS[one.kind] | _OWN_BLOCK | _OWN_PLACE, "text_midpoint": pen.at(one.text_middle),
    }  # fmt: skip
    if one.kind == "linear":
        attributes |= {"defpoint2": points[0], "defpoint3": points[1], "defpoint": points[2], "angle": one.turn}
    elif one.kind == "radius":
        attributes |= {"defpoint": points[0], "defpoint4": points[1]}
    elif one.kind == "angle":
        attributes |= dict(zip(("defpoint4", "defpoint2", "defpoint3", "defpoint"), points, strict=True))
    else:
        attributes |= dict(zip(("defpoint", "defpoint2", "defpoint3"), points, strict=True))
    entity = pen.space.new_entity("DIMENSION", attributes)
    if pen.version != "R12":
        entity.dxf.actual_measurement = _measured(one, points)


def _measured(one: Dimension, points: list[Point]) -> float:
    """What a dimension measures, in the file's unit; an angle in radians."""
    (x, y), (to_x, to_y) = points[0], points[1]
    if one.kind == "angle":
        legs = [atan2(end[1] - y, end[0] - x) for end in points[1:3]]
        return (legs[1] - legs[0]) % (2 * pi)
    if one.kind == "radius":
        return hypot(to_x - x, to_y - y)
    along = one.kind == "across" or (one.kind == "linear" and not one.turn)
    found = to_x - x if along else to_y - y
    return abs(found) if one.kind == "linear" else found


def _opening(document: Any, drawing: Drawing, places: list[Point]) -> None:
    """The view with which a reader opens model space: all of it."""
    unit = drawing.frame.unit
    boxes = [_in_model(laid, by) for laid, by in zip(drawing.views, places, strict=True)]
    left, low = min(box.left for box in boxes), min(box.low for box in boxes)
    right, high = max(box.right for box in boxes), max(box.high for box in boxes)
    space = document.modelspace()
    space.dxf.extmin = (to_unit(left, unit), to_unit(low, unit), 0.0)
    space.dxf.extmax = (to_unit(right, unit), to_unit(high, unit), 0.0)
    tall = 1.1 * max(high - low, (right - left) / 1.6)
    middle = (to_unit((left + right) / 2, unit), to_unit((low + high) / 2, unit))
    document.set_modelspace_vport(to_unit(tall, unit), middle)


def _in_model(laid: Laid, by: Point) -> Rect:
    """The rectangle about a view in model space, mm."""
    box, times = laid.figure.box.grown(_EDGE), laid.figure.denominator
    return Rect(box.left * times + by[0], box.low * times + by[1], box.right * times + by[0], box.high * times + by[1])


def _paper(document: Any, drawing: Drawing, version: Version, places: list[Point]) -> None:
    """The sheets, each a layout; in R12 all in the one paper space."""
    width, height = drawing.size
    unit = drawing.frame.unit
    names = [f"Sheet {i}" for i in range(1, len(drawing.sheets) + 1)]
    at = iter(places)
    if version == "R12":
        wide = len(names) * (width + _BETWEEN) - _BETWEEN
        document.layout("Layout1").page_setup_r12(size=(to_unit(wide, unit), to_unit(height, unit)))
    for i, (name, sheet) in enumerate(zip(names, drawing.sheets, strict=True)):
        if version == "R12":
            layout, by = document.layout("Layout1"), (i * (width + _BETWEEN), 0.0)
        else:
            layout, by = _layout(document, name, i), (0.0, 0.0)
            layout.page_setup(
                size=(to_unit(width, unit), to_unit(height, unit)), margins=(0, 0, 0, 0),
                units="inch" if unit == "in" else "mm", name=drawing.paper.replace(" ", "_"),
            )  # fmt: skip
        _sheet(_Pen(layout, unit, version, 1.0, by), sheet, at)


def _layout(document: Any, name: str, number: int) -> Any:
    if number:
        return document.layouts.new(name)
    document.layouts.rename("Layout1", name)
    return document.layout(name)


def _sheet(pen: _Pen, sheet: Sheet, places: Any) -> None:
    """A sheet's own marks, and a viewport on each of its views."""
    pen.draw(sheet.marks)
    for laid in sheet.views:
        box, model = laid.box.grown(_EDGE), _in_model(laid, next(places))
        middle = pen.at(((box.left + box.right) / 2, (box.low + box.high) / 2))
        pen.space.add_viewport(
            center=middle, size=(pen.size(box.right - box.left), pen.size(box.high - box.low)),
            view_center_point=(
                to_unit((model.left + model.right) / 2, pen.unit), to_unit((model.low + model.high) / 2, pen.unit)
            ),
            view_height=to_unit(model.high - model.low, pen.unit), dxfattribs={"layer": "VIEWPORT"},
        )  # fmt: skip
