"""A tube's section inside a bend, as Winkler's curved-beam theory takes it, with the outer wall thinned.

Plane sections stay plane and the section keeps its outline; what bending does to thin curved walls (they flatten and
curl) is not in it. Sources: S. Timoshenko, Strength of Materials, Part II, curved bars; R. Budynas and K. Nisbett,
Shigley's Mechanical Engineering Design, curved beams in bending (both from memory). The walls are those of
`railmodel.bending.strain`: the outer one thinned, and the inner one, which thickens, left as it was.
"""

from dataclasses import dataclass
from functools import lru_cache
from math import cos, pi, sin

import numpy as np

from railmodel.bending.strain import wall_after_bend
from railmodel.geometry.rows import Array
from railmodel.geometry.section import Section

_POINTS, _WEIGHTS = np.polynomial.legendre.leggauss(24)
"""Gauss points for each part of the depth; far more than the last digit shown needs."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BentSection:
    """A section inside a bend; mm.

    Args:
        area: metal area, mm^2.
        shift: how far its centroid lies inside the tube's centreline (the outer wall is thinner).
        radius: of the centroid's circle.
        neutral: radius of the circle that bending alone leaves unstretched.
        across: second moment of area about the axis in the bend plane, mm^4: bending out of the plane.
        torsion: torsion constant, mm^4.
        inside: stress at the innermost fibre of one N mm that closes the bend's plane, 1/mm^3, negative sign left out.
        outside: the same at the outermost fibre.
        factor: `inside` over what a straight tube of the same section would have there.
        outer_wall: wall left on the outside of the bend.
    """

    area: float
    shift: float
    radius: float
    neutral: float
    across: float
    torsion: float
    inside: float
    outside: float
    factor: float
    outer_wall: float

    @property
    def eccentricity(self) -> float:
        """How far the neutral circle lies inside the centroid's."""
        return self.radius - self.neutral

    @property
    def along(self) -> float:
        """Second moment of area that a straight piece along the neutral circle needs to turn as the bend does, mm^4.

        The strain energy of a curved bar is M'^2 / (2 E A e) + N^2 r_n / (2 E A) for each radian, with M' taken about
        the neutral circle; a straight piece r_n long for each radian has the same with I = A e r_n.
        """
        return self.area * self.eccentricity * self.neutral


@lru_cache(maxsize=256)
def bent_section(section: Section, roll: float, radius: float, *, thinned: bool = True) -> BentSection:
    """The section inside a bend.

    Args:
        section: before the bend.
        roll: where the bend goes, from the top face, radians; the nearest face counts.
        radius: of the centreline, mm.
        thinned: whether the outer wall is; False for theory's plain section.

    Raises:
        GeometryError: a radius not above half the depth.
    """
    upright = abs(cos(roll)) >= abs(sin(roll))
    tube = section if upright else section.turned
    estimate = wall_after_bend(depth=tube.height, wall=tube.wall, radius=radius)
    wall = estimate.outer_wall if thinned else tube.wall
    out, width, across, weight = _fibres(tube, wall)
    area = float(np.sum(width * weight))
    shift = -float(np.sum(out * width * weight)) / area
    centroid = radius - shift
    neutral = area / float(np.sum(width * weight / (radius + out)))
    inner, outer = radius - tube.height / 2, radius + tube.height / 2
    lever = area * (centroid - neutral)
    inertia = float(np.sum((out + shift) ** 2 * width * weight))
    straight = (tube.height / 2 - shift) / inertia
    inside = (neutral - inner) / (lever * inner)
    return BentSection(
        area=area, shift=shift, radius=centroid, neutral=neutral, across=float(np.sum(across * weight)),
        torsion=_torsion(tube, wall), inside=inside, outside=(outer - neutral) / (lever * outer),
        factor=inside / straight, outer_wall=wall,
    )  # fmt: skip


def _torsion(tube: Section, outer_wall: float) -> float:
    """The torsion constant with one flat thinned: Bredt's 4 A^2 / (ds / t), scaled from the tube's own."""
    flat = tube.width - 2 * tube.corner
    whole = tube.girth - pi * tube.wall  # round the middle of the wall
    return tube.torsion_constant * whole / (whole + flat * (tube.wall / outer_wall - 1))


def _fibres(tube: Section, outer_wall: float) -> tuple[Array, Array, Array, Array]:
    """Places (n,) across the depth, outward positive from the centreline, with the metal there.

    Returns:
        Places, width of metal, its second moment per depth about the middle of the width, and Gauss weights.
    """
    height, corner, inside = tube.height, tube.corner, tube.inside_corner
    high = height / 2 - outer_wall
    low = -height / 2 + tube.wall
    borders = {-height / 2, -height / 2 + corner, low, low + inside, high - inside, high, height / 2 - corner}
    edges = np.array(sorted({*borders, height / 2}))
    half = np.diff(edges) / 2
    # near the start of a rounding the width goes as a square root; the square of the Gauss variable takes that out
    places = (edges[:-1] + half)[:, None] + half[:, None] * np.sin(_POINTS * np.pi / 2)
    weight = half[:, None] * _WEIGHTS * np.pi / 2 * np.cos(_POINTS * np.pi / 2)
    out = places.ravel()
    outer = _chord(out, -height / 2, height / 2, tube.width, corner)
    hollow = _chord(out, low, high, tube.width - 2 * tube.wall, inside)
    return out, outer - hollow, (outer**3 - hollow**3) / 12, weight.ravel()


def _chord(at: Array, low: float, high: float, width: float, corner: float) -> Array:
    """Width of a rounded rectangle at places along its height; 0 beyond it."""
    into = np.minimum(at - low, high - at)
    deep = np.clip(corner - into, 0.0, corner)
    rounded = width - 2 * (corner - np.sqrt(np.maximum(corner**2 - deep**2, 0.0)))
    return np.where(into >= 0, rounded, 0.0)
