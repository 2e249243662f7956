"""Plates laid out on sheets by their bounding boxes: shelves, the tallest plates first. Millimetres.

First fit by decreasing height, as in any text on strip packing: never the tightest, always cut without a thought.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from railmodel.tolerances import LENGTH


@dataclass(frozen=True, slots=True)
class Spot:
    """Where a piece lies on a sheet.

    Args:
        piece: its index.
        sheet: the sheet's index.
        x: left edge of its box, mm.
        y: lower edge of its box, mm.
        turned: whether it is turned a quarter counter-clockwise.
    """

    piece: int
    sheet: int
    x: float
    y: float
    turned: bool


@dataclass(slots=True)
class _Shelf:
    sheet: int
    low: float
    height: float
    used: float


def fits(size: tuple[float, float], sheet: tuple[float, float], edge: float) -> bool:
    """Whether a piece (width, height) fits on a sheet at all, the long way along it."""
    long, short = max(size), min(size)
    room = sorted((sheet[0] - 2 * edge, sheet[1] - 2 * edge))
    return long <= room[1] + LENGTH and short <= room[0] + LENGTH


def nest(
    sizes: Sequence[tuple[float, float]], sheet: tuple[float, float], *, gap: float, edge: float
) -> tuple[Spot, ...]:
    """Where pieces lie, in the order of the pieces; those that fit on no sheet are left out.

    Args:
        sizes: width and height of each piece's box, mm.
        sheet: length and width of every sheet, mm.
        gap: least distance between pieces, mm.
        edge: least distance from the sheet's edges, mm.
    """
    wide, tall = sheet[0] - 2 * edge, sheet[1] - 2 * edge
    shelves: list[_Shelf] = []
    found: list[Spot] = []
    lengths = [(max(size), min(size)) if wide >= tall else (min(size), max(size)) for size in sizes]
    for i in sorted(range(len(sizes)), key=lambda i: (-lengths[i][1], -lengths[i][0], i)):
        if not fits(sizes[i], sheet, edge):
            continue
        length, height = lengths[i]
        shelf = next((s for s in shelves if s.height >= height - LENGTH and s.used + length <= wide + LENGTH), None)
        if shelf is None:
            shelf = _new_shelf(shelves, height, tall, gap)
            shelves.append(shelf)
        turned = abs(length - sizes[i][0]) > LENGTH
        found.append(Spot(i, shelf.sheet, edge + shelf.used, edge + shelf.low, turned))
        shelf.used += length + gap
    return tuple(sorted(found, key=lambda spot: spot.piece))


def _new_shelf(shelves: Sequence[_Shelf], height: float, tall: float, gap: float) -> _Shelf:
    """A shelf on the first sheet with room over its last one, else on a new sheet."""
    count = max((shelf.sheet for shelf in shelves), default=-1) + 1
    for sheet in range(count):
        low = max(shelf.low + shelf.height for shelf in shelves if shelf.sheet == sheet) + gap
        if low + height <= tall + LENGTH:
            return _Shelf(sheet, low, height, 0.0)
    return _Shelf(count, 0.0, height, 0.0)
