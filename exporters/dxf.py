"""What every DXF drawing shares: a document with its unit and layers, lines, text, dimensions, and saving it whole.

Coordinates come in as millimetres and leave in the drawing's unit. R12 is drawn natively: the same calls make LINE,
POLYLINE, TEXT and DIMENSION there, so that nothing is dropped on the way down. R12 knows no unit and no line weights.
"""

import io
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from exporters.dxf_text import WIDTH, Version, inert
from railmodel.files import write_whole
from railmodel.geometry.flat_outline import Outline
from railmodel.units import Unit, to_unit

Point = tuple[float, float]
Align = Literal["left", "centre", "right"]

_LINES: dict[str, tuple[float, ...]] = {"DASHED": (6, -3), "CHAIN": (18, -3, 0, -3)}  # mm at 1:1
_METADATA = threading.Lock()


@dataclass(frozen=True, slots=True)
class Layer:
    """A layer of a drawing.

    Args:
        name: capitals, digits and `_`, at most 31 characters (the R12 rule for names).
        colour: AutoCAD colour index, 1 to 255; 7 is black on paper.
        weight: line weight in 1/100 mm, one of those the DXF reference lists.
        line: a linetype.
    """

    name: str
    colour: int
    weight: int
    line: Literal["CONTINUOUS", "DASHED", "CHAIN"] = "CONTINUOUS"


class Sheet:
    """A drawing under way.

    Args:
        layers: every layer it draws on.
        unit: unit of the file.
        version: DXF version.
        text: height of dimension text, mm.
    """

    def __init__(self, layers: Sequence[Layer], *, unit: Unit, version: Version, text: float) -> None:
        self.unit: Unit = unit
        self.version: Version = version
        self._document = new_document(layers, unit, version)
        self._space = self._document.modelspace()
        self._seen: list[Point] = []
        self._add_dimension_style(text)

    def line(self, a: Point, b: Point, layer: str) -> None:
        """A straight line."""
        self._space.add_line(self._at(a), self._at(b), dxfattribs={"layer": layer})

    def outline(self, corners: Sequence[Point], layer: str) -> None:
        """A closed outline: LWPOLYLINE, in R12 POLYLINE."""
        points = [self._at(corner) for corner in corners]
        draw = self._space.add_polyline2d if self.version == "R12" else self._space.add_lwpolyline
        draw(points, close=True, dxfattribs={"layer": layer})

    def profile(self, outline: Outline, layer: str) -> None:
        """A closed outline of lines and arcs: LWPOLYLINE with bulges, in R12 POLYLINE."""
        for corner in (outline.box[:2], outline.box[2:]):
            self._at(corner)
        points = [
            (*self._at((float(x), float(y))), float(bulge))
            for (x, y), bulge in zip(outline.points, outline.bulge, strict=True)
        ]
        draw = self._space.add_polyline2d if self.version == "R12" else self._space.add_lwpolyline
        draw(points, format="xyb", close=True, dxfattribs={"layer": layer})

    def circle(self, at: Point, diameter: float, layer: str) -> None:
        """A circle about a point."""
        self._space.add_circle(self._at(at), self._out(diameter / 2), dxfattribs={"layer": layer})

    def arrow(self, tip: Point, tail: Point, size: float, layer: str) -> None:
        """A line along x or y with an open arrow head at its tip."""
        (x, y), (dx, dy) = tip, (tail[0] - tip[0], tail[1] - tip[1])
        reach = max(abs(dx), abs(dy))
        ax, ay = dx / reach * size, dy / reach * size
        self.line(tip, tail, layer)
        for side in (-0.35, 0.35):
            self.line(tip, (x + ax - side * ay, y + ay + side * ax), layer)

    def text(self, text: str, at: Point, height: float, layer: str, align: Align = "left", turn: float = 0.0) -> None:
        """One line of text, whatever is in it; `at` is on the base line, `turn` in degrees."""
        from ezdxf.enums import TextEntityAlignment as Alignment

        where = {"left": Alignment.LEFT, "centre": Alignment.CENTER, "right": Alignment.RIGHT}[align]
        entity = self._space.add_text(
            inert(text, self.version),
            height=self._out(height),
            rotation=turn,
            dxfattribs={"layer": layer, "width": WIDTH},
        )
        entity.set_placement(self._at(at), align=where)
        length = WIDTH * height * len(text)
        back = {"left": 0.0, "centre": length / 2, "right": length}[align]
        along = (0.0, 1.0) if turn else (1.0, 0.0)
        for reach in (-back, length - back):
            self._at((at[0] + reach * along[0], at[1] + reach * along[1] + (0 if turn else height)))

    def ordinate(self, x: float, label: float, depth: float, text: str, layer: str) -> None:
        """A dimension from the origin along x to the point (x, 0), its text read upward `depth` below at x = `label`.

        Its leader runs straight for 3/7 of the depth, leans over for 2/7 and runs straight again to the text.
        """
        at = self._at((label - self._text, -depth - self._text / 2))
        self._at((label, -depth - WIDTH * self._text * (len(text) + 1)))
        dimension = self._space.add_ordinate_x_dim(
            feature_location=self._at((x, 0.0)),
            offset=(self._out(label - x), -self._out(depth)),
            text=text,
            dimstyle="LAYOUT",
            override={"dimasz": self._out(depth) / 7},
            dxfattribs={"layer": layer},
        )
        self._render(dimension, text, 90.0, at)

    def measure(self, a: Point, b: Point, base: Point, text: str, layer: str, turn: float = 0.0) -> None:
        """A linear dimension between two points with its line through `base`, along x (turn 0) or y (turn 90)."""
        dimension = self._space.add_linear_dim(
            base=self._at(base),
            p1=self._at(a),
            p2=self._at(b),
            angle=turn,
            text=text,
            dimstyle="LAYOUT",
            dxfattribs={"layer": layer},
        )
        self._render(dimension, text, turn)

    def save(self, path: Path) -> None:
        """Write the file whole; the same drawing gives the same bytes."""
        xs, ys = zip(*self._seen, strict=True)
        low, high = (min(xs), min(ys)), (max(xs), max(ys))
        wide, tall = high[0] - low[0], high[1] - low[1]
        self._space.dxf.extmin, self._space.dxf.extmax = (*low, 0.0), (*high, 0.0)
        self._document.set_modelspace_vport(
            1.1 * max(tall, wide / 1.6), ((low[0] + high[0]) / 2, (low[1] + high[1]) / 2)
        )
        write_document(self._document, self.version, path)

    def _out(self, length: float) -> float:
        return to_unit(length, self.unit)

    def _at(self, point: Point) -> Point:
        """A point in the file's unit; remembered for the opening view."""
        out = self._out(point[0]), self._out(point[1])
        self._seen.append(out)
        return out

    def _render(self, dimension: Any, text: str, turn: float, end: Point | None = None) -> None:
        """Draw a dimension's block; its text is TEXT in both versions, ends at `end` or stands in the middle."""
        from ezdxf.enums import TextEntityAlignment as Alignment

        dimension.render()
        drawn = dimension.dimension
        block = drawn.get_geometry_block()
        for entity in block.query("TEXT MTEXT"):
            block.delete_entity(entity)
        label = block.add_text(
            text,
            height=self._out(self._text),
            rotation=turn,
            dxfattribs={"layer": drawn.dxf.layer, "width": WIDTH},
        )
        if end is None:
            label.set_placement(drawn.dxf.text_midpoint, align=Alignment.MIDDLE_CENTER)
        else:
            label.set_placement(end, align=Alignment.MIDDLE_RIGHT)

    def _add_dimension_style(self, height: float) -> None:
        self._text = height
        size = self._out(height)
        values = {
            "dimtxt": size, "dimasz": size, "dimgap": size / 2, "dimexo": size / 2, "dimexe": size, "dimtad": 1,
            "dimtih": 0, "dimtoh": 0, "dimdec": 3 if self.unit == "in" else 1, "dimscale": 1.0, "dimlfac": 1.0,
            "dimlwd": -1, "dimlwe": -1,
        }  # fmt: skip
        self._document.dimstyles.new("LAYOUT", dxfattribs=values)


def new_document(layers: Sequence[Layer], unit: Unit, version: Version) -> Any:
    """An ezdxf document with its unit, its layers with their line types, and its text style."""
    document = _empty(unit, version)
    for name, steps in _LINES.items():
        pattern = [to_unit(step, unit) for step in steps]
        document.linetypes.add(name, [sum(map(abs, pattern)), *pattern])
    for layer in layers:
        document.layers.add(layer.name, color=layer.colour, linetype=layer.line, lineweight=layer.weight)
    style = document.styles.get("Standard")
    style.dxf.font = "txt" if version == "R12" else "arial.ttf"
    style.dxf.width = WIDTH
    return document


def write_document(document: Any, version: Version, path: Path) -> None:
    """Write an ezdxf document whole; the same document gives the same bytes."""
    if version == "R12":
        from ezdxf.r12strict import make_acad_compatible

        make_acad_compatible(document)
    stream = io.StringIO()
    with _fixed_metadata():
        document.ezdxf_metadata()["CREATED_BY_EZDXF"] = "0"
        document.write(stream)
    write_whole(path, document.encode(stream.getvalue()))


def _empty(unit: Unit, version: Version) -> Any:
    """An empty document with its unit."""
    import ezdxf

    if version == "R2010":
        return ezdxf.new("R2010", units=ezdxf.units.IN if unit == "in" else ezdxf.units.MM)
    from ezdxf.document import Drawing

    document = Drawing.new("R12")  # ezdxf.new() would warn that R12 has no unit; the title text carries it
    document.header["$MEASUREMENT"] = 0 if unit == "in" else 1
    return document


@contextmanager
def _fixed_metadata() -> Iterator[None]:
    """No dates and no random identifiers in what is written meanwhile; one thread at a time."""
    from ezdxf import options

    with _METADATA:
        before = options.write_fixed_meta_data_for_testing
        options.write_fixed_meta_data_for_testing = True
        try:
            yield
        finally:
            options.write_fixed_meta_data_for_testing = before
