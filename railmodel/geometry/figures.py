"""Volume, surface area and centroid of exact solids, in closed form. mm.

Swept tubes by the theorems of Pappus and Guldin: a plane outline carried square along a path through its centroid
sweeps its area times the path's length, and its rim sweeps its length times the path's length. A bend's centroid lies
farther out than its centreline's, because there is more metal on the outside of a bend than on the inside.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import cos, pi, sin

import numpy as np

from railmodel.geometry.centreline import Centreline, Stretch
from railmodel.geometry.flat_outline import Edge, Outline
from railmodel.geometry.rows import Array
from railmodel.geometry.section import Section


@dataclass(frozen=True, slots=True)
class Figures:
    """What a solid measures.

    Args:
        volume: mm^3.
        area: of its whole surface, mm^2.
        centroid: of its volume, mm.
    """

    volume: float
    area: float
    centroid: tuple[float, float, float]


def total(every: Iterable[Figures]) -> Figures:
    """Several solids taken together.

    >>> total([Figures(1, 6, (0, 0, 0)), Figures(3, 20, (4, 0, 0))])
    Figures(volume=4, area=26, centroid=(3.0, 0.0, 0.0))
    """
    found = list(every)
    volume, area = sum(one.volume for one in found), sum(one.area for one in found)
    if not volume:
        return Figures(0.0, area, (0.0, 0.0, 0.0))
    moment = np.sum([one.volume * np.array(one.centroid) for one in found], axis=0)
    return Figures(volume, area, _triple(moment / volume))


def swept(line: Centreline, section: Section) -> Figures:
    """A tube with square ends."""
    stretches = [stretch for stretch in line.stretches if stretch.length > 0]
    length = sum(stretch.length for stretch in stretches)
    if not length:
        return Figures(0.0, 2 * section.area, _triple(line.start.at))
    inside = (2 * (section.height + section.width) - 8 * section.wall) - (8 - 2 * pi) * section.inside_corner
    moment = np.sum([stretch.length * _middle(stretch, section) for stretch in stretches], axis=0)
    area = (section.girth + inside) * length + 2 * section.area
    return Figures(section.area * length, area, _triple(moment / length))


def flat(outline: Outline, holes: Sequence[tuple[float, float, float]], thickness: float) -> Figures:
    """A plate with square edges, its back on z = 0: an outline less round holes (x, y, diameter)."""
    area, rim = outline.area, outline.length
    moment = area * _centre(outline)
    for x, y, diameter in holes:
        area -= pi * diameter**2 / 4
        rim += pi * diameter
        moment = moment - pi * diameter**2 / 4 * np.array([x, y])
    middle = np.append(moment / area, thickness / 2)
    return Figures(area * thickness, 2 * area + rim * thickness, _triple(middle))


def box(at: Sequence[float], size: Sequence[float]) -> Figures:
    """A box of full sizes about its centre, however it is turned."""
    a, b, c = size
    return Figures(a * b * c, 2 * (a * b + b * c + c * a), _triple(at))


def ball(at: Sequence[float], diameter: float) -> Figures:
    """A sphere."""
    return Figures(pi * diameter**3 / 6, pi * diameter**2, _triple(at))


def rod(start: Sequence[float], end: Sequence[float], diameter: float, *, rounded: bool) -> Figures:
    """A cylinder between the middles of its two ends, with half a ball on each where it is `rounded`."""
    first, last = np.array(start, dtype=float), np.array(end, dtype=float)
    length = float(np.linalg.norm(last - first))
    ends = ball(start, diameter)
    volume = pi * diameter**2 / 4 * length + (ends.volume if rounded else 0.0)
    area = pi * diameter * length + (ends.area if rounded else pi * diameter**2 / 2)
    return Figures(volume, area, _triple((first + last) / 2))


def _middle(stretch: Stretch, section: Section) -> Array:
    """(3,) centroid of the metal of one straight or bend."""
    if stretch.kind == "straight":
        return np.asarray(stretch.start.at + stretch.length / 2 * stretch.start.t)
    # second moments of the section about its own centre, per area: outward from the bend's axis, and mixed with height
    sine, cosine = sin(stretch.roll), cos(stretch.roll)
    across, up = section.inertia_u / section.area, section.inertia_s / section.area
    outward = across * sine**2 + up * cosine**2
    mixed = sine * cosine * (up - across)
    half = stretch.angle / 2
    reach = (stretch.radius + outward / stretch.radius) * sin(half) / half
    toward = -(cos(half) * stretch.inward - sin(half) * stretch.start.t)
    return np.asarray(stretch.centre + reach * toward + mixed / stretch.radius * stretch.axis)


def _centre(outline: Outline) -> Array:
    """(2,) centroid of the area inside: that of the polygon and of the segments its arcs cut off."""
    points = outline.points
    ends = np.roll(points, -1, axis=0)
    doubled = points[:, 0] * ends[:, 1] - ends[:, 0] * points[:, 1]
    moment = np.sum(doubled[:, None] * (points + ends), axis=0) / 6
    for edge in outline.edges:
        if edge.turn:
            moment = moment + _segment(edge)
    return np.asarray(moment / outline.area)


def _segment(edge: Edge) -> Array:
    """(2,) area times centroid of what lies between an arc and its chord, negative where it turns clockwise."""
    area = edge.radius**2 / 2 * (edge.turn - sin(edge.turn))
    out = (edge.points(np.array([0.5]))[0] - edge.centre) / edge.radius  # from the centre to the middle of the arc
    return np.asarray(area * edge.centre + 2 * edge.radius**3 / 3 * sin(edge.turn / 2) ** 3 * out)


def _triple(vector: Sequence[float] | Array) -> tuple[float, float, float]:
    x, y, z = (float(value) + 0.0 for value in vector)
    return x, y, z
