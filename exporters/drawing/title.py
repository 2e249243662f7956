"""The title block: whose drawing it is, what it rests on, and what it is not. Millimetres on paper."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from exporters.drawing.marks import Fill, Line, Mark, Text, text_width
from exporters.dxf_text import WIDTH, lines_of
from exporters.room import Rect
from railmodel.bending.cautions import NO_CERTIFICATE
from railmodel.fingerprint import fingerprint, short
from railmodel.frame import Frame
from railmodel.units import Unit, from_unit, to_unit

WIDE: float = 176.0
"""Width of the title block."""

AS_AGREED = "as agreed"
"""What is said of tolerances where neither the job nor the shop says anything."""

WORDS: dict[Unit, str] = {"in": "inches", "mm": "millimetres"}

READING = (
    "Stations, heights and distances from the centre plane are to the tubes' centrelines and the corner points of "
    "their bends; radii are finished centreline radii. Of a pair the right hand is dimensioned; the left is its "
    "mirror image."
)
"""How the numbers are meant."""

_CAPTION, _VALUE, _NAME = 1.8, 2.5, 4.5
_PITCH = 1.5  # base line to base line, in text heights
_PAD = 1.6


@dataclass(frozen=True, slots=True)
class Cell:
    """A field of the title block.

    Args:
        width: its share of the block's width.
        caption: what the field is.
        text: what it holds, any text.
        lines: how many lines it has room for.
        height: of the text.
    """

    width: float
    caption: str
    text: str
    lines: int = 1
    height: float = _VALUE


def scale_words(denominator: float) -> str:
    """A scale as drawings state it.

    >>> scale_words(12.0), scale_words(2.5)
    ('1:12', '1:2.5')
    """
    return f"1:{denominator:g}"


def tolerances(frame: Frame) -> str:
    """What the drawing says of tolerances: the job's words, else the shop's, else that they are to be agreed."""
    own = frame.job.tolerances or (frame.shop.tolerances if frame.shop is not None else None)
    return own or AS_AGREED


def tubes(frame: Frame) -> list[str]:
    """The sizes of the tubes that are used, in words."""

    def say(length: float) -> str:
        return f"{to_unit(length, frame.unit):.4g}"

    found = []
    for name in dict.fromkeys(part.tube for part in frame.parts):
        part = next(part for part in frame.parts if part.tube == name)
        size = part.section
        grade = f", {part.grade}" if part.grade else ""
        found.append(
            f"{name}: {say(size.height)} high x {say(size.width)} wide x {say(size.wall)} wall, "
            f"corner {say(size.corner)}{grade}"
        )
    return found


def title_block(frame: Frame, denominator: float, sheet: str, arrangement: str) -> tuple[list[Mark], float]:
    """The block with its lower right corner at (0, 0), and its height.

    Args:
        frame: the job.
        denominator: how many times smaller than life the side and the plan view are; 0 on a sheet without views.
        sheet: such as "1 of 2".
        arrangement: how the views stand to each other, in words.
    """
    job = frame.job
    sizes = tubes(frame)
    scale = "no scale" if not denominator else f"{scale_words(denominator)}; the pictorial view has its own"
    rows = [
        [Cell(1.0, "not a certificate", NO_CERTIFICATE, 2)],
        [Cell(1.0, "how to read it", READING, 3)],
        [Cell(0.5, "tolerances", tolerances(frame), 2), Cell(0.5, "approved: name and date", "", 2)],
        [
            Cell(0.34, "all dimensions in", f"{WORDS[frame.unit]}, angles in degrees"), Cell(0.4, "scale", scale),
            Cell(0.26, "views", arrangement),
        ],
        [Cell(1.0, "tubes, outside sizes", "; ".join(sizes), min(max(len(sizes), 1), 3))],
        [Cell(1.0, "datum", job.datum or "not described in the job", 2)],
        [Cell(0.68, "customer", job.customer or "-"), Cell(0.32, "fingerprint", short(fingerprint(frame)))],
        [
            Cell(0.68, "job", job.job, 1, _NAME), Cell(0.18, "revision", job.revision or "-", 1, 3.5),
            Cell(0.14, "sheet", sheet, 1, 3.5),
        ],
    ]  # fmt: skip
    marks: list[Mark] = []
    y = 0.0
    for row in rows:
        tall = max(_CAPTION * 1.4 + _PITCH * cell.height * cell.lines for cell in row) + _PAD
        x = -WIDE
        for cell in row:
            marks += _cell(cell, Rect(x, y, x + cell.width * WIDE, y + tall), frame)
            x += cell.width * WIDE
        y += tall
        marks.append(Line((-WIDE, y), (0.0, y), "TITLE"))
    marks += [Line((-WIDE, 0.0), (-WIDE, y), "BORDER"), Line((-WIDE, y), (0.0, y), "BORDER")]
    return marks, y


def fitted(text: str, width: float, height: float, lines: int) -> list[str]:
    """A text in at most some lines of a width; what has no room becomes "..."."""
    room = max(int(width / (WIDTH * height)), 4)
    found = [line.rstrip() for line in lines_of(" ".join(text.split()), room - 1, "R2010")]
    if len(found) > lines:
        last = found[lines - 1]
        while last and text_width(f"{last}...", height) > width:
            last = last[:-1]
        found = [*found[: lines - 1], f"{last}..."]
    return [_cut(line, width, height) for line in found]


def scale_bar(frame: Frame, denominator: float) -> tuple[list[Mark], float]:
    """A bar with a round length at the drawing's scale, its left end at (0, 0), and its length."""
    unit = frame.unit
    each = next(
        size for size in _bar_steps(unit) if from_unit(size, unit) / denominator >= 8.0
    )  # fmt: skip
    step = from_unit(each, unit) / denominator
    marks: list[Mark] = []
    for i in range(4):
        begin, end = i * step, (i + 1) * step
        box = [(begin, 0.0), (end, 0.0), (end, 1.5), (begin, 1.5)]
        marks += [Line(a, b, "TITLE") for a, b in zip(box, [*box[1:], box[0]], strict=True)]
        if i % 2 == 0:
            marks += [Fill((box[0], box[1], box[2]), "TITLE"), Fill((box[0], box[2], box[3]), "TITLE")]
    for i in range(5):
        marks.append(Text(f"{i * each:g}", (i * step, 2.3), 2.0, "TITLE", "centre"))
    marks.append(Text(unit, (4 * step + 5.0, 2.3), 2.0, "TITLE"))
    return marks, 4 * step + 8.0


def _bar_steps(unit: Unit) -> Iterator[float]:
    steps = (1.0, 2.0, 3.0, 6.0, 12.0, 24.0, 36.0, 60.0, 120.0) if unit == "in" else (1.0, 2.0, 5.0)
    times = 1.0
    while True:
        yield from (size * times for size in steps)
        times *= 100.0 if unit == "in" else 10.0


def _cell(cell: Cell, rect: Rect, frame: Frame) -> Sequence[Mark]:
    marks: list[Mark] = [Text(cell.caption, (rect.left + _PAD, rect.high - _CAPTION - 1.0), _CAPTION, "TITLE")]
    if rect.left > -WIDE:
        marks.append(Line((rect.left, rect.low), (rect.left, rect.high), "TITLE"))
    y = rect.high - _CAPTION * 1.4 - 1.0
    for line in fitted(cell.text, rect.right - rect.left - 2 * _PAD, cell.height, cell.lines):
        y -= _PITCH * cell.height
        marks.append(Text(line, (rect.left + _PAD, y + 0.3 * cell.height), cell.height, "TITLE"))
    return marks


def _cut(line: str, width: float, height: float) -> str:
    """A line cut so that wide characters too stay within a width."""
    while line and text_width(line, height) > width:
        line = line[:-1]
    return line
