"""Exact shapes in the CAD kernel, for tests: a tube's outside, keep-clear shapes, and the kernel's own distance."""

from typing import Any

import cadquery as cq
import numpy as np
from numpy.typing import NDArray
from OCP.BRepExtrema import BRepExtrema_DistShapeShape

from railmodel.fitting.shapes import Box, Capsule, Cylinder, Sphere, turned
from railmodel.geometry.centreline import Centreline
from railmodel.geometry.section import Section

Array = NDArray[np.float64]


def kernel_tube(line: Centreline, section: Section) -> Any:
    """The filled tube as one compound of exact prisms and revolved bends."""
    half = np.array([section.width, section.height]) / 2
    corners = [half * sign for sign in ((-1, -1), (1, -1), (1, 1), (-1, 1))]
    outline = cq.Wire.makePolygon([cq.Vector(*corner) for corner in corners], close=True)
    if section.corner > 0:
        outline = outline.fillet2D(section.corner, outline.Vertices())
    found = []
    for stretch in line.stretches:
        if stretch.length <= 0:
            continue
        here = stretch.start
        placed = outline.moved(cq.Location(cq.Plane(cq.Vector(*here.at), cq.Vector(*here.s), cq.Vector(*here.t))))
        if stretch.kind == "straight":
            found.append(cq.Solid.extrudeLinear(placed, [], cq.Vector(*(here.t * stretch.length))))
        else:
            centre, above = cq.Vector(*stretch.centre), cq.Vector(*(stretch.centre + stretch.axis))
            found.append(cq.Solid.revolve(placed, [], float(np.degrees(stretch.angle)), centre, above))
    return cq.Compound.makeCompound(found)


def kernel_shape(shape: Box | Sphere | Cylinder | Capsule) -> Any:
    """A keep-clear shape as an exact solid."""
    if isinstance(shape, Box):
        axes = turned(shape.turn)
        plane = cq.Plane(cq.Vector(*shape.at), cq.Vector(*axes[:, 0]), cq.Vector(*axes[:, 2]))
        return cq.Workplane(plane).box(*shape.size).val()
    if isinstance(shape, Sphere):
        return cq.Solid.makeSphere(shape.diameter / 2, cq.Vector(*shape.at), angleDegrees1=-90, angleDegrees2=90)
    start, along = np.array(shape.start), np.subtract(shape.end, shape.start)
    radius, length = shape.diameter / 2, float(np.linalg.norm(along))
    cylinder = cq.Solid.makeCylinder(radius, length, cq.Vector(*start), cq.Vector(*along))
    if isinstance(shape, Cylinder):
        return cylinder
    balls = [
        cq.Solid.makeSphere(radius, cq.Vector(*end), angleDegrees1=-90, angleDegrees2=90)
        for end in (shape.start, shape.end)
    ]
    return cq.Compound.makeCompound([cylinder, *balls])


def carried(solid: Any, rotation: Array, shift: Array) -> Any:
    """A solid rotated and shifted."""
    plane = cq.Plane(cq.Vector(*shift), cq.Vector(*rotation[:, 0]), cq.Vector(*rotation[:, 2]))
    return solid.moved(cq.Location(plane))


def kernel_distance(first: Any, second: Any) -> float:
    """The kernel's exact distance; 0 where they overlap, and where one lies wholly within a solid of the other."""
    distance = float(BRepExtrema_DistShapeShape(first.wrapped, second.wrapped).Value())
    if distance > 0 and (_holds(first, second) or _holds(second, first)):
        return 0.0
    return distance


def _holds(outer: Any, inner: Any) -> bool:
    points = [solid.Vertices()[0].Center() for solid in inner.Solids()]
    return any(solid.isInside(point) for solid in outer.Solids() for point in points)
