"""What is seen of bodies in a view: edges in front, and which of those behind another body are drawn dashed.

Flat coordinates are those of the view, mm at true size. An edge that the view sees square stays a line or a true arc;
one seen at a slant becomes short lines.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from exporters.drawing.bodies import Body, Round, steps
from exporters.drawing.curves import ArcPiece, Curve, Drawn, LinePiece, merged
from exporters.views import View
from railmodel.geometry.rows import Array
from railmodel.part import RailPart

_INSIDE = 0.05  # mm; a point counts as behind a face only this far inside its border
_BEHIND = 0.2  # mm; and only this far behind it
_STEEP = 3.0  # depth over distance; a face that slopes more does not hide beyond its border, where it may bend away
_FACING = 1e-6
_SQUARE = 1e-9
_SHORTEST = 0.02  # mm; what is shorter is of no account on paper


@dataclass(frozen=True, eq=False)
class _Screens:
    """Faces that look at the eye, as they hide what lies behind.

    Args:
        normals: (n, 4, 2) unit, across each border, inward.
        offsets: (n, 4) so that `normals . point - offsets` is the distance inside each border.
        margins: (n, 4) how far inside each border a point must lie to be hidden, mm.
        planes: (n, 3) depth toward the eye = [0] + [1] x + [2] y.
        boxes: (n, 4) least x, y, greatest x, y.
        nearest: (n,) greatest depth.
        owners: (n,) index of the body.
    """

    normals: Array
    offsets: Array
    margins: Array
    planes: Array
    boxes: Array
    nearest: Array
    owners: Array

    def near(self, low: Array, high: Array, depth: float) -> "_Screens":
        """Those that may hide something in a box, at this depth or behind it."""
        keep = (
            (self.boxes[:, 0] < high[0]) & (self.boxes[:, 2] > low[0])
            & (self.boxes[:, 1] < high[1]) & (self.boxes[:, 3] > low[1])
            & (self.nearest > depth + _BEHIND)
        )  # fmt: skip
        fields = (self.normals, self.offsets, self.margins, self.planes, self.boxes, self.nearest, self.owners)
        return _Screens(*(field[keep] for field in fields))


@dataclass(frozen=True, slots=True)
class _Item:
    """An edge before it is told what is seen of it; depths toward the eye at its two ends."""

    curve: LinePiece | ArcPiece
    depths: tuple[float, float]
    owner: int
    tangent: bool


def see(bodies: Sequence[Body], view: View, *, dashed: bool) -> list[Drawn]:
    """The lines of a view of some bodies, each once.

    Args:
        bodies: what is drawn.
        view: where it is seen from.
        dashed: whether edges behind another body are drawn dashed; those behind their own never are, nor are plates'.
    """
    screens = _screens(bodies, view)
    outlines: list[Curve] = []
    tangents: list[Curve] = []
    hidden: list[Curve] = []
    for item in _items(bodies, view):
        for piece, state in _pieces(item, screens):
            if state == 0:
                (tangents if item.tangent else outlines).append(piece)
            elif state == 2 and dashed and not item.tangent and bodies[item.owner].dashed:
                hidden.append(piece)
    return merged(outlines, tangents, hidden)


def centrelines(parts: Sequence[RailPart], view: View) -> list[Drawn]:
    """The centrelines of parts, each place once; a straight one that points at the eye is a cross."""
    found: list[Curve] = []
    for part in parts:
        for stretch in part.line.stretches:
            if stretch.length <= _SHORTEST:
                continue
            if stretch.kind == "bend" and abs(abs(float(stretch.axis @ view.toward)) - 1) < _SQUARE:
                first = stretch.start.at - stretch.centre
                arc = Round(stretch.centre, first, np.cross(stretch.axis, first), stretch.angle)
                found.append(_arc(arc, view, float(stretch.axis @ view.toward)))
                continue
            count = 1 if stretch.kind == "straight" else steps(stretch.angle, stretch.radius)
            flat = view.flat(stretch.pose(np.linspace(0.0, stretch.length, count + 1)).at)
            if np.linalg.norm(flat[-1] - flat[0]) > _SHORTEST:
                found += [LinePiece(a, b) for a, b in pairwise(flat)]
            elif stretch.kind == "straight":
                size, pose = part.section, stretch.start
                arms = 0.65 * view.flat(np.array([size.width * pose.s, size.height * pose.u]))
                found += [LinePiece(flat[0] - arm, flat[0] + arm) for arm in arms]
    return merged(found, (), ())


def _screens(bodies: Sequence[Body], view: View) -> _Screens:
    eye = view.toward
    corners, owners, joins = [], [], []
    for i, body in enumerate(bodies):
        facing = body.normals @ eye > _FACING
        corners.append(body.faces[facing])
        owners.append(np.full(int(facing.sum()), i))
        joins.append(body.joins[facing])
    if not corners:
        corners, owners, joins = [np.empty((0, 4, 3))], [np.empty(0, dtype=int)], [np.empty((0, 4), dtype=bool)]
    every = np.concatenate(corners)
    flat, depth = view.flat(every), every @ eye
    ahead = np.roll(flat, -1, axis=1) - flat
    size = np.linalg.norm(ahead, axis=-1)
    x, y = flat[..., 0], flat[..., 1]
    turn = np.sum(x * np.roll(y, -1, axis=1) - np.roll(x, -1, axis=1) * y, axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        inward = np.stack([-ahead[..., 1], ahead[..., 0]], axis=-1) / size[..., None] * np.sign(turn)[:, None, None]
    border = size > 1e-9
    inward = np.where(border[..., None], inward, 0.0)
    offsets = np.where(border, np.sum(inward * flat, axis=-1), -1e9)
    low, high = flat.min(axis=1), flat.max(axis=1)
    planes = _planes(flat, depth)
    over_joins = np.concatenate(joins) & (np.linalg.norm(planes[:, 1:], axis=1) < _STEEP)[:, None]
    return _Screens(
        normals=inward, offsets=offsets, margins=np.where(over_joins, -_INSIDE, _INSIDE),
        planes=planes, boxes=np.concatenate([low, high], axis=1), nearest=depth.max(axis=1),
        owners=np.concatenate(owners),
    )  # fmt: skip


def _planes(flat: Array, depth: Array) -> Array:
    """(n, 3) planes through corners (n, 4, 2) with depths (n, 4), by least squares for bent quads."""
    rows = np.concatenate([np.ones((*depth.shape, 1)), flat], axis=-1)
    return np.asarray(np.einsum("nij,nj->ni", np.linalg.pinv(rows), depth))


def _items(bodies: Sequence[Body], view: View) -> Iterator[_Item]:
    """Every edge of every body as the view sees it."""
    eye = view.toward

    def line(a: Array, b: Array, owner: int, *, tangent: bool) -> Iterator[_Item]:
        begin, end = view.flat(a), view.flat(b)
        if np.linalg.norm(end - begin) > _SHORTEST:
            yield _Item(LinePiece(begin, end), (float(a @ eye), float(b @ eye)), owner, tangent)

    for owner, body in enumerate(bodies):
        for edge in body.straights:
            yield from line(edge.a, edge.b, owner, tangent=edge.kind == "tangent")
        for arc in body.rounds:
            normal = np.cross(arc.first, arc.second) / np.dot(arc.first, arc.first)
            if abs(abs(float(normal @ eye)) - 1) < _SQUARE:
                yield _Item(_arc(arc, view, float(normal @ eye)), (float(arc.centre @ eye),) * 2, owner, False)
                continue
            points = arc.points(np.linspace(0.0, arc.angle, steps(arc.angle, float(np.linalg.norm(arc.first))) + 1))
            for a, b in pairwise(points):
                yield from line(a, b, owner, tangent=False)
        for crease in body.creases:
            facing = [float(normal @ eye) > _FACING for normal in (crease.before, crease.after)]
            if facing[0] != facing[1] or (crease.tangent and any(facing)):
                yield from line(crease.a, crease.b, owner, tangent=facing[0] == facing[1])


def _arc(arc: Round, view: View, sense: float) -> ArcPiece:
    centre, out = view.flat(arc.centre), view.flat(arc.first)
    begin = float(np.arctan2(out[1], out[0]))
    radius = float(np.linalg.norm(arc.first))
    return ArcPiece(centre, radius, begin, begin + arc.angle) if sense > 0 else ArcPiece(
        centre, radius, begin - arc.angle, begin
    )  # fmt: skip


def _pieces(item: _Item, screens: _Screens) -> Iterator[tuple[Curve, int]]:
    """Pieces of an edge, each seen (0), behind its own body (1) or behind others only (2)."""
    curve, (near, far) = item.curve, item.depths
    low, high = curve.box
    by = screens.near(low, high, min(near, far))
    if not len(by.owners):
        yield curve, 0
        return
    cuts = np.unique(np.clip(np.concatenate([[0.0, 1.0], _crossings(curve, near, far, by)]), 0.0, 1.0))
    cuts = cuts[np.append(True, np.diff(cuts) * curve.length > _SHORTEST)]
    if cuts[-1] < 1.0:
        cuts[-1] = 1.0
    if len(cuts) < 2:
        return
    middle = (cuts[:-1] + cuts[1:]) / 2
    points, depth = curve.at(middle), near + middle * (far - near)
    states = _states(points, depth, by, item.owner)
    begin = 0
    for i in range(1, len(states) + 1):
        if i == len(states) or states[i] != states[begin]:
            yield curve.part(float(cuts[begin]), float(cuts[i])), int(states[begin])
            begin = i


def _crossings(curve: Curve, near: float, far: float, by: _Screens) -> Array:
    """Shares of an edge's length where it passes a border of a face, or dips behind its plane."""
    with np.errstate(divide="ignore", invalid="ignore"):
        found = [curve.crossing(by.normals.reshape(-1, 2), by.offsets.reshape(-1))]
        if isinstance(curve, LinePiece):
            begin, end = curve.at(np.array([0.0, 1.0]))
            behind = [by.planes @ [1.0, *spot] - depth - _BEHIND for spot, depth in ((begin, near), (end, far))]
            found.append(behind[0] / (behind[0] - behind[1]))
        else:
            found.append(curve.crossing(by.planes[:, 1:], near + _BEHIND - by.planes[:, 0]))
    every = np.concatenate(found)
    return np.asarray(every[(every > 0) & (every < 1)])


def _states(points: Array, depth: Array, by: _Screens, owner: int) -> Array:
    inside = np.einsum("qkc,mc->mqk", by.normals, points) - by.offsets
    over = by.planes[:, 0] + points @ by.planes[:, 1:].T
    unsure = _BEHIND + 2 * _INSIDE * np.linalg.norm(by.planes[:, 1:], axis=1)  # a steep face's depth is less certain
    hides = np.all(inside > by.margins, axis=-1) & (over > depth[:, None] + unsure)
    own = np.any(hides & (by.owners == owner), axis=1)
    return np.where(own, 1, np.where(np.any(hides, axis=1), 2, 0))
