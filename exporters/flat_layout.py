"""The DXF flat layout of one part: the tube's outside surface unrolled at true size along the developed length."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from math import degrees
from pathlib import Path

from exporters.dxf import Layer, Sheet
from exporters.dxf_text import WIDTH, Version, lines_of
from exporters.flat_feet import HEADING, LAYER, draw_feet, feet_words
from exporters.flat_notes import Notes, long_dies
from exporters.flat_shape import FlatShape, unroll
from exporters.foot_words import spots
from exporters.room import Room, spread
from railmodel.bending.cautions import NO_CERTIFICATE
from railmodel.end_cuts import curved
from railmodel.fitting.footprints import Footprint
from railmodel.part import RailPart
from railmodel.tolerances import LENGTH
from railmodel.units import Unit, format_decimal, format_tape, to_unit

LAYERS: tuple[Layer, ...] = (
    Layer("CUT", 7, 50),
    Layer("BEND_START", 5, 50),
    Layer("BEND_END", 6, 35, "DASHED"),
    Layer("BEND_ZONE", 9, 13),
    Layer("FACE_EDGE", 8, 25, "CHAIN"),
    Layer("CORNER", 9, 13),
    Layer("SEAM", 30, 35, "CHAIN"),
    Layer("FACE_NAME", 94, 35),
    Layer("TEXT", 7, 25),
    Layer("DIMENSION", 7, 18),
    Layer(LAYER, 16, 35),
    Layer("STOP", 1, 70),
)
"""Layers by meaning. BEND_START is where the die begins to turn, read from the leading end; FACE_EDGE is mid-corner,
CORNER the tangent lines where the corners' rounding begins and ends; FOOTPRINT what stands on a face, holes and fit
points."""

CAUTION = f"{NO_CERTIFICATE} Follow the maker's manual and local rules."
LENGTHS = (
    "Finished lengths along the centreline, no stretch. Shop marks with tube use and springback come from the plan."
)
SEAM = "The weld seam is drawn at mid-face; it is not always central: find it on the tube and mark it."
WORDS: dict[Unit, str] = {"in": "inches", "mm": "millimetres"}


def write_flat_layout(
    part: RailPart,
    path: Path,
    *,
    unit: Unit,
    job: str,
    revision: str | None,
    version: Version = "R2010",
    stops: Sequence[str] = (),
    tape_step: int = 16,
    feet: Sequence[Footprint] = (),
    on_stock: Callable[[float], float] | None = None,
) -> None:
    """Write the flat layout of a part to a DXF file, whole or not at all.

    x is the developed length from the leading cut end, y the girth: four face strips seen from outside.

    Args:
        part: the part.
        path: the file.
        unit: unit of the file and of its texts.
        job: the job's name, any text.
        revision: the job's revision, any text.
        version: DXF version; "R12" for old readers.
        stops: reasons not to cut, written large; bends that overlap are added where nothing else is given.
        tape_step: marks to the inch of the tape fractions.
        feet: what stands on it, read from its leading end.
        on_stock: where a finished length from the leading end lies on the flat stock, mm, where the plan knows.
    """
    if part.seam not in (None, "top", "bottom", *part.sides):  # a finding of its own; there is no strip to draw it on
        part = replace(part, seam=None)
    flat = unroll(part)
    narrow = min(strip.height for strip in flat.strips)
    small, name = min(max(0.1 * narrow, 3.0), 6.0), min(max(0.25 * narrow, 3.0), 14.0)
    sheet = Sheet(LAYERS, unit=unit, version=version, text=small)
    room = Room()
    notes = Notes(sheet, flat, room, small, name)
    _edges(sheet, flat)
    notes.bends()

    def say(length: float) -> str:
        return format_decimal(length, unit)

    def mark(length: float) -> str:
        return say(length) + (f" ({format_tape(length, tape_step)})" if unit == "in" else "")

    marked = spots(list(feet), say)
    draw_feet(sheet, flat, room, small, marked)
    if part.seam is not None:
        notes.seam(flat.strip_of(part.seam))
    notes.faces()
    _shade(sheet, flat, room, small)
    _dimensions(sheet, flat, small, notes.top, mark)
    _ends(sheet, flat, small, name)
    words = list(feet_words(flat, marked, say, mark, on_stock))
    _title(sheet, flat, notes.top + 9 * small, small, job, revision, stops or _overlaps(flat, unit), words)
    sheet.save(path)


def _edges(sheet: Sheet, flat: FlatShape) -> None:
    """Cut outline, faces, corners, and the start and end of every bend all the way round."""
    girth = flat.girth
    sheet.outline([*flat.edge(1), *reversed(flat.edge(0))], "CUT")
    for strip in flat.strips:
        if strip.low > 0:
            _fibre(sheet, flat, strip.low, "FACE_EDGE")
        if strip.corner > 0 and strip.flat[1] - strip.flat[0] > LENGTH:
            for y in strip.flat:
                _fibre(sheet, flat, y, "CORNER")
    for zone in flat.zones:
        sheet.line((zone.begin, 0.0), (zone.begin, girth), "BEND_START")
        sheet.line((zone.end, 0.0), (zone.end, girth), "BEND_END")


def _fibre(sheet: Sheet, flat: FlatShape, y: float, layer: str) -> None:
    """A line along the tube from one cut end to the other."""
    sheet.line(*flat.fibre(y), layer)


def _shade(sheet: Sheet, flat: FlatShape, room: Room, small: float) -> None:
    """Lines at 45 degrees over each bend, and the seam; both leave out the texts."""
    step = 3 * small
    for zone in flat.zones:
        count = int((zone.end - zone.begin + flat.girth) / step)
        for i in range(1, count + 1):
            rise = zone.begin - flat.girth + i * step  # x where the line would meet y = 0
            a, b = max(rise, zone.begin), min(rise + flat.girth, zone.end)
            for begin, end in room.pieces((a, a - rise), (b, b - rise), small / 2):
                sheet.line(begin, end, "BEND_ZONE")
    if flat.part.seam is not None:
        y = flat.strip_of(flat.part.seam).middle
        for begin, end in room.pieces(*flat.fibre(y), small / 2):
            sheet.line(begin, end, "SEAM")


def _dimensions(
    sheet: Sheet, flat: FlatShape, small: float, top: float, say: Callable[[float], str]
) -> None:  # fmt: skip
    """Every start and end of bend from the leading end, below; length and girth over all."""
    marks = [(0.0, "leading end")]
    for zone in flat.zones:
        marks += [(zone.begin, f"start of bend {zone.bend.number}"), (zone.end, f"end of bend {zone.bend.number}")]
    marks.sort(key=lambda mark: mark[0])
    labels = spread([x for x, _ in marks], 2.2 * small)
    lean = max(abs(label - x) for label, (x, _) in zip(labels, marks, strict=True))
    for label, (x, word) in zip(labels, marks, strict=True):
        sheet.ordinate(x, label, 7 * max(small, 0.3 * lean), f"{word}  {say(x)}", "DIMENSION")
    ends = (0.0, flat.girth), (flat.length, flat.girth)
    sheet.measure(*ends, (0.0, top + 4 * small), f"developed length {say(flat.length)}", "DIMENSION")
    x = -_label_room(flat, small)
    sheet.measure((0.0, 0.0), (0.0, flat.girth), (x, 0.0), f"girth {say(flat.girth)}", "DIMENSION", 90.0)


def _label_room(flat: FlatShape, small: float) -> float:
    """Room the faces' names take beside the cut ends."""
    return WIDTH * 2 * small * max(len(strip.face) for strip in flat.strips) + 6 * small


def _ends(sheet: Sheet, flat: FlatShape, small: float, name: float) -> None:
    """Faces beside both cut ends; leading end with its arrow at the left, tail at the right."""
    for strip in flat.strips:
        y = strip.middle - small
        sheet.text(strip.face.upper(), (-2 * small, y), 2 * small, "FACE_NAME", "right")
        sheet.text(strip.face.upper(), (flat.length + 2 * small, y), 2 * small, "FACE_NAME")
    end = flat.reading.end
    tail = {"front": "rear", "rear": "front"}[end]
    middle, room = flat.girth / 2, _label_room(flat, small)
    left, right = -room - 6 * small, flat.length + room
    sheet.text("LEADING END", (left, middle + 0.3 * name), name, "TEXT", "right")
    sheet.text(f"{end} of the part", (left, middle - 0.5 * name - 2 * small), 1.5 * small, "TEXT", "right")
    far = left - 11 * WIDTH * name
    sheet.arrow((far - 4 * name, middle), (left, middle), name, "TEXT")
    sheet.text("TAIL", (right, middle + 0.3 * name), name, "TEXT")
    sheet.text(f"{tail} of the part", (right, middle - 0.5 * name - 2 * small), 1.5 * small, "TEXT")


def _title(
    sheet: Sheet, flat: FlatShape, low: float, small: float, job: str, revision: str | None, stops: Sequence[str],
    feet: Sequence[str],
) -> None:  # fmt: skip
    """The title over the sheet, built up from `low`; above it what stops the part, last what stands on it."""
    part, size = flat.part, flat.part.section
    plain = min(max(flat.length / 400, 1.2 * small), 2.5 * small)

    def say(length: float) -> str:
        return f"{to_unit(length, sheet.unit):.6g}"

    words = WORDS[sheet.unit]
    tube = f"{say(size.height)} high x {say(size.width)} wide x {say(size.wall)} wall, corner radius {say(size.corner)}"
    if size.round:
        tube = f"round, {say(size.width)} diameter x {say(size.wall)} wall"
    texts = [
        *((f"- {reason}", 1.5 * plain, "STOP") for reason in stops),
        (f"Job: {job}", 1.5 * plain, "TEXT"),
        (f"Revision: {'not given' if revision is None else revision}", plain, "TEXT"),
        (f"Part: {part.name}", 1.5 * plain, "TEXT"),
        (f"Hand: {'none, a single part' if part.hand == 'single' else part.hand}", 1.5 * plain, "TEXT"),
        (f"Tube: {part.tube}", plain, "TEXT"),
        (f"{tube}; all lengths in {words}", plain, "TEXT"),
        (f"Flat layout of the outside surface, seen from outside. Scale 1:1, all lengths in {words}.", plain, "TEXT"),
        *((line, plain, "TEXT") for line in _end_words(flat, sheet.unit)),
        (f"Leading end: {flat.reading.end} of the part, at the left. Lengths are read from it.", plain, "TEXT"),
        (LENGTHS, plain, "TEXT"),
        *(((SEAM, plain, "TEXT"),) if part.seam is not None else ()),
        *((line, plain, "TEXT") for line in long_dies(flat)),
        (CAUTION, plain, "TEXT"),
        *((line, plain, "TEXT") for line in ((HEADING, *feet) if feet else ())),
    ]
    room = min(max(int(flat.length / (WIDTH * plain)), 60), 110)
    lines = [(line, *how) for text, *how in texts for line in lines_of(text, room, sheet.version)]
    if stops:
        lines.insert(0, ("DO NOT CUT", 4 * plain, "STOP"))
    y = low
    for line, height, layer in reversed(lines):
        sheet.text(line, (0.0, y), height, layer)
        y += 1.8 * height


def _end_words(flat: FlatShape, unit: Unit) -> list[str]:
    """How a crossmember's ends are cut."""
    found = []
    for end, cut in zip(("front", "rear"), flat.part.cuts or (), strict=False):
        how = "square" if cut.kind == "square" else f"{cut.kind}, {degrees(cut.angle):.2f} deg off square"
        curve = f", to a radius of {format_decimal(cut.radius, unit)}" if curved(cut) else ""
        found.append(f"The {end} end is cut {how}{curve}, against {cut.rail}.")
    return [*found, "The length over all is from long corner to long corner."] if found else []


def _overlaps(flat: FlatShape, unit: Unit) -> list[str]:
    """Straights below zero in words: such a part cannot be made."""
    found = []
    for i, (begin, end) in enumerate(flat.straights):
        if end - begin < -LENGTH:
            short = format_decimal(end - begin, unit)
            found.append(f"straight {i} comes out {short} {unit}: the bends on it overlap")
    return found
