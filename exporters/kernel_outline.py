"""The outlines that solids are built from, and what the kernel needs of them."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import pi
from typing import Any

import numpy as np

from railmodel.geometry.rows import Array

KERNEL = 1e-7
"""mm; the kernel's own tolerance: points closer than this are one vertex to it."""


@dataclass(frozen=True, slots=True)
class Arc:
    """A rounded corner: centre (s, u) and radius, mm, and the polar angle from s where its quarter turn begins."""

    s: float
    u: float
    radius: float
    begin: float

    @property
    def turn(self) -> tuple[float, float]:
        """Polar angles where it begins and ends."""
        return self.begin, self.begin + pi / 2


@dataclass(frozen=True, slots=True)
class Outline:
    """Corner points (m, 2) as (s, u), mm, and the side from each to the next: a rounded corner, or None if flat.

    Counter-clockwise seen against the travel direction.
    """

    points: Array
    arcs: tuple[Arc | None, ...]

    @property
    def centres(self) -> Array:
        """(m, 2) centre of each side's arc; the side's first point where it is flat."""
        pairs = zip(self.arcs, self.points, strict=True)
        return np.array([point if arc is None else (arc.s, arc.u) for arc, point in pairs])

    @property
    def outward(self) -> Array:
        """(m, 2) direction out of the outline square to the chord of each side, not unit length."""
        chord = np.roll(self.points, -1, axis=0) - self.points
        return np.stack([chord[:, 1], -chord[:, 0]], axis=-1)


def outline_of(height: float, width: float, corner: float) -> Outline:
    """A rounded rectangle; sides and corners of no length are left out."""
    corner = corner if corner > KERNEL else 0.0
    reach_s, reach_u = width / 2 - corner, height / 2 - corner
    points: list[tuple[float, float]] = []
    arcs: list[Arc | None] = []
    for quarter, (s, u) in enumerate(((1, 1), (-1, 1), (-1, -1), (1, -1))):
        centre_s, centre_u = s * reach_s, u * reach_u
        out = ((1, 0), (0, 1), (-1, 0), (0, -1), (1, 0))
        if corner:
            points.append((centre_s + corner * out[quarter][0], centre_u + corner * out[quarter][1]))
            arcs.append(Arc(centre_s, centre_u, corner, quarter * pi / 2))
        if 2 * (reach_u if quarter % 2 else reach_s) > KERNEL:
            points.append((centre_s + corner * out[quarter + 1][0], centre_u + corner * out[quarter + 1][1]))
            arcs.append(None)
    return Outline(np.array(points), tuple(arcs))


def wire_of(edges: Sequence[Any]) -> Any:
    """A closed wire of edges in order."""
    from OCP.BRep import BRep_Builder
    from OCP.TopoDS import TopoDS_Wire

    builder, wire = BRep_Builder(), TopoDS_Wire()
    builder.MakeWire(wire)
    for edge in edges:
        builder.Add(wire, edge)
    wire.Closed(True)
    return wire
