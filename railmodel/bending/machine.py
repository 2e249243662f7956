"""The bender and what stands around it, for the rehearsal.

Bender axes (mm): origin at the start tangent on the tube's centreline, x toward the lead, z up; the die axis is at
y = +radius for a counter-clockwise bender, -radius for a clockwise one.
"""

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from railmodel.bending.pose import Swing, X, Y, Z
from railmodel.errors import GeometryError
from railmodel.geometry.rows import Array
from railmodel.job.shop import Bender, Solid

Moves = Literal["fixed", "arm"]


@dataclass(frozen=True, slots=True, eq=False)
class MachineSolid:
    """A box or a cylinder, as a spread of corners (and, for a cylinder, round discs about them).

    Args:
        name: what the shop calls it.
        moves: "arm" when it swings with the bending arm about the die axis.
        centre: (3,), mm.
        turn: (3, 3) its own axes as columns; a cylinder lies along its z.
        half: (3,) half sizes along its own axes, mm; a cylinder's first two are its radius.
        round: whether it is a cylinder.
    """

    name: str
    moves: Moves
    centre: Array
    turn: Array
    half: Array
    round: bool = False

    @classmethod
    def box(
        cls,
        name: str,
        at: tuple[float, float, float],
        size: tuple[float, float, float],
        turn: tuple[float, float, float] = (0.0, 0.0, 0.0),
        moves: Moves = "fixed",
    ) -> "MachineSolid":
        """A box by its centre, full sizes (mm) and turns about x, then y, then z of the bender (radians).

        Raises:
            GeometryError: a size that is not above 0.
        """
        half = np.array(size, dtype=float) / 2
        if not np.all(half > 0):
            raise GeometryError(f"{name}: size {list(size)} is no box: every side must be above 0")
        axes = np.eye(3)
        for axis, angle in zip((X, Y, Z), turn, strict=True):
            axes = Swing((0, 0, 0), axis, 0.0, angle).matrix(1.0)[:3, :3] @ axes
        return cls(name, moves, np.array(at, dtype=float), axes, half)

    @classmethod
    def cylinder(
        cls,
        name: str,
        start: tuple[float, float, float],
        end: tuple[float, float, float],
        diameter: float,
        moves: Moves = "fixed",
    ) -> "MachineSolid":
        """A cylinder between the centres of its end discs, mm.

        Raises:
            GeometryError: ends at one place, or a diameter that is not above 0.
        """
        along = np.array(end, dtype=float) - np.array(start, dtype=float)
        length = float(np.linalg.norm(along))
        if not length > 0 or not diameter > 0:
            raise GeometryError(f"{name}: a cylinder needs two ends apart and a diameter above 0")
        z = along / length
        x = np.cross(np.eye(3)[np.argmin(np.abs(z))], z)
        x /= np.linalg.norm(x)
        half = np.array([diameter / 2, diameter / 2, length / 2])
        middle = (np.array(start, dtype=float) + np.array(end, dtype=float)) / 2
        return cls(name, moves, middle, np.stack([x, np.cross(z, x), z], axis=-1), half, round=True)

    @classmethod
    def of(cls, solid: Solid, number: int) -> "MachineSolid":
        """From the shop file; a solid without a name is called by its number."""
        name = solid.name or f"solid {number}"
        if solid.box is not None:
            return cls.box(name, solid.box.at, solid.box.size, solid.box.turn, solid.moves)
        assert solid.cylinder is not None
        return cls.cylinder(name, solid.cylinder.start, solid.cylinder.end, solid.cylinder.diameter, solid.moves)

    @property
    def corners(self) -> Array:
        """(8, 3) corners of a box, (2, 3) disc centres of a cylinder, mm."""
        if self.round:
            ends: Array = self.centre + np.array([[-1.0], [1.0]]) * self.half[2] * self.turn[:, 2]
            return ends
        signs = np.array([[a, b, c] for a in (-1, 1) for b in (-1, 1) for c in (-1, 1)], dtype=float)
        corners: Array = self.centre + (signs * self.half) @ self.turn.T
        return corners

    @property
    def disc(self) -> float:
        """Radius of the discs about the corners, mm; 0 for a box."""
        return float(self.half[0]) if self.round else 0.0

    def solid(self) -> Any:
        """As a shape of the collision library, in its own axes."""
        import coal

        if self.round:
            return coal.Cylinder(float(self.half[0]), float(2 * self.half[2]))
        return coal.Box(2 * self.half)


@dataclass(frozen=True, slots=True, kw_only=True)
class Machine:
    """One bender.

    Args:
        bends: its sense, seen from above.
        centreline_height: floor to tube centreline, mm; None = not known.
        solids: what stands around it.
        loads: "front" when the tube is pushed over the mandrel rod from ahead of the die, which sweeps its whole
            length there; "side" when it is laid in.
    """

    bends: Literal["clockwise", "counter-clockwise"] = "clockwise"
    centreline_height: float | None = None
    solids: tuple[MachineSolid, ...] = ()
    loads: Literal["front", "side"] = "front"

    @classmethod
    def of(cls, bender: Bender) -> "Machine":
        """From the shop file."""
        return cls(
            bends=bender.bends,
            centreline_height=bender.centreline_height,
            solids=tuple(MachineSolid.of(solid, i + 1) for i, solid in enumerate(bender.solids)),
        )

    @property
    def side(self) -> float:
        """+1 for a counter-clockwise bender, whose die axis is on the +y side, else -1."""
        return 1.0 if self.bends == "counter-clockwise" else -1.0

    def moving(self, moves: Moves) -> tuple[MachineSolid, ...]:
        """The fixed solids, or those on the arm."""
        return tuple(solid for solid in self.solids if solid.moves == moves)
