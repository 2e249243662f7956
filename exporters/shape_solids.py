"""Exact solids of keep-clear shapes where they are drawn: box, sphere, cylinder and capsule. mm."""

from typing import Any

import numpy as np

from railmodel.fitting.shapes import Box, Capsule, Cylinder, Sphere, turned
from railmodel.geometry.figures import Figures, ball, box, rod

Simple = Box | Sphere | Cylinder | Capsule


def shape_figures(shape: Simple) -> Figures:
    """Volume, surface area and centroid of a shape."""
    if isinstance(shape, Box):
        return box(shape.at, shape.size)
    if isinstance(shape, Sphere):
        return ball(shape.at, shape.diameter)
    return rod(shape.start, shape.end, shape.diameter, rounded=isinstance(shape, Capsule))


def kernel_shape(shape: Simple) -> Any:
    """A shape as the kernel's own `TopoDS_Solid`, in vehicle axes."""
    from OCP.BRepPrimAPI import BRepPrimAPI_MakeBox, BRepPrimAPI_MakeCylinder, BRepPrimAPI_MakeSphere
    from OCP.gp import gp_Ax2, gp_Dir, gp_Pnt

    if isinstance(shape, Sphere):
        return BRepPrimAPI_MakeSphere(gp_Pnt(*shape.at), shape.diameter / 2).Solid()
    if isinstance(shape, Box):
        axes, size = turned(shape.turn), np.array(shape.size)
        corner = gp_Pnt(*(np.array(shape.at) - axes @ size / 2).tolist())
        frame = gp_Ax2(corner, gp_Dir(*axes[:, 2].tolist()), gp_Dir(*axes[:, 0].tolist()))
        return BRepPrimAPI_MakeBox(frame, *size.tolist()).Solid()
    along = np.subtract(shape.end, shape.start)
    frame, length = gp_Ax2(gp_Pnt(*shape.start), gp_Dir(*along.tolist())), float(np.linalg.norm(along))
    if isinstance(shape, Capsule):
        return _capsule(frame, length, shape.diameter / 2)
    return BRepPrimAPI_MakeCylinder(frame, shape.diameter / 2, length).Solid()


def _capsule(frame: Any, length: float, radius: float) -> Any:
    """Its half section turned once round its axis; it begins at the middle of its first ball."""
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeEdge, BRepBuilderAPI_MakeFace, BRepBuilderAPI_MakeWire
    from OCP.BRepPrimAPI import BRepPrimAPI_MakeRevol
    from OCP.gp import gp_Ax2, gp_Circ, gp_Vec
    from OCP.TopoDS import TopoDS

    out, along = gp_Vec(frame.XDirection()), gp_Vec(frame.Direction())

    def spot(across: float, up: float) -> Any:
        return frame.Location().Translated(out.Multiplied(across).Added(along.Multiplied(up)))

    def quarter(up: float, begin: Any, end: Any) -> Any:
        circle = gp_Circ(gp_Ax2(spot(0.0, up), frame.YDirection().Reversed(), frame.XDirection()), radius)
        return BRepBuilderAPI_MakeEdge(circle, begin, end).Edge()

    low, high = spot(0.0, -radius), spot(0.0, length + radius)
    begin, end = spot(radius, 0.0), spot(radius, length)
    wire = BRepBuilderAPI_MakeWire()
    for edge in (
        quarter(0.0, low, begin), BRepBuilderAPI_MakeEdge(begin, end).Edge(), quarter(length, end, high),
        BRepBuilderAPI_MakeEdge(high, low).Edge(),
    ):  # fmt: skip
        wire.Add(edge)
    face = BRepBuilderAPI_MakeFace(wire.Wire()).Face()
    return TopoDS.Solid_s(BRepPrimAPI_MakeRevol(face, frame.Axis()).Shape())
