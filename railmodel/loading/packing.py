"""What a frame's parts ship in: the smallest box of each, a nested pair's, the crate's, its weight and freight class.

Millimetres and kilograms. A part's box is about a shape that leaves none of the tube out and stands out from it by at
most `SAG`: the smallest that has a face along a facet of the hull, or one found by turning on from the best of many
turns, if that is smaller still.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import product
from typing import TYPE_CHECKING

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
from railmodel.tolerances import ANGLE

if TYPE_CHECKING:
    from scipy.spatial import ConvexHull

SAG = 0.5
"""A box may be larger than the tube by this on every side, mm."""

_CELL = 3.0
"""Cells in which the depth of a part is kept for nesting, mm; the nest is larger than it could be by one or two."""

_TURNS, _FOLLOWED = 1024, 5
"""How many turns are tried for a box, and how many of them followed."""

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
    rights: dict[str, tuple[Array, Array]] = {}
    for part in parts:
        if part.name not in rights:  # both hands of a pair pack alike; the right one stands first
            rights[part.name] = part_box(part)
    boxes = {part.label: _box(part, rights[part.name][1]) for part in parts}
    freight = None if frame.shop is None else frame.shop.freight
    lots: list[Packed] = []
    for part in parts:
        twin = next((p for p in parts if p.name == part.name and p.hand == "left"), None)
        if part.hand == "right" and twin is not None:
            lots.append(nested(part, freight, rights[part.name]))
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


def smallest_box(points: Array, *, flat: bool = False) -> tuple[Array, Array]:
    """The smallest box about points (m, 3): its axes as rows (3, 3), the longest first, and its sizes (3,).

    Args:
        points: mm.
        flat: whether they are a slab, about which no turn out of its plane makes a smaller box; it is found sooner.
    """
    from scipy.spatial import ConvexHull

    hull = ConvexHull(points)
    corners = points[hull.vertices]
    turns = [_on_a_facet(hull), *([] if flat else _by_turning(corners))]
    axes = min(turns, key=lambda turn: float(np.prod(np.ptp(corners @ turn.T, axis=0))))
    axes = axes[np.argsort(np.ptp(corners @ axes.T, axis=0))[::-1]]
    return axes, np.ptp(points @ axes.T, axis=0)


def _on_a_facet(hull: "ConvexHull") -> Array:
    """The turn (3, 3) of the smallest box with a face along a facet of a hull.

    Seen along the facet's normal the hull is a polygon, and its smallest rectangle has a side along one of its edges
    (H. Freeman and R. Shapira, 1975, from memory).
    """
    corners, normals = hull.points[hull.vertices], hull.equations[:, :3]
    one, place = np.nonzero(hull.neighbors > np.arange(len(normals))[:, None])  # every edge once
    other = hull.neighbors[one, place]
    ends = np.take_along_axis(hull.simplices[one], np.array([(1, 2), (0, 2), (0, 1)])[place], axis=1)
    edges = hull.points[ends[:, 1]] - hull.points[ends[:, 0]]
    best = np.inf, np.eye(3)
    rounded = np.round(normals * np.where(normals[:, :1] < 0, -1, 1), 9)
    for normal in normals[np.unique(rounded, axis=0, return_index=True)[1]]:
        seen = normals @ normal > 0
        rim = edges[seen[one] != seen[other]]
        first = rim - np.outer(rim @ normal, normal)
        sizes = np.linalg.norm(first, axis=1)
        long = sizes > 1e-3 * np.linalg.norm(rim, axis=1)  # an edge along the normal is a corner of the polygon
        first = first[long] / sizes[long, None]
        second = np.cross(normal, first)
        area = np.ptp(first @ corners.T, axis=1) * np.ptp(second @ corners.T, axis=1)
        least = int(np.argmin(area))
        volume = float(area[least] * np.ptp(corners @ normal))
        if volume < best[0]:
            best = volume, np.array([first[least], second[least], normal])
    return best[1]


def _by_turning(corners: Array) -> list[Array]:
    """Turns (3, 3) that give small boxes: the best few of many even ones, each followed to where no turn helps."""
    from scipy.optimize import minimize
    from scipy.spatial.transform import Rotation

    many = Rotation.random(_TURNS, random_state=0).as_matrix()
    volumes = np.prod(np.ptp(np.einsum("qij,vj->qvi", many, corners), axis=1), axis=1)
    found = []
    for start in many[np.argsort(volumes)[:_FOLLOWED]]:

        def volume(vector: Array, start: Array = start) -> float:
            return float(np.prod(np.ptp(corners @ (_turn(vector) @ start).T, axis=0)))

        wide = np.vstack([np.zeros(3), 0.1 * np.eye(3)])
        how = {"maxiter": 250, "xatol": 1e-6, "fatol": 1.0, "initial_simplex": wide}
        best = minimize(volume, np.zeros(3), method="Nelder-Mead", options=how)
        found.append(_turn(best.x) @ start)
    return found


def _turn(vector: Array) -> Array:
    """(3, 3) rotation about a vector by its length, radians (Rodrigues)."""
    angle = float(np.linalg.norm(vector))
    if angle < 1e-12:
        return np.eye(3)
    x, y, z = vector / angle
    cross = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    return np.asarray(np.eye(3) + np.sin(angle) * cross + (1 - np.cos(angle)) * cross @ cross)


def part_box(part: RailPart) -> tuple[Array, Array]:
    """`smallest_box` of a part; a straight tube's is its own."""
    if not part.line.bends:
        pose = part.line.start
        sizes = np.array([part.line.length, part.section.height, part.section.width])
        order = np.argsort(sizes)[::-1]
        return np.array([pose.t, pose.u, pose.s])[order], sizes[order]
    axes = np.array([bend.axis for bend in part.line.bends])
    flat = bool((np.abs(axes @ axes[0]) > 1 - ANGLE).all())
    return smallest_box(hull_points(part), flat=flat)


def _box(part: RailPart, sizes: Array) -> Packed:
    size = sorted((float(value) for value in sizes), reverse=True)
    return Packed(name=part.label, size=(size[0], size[1], size[2]), mass=tube_mass(part))


def nested(part: RailPart, freight: Freight | None, box: tuple[Array, Array] | None = None) -> Packed:
    """A part and its mirror image laid one on the other along an axis of the part's box, as closely as they go.

    Of the ways to lay them the smallest counts that the shop's pallet takes, or the smallest where it takes none.

    Args:
        part: one hand of a pair.
        freight: how the shop packs; None = no padding and no pallet.
        box: the part's own, from `part_box`; None = not found yet.
    """
    between = 0.0 if freight is None else freight.between
    axes, sizes = part_box(part) if box is None else box
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
    """Everything in one crate: lots end to end in lanes, lanes side by side in layers, the longest below.

    The smallest of these ways that the pallet takes, or the smallest where it takes none; not proven the smallest of
    all ways.
    """
    lanes = _lanes(lots, freight.between)
    ways = [_layered(lanes, beside, freight.between) for beside in range(1, len(lanes) + 1)]
    inside = min(ways, key=lambda way: (not _on_pallet(way, freight), float(np.prod(way + 2 * freight.clearance))))
    length, width, height = (float(value) for value in inside + 2 * freight.clearance)
    steel = sum(lot.mass for lot in lots)
    mass = steel * (1 + freight.dunnage)
    row = freight_row(freight, max(length, width, height), mass)
    size = (length, width, height)
    return Crate(size=size, steel=steel, mass=mass, row=row, too_much=tuple(_too_much(frame, freight, size, mass, row)))


def _lanes(lots: Sequence[Packed], between: float) -> Array:
    """(n, 3) lanes as long as the longest lot, each filled end to end: how full, width, height."""
    lanes: list[list[float]] = []
    room = max(lot.size[0] for lot in lots)
    for length, width, height in sorted((lot.size for lot in lots), reverse=True):
        for lane in lanes:
            if lane[0] + between + length <= room and width <= lane[1] and height <= lane[2]:
                lane[0] += between + length
                break
        else:
            lanes.append([length, width, height])
    return np.array(lanes)


def _layered(lanes: Array, beside: int, between: float) -> Array:
    """(3,) length, width and height of lanes laid so many side by side."""
    layers = [lanes[i : i + beside] for i in range(0, len(lanes), beside)]
    width = max(float(layer[:, 1].sum()) + between * (len(layer) - 1) for layer in layers)
    height = sum(float(layer[:, 2].max()) for layer in layers) + between * (len(layers) - 1)
    return np.array([float(lanes[:, 0].max()), width, height])


def freight_row(freight: Freight, length: float, mass: float) -> FreightRow | None:
    """The cheapest class that takes a crate of a length and mass; None where none does."""
    fitting = [row for row in freight.rows if length <= row.length + 1e-6 and mass <= row.weight + 1e-9]
    return min(fitting, key=lambda row: row.price, default=None)


def _too_much(frame: Frame, freight: Freight, size: Sequence[float], mass: float, row: FreightRow | None) -> list[str]:
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
