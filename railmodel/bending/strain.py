"""What a bend does to the tube's wall, and the smallest offset a die can make.

Plain geometry (plane sections stay plane, volume kept), good for a warning and never for a promise: support from
mandrel and dies lets a bend exceed the tensile elongation (common practice, no source).
"""

from dataclasses import dataclass
from math import inf, pi, sin, sqrt, tan

from railmodel.errors import GeometryError


@dataclass(frozen=True, slots=True, kw_only=True)
class WallEstimate:
    """Strain and wall after a bend, estimates.

    Args:
        outer_strain: strain of the outermost fibre, positive is stretch.
        inner_strain: strain of the innermost fibre, negative is squeeze.
        outer_wall: wall on the outside of the bend at its thinnest, mm.
        inner_wall: wall on the inside of the bend at its thickest, mm.
        outer_wall_free: outside wall if the tube were free to narrow, mm; the real wall lies between the two.
    """

    outer_strain: float
    inner_strain: float
    outer_wall: float
    inner_wall: float
    outer_wall_free: float


def wall_after_bend(*, depth: float, wall: float, radius: float, shift: float = 0.0) -> WallEstimate:
    """Strain and wall of a bend.

    Strain: (depth / 2 + shift) / (radius - shift) outside, -(depth / 2 - shift) / (radius - shift) inside. Walls:
    wall x 2R / (2R + depth) outside (constant volume with the neutral axis at the centre, the usual boiler-tube
    rule, depth in place of diameter); the mirror form wall x 2R / (2R - depth) inside (from memory).

    Args:
        depth: section dimension in the plane of the bend, mm.
        wall: wall before the bend, mm.
        radius: centreline radius, mm.
        shift: how far the neutral axis lies inside the centreline, mm (stretch fraction x radius).

    Raises:
        GeometryError: a radius not above half the depth.

    >>> round(wall_after_bend(depth=101.6, wall=3.048, radius=254).outer_strain, 3)
    0.2
    """
    if not depth / 2 < radius < inf:
        raise GeometryError(
            f"radius {radius:g} is too small for a section {depth:g} deep in the bend plane: "
            f"it must be above {depth / 2:g}; give the centreline radius"
        )
    outer = (depth / 2 + shift) / (radius - shift)
    return WallEstimate(
        outer_strain=outer,
        inner_strain=-(depth / 2 - shift) / (radius - shift),
        outer_wall=wall * 2 * radius / (2 * radius + depth),
        inner_wall=wall * 2 * radius / (2 * radius - depth),
        outer_wall_free=wall / sqrt(1 + outer),
    )


def smallest_offset(*, radius: float, between: float, angle: float) -> float:
    """Smallest sideways step an offset (two equal opposite bends) can have, mm.

    h = (2 R tan(angle / 2) + between) sin(angle): the straight between the bends cannot be shorter than the die's
    `between`.

    Args:
        radius: centreline radius of both bends, mm.
        between: least straight between bends on this die, mm.
        angle: bend angle, radians, above 0 and below pi.
    """
    return (2 * radius * tan(angle / 2) + between) * sin(angle)


def largest_angle_for_offset(*, radius: float, between: float, offset: float) -> float:
    """Largest bend angle (radians, up to a quarter turn) at which an offset of this size can still be bent.

    Smaller angles need less room: where even a small angle cannot make the step the answer goes to 0 with it.

    Args:
        radius: centreline radius, mm.
        between: least straight between bends, mm.
        offset: sideways step wanted, mm, above 0.
    """
    low, high = 0.0, pi / 2
    if smallest_offset(radius=radius, between=between, angle=high) <= offset:
        return high
    for _ in range(60):
        middle = (low + high) / 2
        if smallest_offset(radius=radius, between=between, angle=middle) <= offset:
            low = middle
        else:
            high = middle
    return low
