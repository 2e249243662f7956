"""Tube used by a one-bend test piece, from its blank length and its two legs."""

from math import tan
from typing import Literal

MeasuredTo = Literal["apex", "tangent", "outside", "inside"]
"""Where the legs of a test piece were measured to, each from its cut end:

apex: where the two centrelines meet; tangent: where the straight ends; outside: the corner where the outer faces
meet; inside: the corner where the inner faces meet.
"""


def tube_used_from_legs(
    *,
    blank_length: float,
    leg_a: float,
    leg_b: float,
    measured_to: MeasuredTo,
    angle: float,
    radius: float,
    depth: float,
) -> float:
    """Stock a bend took up: the blank less the two straights, mm.

    Legs to the apex hold the set-back R tan(angle / 2) on top of the straight; legs to the outside corner hold
    (depth / 2) tan(angle / 2) more, to the inside corner as much less.

    Args:
        blank_length: flat length before the bend, mm.
        leg_a: one leg, mm.
        leg_b: the other leg, mm.
        measured_to: where the legs were measured to.
        angle: finished angle, radians.
        radius: finished centreline radius, mm.
        depth: section dimension in the plane of the bend, mm.
    """
    reach = {"apex": radius, "tangent": 0.0, "outside": radius + depth / 2, "inside": radius - depth / 2}[measured_to]
    return blank_length - (leg_a + leg_b - 2 * reach * tan(angle / 2))
