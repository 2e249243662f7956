"""Springback without a test bend: elastic core and yielded rims of the tube wall, unloaded elastically.

While the tube is held on the die its curvature is 1/R and its moment M follows from an elastic, ideally plastic
fibre law; letting go takes M / (E I) off the curvature: 1/R_f = 1/R - M / (E I). The arc keeps its length, so
the part of the set angle that is lost is m = R M / (E I).
Sources: J. H. Gardiner, Trans. ASME 79 (1957) 1-9; Marciniak, Duncan & Hu, Mechanics of Sheet Metal Forming, ch. 6
(chapter from memory). Hardening, flattening of the section, axial pull and the bender's own give are not in it:
published round-tube studies found such models 14 to 39 % off (Science Progress 2021, doi
10.1177/0036850420984303), so every use of it is labelled an estimate.
"""

from dataclasses import dataclass
from math import asin, inf, isfinite, radians, sqrt

from railmodel.errors import GeometryError
from railmodel.geometry.section import Section

STEEL_MODULUS: float = 200_000.0
"""Young's modulus of steel, MPa (29 000 ksi in AISC 360, rounded)."""

LIKELY_YIELD: float = 1.3
"""Real yield over the least yield, likely: 46 ksi tube often tests 55 to 65 ksi (common practice, no source)."""

HIGH_YIELD: float = 1.5
"""Real yield over the least yield, high (common practice, no source)."""

HIGH_HARDENING: float = 1.1
"""Flow stress over yield at the strains of a tight bend, high (common practice, no source)."""

HIGH_FIXED: float = radians(1.5)
"""Largest fixed part: take-up, clamp slip, arm deflection. Shops see 1 to 3 degrees in all at 90 (common practice,
no source); what the material alone does not explain is mostly fixed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """Springback = fixed + proportional x finished angle, estimated from the material.

    Args:
        low: least proportional part (yield as promised by the grade, no hardening).
        likely: likely proportional part.
        high: greatest proportional part.
        fixed_high: greatest fixed part, radians; the least and the likely fixed part are 0, because a bend a little
            low can be pulled again and one too far cannot.
        source: one phrase that says what it was computed from.
    """

    low: float
    likely: float
    high: float
    fixed_high: float
    source: str


def solid_moment(
    height: float, width: float, corner: float, *, curvature: float, yield_stress: float, modulus: float
) -> float:
    """Bending moment (N mm) of a solid rounded rectangle at a curvature, elastic and ideally plastic. Exact.

    Args:
        height: depth in the plane of the bend, mm.
        width: across it, mm.
        corner: corner radius, mm.
        curvature: 1 / radius, 1/mm.
        yield_stress: MPa.
        modulus: Young's modulus, MPa.
    """
    half = height / 2
    core = min(half, yield_stress / (modulus * curvature))
    first_core, second_core = _moments_to(core, half, width, corner)
    first_all, _ = _moments_to(half, half, width, corner)
    return 2 * (modulus * curvature * second_core + yield_stress * (first_all - first_core))


def tube_moment(section: Section, *, curvature: float, yield_stress: float, modulus: float = STEEL_MODULUS) -> float:
    """Bending moment (N mm) of a tube about its `s` axis (depth = `height`) at a curvature.

    The stress depends on the height alone, so the hollow is the outer solid less the inner one, exactly.
    """
    outer = solid_moment(
        section.height,
        section.width,
        section.corner,
        curvature=curvature,
        yield_stress=yield_stress,
        modulus=modulus,
    )
    inner = solid_moment(
        section.height - 2 * section.wall,
        section.width - 2 * section.wall,
        section.inside_corner,
        curvature=curvature,
        yield_stress=yield_stress,
        modulus=modulus,
    )
    return outer - inner


def _moments_to(limit: float, half: float, width: float, corner: float) -> tuple[float, float]:
    """Integrals of y b and y^2 b over 0 <= y <= limit, b the breadth of a rounded rectangle at y."""
    flat = min(limit, half - corner)
    first, second = width * flat**2 / 2, width * flat**3 / 3
    into = limit - (half - corner)
    if corner > 0 and into > 0:
        straight = width - 2 * corner
        start, stop = half - corner, limit
        first += straight * (stop**2 - start**2) / 2
        second += straight * (stop**3 - start**3) / 3
        into = min(into, corner)
        rise = sqrt(max(corner**2 - into**2, 0.0))
        swept = (into * rise + corner**2 * asin(into / corner)) / 2  # integral of sqrt(r^2 - u^2)
        once = (corner**3 - rise**3) / 3  # of u sqrt(r^2 - u^2)
        twice = (corner**2 * swept - into * rise**3) / 4  # of u^2 sqrt(r^2 - u^2)
        first += 2 * (start * swept + once)
        second += 2 * (start**2 * swept + 2 * start * once + twice)
    return first, second


def lost_fraction(section: Section, *, radius: float, yield_stress: float, modulus: float = STEEL_MODULUS) -> float:
    """Part of the set angle lost when the tube is let go: m = R M / (E I), bending about `s`.

    Args:
        section: the tube with its `height` in the plane of the bend (see `lying`).
        radius: centreline radius while the tube is held on the die, mm.
        yield_stress: MPa.
        modulus: Young's modulus, MPa.

    Raises:
        GeometryError: a radius not above half the depth, or a stress that is not positive.
    """
    if not section.height / 2 < radius < inf:
        raise GeometryError(
            f"radius {radius:g} is too small for a section {section.height:g} deep in the bend plane: "
            f"it must be above {section.height / 2:g}; give the centreline radius"
        )
    if not (yield_stress > 0 and isfinite(yield_stress)):
        raise GeometryError(f"yield {yield_stress:g} MPa is not a strength: it must be above 0")
    moment = tube_moment(section, curvature=1 / radius, yield_stress=yield_stress, modulus=modulus)
    return radius * moment / (modulus * section.inertia_s)


def loaded_radius(section: Section, *, finished: float, yield_stress: float, modulus: float = STEEL_MODULUS) -> float:
    """Radius on the die (mm) that springs back to a finished radius, by repeated substitution.

    Raises:
        GeometryError: the tube springs straight again: no radius on the die leaves the finished one.
    """
    radius = finished
    for _ in range(200):
        after = finished * (1 - lost_fraction(section, radius=radius, yield_stress=yield_stress, modulus=modulus))
        after = max(after, section.height / 2 * (1 + 1e-9))
        if abs(after - radius) <= 1e-12 * finished:
            return after
        radius = after
    raise GeometryError(
        f"no radius on the die springs back to {finished:g} with yield {yield_stress:g} MPa; check radius and yield"
    )


def lying(section: Section, way: str) -> Section:
    """The section turned so that its height lies in the plane of a hard-way or easy-way bend."""
    deep = section.height >= section.width
    return section if deep == (way == "hard") else section.turned


def estimate_springback(
    section: Section,
    *,
    way: str,
    radius: float,
    yield_stress: float,
    grade: str,
    tool_radius: float | None = None,
    modulus: float = STEEL_MODULUS,
) -> Estimate:
    """Springback of a tube on a die, estimated from section, radius and least yield.

    Low, likely and high take the yield at 1.0, 1.3 and 1.5 x 1.1 times the grade's minimum. The proportional part is
    m / (1 - m): springback over finished angle.

    Args:
        section: the tube.
        way: "hard" or "easy".
        radius: finished centreline radius of the die, mm.
        yield_stress: the grade's least yield, MPa.
        grade: what the yield was taken from, for the source line.
        tool_radius: radius on the die, mm; computed from `radius` when left out.
        modulus: Young's modulus, MPa.

    Raises:
        GeometryError: see `lost_fraction`.
    """
    turned = lying(section, way)

    def part(factor: float) -> float:
        stress = factor * yield_stress
        loaded = tool_radius
        if loaded is None:
            loaded = loaded_radius(turned, finished=radius, yield_stress=stress, modulus=modulus)
        lost = lost_fraction(turned, radius=loaded, yield_stress=stress, modulus=modulus)
        return lost / (1 - lost)

    return Estimate(
        low=part(1.0),
        likely=part(LIKELY_YIELD),
        high=part(HIGH_YIELD * HIGH_HARDENING),
        fixed_high=HIGH_FIXED,
        source=(
            f"elastic-plastic bending of the {way} way, least yield {yield_stress:.0f} MPa ({grade}) "
            f"taken 1.0 to {HIGH_YIELD * HIGH_HARDENING:g} times; no test bend yet"
        ),
    )
