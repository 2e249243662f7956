"""The yardstick of test_bench_build.py: bare cadquery imports, sweeps a job's parts and exports one STEP assembly.

Run as `python bare_sweep.py LINES.json OUT.step`; LINES.json holds each part's section and centreline as plain numbers.
"""

import json
import sys
from pathlib import Path

import cadquery as cq


def sweep(part: dict) -> cq.Solid:
    """One tube swept along its straights and arcs: the kernel's sweep of an outline with a hole in it."""
    plane = cq.Plane(origin=tuple(part["at"]), xDir=tuple(part["s"]), normal=tuple(part["t"]))
    edges = []
    for piece in part["pieces"]:
        points = [cq.Vector(*point) for point in piece]
        edges.append(cq.Edge.makeLine(*points) if len(points) == 2 else cq.Edge.makeThreePointArc(*points))
    height, width, wall, corner = (part[name] for name in ("height", "width", "wall", "corner"))
    outer = outline(plane, width, height, corner)
    inner = outline(plane, width - 2 * wall, height - 2 * wall, corner - wall)
    return cq.Solid.sweep(outer, [inner], cq.Wire.assembleEdges(edges))


def outline(plane: cq.Plane, width: float, height: float, radius: float) -> cq.Wire:
    """A rounded rectangle in a plane."""
    flat = cq.Wire.makePolygon(
        [cq.Vector(x * width / 2, y * height / 2) for x, y in ((-1, -1), (1, -1), (1, 1), (-1, 1))], close=True
    )
    rounded = flat.fillet2D(radius, flat.Vertices())
    return rounded.moved(cq.Location(plane))


if __name__ == "__main__":
    assembly = cq.Assembly(name="frame")
    for part in json.loads(Path(sys.argv[1]).read_text()):
        assembly.add(sweep(part), name=part["name"])
    assembly.export(sys.argv[2])
