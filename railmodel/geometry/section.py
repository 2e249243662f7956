"""Rounded-rectangle tube sections and their exact properties.

Formulas: outer solid less inner solid of two rounded rectangles, the form given in EN 10219-2 for calculating
section properties (annex letter from memory). Axes are the tube frame's: `s` lies across the width, `u` up the
height, so bending in the side view is about `s` and bending in the plan view is about `u`.
"""

from dataclasses import dataclass, replace
from math import cos, pi, sin

from railmodel.errors import GeometryError

STEEL_DENSITY: float = 7.85e-6
"""kg/mm^3, the value EN 10219-2 tables use."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """A rectangular tube section, all lengths in millimetres.

    Args:
        height: outside dimension along `u` (stands vertical in the rail as built).
        width: outside dimension along `s`.
        wall: wall thickness.
        corner: outside corner radius.
        inside: inside corner radius; None = `corner - wall`, not below 0, as cold-formed tube has it. Hot-finished
            tube to EN 10210-2 has 1.0 x wall inside and 1.5 x wall outside.

    Raises:
        GeometryError: a dimension that is not positive, a wall or corner that does not fit.

    >>> Section(height=100, width=50, wall=4, corner=8).area
    1094.796...
    >>> Section(height=50, width=50, wall=30, corner=60)
    Traceback (most recent call last):
        ...
    railmodel.errors.GeometryError: wall 30 does not fit a 50 x 50 section: it must be less than 25, ...
    """

    height: float
    width: float
    wall: float
    corner: float
    inside: float | None = None

    def __post_init__(self) -> None:
        for name in ("height", "width", "wall"):
            if not 0 < getattr(self, name) < float("inf"):
                raise GeometryError(f"{name} {getattr(self, name):g} is not a length: it must be above 0")
        half = min(self.height, self.width) / 2
        size = f"{self.height:g} x {self.width:g}"
        if self.wall >= half:
            raise GeometryError(
                f"wall {self.wall:g} does not fit a {size} section: it must be less than {half:g}, "
                "half the smaller side; choose a thinner wall"
            )
        if not 0 <= self.corner <= half:
            raise GeometryError(
                f"corner {self.corner:g} does not fit a {size} section: it must be from 0 to {half:g}, "
                "half the smaller side; choose a smaller corner radius"
            )
        if not 0 <= self.inside_corner <= half - self.wall:
            raise GeometryError(
                f"inside corner {self.inside_corner:g} does not fit a {size} section of wall {self.wall:g}: it must be "
                f"from 0 to {half - self.wall:g}; choose a smaller inside radius"
            )

    @property
    def round(self) -> bool:
        """Whether it is a circle: a square whose corners meet."""
        return self.height == self.width == 2 * self.corner

    @property
    def inside_corner(self) -> float:
        """Inside corner radius, mm."""
        return max(self.corner - self.wall, 0.0) if self.inside is None else self.inside

    @property
    def area(self) -> float:
        """Metal area, mm^2."""
        return self._outer("area") - self._inner("area")

    @property
    def inertia_s(self) -> float:
        """Second moment of area about `s` (depth = height), mm^4."""
        return self._outer("inertia") - self._inner("inertia")

    @property
    def inertia_u(self) -> float:
        """Second moment of area about `u` (depth = width), mm^4."""
        return self.turned.inertia_s

    @property
    def elastic_modulus_s(self) -> float:
        """Elastic section modulus S about `s`, mm^3."""
        return self.inertia_s / (self.height / 2)

    @property
    def elastic_modulus_u(self) -> float:
        """Elastic section modulus S about `u`, mm^3."""
        return self.turned.elastic_modulus_s

    @property
    def plastic_modulus_s(self) -> float:
        """Plastic section modulus Z about `s`, mm^3."""
        return self._outer("plastic") - self._inner("plastic")

    @property
    def plastic_modulus_u(self) -> float:
        """Plastic section modulus Z about `u`, mm^3."""
        return self.turned.plastic_modulus_s

    @property
    def torsion_constant(self) -> float:
        """Torsion constant J, mm^4, in the EN 10219-2 form: t^3 h / 3 + 2 K A_h.

        Within 0.4 % of finite elements. The handbook value of American tables is `torsion_constant_thin_wall`.
        """
        midline, enclosed = self._midline()
        return self.wall**3 * midline / 3 + 4 * enclosed**2 * self.wall / midline

    @property
    def torsion_constant_thin_wall(self) -> float:
        """Torsion constant J, mm^4, in the thin-wall (Bredt) form 4 A_h^2 t / h that AISC tables print."""
        midline, enclosed = self._midline()
        return 4 * enclosed**2 * self.wall / midline

    @property
    def torsion_modulus(self) -> float:
        """Torsional section modulus W_t, mm^3, in the EN 10219-2 form I_t / (t + K / t)."""
        midline, enclosed = self._midline()
        return self.torsion_constant / (self.wall + 2 * enclosed / midline)

    @property
    def girth(self) -> float:
        """Outside surface per length: the length of the outside outline, mm."""
        return 2 * (self.height + self.width) - (8 - 2 * pi) * self.corner

    def mass_per_length(self, density: float = STEEL_DENSITY) -> float:
        """Mass per length, kg/mm, for a density in kg/mm^3."""
        return self.area * density

    @property
    def turned(self) -> "Section":
        """The same tube with height and width exchanged."""
        return replace(self, height=self.width, width=self.height)

    def reach(self, roll: float) -> float:
        """How far the tube reaches from its centre in the direction of a roll (radians from the top face), mm."""
        across, up = self.width / 2 - self.corner, self.height / 2 - self.corner
        return abs(across * sin(roll)) + abs(up * cos(roll)) + self.corner

    def _outer(self, what: str) -> float:
        return _solid(self.height, self.width, self.corner, what)

    def _inner(self, what: str) -> float:
        return _solid(self.height - 2 * self.wall, self.width - 2 * self.wall, self.inside_corner, what)

    def _midline(self) -> tuple[float, float]:
        radius = (self.corner + self.inside_corner) / 2
        height, width = self.height - self.wall, self.width - self.wall
        return 2 * (height + width) - 2 * radius * (4 - pi), height * width - radius**2 * (4 - pi)


def _solid(height: float, width: float, radius: float, what: str) -> float:
    """Area, second moment or plastic modulus of a solid rounded rectangle about its horizontal axis."""
    spandrel = (1 - pi / 4) * radius**2  # what one rounded corner takes away
    arm = height / 2 - radius * (10 - 3 * pi) / (12 - 3 * pi)
    if what == "area":
        return width * height - 4 * spandrel
    if what == "plastic":
        return width * height**2 / 4 - 4 * spandrel * arm
    own = (1 / 3 - pi / 16 - 1 / (3 * (12 - 3 * pi))) * radius**4
    return width * height**3 / 12 - 4 * (own + spandrel * arm**2)
