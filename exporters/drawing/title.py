"""The title block: whose drawing it is, what it rests on, and what it is not. Millimetres on paper."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from exporters.drawing.marks import Fill, Line, Mark, Text, moved, text_width
from exporters.dxf_text import WIDTH, lines_of
from exporters.room import Rect
from railmodel.bending.cautions import NO_CERTIFICATE
from railmodel.fingerprint import fingerprint, short
from railmodel.frame import Frame
from railmodel.units import Unit, from_unit, to_unit

AS_AGREED = "as agreed"
"""What is said of tolerances where neither the job nor the shop says anything."""

WORDS: dict[Unit, str] = {"in": "inches", "mm": "millimetres"}

READING = (
    "Stations, heights and distances from the centre plane are to the tubes' centrelines and the corner points of "
    "their bends; radii are finished centreline radii. Of a pair the right hand is dimensioned; the left is its "
    "mirror image."
)
"""How the numbers are meant."""

_CAPTION, _SMALL, _VALUE, _NAME = 1.8, 2.2, 2.5, 4.5
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
            f"{name}: {say(size.height)} diameter x {say(size.wall)} wall, round{grade}"
            if size.round
            else f"{name}: {say(size.height)} high x {say(size.width)} wide x {say(size.wall)} wall, "
            f"corner {say(size.corner)}{grade}"
        )
    return found


def title_block(frame: Frame, width: float, denominator: float, sheet: str, views: str) -> tuple[list[Mark], float]:
    """The block along the foot of a sheet, its lower left corner at (0, 0), and its height.

    Args:
        frame: the job.
        width: of the block.
        denominator: how many times smaller than life the side and the plan view are; 0 on a sheet without them.
        sheet: such as "1 of 2".
        views: how the views stand to each other, in words.
    """
    job, sizes = frame.job, tubes(frame)
    lines = min(max(len(sizes), 2), 4)
    scale = scale_words(denominator) if denominator else "none" if views == "none" else "as noted"
    rows = [
        [Cell(0.64, "how to read it", READING, 2, _SMALL), Cell(0.36, "not a certificate", NO_CERTIFICATE, 2, _SMALL)],
        [
            Cell(0.13, "all dimensions in", WORDS[frame.unit]), Cell(0.24, "scale", scale), Cell(0.11, "views", views),
            Cell(0.24, "tolerances", tolerances(frame)), Cell(0.28, "approved: name, date", ""),
        ],
        [
            Cell(0.38, "tubes, outside sizes", "\n".join(sizes), lines, _SMALL),
            Cell(0.36, "datum", job.datum or "not described in the job", lines),
            Cell(0.26, "customer", job.customer or "-", lines),
        ],
        [
            Cell(0.54, "frame drawing of job", job.job, 1, _NAME), Cell(0.16, "revision", job.revision or "-", 1, 3.5),
            Cell(0.19, "fingerprint", short(fingerprint(frame)), 1, 3.5), Cell(0.11, "sheet", sheet, 1, 3.5),
        ],
    ]  # fmt: skip
    marks: list[Mark] = []
    y = 0.0
    for row in rows:
        tall = max(_CAPTION * 1.4 + _PITCH * cell.height * cell.lines for cell in row) + _PAD
        x = 0.0
        for cell in row:
            marks += _cell(cell, Rect(x, y, x + cell.width * width, y + tall))
            if cell.caption == "scale" and denominator:
                marks += [moved(mark, (x + 24.0, y + 1.8)) for mark in scale_bar(frame.unit, denominator)]
            x += cell.width * width
        y += tall
        marks.append(Line((0.0, y), (width, y), "TITLE" if row is not rows[-1] else "BORDER"))
    return marks, y


def fitted(text: str, width: float, height: float, lines: int) -> list[str]:
    """A text in at most some lines of a width; what has no room becomes "..."."""
    room = max(int(width / (WIDTH * height)), 4)
    if "\n" not in text and text_width(text.strip(), height) <= width:
        return [text.strip()] if text.strip() else []
    said = [" ".join(line.split()) for line in text.split("\n")]
    found = [line.rstrip() for one in said if one for line in lines_of(one, room - 1, "R2010")]
    if len(found) > lines:
        last = found[lines - 1]
        while last and text_width(f"{last}...", height) > width:
            last = last[:-1]
        found = [*found[: lines - 1], f"{last}..."]
    return [_cut(line, width, height) for line in found]


def scale_bar(unit: Unit, denominator: float) -> list[Mark]:
    """A bar of round lengths at the drawing's scale, its left end at (0, 0)."""
    each = next(size for size in _bar_steps(unit) if from_unit(size, unit) / denominator >= 6.5)
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
    marks.append(Text(unit, (4 * step + 5.0, 0.0), 2.0, "TITLE"))
    return marks


def _bar_steps(unit: Unit) -> Iterator[float]:
    steps = (1.0, 2.0, 3.0, 6.0, 12.0, 24.0, 36.0, 60.0, 120.0) if unit == "in" else (1.0, 2.0, 5.0)
    times = 1.0
    while True:
        yield from (size * times for size in steps)
        times *= 100.0 if unit == "in" else 10.0


def _cell(cell: Cell, rect: Rect) -> Sequence[Mark]:
    marks: list[Mark] = [Text(cell.caption, (rect.left + _PAD, rect.high - _CAPTION - 1.0), _CAPTION, "TITLE")]
    if rect.left > 0:
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
