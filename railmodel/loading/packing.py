"""What a frame's parts ship in: the smallest box of each, a nested pair's, the crate's, its weight and freight class.

Millimetres and kilograms. A part's box is the smallest turned any way that has a face along a facet of its hull
(trimesh), about a shape that leaves none of the tube out and stands out from it by at most `SAG`.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import product

import numpy as np

from railmodel.fitting.clear_job import solid_parts
from railmodel.frame import Frame
from railmodel.geometry.outline import around
from railmodel.geometry.pieces import pieces
from railmodel.geometry.rows import Array
from railmodel.job.freight import Freight, FreightRow
from railmodel.loading.weigh import tube_mass
from railmodel.part import RailPart
from railmodel.plates import plates

SAG = 0.25
"""A box may be larger than the tube by this on every side, mm."""

_CELL = 3.0
"""Cells in which the depth of a part is kept for nesting, mm; the nest is larger than it could be by one or two."""

_MIRRORED = tuple(np.array(signs) for signs in product((1, -1), repeat=3) if np.prod(signs) < 0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Packed:
    """One box.

    Args:
        name: what is in it.
        size: length, width and height of the box, the largest first, mm.
        mass: of what is in it, kg.
        how: how a pair lies; "" for one part.
    """

    name: str
    size: tuple[float, float, float]
    mass: float
    how: str = ""

    @property
    def volume(self) -> float:
        """mm^3."""
        return self.size[0] * self.size[1] * self.size[2]


@dataclass(frozen=True, slots=True, kw_only=True)
class Crate:
    """The whole frame packed.

    Args:
        size: outside length, width and height, mm.
        steel: kg.
        mass: with timber, straps and wrapping, kg.
        row: the freight class that takes it; None where no class does.
        too_much: why it is more than the shop packs or the carrier takes, one sentence each.
    """

    size: tuple[float, float, float]
    steel: float
    mass: float
    row: FreightRow | None
    too_much: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Packing:
    """Boxes and crate.

    Args:
        parts: the box of every part by itself.
        lots: what is packed: nested pairs, single parts, plates.
        crate: all of it in one crate; None where the shop's file says nothing of freight.
    """

    parts: tuple[Packed, ...]
    lots: tuple[Packed, ...]
    crate: Crate | None


@lru_cache(maxsize=8)
def pack(frame: Frame) -> Packing:
    """Pack a frame."""
    parts = solid_parts(frame)
    boxes = {part.label: _box(part) for part in parts}
    freight = None if frame.shop is None else frame.shop.freight
    lots: list[Packed] = []
    for part in parts:
        twin = next((p for p in parts if p.name == part.name and p.hand == "left"), None)
        if part.hand == "right" and twin is not None:
            lots.append(nested(part, freight))
        elif part.hand == "single" or twin is None:
            lots.append(boxes[part.label])
    for plate in plates(frame):
        if plate.area > 0:
            size = sorted((*plate.size, plate.thickness * plate.count), reverse=True)
            mass = plate.mass() * plate.count
            lots.append(Packed(name=plate.name, size=(size[0], size[1], size[2]), mass=mass))
    lots.sort(key=lambda lot: lot.size, reverse=True)
    crate = None if freight is None or not lots else crated(frame, lots, freight)
    return Packing(parts=tuple(boxes.values()), lots=tuple(lots), crate=crate)


def hull_points(part: RailPart) -> Array:
    """(m, 3) points whose hull holds the part's outside, mm."""
    return np.concatenate([piece.vertices for piece in pieces(part.line, part.section, SAG)])


def smallest_box(points: Array) -> tuple[Array, Array]:
    """The smallest box about points (m, 3): its axes as rows (3, 3), the longest first, and its sizes (3,)."""
    from trimesh.bounds import oriented_bounds

    turn, sizes = oriented_bounds(points)
    order = np.argsort(sizes)[::-1]
    axes = np.asarray(turn[:3, :3])[order]
    return axes, np.ptp(points @ axes.T, axis=0)


def _box(part: RailPart) -> Packed:
    _, sizes = smallest_box(hull_points(part))
    size = sorted((float(value) for value in sizes), reverse=True)
    return Packed(name=part.label, size=(size[0], size[1], size[2]), mass=tube_mass(part))


def nested(part: RailPart, freight: Freight | None) -> Packed:
    """A part and its mirror image laid one on the other along an axis of the part's box, as closely as they go.

    Of the ways to lay them the smallest counts that the shop's pallet takes, or the smallest where it takes none.

    Args:
        part: one hand of a pair.
        freight: how the shop packs; None = no padding and no pallet.
    """
    between = 0.0 if freight is None else freight.between
    axes, sizes = smallest_box(hull_points(part))
    points = _surface(part) @ axes.T
    points -= (points.max(axis=0) + points.min(axis=0)) / 2
    best: tuple[tuple[bool, float], str, Array] | None = None
    for axis in range(3):
        top, bottom = _depths(points, sizes, axis)
        for signs in _MIRRORED:
            other_bottom = _turned(top, bottom, signs, axis)
            for up in (1, -1):  # the mirror image on top of the part, or below it
                mine, its = (top, other_bottom[1]) if up == 1 else (-bottom, -other_bottom[0])
                shift = max(float(np.max(mine - its)), 0.0) + between
                size = sizes.copy()
                size[axis] += shift
                rank = (not _on_pallet(size, freight), float(np.prod(size)))
                if best is None or rank[0] < best[0][0] or (rank[0] == best[0][0] and rank[1] < best[0][1] - 1e-6):
                    best = rank, _words(axis, signs), size
    assert best is not None
    size = np.sort(best[2])[::-1]
    name = f"{part.name}, both hands"
    return Packed(
        name=name, size=(float(size[0]), float(size[1]), float(size[2])), mass=2 * tube_mass(part), how=best[1]
    )


def _on_pallet(size: Array, freight: Freight | None) -> bool:
    """Whether a box with its wrapping is within the shop's pallet."""
    if freight is None or freight.pallet is None:
        return True
    pallet = freight.pallet
    most = np.array([pallet.length, pallet.width, pallet.height]) - 2 * freight.clearance
    return bool((np.sort(size)[::-1] <= most).all())


def _words(axis: int, signs: Array) -> str:
    way = ("end to end", "on edge, one nested in the other", "flat, one on the other")[axis]
    turned = "" if signs[0] > 0 else ", heads to tails"
    return f"{way}{turned}"


def _surface(part: RailPart) -> Array:
    """(m, 3) points of the outside, closer together than half a cell."""
    step = _CELL / 2
    stations = np.linspace(0.0, part.line.length, int(part.line.length / step) + 2)
    girth = np.linspace(0.0, part.section.girth, int(part.section.girth / step) + 2)[:-1]
    pose = part.line.pose_at(stations)
    rim = around(part.section, girth)
    out = pose.at[:, None] + rim[:, 0, None] * pose.s[:, None] + rim[:, 1, None] * pose.u[:, None]
    return np.asarray(out.reshape(-1, 3))


def _depths(points: Array, sizes: Array, axis: int) -> tuple[Array, Array]:
    """Highest and lowest point in every cell across an axis, its neighbours' among them; empty cells are -/+ infinite.

    The grid is even about the middle, so that the mirror image's is this one turned round.
    """
    others = [i for i in range(3) if i != axis]
    counts = [max(1, int(np.ceil(sizes[i] / _CELL))) for i in others]
    cells = [
        np.clip(((points[:, i] / sizes[i] + 0.5) * count).astype(int), 0, count - 1)
        for i, count in zip(others, counts, strict=True)
    ]
    flat = cells[0] * counts[1] + cells[1]
    top = np.full(counts[0] * counts[1], -np.inf)
    bottom = np.full(counts[0] * counts[1], np.inf)
    np.maximum.at(top, flat, points[:, axis])
    np.minimum.at(bottom, flat, points[:, axis])
    return _widened(top.reshape(counts)), -_widened(-bottom.reshape(counts))


def _widened(grid: Array) -> Array:
    """Each cell's greatest among itself and its neighbours."""
    for axis in (0, 1):
        edge = np.full_like(np.take(grid, [0], axis=axis), -np.inf)
        ahead = np.concatenate([np.delete(grid, 0, axis=axis), edge], axis=axis)
        behind = np.concatenate([edge, np.delete(grid, -1, axis=axis)], axis=axis)
        grid = np.maximum(grid, np.maximum(ahead, behind))
    return grid


def _turned(top: Array, bottom: Array, signs: Array, axis: int) -> tuple[Array, Array]:
    """Top and bottom of the shape with some axes reversed."""
    others = [i for i in range(3) if i != axis]
    flipped = [k for k, i in enumerate(others) if signs[i] < 0]
    high, low = (top, bottom) if signs[axis] > 0 else (-bottom, -top)
    for way in flipped:
        high, low = np.flip(high, way), np.flip(low, way)
    return high, low


def crated(frame: Frame, lots: Sequence[Packed], freight: Freight) -> Crate:
    """Everything in one crate: lots side by side along its length and in layers, the largest below.

    A plain way to lay them, not proven the smallest.
    """
    widest = freight.pallet.width - 2 * freight.clearance if freight.pallet is not None else np.inf
    length, width, height, row, layer = 0.0, 0.0, 0.0, 0.0, 0.0
    for lot in lots:
        if row and row + freight.between + lot.size[1] > widest:
            height, row, layer = height + layer + freight.between, 0.0, 0.0
        row += lot.size[1] + (freight.between if row else 0.0)
        length, width, layer = max(length, lot.size[0]), max(width, row), max(layer, lot.size[2])
    size = tuple(value + 2 * freight.clearance for value in (length, width, height + layer))
    steel = sum(lot.mass for lot in lots)
    mass = steel * (1 + freight.dunnage)
    row_of = freight_row(freight, size[0], mass)
    return Crate(
        size=(size[0], size[1], size[2]), steel=steel, mass=mass, row=row_of,
        too_much=tuple(_too_much(frame, freight, size, mass, row_of)),
    )  # fmt: skip


def freight_row(freight: Freight, length: float, mass: float) -> FreightRow | None:
    """The cheapest class that takes a crate of a length and mass; None where none does."""
    fitting = [row for row in freight.rows if length <= row.length + 1e-6 and mass <= row.weight + 1e-9]
    return min(fitting, key=lambda row: row.price, default=None)


def _too_much(
    frame: Frame, freight: Freight, size: Sequence[float], mass: float, row: FreightRow | None
) -> list[str]:
    found = []
    if row is None:
        longest = max(freight.rows, key=lambda one: one.length)
        found.append(
            f"no class of the freight table takes {frame.say(size[0])} and {mass:.0f} kg; the longest is "
            f"{longest.name}, {frame.say(longest.length)} and {longest.weight:.0f} kg; ask the carrier"
        )
    pallet = freight.pallet
    if pallet is not None:
        for name, has, may in zip(
            ("length", "width", "height"), size, (pallet.length, pallet.width, pallet.height), strict=True
        ):
            if has > may + 1e-6:
                found.append(f"the crate's {name} is {frame.say(has)} and the pallet takes {frame.say(may)}")
        if mass > pallet.weight:
            found.append(f"the crate weighs {mass:.0f} kg and the pallet takes {pallet.weight:.0f} kg")
    return found
