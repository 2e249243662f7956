"""DXF of what is cut flat from plate at true size: plates and gussets, bend-check templates, sheets of nested plates.

CUT is the outside, HOLE what is cut inside it, MARK what is scribed on the piece; the rest is for people to read.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import degrees
from pathlib import Path

import numpy as np

from exporters.dxf import Layer, Sheet
from exporters.dxf_text import WIDTH, Version, lines_of, shortened
from exporters.flat_layout import WORDS
from exporters.room import Rect
from railmodel.bending.cautions import NO_CERTIFICATE
from railmodel.geometry.flat_outline import Outline
from railmodel.geometry.rows import Array
from railmodel.nesting import Spot, nest
from railmodel.plates import Plate
from railmodel.templates import Template
from railmodel.units import Unit, format_decimal, to_unit

LAYERS: tuple[Layer, ...] = (
    Layer("CUT", 7, 50),
    Layer("HOLE", 5, 50),
    Layer("MARK", 3, 18),
    Layer("SHEET", 8, 25, "CHAIN"),
    Layer("TEXT", 7, 25),
    Layer("DIMENSION", 7, 18),
    Layer("STOP", 1, 70),
)
"""Layers by meaning; only CUT and HOLE are cut."""

CAUTION = f"{NO_CERTIFICATE} Deburr every edge: cut plate cuts hands."
SMALLEST: float = 2.5
"""No text is smaller than this, mm."""

_LEADING = 1.8
_MOST_HOLES = 12  # of one size told in words


@dataclass(frozen=True, slots=True, kw_only=True)
class Head:
    """What every drawing of a job says of itself.

    Args:
        job: the job's name, any text.
        revision: its revision, any text.
        unit: unit of the file and of its texts.
        version: DXF version; "R12" for old readers.
    """

    job: str
    revision: str | None
    unit: Unit
    version: Version = "R2010"

    def say(self, length: float) -> str:
        """A length without its unit."""
        return format_decimal(length, self.unit)

    @property
    def lines(self) -> list[str]:
        """Job and revision."""
        return [f"Job: {self.job}", f"Revision: {'not given' if self.revision is None else self.revision}"]


def write_plate(plate: Plate, path: Path, head: Head) -> None:
    """Write one plate at true size to a DXF file, whole or not at all."""
    small = _text_height(plate.outline)
    sheet = _sheet(head, small)
    _piece(sheet, plate.outline, plate.holes)
    _overall(sheet, plate.outline, head, small)
    size = _plate_words(plate, head)
    holes = _hole_words(plate, head)
    lines = [*head.lines, f"Plate: {plate.name}", size, *holes, f"Count: {plate.count}", _scale(head), CAUTION]
    _title(sheet, plate.outline, lines, plate.stops, small, head)
    sheet.save(path)


def write_template(template: Template, path: Path, head: Head) -> None:
    """Write one bend-check template at true size to a DXF file, whole or not at all."""
    small = _text_height(template.outline)
    sheet = _sheet(head, small)
    _piece(sheet, template.outline, ())
    for begin, end in template.tangents:
        sheet.line(_pair(begin), _pair(end), "MARK")
    _label(sheet, template, head)
    _overall(sheet, template.outline, head, small)
    lines = [*head.lines, *_template_words(template, head), _scale(head), CAUTION]
    _title(sheet, template.outline, lines, (), small, head)
    sheet.save(path)


@dataclass(frozen=True, kw_only=True, eq=False)
class NestedSheet:
    """A sheet with plates of one thickness and grade on it.

    Args:
        thickness: mm.
        grade: steel grade, free text.
        number: counts from 1 among the sheets of that thickness and grade.
        of: how many there are.
        size: length and width of the sheet, mm.
        pieces: plates with their places.
    """

    thickness: float
    grade: str | None
    number: int
    of: int
    size: tuple[float, float]
    pieces: tuple[tuple[Plate, Spot], ...]


def nested(plates: Sequence[Plate], size: tuple[float, float], *, gap: float, edge: float) -> list[NestedSheet]:
    """All copies of some plates on sheets, thickness by thickness; plates that must not be cut are left out.

    Args:
        plates: what is cut.
        size: length and width of every sheet, mm.
        gap: least distance between plates, mm.
        edge: least distance from the sheet's edges, mm.
    """
    kinds: dict[tuple[float, str | None], list[Plate]] = {}
    for plate in plates:
        if not plate.stops:
            kinds.setdefault((plate.thickness, plate.grade), []).extend([plate] * plate.count)
    found: list[NestedSheet] = []
    for (thickness, grade), copies in kinds.items():
        spots = nest([plate.size for plate in copies], size, gap=gap, edge=edge)
        count = max((spot.sheet for spot in spots), default=-1) + 1
        found += [
            NestedSheet(
                thickness=thickness, grade=grade, number=number + 1, of=count, size=size,
                pieces=tuple((copies[spot.piece], spot) for spot in spots if spot.sheet == number),
            )
            for number in range(count)
        ]  # fmt: skip
    return found


def write_nested(nested_sheet: NestedSheet, path: Path, head: Head) -> None:
    """Write a sheet of nested plates at true size to a DXF file, whole or not at all."""
    length, width = nested_sheet.size
    small = min(max(length / 120, SMALLEST), 20.0)
    sheet = _sheet(head, small)
    border = [(0.0, 0.0), (length, 0.0), (length, width), (0.0, width)]
    sheet.outline(border, "SHEET")
    for plate, spot in nested_sheet.pieces:
        outline, holes = placed(plate, spot)
        _piece(sheet, outline, holes)
        _name(sheet, plate.name, outline, holes)
    counts: dict[str, int] = {}
    for plate, _ in nested_sheet.pieces:
        counts[plate.name] = counts.get(plate.name, 0) + 1
    grade = f", {nested_sheet.grade}" if nested_sheet.grade else ""
    lines = [
        *head.lines,
        f"Sheet {nested_sheet.number} of {nested_sheet.of}: {head.say(length)} x {head.say(width)} x "
        f"{_plain(nested_sheet.thickness, head)} thick{grade}; all lengths in {WORDS[head.unit]}",
        *(f"{count} x {name}" for name, count in counts.items()),
        _scale(head),
        CAUTION,
    ]
    _title(sheet, Outline.of(border), lines, (), small, head)
    sheet.save(path)


def placed(plate: Plate, spot: Spot) -> tuple[Outline, tuple[tuple[float, float, float], ...]]:
    """A plate's outline and holes where they lie on their sheet."""
    outline, holes = plate.outline, plate.holes
    if spot.turned:
        outline, holes = outline.turned(), tuple((-y, x, diameter) for x, y, diameter in holes)
    left, low, _, _ = outline.box
    by = (spot.x - left, spot.y - low)
    return outline.moved(by), tuple((x + by[0], y + by[1], diameter) for x, y, diameter in holes)


def _sheet(head: Head, small: float) -> Sheet:
    return Sheet(LAYERS, unit=head.unit, version=head.version, text=small)


def _text_height(outline: Outline) -> float:
    left, low, right, high = outline.box
    return min(max(max(right - left, high - low) / 40, 3.0), 10.0)


def _piece(sheet: Sheet, outline: Outline, holes: Sequence[tuple[float, float, float]]) -> None:
    """The cuts of one piece, and the centres of its holes."""
    sheet.profile(outline, "CUT")
    for x, y, diameter in holes:
        sheet.circle((x, y), diameter, "HOLE")
        reach = 0.35 * diameter
        sheet.line((x - reach, y), (x + reach, y), "MARK")
        sheet.line((x, y - reach), (x, y + reach), "MARK")


def _overall(sheet: Sheet, outline: Outline, head: Head, small: float) -> None:
    """Width and height over all, under and left of the piece: a tape on the plot shows whether it is at true size."""
    left, low, right, high = outline.box
    off = 3 * small
    sheet.measure((left, low), (right, low), (left, low - off), head.say(right - left), "DIMENSION")
    sheet.measure((left, low), (left, high), (left - off, low), head.say(high - low), "DIMENSION", 90.0)


def _hole_words(plate: Plate, head: Head) -> list[str]:
    """Where the holes are, from the lower left corner of the box about the plate, those of one size together."""
    left, low, _, _ = plate.outline.box
    sizes = sorted({diameter for _, _, diameter in plate.holes})
    found = []
    for size in sizes:
        places = [f"({head.say(x - left)},{head.say(y - low)})" for x, y, diameter in plate.holes if diameter == size]
        found.append(f"{len(places)} x diameter {head.say(size)} at {', '.join(places[:_MOST_HOLES])}")
        if len(places) > _MOST_HOLES:
            found[-1] += ", ... as drawn"
    return [*found, "Holes are measured from the lower left corner of the box about the plate."] if found else []


def _plate_words(plate: Plate, head: Head) -> str:
    grade = f", {plate.grade}" if plate.grade else ""
    wide, high = plate.size
    return (
        f"{head.say(wide)} x {head.say(high)} x {_plain(plate.thickness, head)} thick{grade}; "
        f"area {_area(plate.area, head.unit)}, mass {_mass(plate.mass(), head.unit)} each"
    )


def _template_words(template: Template, head: Head) -> list[str]:
    both = ", both hands (turn it over for the left)" if template.hand == "right" else ""
    faces = ", ".join(f"bend {number} {face}" for number, face in zip(template.bends, template.faces, strict=True))
    return [
        f"Bend-check template: {template.part}{both}",
        f"{_bends(template)} from the leading end, {degrees(template.angle):.2f} deg, "
        f"centreline radius {head.say(template.radius)}, inner face radius {head.say(template.inner)}",
        f"Lies on the finished inner face ({faces}): {head.say(template.before)} before the bend and "
        f"{head.say(template.after)} after it, tangents marked",
    ]


def _bends(template: Template) -> str:
    numbers = [str(number) for number in template.bends]
    return f"Bend{'s' if len(numbers) > 1 else ''} {', '.join(numbers)}"


def _label(sheet: Sheet, template: Template, head: Head) -> None:
    """What the piece itself is marked with, on its first straight where that has the room."""
    texts = [
        f"{shortened(template.part, 24)} {_bends(template).lower()}",
        f"{degrees(template.angle):.2f} deg R {head.say(template.radius)} {head.unit}",
    ]
    room, depth = template.before, template.depth
    for lines in (texts, [f"{','.join(map(str, template.bends))}: {degrees(template.angle):.2f}"]):
        widest = max(map(len, lines)) + 2
        height = min(room / (WIDTH * widest), depth / (_LEADING * len(lines) + 1), 8.0)
        if height >= SMALLEST:
            for i, line in enumerate(lines):
                y = depth / 2 + (len(lines) / 2 - i - 1) * _LEADING * height + 0.4 * height
                sheet.text(line, (-room / 2, y), height, "MARK", "centre")
            return


def _name(sheet: Sheet, name: str, outline: Outline, holes: Sequence[tuple[float, float, float]]) -> None:
    """A piece's name inside it, clear of its edge and its holes, where there is room; on TEXT: it is not scribed."""
    left, low, right, high = outline.box
    for height in (8.0, 5.0, 3.5, SMALLEST):
        for text in (name, shortened(name, 12)):
            wide = WIDTH * height * (len(text) + 1)
            for share_y in (0.5, 0.3, 0.7, 0.15, 0.85):
                for share_x in (0.5, 0.35, 0.65):
                    x, y = left + share_x * (right - left), low + share_y * (high - low)
                    if _clear(Rect.around(x, y, wide, 1.6 * height), outline, holes):
                        sheet.text(text, (x, y - height / 2), height, "TEXT", "centre")
                        return


def _clear(rect: Rect, outline: Outline, holes: Sequence[tuple[float, float, float]]) -> bool:
    across = np.linspace(rect.left, rect.right, 9)
    border = [(float(x), y) for x in across for y in (rect.low, rect.high)]
    return all(outline.inside(spot) > 0 for spot in border) and not any(
        rect.grown(diameter / 2).meets(Rect(x, y, x + 1e-9, y + 1e-9)) for x, y, diameter in holes
    )


def _title(
    sheet: Sheet, outline: Outline, lines: Sequence[str], stops: Sequence[str], small: float, head: Head
) -> None:
    """Lines of text over the piece; above them what keeps it from being cut."""
    left, _, right, high = outline.box
    room = min(max(int((right - left) / (WIDTH * small)), 60), 110)
    said = [(line, small, "TEXT") for text in lines for line in lines_of(text, room, head.version)]
    if stops:
        why = [(line, small, "STOP") for text in stops for line in lines_of(f"- {text}", room, head.version)]
        said = [("DO NOT CUT", 3 * small, "STOP"), *why, *said]
    y = high + 4 * small
    for line, height, layer in reversed(said):
        sheet.text(line, (left, y), height, layer)
        y += _LEADING * height


def _scale(head: Head) -> str:
    return f"Scale 1:1, all lengths in {WORDS[head.unit]}. CUT and HOLE are cut, MARK is scribed."


def _plain(length: float, head: Head) -> str:
    return f"{to_unit(length, head.unit):.6g}"


def _area(area: float, unit: Unit) -> str:
    return f"{area / 25.4**2:.3f} sq in" if unit == "in" else f"{area / 100:.2f} cm2"


def _mass(mass: float, unit: Unit) -> str:
    return f"{mass / 0.45359237:.2f} lb" if unit == "in" else f"{mass:.3f} kg"


def _pair(point: Array) -> tuple[float, float]:
    return float(point[0]), float(point[1])
