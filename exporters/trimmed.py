"""Exact solids of straight tubes whose ends are mitred to a plane or coped to a cylinder.

Every face is a plane or a cylinder. A plane cuts a flat side in a line and a rounded corner in an ellipse; a cylinder
cuts a flat side in a line, a circle or an ellipse. Where it cuts a rounded corner no conic is exact: there the edge is
a chain of short elliptical arcs through points of the true curve, which stay within `CHAIN` of it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import atan2, hypot, pi, remainder, sqrt
from typing import Any

import numpy as np

from exporters.kernel_outline import KERNEL, Arc, Outline, outline_of, wire_of
from railmodel.end_cuts import curved, to_cut
from railmodel.errors import GeometryError
from railmodel.geometry.centreline import Pose
from railmodel.geometry.rows import Array
from railmodel.part import EndCut, RailPart
from railmodel.tolerances import LENGTH

CHAIN = 1e-5
"""mm; how far the edge between a cope and a rounded corner may lie off the true curve."""

_MOST = 256
"""Arcs in the chain of one corner; a corner that asks for more runs along the rail rather than across it."""

_STRAIGHT = 1e-4
"""A side whose plane leans less than this (radians) toward a cope's axis is cut in a line, within `KERNEL`."""


@dataclass(frozen=True, slots=True)
class _Rim:
    """One outline's edge at one end: the vertices at its corner points, and the edges of each side in order."""

    vertices: list[Any]
    chains: list[list[Any]]


def trimmed_solid(part: RailPart) -> Any:
    """The solid of a straight part between its two cuts, as the kernel's own `TopoDS_Solid`, vehicle axes, mm.

    Raises:
        GeometryError: the two cuts meet within the tube, or a cope runs along the tube's corner.
    """
    from OCP.BRep import BRep_Builder
    from OCP.BRepLib import BRepLib
    from OCP.TopoDS import TopoDS_Shell, TopoDS_Solid

    assert part.cuts is not None
    check_trimmed(part)
    pose, outlines = part.line.start, _outlines(part)
    builder, shell, result = BRep_Builder(), TopoDS_Shell(), TopoDS_Solid()
    builder.MakeShell(shell)
    rims = [[_rim(outline, pose, cut, part.label) for cut in part.cuts] for outline in outlines]
    for outline, (near_rim, far_rim), outside in zip(outlines, rims, (True, False), strict=True):
        for face in _sides(outline, pose, near_rim, far_rim):
            builder.Add(shell, face if outside else face.Reversed())
    for end, cut in enumerate(part.cuts):
        outer, inner = (wire_of([edge for chain in rim[end].chains for edge in chain]) for rim in rims)
        wires = [outer.Reversed(), inner] if end == 0 else [outer, inner.Reversed()]
        builder.Add(shell, _end_face(cut, wires))
    shell.Closed(True)
    builder.MakeSolid(result)
    builder.Add(result, shell)
    BRepLib.SameParameter_s(result, KERNEL, True)
    return result


def check_trimmed(part: RailPart) -> None:
    """Refuse a straight part whose cuts make no solid, without building it.

    Raises:
        GeometryError: the two cuts meet within the tube, or a cope runs along the tube's corner.
    """
    assert part.cuts is not None
    pose = part.line.start
    for outline in _outlines(part):
        arcs = [arc for arc in outline.arcs if arc is not None]
        spots = np.concatenate([outline.points, *(_on(arc, np.linspace(*arc.turn, 9)) for arc in arcs)])
        near, far = (_reach(cut, pose, spots) for cut in part.cuts)
        if not np.all(far - near > LENGTH):
            raise GeometryError(f"{part.label}: its two end cuts meet within the tube; make it longer")
        for cut in part.cuts:
            for arc in arcs:
                _divided(cut, pose, arc, part.label)


def _outlines(part: RailPart) -> tuple[Outline, Outline]:
    """The section's outside and its bore."""
    size = part.section
    return (
        outline_of(size.height, size.width, size.corner),
        outline_of(size.height - 2 * size.wall, size.width - 2 * size.wall, size.inside_corner),
    )


def _reach(cut: EndCut, pose: Pose, spots: Array) -> Array:
    """How far along the tube (m,) its fibres at (s, u) spots (m, 2) are cut, mm.

    Raises:
        GeometryError: a fibre that the cut never meets.
    """
    found = to_cut(cut, pose.at + spots @ np.array([pose.s, pose.u]), pose.t)
    if np.isnan(found).any():
        raise GeometryError(f"a tube too wide for the curve of {cut.rail} cannot be coped to it; cut its end mitred")
    return found


def _place(pose: Pose, spots: Array, reach: Array) -> Array:
    """Points (m, 3) on fibres (m, 2), a way (m,) along the tube, mm."""
    return np.asarray(pose.at + spots @ np.array([pose.s, pose.u]) + reach[:, None] * pose.t)


def _rim(outline: Outline, pose: Pose, cut: EndCut, label: str) -> _Rim:
    """An outline's vertices and edges where a cut ends it.

    Raises:
        GeometryError: a cope that runs along the tube's corner.
    """
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeVertex
    from OCP.gp import gp_Pnt

    def vertices(spots: Array) -> list[Any]:
        points = _place(pose, spots, _reach(cut, pose, spots)).tolist()
        return [BRepBuilderAPI_MakeVertex(gp_Pnt(*point)).Vertex() for point in points]

    corners = vertices(outline.points)
    chains = []
    for i, arc in enumerate(outline.arcs):
        begin, end = corners[i], corners[(i + 1) % len(corners)]
        if arc is None:
            spots = outline.points[[i, (i + 1) % len(corners)]]
            chains.append([_flat_edge(cut, _place(pose, spots, _reach(cut, pose, spots)), pose, begin, end)])
            continue
        turns = _divided(cut, pose, arc, label)
        between = vertices(_on(arc, turns[1:-1])) if len(turns) > 2 else []
        places = pairwise([begin, *between, end])
        chains.append(
            [_arc_edge(cut, pose, arc, turn, ends) for turn, ends in zip(pairwise(turns), places, strict=True)]
        )
    return _Rim(corners, chains)


def _on(arc: Arc, turn: Array) -> Array:
    """Spots (m, 2) of a rounded corner at polar angles (m,)."""
    return np.array([arc.s, arc.u]) + arc.radius * np.stack([np.cos(turn), np.sin(turn)], axis=-1)


def _divided(cut: EndCut, pose: Pose, arc: Arc, label: str) -> Array:
    """Polar angles that cut a rounded corner into arcs whose ellipses lie within `CHAIN` of the cut.

    Raises:
        GeometryError: no reasonable number does.
    """
    count = 1
    while count <= _MOST:
        turns = np.linspace(*arc.turn, count + 1)
        if not curved(cut):
            return turns
        tests = turns[:-1, None] + np.diff(turns)[:, None] * np.array([0.0, 0.211, 0.5, 0.789, 1.0])
        reach = _reach(cut, pose, _on(arc, tests.ravel())).reshape(tests.shape)
        off = [
            np.abs(_plane(arc, turn, high)[0] + _on(arc, turn) @ _plane(arc, turn, high)[1] - high).max()
            for turn, high in zip(tests, reach, strict=True)
        ]
        if max(off) <= CHAIN:
            return turns
        count = max(count + 1, count * 4 // 3)
    raise GeometryError(f"{label}: its cope to {cut.rail} runs along the tube rather than across it; cut it mitred")


def _plane(arc: Arc, turn: Array, reach: Array) -> tuple[float, Array]:
    """The plane reach = level + slope . (s, u) through a corner's first, middle and last of several places."""
    pick = [0, len(turn) // 2, -1]
    spots = _on(arc, turn[pick])
    level, *slope = np.linalg.solve(np.column_stack([np.ones(3), spots]), reach[pick])
    return float(level), np.array(slope)


def _arc_edge(cut: EndCut, pose: Pose, arc: Arc, turn: tuple[float, float], ends: tuple[Any, Any]) -> Any:
    """The elliptical edge of part of a rounded corner."""
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeEdge
    from OCP.Geom import Geom_Circle, Geom_Ellipse
    from OCP.gp import gp_Ax2, gp_Dir, gp_Pnt

    turns = np.linspace(*turn, 3)
    level, slope = _plane(arc, turns, _reach(cut, pose, _on(arc, turns)))
    centre = np.array([[arc.s, arc.u]])
    middle = gp_Pnt(*_place(pose, centre, level + centre @ slope)[0].tolist())
    steep = hypot(*slope)
    if steep * arc.radius < KERNEL / 10:
        circle = Geom_Circle(gp_Ax2(middle, gp_Dir(*pose.t.tolist()), gp_Dir(*pose.s.tolist())), arc.radius)
        return BRepBuilderAPI_MakeEdge(circle, *ends, *turn).Edge()
    uphill = (slope[0] * pose.s + slope[1] * pose.u) / steep
    normal, long = pose.t - steep * uphill, uphill + steep * pose.t
    axes = gp_Ax2(middle, gp_Dir(*normal.tolist()), gp_Dir(*long.tolist()))
    ellipse = Geom_Ellipse(axes, arc.radius * sqrt(1 + steep**2), arc.radius)
    ahead = atan2(slope[1], slope[0])
    begin = remainder(turn[0] - ahead, 2 * pi)
    return BRepBuilderAPI_MakeEdge(ellipse, *ends, begin, begin + turn[1] - turn[0]).Edge()


def _flat_edge(cut: EndCut, points: Array, pose: Pose, begin: Any, end: Any) -> Any:
    """The edge of a flat side, between two points (2, 3)."""
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeEdge
    from OCP.Geom import Geom_Circle, Geom_Ellipse
    from OCP.gp import gp_Ax2, gp_Dir, gp_Pnt

    line = BRepBuilderAPI_MakeEdge
    if not curved(cut) or cut.axis is None or cut.direction is None:
        return line(begin, end).Edge()
    normal = np.cross(points[1] - points[0], pose.t)
    normal = normal / np.linalg.norm(normal)
    lean = float(cut.direction @ normal)
    if abs(lean) < _STRAIGHT:
        return line(begin, end).Edge()
    centre = cut.axis + ((points[0] - cut.axis) @ normal) / lean * cut.direction
    long = cut.direction - lean * normal
    long = long if np.linalg.norm(long) > KERNEL else np.cross(normal, pose.t)
    long = long / np.linalg.norm(long)
    major = cut.radius / abs(lean)
    off = points - centre
    first, last = (atan2(d @ np.cross(normal, long) / cut.radius, d @ long / major) for d in off)
    turn = remainder(last - first, 2 * pi)
    if turn < 0:
        normal, first, turn = -normal, -first, -turn
    axes = gp_Ax2(gp_Pnt(*centre.tolist()), gp_Dir(*normal.tolist()), gp_Dir(*long.tolist()))
    round_ = major - cut.radius < KERNEL / 10
    curve = Geom_Circle(axes, cut.radius) if round_ else Geom_Ellipse(axes, major, cut.radius)
    return line(curve, begin, end, first, first + turn).Edge()


def _sides(outline: Outline, pose: Pose, near: _Rim, far: _Rim) -> list[Any]:
    """The faces between an outline's two rims, normals out of the outline."""
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeEdge
    from OCP.Geom import Geom_CylindricalSurface, Geom_Plane
    from OCP.gp import gp_Ax3, gp_Dir, gp_Pnt

    frame = np.array([pose.s, pose.u])
    lines = [BRepBuilderAPI_MakeEdge(*ends).Edge() for ends in zip(near.vertices, far.vertices, strict=True)]
    along = gp_Dir(*pose.t.tolist())
    faces = []
    for i, arc in enumerate(outline.arcs):
        back = [edge.Reversed() for edge in reversed(far.chains[i])]
        edges = [*near.chains[i], lines[(i + 1) % len(lines)], *back, lines[i].Reversed()]
        if arc is None:
            point = gp_Pnt(*(pose.at + outline.points[i] @ frame).tolist())
            surface: Any = Geom_Plane(gp_Ax3(point, gp_Dir(*(outline.outward[i] @ frame).tolist())))
        else:
            centre = gp_Pnt(*(pose.at + np.array([arc.s, arc.u]) @ frame).tolist())
            inward = np.array([arc.s, arc.u]) - _on(arc, np.array([sum(arc.turn) / 2]))[0]  # the seam lies far away
            axes = gp_Ax3(centre, along, gp_Dir(*(inward @ frame).tolist()))
            surface = Geom_CylindricalSurface(axes, arc.radius)
        faces.append(_face(surface, [wire_of(edges)], flat=arc is None))
    return faces


def _end_face(cut: EndCut, wires: Sequence[Any]) -> Any:
    """The face that closes an end, from wires that turn counter-clockwise and clockwise about its outward normal."""
    from OCP.Geom import Geom_CylindricalSurface, Geom_Plane
    from OCP.gp import gp_Ax3, gp_Dir, gp_Pnt
    from OCP.TopAbs import TopAbs_Orientation

    if not curved(cut) or cut.axis is None or cut.direction is None:
        plane = Geom_Plane(gp_Ax3(gp_Pnt(*cut.at.tolist()), gp_Dir(*(-cut.normal).tolist())))
        return _face(plane, wires, flat=True)
    off = cut.axis - cut.at
    away = off - (off @ cut.direction) * cut.direction
    axes = gp_Ax3(gp_Pnt(*cut.axis.tolist()), gp_Dir(*cut.direction.tolist()), gp_Dir(*away.tolist()))
    surface = Geom_CylindricalSurface(axes, cut.radius)
    if cut.hollow:  # the rail's hollow face holds a bulging end, whose outward side is the cylinder's own
        return _face(surface, wires, flat=False)
    face = _face(surface, [wire.Reversed() for wire in wires], flat=False)
    return face.Oriented(TopAbs_Orientation.TopAbs_REVERSED)


def _face(surface: Any, wires: Sequence[Any], *, flat: bool) -> Any:
    """A face within wires; the kernel needs its edges in the surface's own parameters on all but planes."""
    from OCP.BRep import BRep_Builder
    from OCP.ShapeFix import ShapeFix_Edge
    from OCP.TopAbs import TopAbs_ShapeEnum
    from OCP.TopExp import TopExp_Explorer
    from OCP.TopoDS import TopoDS, TopoDS_Face

    builder, face = BRep_Builder(), TopoDS_Face()
    builder.MakeFace(face, surface, KERNEL)
    for wire in wires:
        builder.Add(face, wire)
    if not flat:
        explorer, fix = TopExp_Explorer(face, TopAbs_ShapeEnum.TopAbs_EDGE), ShapeFix_Edge()
        while explorer.More():
            fix.FixAddPCurve(TopoDS.Edge_s(explorer.Current()), face, False, KERNEL)
            explorer.Next()
    return face
