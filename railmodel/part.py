"""One bent tube in the vehicle: section, centreline, faces by name, and how its table is read."""

from dataclasses import dataclass, replace
from functools import cached_property
from math import inf, pi
from typing import Literal

import numpy as np

from railmodel.geometry.centreline import Centreline
from railmodel.geometry.path import Offset
from railmodel.geometry.rows import Array
from railmodel.geometry.section import Section

Hand = Literal["left", "right", "single"]
End = Literal["front", "rear"]
Way = Literal["hard", "easy"]
Face = Literal["top", "bottom", "inboard", "outboard", "left", "right"]

EndKind = Literal["square", "mitred", "coped"]

OPPOSITE: dict[Face, Face] = {
    "top": "bottom", "bottom": "top", "inboard": "outboard", "outboard": "inboard", "left": "right", "right": "left",
}  # fmt: skip


def way_at(section: Section, roll: float) -> Way:
    """Hard or easy way for a bend at a roll (radians from the top face; the nearest face counts)."""
    upright = round(roll / (pi / 2)) % 2 == 0
    depth = section.height if upright else section.width
    return "hard" if depth == max(section.height, section.width) else "easy"


@dataclass(frozen=True, slots=True)
class Bend:
    """What a bend is called and how it lies on the tube, numbered from the end its table is read from.

    Args:
        number: 1 at the first bend.
        written: its number counted from the part's front end, as written in the job.
        toward: the face the tube bends toward (the nearest one, where the roll is not legal).
        way: "hard" when the bend plane holds the section's larger dimension, else "easy"; square tube is "hard".
        die: name of the die in the shop file, None where the job gave a radius only.
        off: roll beyond the nearest legal quarter turn, radians, right-handed about the travel direction.
    """

    number: int
    written: int
    toward: Face
    way: Way
    die: str | None
    off: float


@dataclass(frozen=True, slots=True, kw_only=True)
class EndCut:
    """How one end of a crossmember is cut.

    Args:
        kind: "square", "mitred" or "coped".
        rail: label of the rail it meets.
        at: (3,) where its axis meets the cut, mm; on a coped or mitred end that is the rail's face, but for a mitred
            one on a hollow face, which stays off it.
        normal: (3,) square to the cut there, looking out of the rail.
        station: along the rail, mm.
        axis: (3,) point on, and
        direction: (3,) direction of, the axis that the cut curves about; None where it is flat.
        radius: radius of that curve, mm.
        hollow: whether the rail's face is hollow there (its metal lies outside the radius).
        angle: between the cut and a square one, radians.
        gap: widest gap that a square or mitred cut leaves to the rail's face along the tube, mm; 0 for a cope.
    """

    kind: EndKind
    rail: str
    at: Array
    normal: Array
    station: float
    axis: Array | None = None
    direction: Array | None = None
    radius: float = inf
    hollow: bool = False
    angle: float = 0.0
    gap: float = 0.0


@dataclass(frozen=True, kw_only=True)
class RailPart:
    """One tube of one hand, placed in vehicle axes (mm).

    Args:
        name: the part's name in the job.
        hand: "left" or "right" of a pair, or "single".
        tube: the tube's name in the job.
        section: its section.
        line: centreline from the part's front end (the first written one) to its rear end.
        sides: names of the faces at +s and -s of `line`.
        dies: die name or None at each bend of `line`.
        leading_end: the end the table is read from.
        seam: the face the weld seam must end up on, if the job says so.
        seam_on: whether the mill puts the seam on a wide or a narrow face, if known.
        grade: steel grade, free text.
        written: how the part was written in the job.
        offsets: offsets the part was written with, each with the number of its first bend from the front.
        cuts: how a crossmember's two ends are cut; None for other parts, whose ends are square.
    """

    name: str
    hand: Hand
    tube: str
    section: Section
    line: Centreline
    sides: tuple[Face, Face] = ("right", "left")
    dies: tuple[str | None, ...] = ()
    leading_end: End = "front"
    seam: Face | None = None
    seam_on: Literal["wide", "narrow"] | None = None
    grade: str | None = None
    written: Literal["points", "path", "rows"] = "points"
    offsets: tuple[tuple[int, Offset], ...] = ()
    cuts: tuple[EndCut, EndCut] | None = None

    @property
    def label(self) -> str:
        """Name with hand, as sheets and trees print it: "side rail right"; a single part is just its name."""
        return self.name if self.hand == "single" else f"{self.name} {self.hand}"

    @cached_property
    def read(self) -> "Reading":
        """The part as its bend table reads it, from the leading end."""
        return self.read_from(self.leading_end)

    def read_from(self, end: End) -> "Reading":
        """The part read from either end; faces keep their names, the order of bends turns round."""
        if end == "front":
            return Reading(part=self, end=end, line=self.line, sides=self.sides)
        return Reading(part=self, end=end, line=self.line.reversed(), sides=(self.sides[1], self.sides[0]))

    def mirrored(self) -> "RailPart":
        """The other hand of a pair."""
        other: Hand = {"left": "right", "right": "left", "single": "single"}[self.hand]  # type: ignore[assignment]
        return replace(self, hand=other, line=self.line.mirrored(), sides=(self.sides[1], self.sides[0]))

    def depth_toward(self, toward: Face) -> float:
        """Section depth in the plane of a bend toward a face, mm."""
        return self.section.height if toward in ("top", "bottom") else self.section.width

    def way_toward(self, toward: Face) -> Way:
        """Hard or easy way for a bend toward a face."""
        return way_at(self.section, 0.0 if toward in ("top", "bottom") else pi / 2)


@dataclass(frozen=True, kw_only=True)
class Reading:
    """A part read from one end: what its bend table holds.

    Args:
        part: the part.
        end: the end it is read from.
        line: centreline from that end.
        sides: names of the faces at +s and -s of `line`.
    """

    part: RailPart
    end: End
    line: Centreline
    sides: tuple[Face, Face]

    def face(self, roll: float) -> Face:
        """The face nearest to a roll (radians from the top face, right-handed about t)."""
        return ("top", self.sides[1], "bottom", self.sides[0])[round(roll / (pi / 2)) % 4]

    def roll_of(self, face: Face) -> float:
        """Roll of a face from the top face, radians in (-pi, pi].

        Raises:
            KeyError: a face this part does not have.
        """
        return {"top": 0.0, self.sides[1]: pi / 2, "bottom": pi, self.sides[0]: -pi / 2}[face]

    @cached_property
    def bends(self) -> tuple[Bend, ...]:
        """The bends in reading order."""
        count, found = self.line.rows.count, []
        for i, roll in enumerate(self.line.rows.roll):
            written = i + 1 if self.end == "front" else count - i
            toward = self.face(roll)
            die = self.part.dies[written - 1] if self.part.dies else None
            off = float(roll - np.round(roll / (pi / 2)) * (pi / 2))
            found.append(Bend(i + 1, written, toward, self.part.way_toward(toward), die, off))
        return tuple(found)
