"""A tube's outside surface unrolled: where its faces and bends lie on the flat (mm)."""

from dataclasses import dataclass
from math import pi

from railmodel.part import Bend, Face, RailPart, Reading


@dataclass(frozen=True, slots=True)
class Strip:
    """One face on the flat, from mid-corner to mid-corner.

    Args:
        face: its name.
        low: girth where it begins, mm.
        high: girth where it ends, mm.
        corner: half a corner's arc, mm; the flat of the face lies that far inside both borders.
    """

    face: Face
    low: float
    high: float
    corner: float

    @property
    def flat(self) -> tuple[float, float]:
        """The corners' tangent lines."""
        return self.low + self.corner, self.high - self.corner

    @property
    def middle(self) -> float:
        """Girth at mid-face."""
        return (self.low + self.high) / 2

    @property
    def height(self) -> float:
        """Its share of the girth."""
        return self.high - self.low


@dataclass(frozen=True, slots=True)
class Zone:
    """One bend on the flat.

    Args:
        bend: what it is called and how it lies.
        begin: centreline length from the leading end to its start, mm.
        end: to its end, mm.
        angle: finished angle, radians.
        radius: centreline radius, mm.
        strip: the face it bends toward.
    """

    bend: Bend
    begin: float
    end: float
    angle: float
    radius: float
    strip: Strip

    @property
    def middle(self) -> float:
        """Centreline length to mid-bend."""
        return (self.begin + self.end) / 2


@dataclass(frozen=True, slots=True, kw_only=True)
class FlatShape:
    """A part unrolled: x from the leading end along the centreline, y round the girth, seen from outside.

    With the leading end at the left, paper-up on the top face is s = u x t, the face at +s: so from the bottom of
    the paper the faces are the one at -s, top, the one at +s, bottom. The cut is in the corner of bottom and -s.
    """

    part: RailPart
    reading: Reading
    length: float
    girth: float
    strips: tuple[Strip, Strip, Strip, Strip]
    zones: tuple[Zone, ...]

    @property
    def straights(self) -> tuple[tuple[float, float], ...]:
        """Begin and end of the n + 1 straights; an end before its begin means bends overlap."""
        begins = [0.0, *(zone.end for zone in self.zones)]
        return tuple(zip(begins, [*(zone.begin for zone in self.zones), self.length], strict=True))

    def strip_of(self, face: Face) -> Strip:
        """The strip of a face.

        Raises:
            KeyError: a face this part does not have.
        """
        return {strip.face: strip for strip in self.strips}[face]


def unroll(part: RailPart) -> FlatShape:
    """The flat of a part as its table reads it, without stretch."""
    reading, size = part.read, part.section
    arc = size.corner * pi / 4
    tall, wide = size.height - 2 * size.corner, size.width - 2 * size.corner
    a, b = tall + 2 * arc, wide + 2 * arc
    strips = (
        Strip(reading.sides[1], 0.0, a, arc),
        Strip("top", a, a + b, arc),
        Strip(reading.sides[0], a + b, a + b + a, arc),
        Strip("bottom", a + b + a, size.girth, arc),
    )
    by_face = {strip.face: strip for strip in strips}
    zones = tuple(
        Zone(bend, turn.station, turn.station + turn.length, turn.angle, turn.radius, by_face[bend.toward])
        for bend, turn in zip(reading.bends, reading.line.bends, strict=True)
    )
    return FlatShape(
        part=part,
        reading=reading,
        length=reading.line.length,
        girth=size.girth,
        strips=strips,
        zones=zones,
    )
