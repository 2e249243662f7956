"""Exact solids of plates cut flat: every face a plane or a cylinder."""

from typing import Any

from railmodel.geometry.flat_outline import Edge
from railmodel.plates import Placing, Plate


def kernel_plate(plate: Plate) -> Any:
    """A plate in its own axes, its back on z = 0, as the kernel's own `TopoDS_Solid`, mm."""
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeFace, BRepBuilderAPI_MakeVertex
    from OCP.BRepPrimAPI import BRepPrimAPI_MakePrism
    from OCP.gp import gp_Dir, gp_Pln, gp_Pnt, gp_Vec
    from OCP.TopoDS import TopoDS

    from exporters.kernel_outline import wire_of

    corners = [BRepBuilderAPI_MakeVertex(gp_Pnt(x, y, 0.0)).Vertex() for x, y in plate.outline.points.tolist()]
    ends = zip(plate.outline.edges, corners, [*corners[1:], corners[0]], strict=True)
    rim = wire_of([_edge(edge, begin, end) for edge, begin, end in ends])
    face = BRepBuilderAPI_MakeFace(gp_Pln(gp_Pnt(0.0, 0.0, 0.0), gp_Dir(0.0, 0.0, 1.0)), rim)
    for x, y, diameter in plate.holes:
        face.Add(_hole(x, y, diameter / 2))
    prism = BRepPrimAPI_MakePrism(face.Face(), gp_Vec(0.0, 0.0, plate.thickness))
    return TopoDS.Solid_s(prism.Shape())


def location(place: Placing) -> Any:
    """The kernel's own `TopLoc_Location` that lays a plate in its place."""
    from OCP.gp import gp_Trsf
    from OCP.TopLoc import TopLoc_Location

    moved = gp_Trsf()
    columns = zip(place.across.tolist(), place.up.tolist(), place.normal.tolist(), place.at.tolist(), strict=True)
    moved.SetValues(*(value for row in columns for value in row))
    return TopLoc_Location(moved)


def _edge(edge: Edge, begin: Any, end: Any) -> Any:
    """A line or an arc between two vertices."""
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeEdge
    from OCP.Geom import Geom_Circle
    from OCP.gp import gp_Ax2, gp_Dir, gp_Pnt

    if not edge.turn:
        return BRepBuilderAPI_MakeEdge(begin, end).Edge()
    (x, y), (first_x, first_y) = edge.centre.tolist(), edge.start.tolist()
    up = gp_Dir(0.0, 0.0, 1.0 if edge.turn > 0 else -1.0)
    axes = gp_Ax2(gp_Pnt(x, y, 0.0), up, gp_Dir(first_x - x, first_y - y, 0.0))
    return BRepBuilderAPI_MakeEdge(Geom_Circle(axes, edge.radius), begin, end, 0.0, abs(edge.turn)).Edge()


def _hole(x: float, y: float, radius: float) -> Any:
    """A full circle that turns clockwise seen from above."""
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeEdge, BRepBuilderAPI_MakeWire
    from OCP.gp import gp_Ax2, gp_Circ, gp_Dir, gp_Pnt

    circle = gp_Circ(gp_Ax2(gp_Pnt(x, y, 0.0), gp_Dir(0.0, 0.0, -1.0)), radius)
    return BRepBuilderAPI_MakeWire(BRepBuilderAPI_MakeEdge(circle).Edge()).Wire()
