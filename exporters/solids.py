"""Exact solids of rails: every face a plane, a cylinder, a cone or a torus, built face by face from the centreline.

The section's outline is carried along the centreline; each of its sides makes one face in each straight and bend.
A flat side makes a plane in a straight; in a bend a plane or a cylinder where the roll is a quarter turn, and a cone
where it is not. A rounded corner makes a cylinder in a straight and a torus in a bend. Neighbouring faces share
their edges, so the skin is closed by construction and nothing is sewn or approximated. The kernel's own sweeps are
not used: at rolls within 1e-4 rad of a quarter turn they give surfaces of revolution or faces that miss their edges.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from math import atan2, copysign, cos, hypot, pi, sin
from typing import TYPE_CHECKING, Any

import numpy as np

from exporters.kernel_outline import KERNEL, Outline, outline_of, wire_of
from railmodel.errors import GeometryError
from railmodel.geometry.centreline import Centreline, Pose, Stretch
from railmodel.geometry.rows import Array
from railmodel.part import RailPart
from railmodel.tolerances import LENGTH
from railmodel.units import Unit, to_unit

if TYPE_CHECKING:
    import cadquery

_Edges = tuple[Any, Any, Any, Any]


def solid(part: RailPart) -> "cadquery.Solid":
    """The exact solid of a part in vehicle axes, mm.

    Its volume is the section's area times the centreline's length (Pappus), less what mitred or coped ends take off.
    A left part is built from its own line.

    Raises:
        GeometryError: a bend tighter than the tube is deep, bends that overlap, a rail without length, or end cuts
            that leave nothing between them.
    """
    import cadquery

    return cadquery.Solid(kernel_solid(part))


def kernel_solid(part: RailPart) -> Any:
    """The same solid as the kernel's own `TopoDS_Solid`: saves loading all of cadquery where only files are written.

    Raises:
        GeometryError: as for `solid`.
    """
    from OCP.BRep import BRep_Builder
    from OCP.TopoDS import TopoDS_Shell, TopoDS_Solid

    run = _run(part)
    if _trimmed(part):
        from exporters.trimmed import trimmed_solid

        return trimmed_solid(part)
    section = part.section
    outer = _skin(outline_of(section.height, section.width, section.corner), run)
    bore = outline_of(section.height - 2 * section.wall, section.width - 2 * section.wall, section.inside_corner)
    inner = _skin(bore, run)
    first, last = run[0].start, run[-1].pose(run[-1].length)
    builder, shell, result = BRep_Builder(), TopoDS_Shell(), TopoDS_Solid()
    builder.MakeShell(shell)
    for face in outer.faces:
        builder.Add(shell, face)
    for face in inner.faces:
        builder.Add(shell, face.Reversed())
    builder.Add(shell, _cap(first.at, -first.t, outer.first.Reversed(), inner.first))
    builder.Add(shell, _cap(last.at, last.t, outer.last, inner.last.Reversed()))
    shell.Closed(True)
    builder.MakeSolid(result)
    builder.Add(result, shell)
    return result


def check_solid(part: RailPart, unit: Unit = "mm") -> None:
    """Refuse a part that makes no solid, without building it; lengths are said in the unit.

    Raises:
        GeometryError: a bend tighter than the tube is deep, bends that overlap, a rail without length, or end cuts
            that leave nothing between them.
    """
    _run(part, unit)
    if _trimmed(part):
        from exporters.trimmed import check_trimmed

        check_trimmed(part)


def _trimmed(part: RailPart) -> bool:
    """Whether an end of it is cut other than square."""
    return any(cut.kind != "square" for cut in part.cuts or ())


def _run(part: RailPart, unit: Unit = "mm") -> tuple[Stretch, ...]:
    """The straights and bends that have a length.

    Raises:
        GeometryError: they make no solid.
    """
    stretches = part.line.stretches
    for stretch in stretches:
        if stretch.kind == "straight" and stretch.length < -LENGTH:
            raise GeometryError(_overlap(part, stretch, unit))
        if stretch.kind == "bend" and stretch.length > LENGTH:
            depth = part.section.reach(stretch.roll)
            least = depth + LENGTH / min(stretch.angle, 1.0)  # so that the inside of the bend has a length
            if stretch.radius <= least:
                has, short, reach, enough = (
                    _say(length, unit) for length in (stretch.radius, least - stretch.radius, depth, least)
                )
                raise GeometryError(
                    f"{part.label}, bend {stretch.number} from the front end: centreline radius {has} is {short} too "
                    f"small for a tube that reaches {reach} toward the inside of the bend; use a radius above {enough}"
                )
    if any(0 < abs(stretch.length) <= LENGTH for stretch in stretches):
        stretches = _without_specks(part.line).stretches
    run = tuple(stretch for stretch in stretches if stretch.length > LENGTH)
    if not run:
        raise GeometryError(f"{part.label}: the centreline has no length; give it two points that lie apart")
    return run


def _say(length: float, unit: Unit) -> str:
    """A length as exact as it takes to see what is wrong with it."""
    return f"{to_unit(length, unit):.6g} {unit}"


def _overlap(part: RailPart, straight: Stretch, unit: Unit) -> str:
    """Why a negative straight makes no solid."""
    by = _say(-straight.length, unit)
    count, after = part.line.rows.count, straight.number + 1
    if count and 0 < straight.number < count:
        between = f"bends {straight.number} and {after} from the front end overlap by {by}"
    else:
        near = "front" if straight.number == 0 else "rear"
        between = f"the bend nearest the {near} end begins {by} beyond that end"
    return f"{part.label}: {between}; move the points apart or use a smaller radius"


def _without_specks(line: Centreline) -> Centreline:
    """The same centreline with lengths within the tolerance of 0 made 0, so that the pieces left still meet."""
    rows = line.rows
    arc = rows.angle * rows.radius
    return Centreline(
        replace(
            rows,
            distance=np.where(np.abs(rows.distance) <= LENGTH, 0.0, rows.distance),
            angle=np.where(arc <= LENGTH, 0.0, rows.angle),
            tail=np.where(np.abs(rows.tail) <= LENGTH, 0.0, rows.tail),
        ),
        line.start,
    )


@dataclass(frozen=True, slots=True)
class _Ring:
    """An outline standing at one pose: corner points with their vertices; each side's edge, and its arc's centre."""

    points: list[Any]
    vertices: list[Any]
    edges: list[Any]
    centres: list[Any]


@dataclass(frozen=True, slots=True)
class _Skin:
    """Faces of one outline carried along the centreline, normals outward, and its wires at both ends."""

    faces: list[Any]
    first: Any
    last: Any


def _skin(outline: Outline, run: Sequence[Stretch]) -> _Skin:
    """Carry an outline along straights and bends."""
    poses = [*(stretch.start for stretch in run), run[-1].pose(run[-1].length)]
    rings = [_ring(outline, pose) for pose in poses]
    faces = []
    for stretch, (near, far) in zip(run, pairwise(rings), strict=True):
        faces += (_straight if stretch.kind == "straight" else _bend)(outline, stretch, near, far)
    return _Skin(faces, wire_of(rings[0].edges), wire_of(rings[-1].edges))


def _ring(outline: Outline, pose: Pose) -> _Ring:
    """The outline's vertices and edges at a pose."""
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeEdge, BRepBuilderAPI_MakeVertex
    from OCP.Geom import Geom_Circle
    from OCP.gp import gp_Ax2, gp_Dir, gp_Pnt

    frame = np.array([pose.s, pose.u])
    points = [gp_Pnt(*point) for point in (pose.at + outline.points @ frame).tolist()]
    centres = [gp_Pnt(*centre) for centre in (pose.at + outline.centres @ frame).tolist()]
    vertices = [BRepBuilderAPI_MakeVertex(point).Vertex() for point in points]
    along, across = gp_Dir(*pose.t.tolist()), gp_Dir(*pose.s.tolist())
    edges = []
    for arc, centre, ends in zip(outline.arcs, centres, pairwise([*vertices, vertices[0]]), strict=True):
        if arc is None:
            edges.append(BRepBuilderAPI_MakeEdge(*ends).Edge())
        else:
            circle = Geom_Circle(gp_Ax2(centre, along, across), arc.radius)
            edges.append(BRepBuilderAPI_MakeEdge(circle, *ends, *arc.turn).Edge())
    return _Ring(points, vertices, edges, centres)


def _straight(outline: Outline, stretch: Stretch, near: _Ring, far: _Ring) -> list[Any]:
    """The faces of a straight: planes, and cylinders at rounded corners."""
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeEdge
    from OCP.Geom import Geom_CylindricalSurface, Geom_Plane
    from OCP.gp import gp_Ax3, gp_Dir

    along, across = gp_Dir(*stretch.start.t.tolist()), gp_Dir(*stretch.start.s.tolist())
    outward = (outline.outward @ np.array([stretch.start.s, stretch.start.u])).tolist()
    lines = [BRepBuilderAPI_MakeEdge(*ends).Edge() for ends in zip(near.vertices, far.vertices, strict=True)]
    faces = []
    for i, arc in enumerate(outline.arcs):
        edges = near.edges[i], lines[(i + 1) % len(lines)], far.edges[i], lines[i]
        if arc is None:
            faces.append(_face(Geom_Plane(gp_Ax3(near.points[i], gp_Dir(*outward[i]))), edges))
        else:
            surface = Geom_CylindricalSurface(gp_Ax3(near.centres[i], along, across), arc.radius)
            chart = _Chart((0.0, 0.0), (1.0, 0.0), (0.0, 1.0), arc.turn, stretch.length)
            faces.append(_face(surface, edges, chart))
    return faces


def _bend(outline: Outline, stretch: Stretch, near: _Ring, far: _Ring) -> list[Any]:
    """The faces of a bend: tori at rounded corners, and planes, cylinders or cones between them.

    Works in (distance from the bend's axis, height along it), where the outline runs clockwise.
    """
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeEdge
    from OCP.Geom import Geom_Circle, Geom_ToroidalSurface
    from OCP.gp import gp_Ax3, gp_Dir, gp_Pnt

    sine, cosine = sin(stretch.roll), cos(stretch.roll)
    (x, y, z), axis = stretch.centre.tolist(), stretch.axis.tolist()
    begin = gp_Dir(*(-stretch.inward).tolist())
    senses = {1.0: gp_Dir(*axis), -1.0: gp_Dir(*axis).Reversed()}

    def seen_from_axis(s: float, u: float) -> tuple[float, float]:
        return stretch.radius + s * sine - u * cosine, -s * cosine - u * sine

    def axes(height: float, sense: float = 1.0) -> Any:
        centre = gp_Pnt(x + height * axis[0], y + height * axis[1], z + height * axis[2])
        return gp_Ax3(centre, senses[sense], begin)

    seen = [seen_from_axis(s, u) for s, u in outline.points.tolist()]
    rounds = []
    for (distance, height), *ends in zip(seen, near.vertices, far.vertices, strict=True):
        circle = Geom_Circle(axes(height).Ax2(), distance)
        rounds.append(BRepBuilderAPI_MakeEdge(circle, *ends, 0.0, stretch.angle).Edge())
    faces = []
    for i, arc in enumerate(outline.arcs):
        j = (i + 1) % len(rounds)
        edges = near.edges[i], rounds[j], far.edges[i], rounds[i]
        if arc is None:
            faces.append(_turned_flat(seen[i], seen[j], stretch.angle, axes, edges))
        else:
            distance, height = seen_from_axis(arc.s, arc.u)
            chart = _Chart((0.0, stretch.roll - pi / 2), (0.0, -1.0), (1.0, 0.0), arc.turn, stretch.angle)
            faces.append(_face(Geom_ToroidalSurface(axes(height), distance, arc.radius), edges, chart))
    return faces


def _turned_flat(
    begin: tuple[float, float], end: tuple[float, float], angle: float, axes: Callable[..., Any], edges: _Edges
) -> Any:
    """The face a flat side makes in a bend, its ends given as (distance from the axis, height along it), mm."""
    from OCP.Geom import Geom_ConicalSurface, Geom_CylindricalSurface, Geom_Plane

    outward, up = end[0] - begin[0], end[1] - begin[1]
    if abs(up) <= KERNEL / 2:
        return _face(Geom_Plane(axes((begin[1] + end[1]) / 2, 1.0 if outward > 0 else -1.0)), edges)
    length, sense = hypot(outward, up), 1.0
    if abs(outward) <= KERNEL / 2:
        surface = Geom_CylindricalSurface(axes(begin[1]), (begin[0] + end[0]) / 2)
        chart = _Chart((0.0, 0.0), (0.0, copysign(1.0, up)), (1.0, 0.0), (0.0, length), angle)
    else:  # a cone that opens along its axis, as the exchange format asks
        sense = copysign(1.0, outward * up)
        surface = Geom_ConicalSurface(axes(begin[1], sense), atan2(abs(outward), abs(up)), begin[0])
        chart = _Chart((0.0, 0.0), (0.0, copysign(1.0, outward)), (sense, 0.0), (0.0, length), angle)
    return _face(surface, edges, chart, reversed_=up > 0)


@dataclass(frozen=True, slots=True)
class _Chart:
    """Where a face lies on its surface: (origin) + q (across) + w (along) in the surface's own parameters.

    q runs over `sweep` along the outline's side, w from 0 to `reach` along the tube; both directions are unit length.
    """

    origin: tuple[float, float]
    across: tuple[float, float]
    along: tuple[float, float]
    sweep: tuple[float, float]
    reach: float


def _face(surface: Any, edges: _Edges, chart: _Chart | None = None, *, reversed_: bool = False) -> Any:
    """The face between four edges, its normal out of the outline; `reversed_` where the surface's own looks in.

    Edges: the outline's side at the near end, the line along the tube at that side's end, the side at the far end,
    the line along the tube at the side's start. A plane needs no chart.
    """
    from OCP.BRep import BRep_Builder
    from OCP.TopAbs import TopAbs_Orientation
    from OCP.TopoDS import TopoDS_Face

    near, right, far, left = edges
    builder, face = BRep_Builder(), TopoDS_Face()
    builder.MakeFace(face, surface, KERNEL)
    if chart is not None:
        _lay(surface, edges, chart)
    wire = wire_of([near, right, far.Reversed(), left.Reversed()])
    builder.Add(face, wire.Reversed() if reversed_ else wire)
    return face.Oriented(TopAbs_Orientation.TopAbs_REVERSED) if reversed_ else face


def _lay(surface: Any, edges: _Edges, chart: _Chart) -> None:
    """Give a surface's edges their lines in its parameters, which the kernel needs on all but planes."""
    from OCP.BRep import BRep_Builder
    from OCP.Geom2d import Geom2d_Line
    from OCP.gp import gp_Dir2d, gp_Pnt2d
    from OCP.TopLoc import TopLoc_Location

    (x, y), (begin, end) = chart.origin, chart.sweep
    across, along = chart.across, chart.along
    places = (0.0, 0.0), (end, 0.0), (0.0, chart.reach), (begin, 0.0)
    builder, here = BRep_Builder(), TopLoc_Location()
    for edge, (q, w), direction in zip(edges, places, (across, along, across, along), strict=True):
        point = gp_Pnt2d(x + q * across[0] + w * along[0], y + q * across[1] + w * along[1])
        builder.UpdateEdge(edge, Geom2d_Line(point, gp_Dir2d(*direction)), surface, here, KERNEL)


def _cap(at: Array, outward: Array, outer: Any, inner: Any) -> Any:
    """The flat ring that closes an end, from wires that turn counter-clockwise and clockwise about its normal."""
    from OCP.BRep import BRep_Builder
    from OCP.Geom import Geom_Plane
    from OCP.gp import gp_Ax3, gp_Dir, gp_Pnt
    from OCP.TopoDS import TopoDS_Face

    builder, face = BRep_Builder(), TopoDS_Face()
    builder.MakeFace(face, Geom_Plane(gp_Ax3(gp_Pnt(*at), gp_Dir(*outward))), KERNEL)
    builder.Add(face, outer)
    builder.Add(face, inner)
    return face
