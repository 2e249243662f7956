"""The table of points: every part with its ends and corner points, bends, sizes, and the plates. mm on paper."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import degrees
from textwrap import wrap

from exporters.approval_points import letters
from exporters.drawing.features import shown, turns
from exporters.drawing.marks import Line, Mark, Text
from exporters.drawing.title import fitted
from exporters.dxf_text import shortened
from railmodel.frame import Frame
from railmodel.part import RailPart
from railmodel.plates import Plate
from railmodel.units import format_decimal

ROW: float = 4.6
"""Height of a row."""

_TEXT = 2.5
_COLUMNS = (
    ("point", 22.0), ("X", 20.0), ("Y", 20.0), ("Z", 20.0), ("straight", 20.0), ("angle", 18.0), ("radius", 18.0),
    ("toward", 21.0), ("die", 31.0),
)  # fmt: skip
_WORDS = ("point", "toward", "die")
WIDE: float = sum(width for _, width in _COLUMNS)
"""Width of the table."""


@dataclass(frozen=True, slots=True)
class Row:
    """One row: cells under the columns, or one text over all of them."""

    cells: tuple[str, ...] = ()
    head: str = ""

    @property
    def strong(self) -> bool:
        """Whether it begins something new."""
        return bool(self.head)


def rows(frame: Frame, plates: Sequence[Plate]) -> list[Row]:
    """Every row of the table."""
    named = letters(frame)
    found: list[Row] = []
    for part in shown(frame):
        found += _part(frame, part, named[part.name])
    if plates:
        found.append(Row(head="Plates"))
        found += [Row(head=f"  {_plate(frame, plate)}") for plate in plates]
    blind = [turn.name for turn in turns(frame) if turn.square is None]
    if blind:
        found.append(Row(head="Seen square in neither view, so that angle and radius stand here only:"))
        found += [Row(head=f"  {line}") for line in wrap(", ".join(blind), 80)]
    return found


def columns(found: Sequence[Row], room: float) -> list[list[Row]]:
    """The rows in columns no higher than some room, a part's rows together where they fit."""
    most = max(int(room / ROW) - 1, 4)
    blocks: list[list[Row]] = []
    for row in found:
        if (row.strong and not row.head.startswith(" ")) or not blocks:
            blocks.append([])
        blocks[-1].append(row)
    columns: list[list[Row]] = [[]]
    for block in blocks:
        if columns[-1] and len(columns[-1]) + len(block) > most:
            columns.append([])
        for row in block:
            if len(columns[-1]) >= most:
                columns.append([])
            columns[-1].append(row)
    return columns


def drawn(column: Sequence[Row]) -> list[Mark]:
    """A column with its upper left corner at (0, 0)."""
    marks: list[Mark] = []
    x = 0.0
    for name, width in _COLUMNS:
        if name in _WORDS:
            marks.append(Text(name, (x + 1.2, -ROW + 1.2), 2.0, "TITLE"))
        else:
            marks.append(Text(name, (x + width - 1.2, -ROW + 1.2), 2.0, "TITLE", "right"))
        x += width
    y = -ROW
    marks.append(Line((0.0, y), (WIDE, y), "BORDER"))
    for row in column:
        y -= ROW
        if row.head:
            (line,) = fitted(row.head, WIDE - 2.4, _TEXT, 1) or [""]
            marks.append(Text(line, (1.2, y + 1.2), _TEXT, "TITLE"))
        x = 0.0
        for (name, width), words in zip(_COLUMNS, row.cells, strict=False):
            left = name in _WORDS
            text = (fitted(words, width - 2.4, _TEXT, 1) or [""])[0]
            at = (x + 1.2, y + 1.2) if left else (x + width - 1.2, y + 1.2)
            if text:
                marks.append(Text(text, at, _TEXT, "TITLE", "left" if left else "right"))
            x += width
        marks.append(Line((0.0, y), (WIDE, y), "TITLE"))
    return marks


def _part(frame: Frame, part: RailPart, letter: str) -> Iterator[Row]:
    """A part's heading, its ends and its bends, from the leading end."""
    reading = part.read
    about = [
        *(("pair, right hand",) if part.hand != "single" else ()), f"tube {part.tube}",
        f"centreline {_say(frame, part.line.length)}", *((f"seam {part.seam}",) if part.seam else ()),
        *((f"ends {part.cuts[0].kind}",) if part.cuts is not None else ()),
    ]  # fmt: skip
    yield Row(head=f"{letter}  {shortened(part.name, 40)}: {', '.join(about)}")
    corners = reading.line.points
    straights = reading.line.rows.straights
    far = {"front": "rear", "rear": "front"}[reading.end]
    yield Row(cells=(f"{reading.end} end", *(_say(frame, float(value)) for value in corners[0])))
    for i, (bend, stretch) in enumerate(zip(reading.bends, reading.line.bends, strict=True)):
        yield Row(cells=(
            f"{letter}{bend.number}", *(_say(frame, float(value)) for value in corners[i + 1]),
            _say(frame, float(straights[i])), f"{degrees(stretch.angle):.2f}\N{DEGREE SIGN}",
            _say(frame, stretch.radius), bend.toward, bend.die or "",
        ))  # fmt: skip
    last = (_say(frame, float(value)) for value in corners[-1])
    yield Row(cells=(f"{far} end", *last, _say(frame, float(straights[-1]))))


def _plate(frame: Frame, plate: Plate) -> str:
    wide, high = plate.size
    holes = f", {len(plate.holes)} hole{'s' if len(plate.holes) > 1 else ''}" if plate.holes else ""
    sizes = " x ".join(_say(frame, size) for size in (wide, high, plate.thickness))
    where = "" if plate.places else "; not placed"
    return f"{plate.count} x {plate.name}: {sizes}{holes}{where}"


def _say(frame: Frame, length: float) -> str:
    return format_decimal(length, frame.unit)
