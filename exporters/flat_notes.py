"""What is written on a flat layout, placed so that no text lies on another (mm)."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import product
from math import degrees

from exporters.dxf import Sheet
from exporters.dxf_text import WIDTH, shortened
from exporters.flat_shape import FlatShape, Strip, Zone
from exporters.room import Rect, Room, spread
from railmodel.part import OPPOSITE
from railmodel.units import format_decimal

SMALLEST: float = 2.5
"""No text is smaller than this, mm (ISO 3098 lists 2.5 among its lettering heights; from memory)."""

PITCH: float = 500.0
"""A face's name comes again at least this often on a straight, mm."""

_LEADING = 1.6  # base line to base line, in text heights
_NAME_ROOM = 24  # characters of a die's name beside its bend; the rest stands in the title


@dataclass(frozen=True, slots=True)
class Block:
    """Lines of text about a middle; turned ones read upward."""

    lines: tuple[str, ...]
    height: float
    turned: bool = False

    @property
    def size(self) -> tuple[float, float]:
        """Extent along x and y, mm, with a margin."""
        long = (WIDTH * max(map(len, self.lines)) + 1.0) * self.height
        tall = (_LEADING * (len(self.lines) - 1) + 1.9) * self.height
        return (tall, long) if self.turned else (long, tall)

    def around(self, x: float, y: float) -> Rect:
        """The rectangle it takes up about a middle."""
        return Rect.around(x, y, *self.size)

    def draw(self, sheet: Sheet, x: float, y: float, layer: str) -> None:
        """Write it about a middle."""
        first = (_LEADING * (len(self.lines) - 1) - 1) * self.height / 2
        for number, line in enumerate(self.lines):
            down = first - number * _LEADING * self.height
            at = (x - down, y) if self.turned else (x, y + down)
            sheet.text(line, at, self.height, layer, "centre", 90.0 if self.turned else 0.0)


@dataclass(frozen=True, slots=True)
class Notes:
    """Text of a flat layout under way.

    Args:
        sheet: the drawing.
        flat: what is drawn.
        room: what is taken.
        small: height of small text, mm.
        name: height of face names, mm.
    """

    sheet: Sheet
    flat: FlatShape
    room: Room
    small: float
    name: float

    def bends(self) -> None:
        """Each bend's words on the face it bends toward: inside the bend, else beside it, else over the flat.

        The other faces, and the face itself where the words stand elsewhere, get the bend's number.
        """
        for zone in self.flat.zones:
            self.room.walls += [Rect(x, 0.0, x, self.flat.girth) for x in (zone.begin, zone.end)]
        left = [zone for zone in self.flat.zones if not self._inside(zone, zone.strip, _words(zone, self.sheet))]
        for zone in self.flat.zones:
            for strip in self.flat.strips:
                if strip is not zone.strip or zone in left:
                    any(self._inside(zone, strip, [words]) for words in _number(zone, strip))
        self.room.walls += [Rect(zone.begin, 0.0, zone.end, self.flat.girth) for zone in self.flat.zones]
        left = [zone for zone in left if not self._beside(zone)]
        if left:
            self._above(left)

    @property
    def top(self) -> float:
        """Where the flat and its texts end, mm."""
        return max([self.flat.girth, *(rect.high for rect in self.room.texts)])

    def seam(self, strip: Strip) -> None:
        """The weld seam's name along it."""
        block = Block(("weld seam",), self.small)
        for begin, end in self.flat.straights:
            for x, share in _along(begin, end):
                self._place(block, x - 0.3 * share, strip.middle, Rect(begin, strip.low, end, strip.high))
        self.room.walls.append(Rect(0.0, strip.middle, self.flat.length, strip.middle))

    def faces(self) -> None:
        """Each face's name along its strip, on every straight that holds it, with an arrow to the leading end."""
        for strip in self.flat.strips:
            low, high = strip.flat if strip.flat[1] - strip.flat[0] > 0.5 * strip.height else (strip.low, strip.high)
            for begin, end in self.flat.straights if self.flat.part.cuts is None else (self.flat.whole,):
                border = Rect(begin + 0.5 * self.small, low, end - 0.5 * self.small, high)
                for x, share in _along(begin, end):
                    self._face(strip, x, share, border)

    def _face(self, strip: Strip, x: float, share: float, border: Rect) -> None:
        quarter = (border.high - border.low) / 4
        for scale in (1.0, 0.75, 0.55):
            block = Block((f"{strip.face.upper()} FACE",), max(scale * self.name, SMALLEST))
            reach = 2.5 * block.height
            for right, up in product((0.0, 0.15, -0.15, 0.28, -0.28), (0.0, quarter, -quarter)):
                y = strip.middle + up
                middle = x + right * share
                whole = block.around(middle, y)
                whole = Rect(whole.left - reach / 2, whole.low, whole.right + reach / 2, whole.high)
                if whole.within(border) and self.room.free(whole):
                    self.room.texts.append(whole)
                    block.draw(self.sheet, middle + reach / 2, y, "FACE_NAME")
                    tip = whole.left + 0.3 * block.height
                    self.sheet.arrow((tip, y), (tip + reach, y), 0.8 * block.height, "FACE_NAME")
                    return

    def _inside(self, zone: Zone, strip: Strip, texts: Sequence[tuple[str, ...]]) -> bool:
        border = Rect(zone.begin, strip.flat[0], zone.end, strip.flat[1])
        return any(self._place(block, zone.middle, strip.middle, border) for block in self._blocks(texts))

    def _blocks(self, texts: Sequence[tuple[str, ...]], largest: float = 1.5) -> Iterable[Block]:
        """Ways to write the same, the best first: large before small, level before turned where neither is small."""
        for scales in ((1.5, 1.25, 1.0), (0.85, 0.7)):
            for turned in (False, True):
                for scale in scales:
                    for text in texts if scale <= largest and scale * self.small >= SMALLEST else ():
                        yield Block(text, scale * self.small, turned)

    def _beside(self, zone: Zone) -> bool:
        """On the straight after the bend or before it, with an arrow into the bend."""
        gap, y = 3 * self.small, zone.strip.middle
        border = Rect(0.0, zone.strip.flat[0], self.flat.length, zone.strip.flat[1])
        for block in self._blocks(_words(zone, self.sheet), 1.0):
            half = block.size[0] / 2
            for side, edge in ((1, zone.end), (-1, zone.begin)):
                x = edge + side * (gap + half)
                if self._place(block, x, y, border):
                    self.sheet.arrow((edge, y), (edge + side * gap, y), self.small, "TEXT")
                    self.room.texts.append(Rect.around(edge + side * gap / 2, y, gap, 0.6 * self.small))
                    return True
        return False

    def _above(self, zones: Sequence[Zone]) -> None:
        """In a row over the flat, each with a line down to its bend."""
        zones = sorted(zones, key=lambda zone: zone.middle)
        blocks = [Block(_words(zone, self.sheet)[-1], self.small) for zone in zones]
        wide, tall = (max(size) for size in zip(*(block.size for block in blocks), strict=True))
        low = self.flat.girth + 4 * self.small
        for zone, block, x in zip(zones, blocks, spread([zone.middle for zone in zones], wide), strict=True):
            self.room.texts.append(block.around(x, low + tall / 2))
            block.draw(self.sheet, x, low + tall / 2, "TEXT")
            self.sheet.line((zone.middle, self.flat.girth), (x, low), "TEXT")

    def _place(self, block: Block, x: float, y: float, border: Rect) -> bool:
        rect = block.around(x, y)
        if not (rect.within(border) and self.room.free(rect)):
            return False
        self.room.texts.append(rect)
        block.draw(self.sheet, x, y, "TEXT")
        return True


def long_dies(flat: FlatShape) -> list[str]:
    """Full names of dies that are cut short beside their bends."""
    return [
        f"Die of bend {zone.bend.number}: {zone.bend.die}"
        for zone in flat.zones
        if zone.bend.die and len(zone.bend.die) > _NAME_ROOM
    ]


def _words(zone: Zone, sheet: Sheet) -> list[tuple[str, ...]]:
    """A bend in words, in few long lines and in many short ones."""
    bend = zone.bend
    angle, radius = f"{degrees(zone.angle):.2f} deg", f"R {format_decimal(zone.radius, sheet.unit)}"
    die = (f"die {shortened(bend.die, _NAME_ROOM)}",) if bend.die else ()
    head, toward, way = f"BEND {bend.number} INSIDE", f"toward {bend.toward}", f"{bend.way} way"
    return [
        (head, f"{angle} {toward}", f"{way}  {radius}", *die),
        (head, angle, toward, way, radius, *die),
    ]


def _number(zone: Zone, strip: Strip) -> list[tuple[str, ...]]:
    """A bend's number for one face, with which side of the bend that face is."""
    number, toward = zone.bend.number, zone.bend.toward
    side = {toward: ("INSIDE",), OPPOSITE[toward]: ("OUTSIDE",)}.get(strip.face, ())
    return [(f"BEND {number}", *side), (f"BEND {number}",), (str(number),)]


def _along(begin: float, end: float) -> list[tuple[float, float]]:
    """Middle and length of equal shares of a straight, no longer than `PITCH`; none where bends overlap."""
    count = int(-((begin - end) // PITCH)) if end > begin else 0
    return [(begin + (end - begin) * (i + 0.5) / count, (end - begin) / count) for i in range(count)]
