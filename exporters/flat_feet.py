"""Footprints, holes and fit points on a flat layout: true to size on their faces, lettered, told in words. mm."""

from collections.abc import Callable, Iterator, Sequence
from itertools import product
from math import asin, hypot

from exporters.dxf import Point, Sheet
from exporters.flat_notes import Block
from exporters.flat_shape import FlatShape, Strip
from exporters.foot_words import Spot, across_words
from exporters.room import Rect, Room
from railmodel.tolerances import LENGTH

LAYER = "FOOTPRINT"
"""The layer of everything that is marked where something stands."""

HEADING = "Marked on the faces, finished lengths from the leading end as drawn; stock: on the tube before it is bent:"

_ARM = 8.0  # mm; half a cross's width at most


def draw_feet(sheet: Sheet, flat: FlatShape, room: Room, small: float, spots: Sequence[Spot]) -> None:
    """Draw what stands on a tube, each with its letter beside it.

    Args:
        sheet: the drawing.
        flat: the tube unrolled.
        room: what is taken.
        small: height of small text, mm.
        spots: what to mark.
    """
    places = [(spot, flat.strip_of(spot.face)) for spot in spots]
    boxes = [_mark(sheet, flat, spot, strip) for spot, strip in places]
    for i, ((spot, strip), box) in enumerate(zip(places, boxes, strict=True)):
        others = [other for other in (*boxes[:i], *boxes[i + 1 :]) if _apart(other, box) < 20 * small and other != box]
        others = [other for other in others if not box.within(other)]  # a hole is told from its plate by its size
        blocks = [Block((spot.letter,), size * small) for size in (2.0, 1.5, 1.0)]
        any(_letter(sheet, room, block, box, others, strip) for block in blocks)
    room.walls += boxes


def feet_words(
    flat: FlatShape, spots: Sequence[Spot], say: Callable[[float], str], mark: Callable[[float], str],
    on_stock: Callable[[float], float] | None,
) -> Iterator[str]:  # fmt: skip
    """Each place in a sentence.

    Args:
        flat: the tube unrolled.
        spots: what is marked.
        say: a length in words.
        mark: the same with its tape fraction.
        on_stock: where a finished length lies on the flat stock, tube use taken in, mm; None where that is not known.
    """
    for spot in spots:
        across = across_words(flat.reading, spot, say)
        told = f"{spot.letter}: {spot.name}, {spot.face} face, at {mark(spot.along)}, {across}"
        if spot.span is not None:
            told += f", covers {say(spot.span[0])} to {say(spot.span[1])}"
        yield told + (f"; stock {mark(on_stock(spot.along))}" if on_stock is not None else "")


def _mark(sheet: Sheet, flat: FlatShape, spot: Spot, strip: Strip) -> Rect:
    """Draw one place; the box about it."""
    x, y = _on_flat(flat, strip, spot.along, spot.across)
    seen: list[Point] = []
    for loop in () if spot.hole else spot.foot.loops:
        corners = _distinct([_on_flat(flat, strip, float(along), float(across)) for along, across in loop])
        sheet.outline(corners, LAYER)
        seen += corners
    arm = min(0.12 * strip.height, _ARM)
    if spot.hole:
        diameter = min(d for a, c, d in spot.foot.holes if abs(a - spot.along) + abs(c - spot.across) <= LENGTH)
        sheet.circle((x, y), diameter, LAYER)
        arm = 0.6 * diameter
    if spot.hole or spot.foot.kind == "fit point" or not seen:
        sheet.line((x - arm, y), (x + arm, y), LAYER)
        sheet.line((x, y - arm), (x, y + arm), LAYER)
        seen += [(x - arm, y - arm), (x + arm, y + arm)]
    xs, ys = zip(*seen, strict=True)
    return Rect(min(xs), min(ys), max(xs), max(ys))


def _on_flat(flat: FlatShape, strip: Strip, along: float, across: float) -> Point:
    """Where a place of a face lies on the flat; beyond the flat of the face it runs round the corner."""
    size = flat.part.section
    half = (size.width if strip.face in ("top", "bottom") else size.height) / 2
    level = half - size.corner
    off = abs(across)
    if off > level and size.corner > 0:
        off = level + size.corner * asin(min((off - level) / size.corner, 1.0))
    low, high = (0.0, flat.girth) if size.round else (strip.low, strip.high)
    return along, min(max(strip.middle + (off if across > 0 else -off), low), high)


def _distinct(corners: Sequence[Point]) -> list[Point]:
    return [
        corner
        for i, corner in enumerate(corners)
        if max(abs(corner[0] - corners[i - 1][0]), abs(corner[1] - corners[i - 1][1])) > LENGTH
    ]


def _letter(sheet: Sheet, room: Room, block: Block, own: Rect, others: Sequence[Rect], strip: Strip) -> bool:
    """The letter beside its mark on its face, nearer to it than to any other; whether there was room."""
    for rect in _beside(block, own, strip):
        if room.free(rect) and all(_apart(rect, own) < _apart(rect, other) for other in others):
            room.texts.append(rect)
            block.draw(sheet, (rect.left + rect.right) / 2, (rect.low + rect.high) / 2, "TEXT")
            return True
    return False


def _beside(block: Block, box: Rect, strip: Strip) -> Iterator[Rect]:
    """Places for a letter about a box, the best first, on the flat of the face where that is high enough."""
    wide, tall = block.size
    low, high = strip.flat if strip.flat[1] - strip.flat[0] >= tall else (strip.low, strip.high)
    middle = (box.left + box.right) / 2, (box.low + box.high) / 2
    level = [middle[1], strip.middle, strip.middle + strip.height / 4, strip.middle - strip.height / 4]
    over = product((box.high + tall / 2, box.low - tall / 2), (middle[0], box.left, box.right))
    beyond = product((0, 1, 2, 4), (1, -1), level)
    for x, y in (
        *((x, y) for y, x in over),
        *(((box.right if way > 0 else box.left) + way * (step + 0.5) * wide, y) for step, way, y in beyond),
    ):
        if low <= y - tall / 2 and y + tall / 2 <= high:
            yield Rect.around(x, y, wide, tall)


def _apart(one: Rect, other: Rect) -> float:
    """Distance between two rectangles; 0 where they meet."""
    across = max(one.left - other.right, other.left - one.right, 0.0)
    return float(hypot(across, max(one.low - other.high, other.low - one.high, 0.0)))
