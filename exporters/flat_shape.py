"""A tube's outside surface unrolled: where its faces and bends lie on the flat (mm)."""

from dataclasses import dataclass
from math import pi

import numpy as np

from railmodel.end_cuts import to_cut
from railmodel.geometry.outline import around, borders
from railmodel.geometry.rows import Array
from railmodel.part import Bend, EndCut, Face, RailPart, Reading

SAG = 0.01
"""mm; how far the drawn edge of a mitred or coped end may lie off the true one."""


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

    @property
    def whole(self) -> tuple[float, float]:
        """From where to where the tube is whole all round: within its end cuts; the middle where nowhere."""
        girth = np.linspace(0.0, self.girth, 400)
        near, far = self.cut_at(0, girth).max(), self.cut_at(1, girth).min()
        middle = (near + far) / 2
        return float(min(near, middle)), float(max(far, middle))

    def cut_at(self, end: int, girth: Array) -> Array:
        """Where the tube is cut at its leading end (0) or its tail (1), at girths (m,): x (m,), mm."""
        cut = self._cut(end)
        if cut is None:
            return np.full(len(girth), self.length if end else 0.0)
        start = self.reading.line.start
        fibres = start.at + around(self.part.section, girth) @ np.array([start.s, start.u])
        return to_cut(cut, fibres, start.t)

    def fibre(self, y: float) -> tuple[tuple[float, float], tuple[float, float]]:
        """The line along the tube at a girth, from cut to cut."""
        near, far = (float(self.cut_at(end, np.array([y]))[0]) for end in (0, 1))
        return (near, y), (far, y)

    def edge(self, end: int) -> list[tuple[float, float]]:
        """Points (x, y) of a cut end's edge from y = 0 to the girth, within `SAG` of the true one."""
        if self._cut(end) is None:
            x = self.length if end else 0.0
            return [(x, 0.0), (x, self.girth)]
        girth = np.unique(np.concatenate([[0.0, self.girth], borders(self.part.section)]))
        for _ in range(12):
            middle = (girth[:-1] + girth[1:]) / 2
            ends = self.cut_at(end, girth)
            off = np.abs(self.cut_at(end, middle) - (ends[:-1] + ends[1:]) / 2)
            # a curve may cross its chord half-way, so every piece but a short one is looked at in its quarters, too
            quarter = (girth[:-1] + middle) / 2
            off = np.maximum(off, np.abs(self.cut_at(end, quarter) - (3 * ends[:-1] + ends[1:]) / 4))
            if not (off > SAG).any():
                break
            girth = np.sort(np.concatenate([girth, middle[off > SAG]]))
        return list(zip(self.cut_at(end, girth).tolist(), girth.tolist(), strict=True))

    def _cut(self, end: int) -> EndCut | None:
        """A cut other than a square one, at the leading end (0) or the tail (1)."""
        if self.part.cuts is None:
            return None
        cut = self.part.cuts[end if self.reading.end == "front" else 1 - end]
        return None if cut.kind == "square" else cut

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
