"""Orders for the bender that a person cannot misread: faces, not signs.

On a draw bender the tube lies level, its leading side ahead of the die and its tail behind, and every bend turns the
lead about the upright die axis. The inside of a bend therefore lies against the die: the face on the die is the face
the part bends toward. Which face is up follows from the bender's sense.

Turns are of the tube itself, seen by the operator who stands at the tail and looks at the die; the rotation column
of the bend table (the turn of the bend plane on the tube, about the travel direction) has the same number, clockwise
positive. Proof: the tube must turn against the plane, so by minus the rotation about the travel direction, and the
operator looks against the travel direction.
"""

from dataclasses import dataclass
from math import pi
from typing import Literal

from railmodel.findings import Finding
from railmodel.part import OPPOSITE, Face, Reading

Sense = Literal["clockwise", "counter-clockwise"]
Spot = Literal["up", "down", "on the die", "away from the die"]
Wall = Literal["outer", "inner", "side"]

_TURNS: dict[int, str] = {
    0: "do not turn the tube",
    90: "turn the tube 90 degrees clockwise",
    180: "turn the tube over, 180 degrees",
    -90: "turn the tube 90 degrees counter-clockwise",
}
STANDING = "standing at the tail, looking at the die"
"""How the turns of `Order.turn` are seen; print it beside them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Order:
    """How the tube lies for one bend.

    Args:
        bend: bend number, 1 at the leading end.
        face_on_die: the face against the bend die.
        face_up: the face that looks up.
        turn: how to turn the tube from the bend before, in words; the first bend says how to load it.
        turn_degrees: the same, clockwise positive seen from the tail: -90, 0, 90 or 180; 0 for the first bend.
        seam: where the weld seam lies, None where the job does not say.
        seam_wall: the wall of the bend that the seam lies on; "outer" is the stretched one.
    """

    bend: int
    face_on_die: Face
    face_up: Face
    turn: str
    turn_degrees: int
    seam: Spot | None
    seam_wall: Wall | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Orders:
    """Orders of all bends of one part read from one end.

    Args:
        bends: an order each.
        seam_when_loaded: where the seam must lie as the tube is loaded for the first bend, so that it ends up on the
            face the job wants on this hand; None where the job does not say, or nothing is bent.
        seam_on_outer_wall: numbers of the bends that stretch the seam.
        findings: what is wrong or worth knowing about the seam.
    """

    bends: tuple[Order, ...]
    seam_when_loaded: Spot | None
    seam_on_outer_wall: tuple[int, ...]
    findings: tuple[Finding, ...]


def orders(reading: Reading, sense: Sense) -> Orders:
    """Orders of a part, for a bender that bends clockwise or counter-clockwise seen from above.

    A bend whose roll is not legal is ordered at the nearest quarter turn.
    """
    seam, findings = _seam(reading)
    quarters = [round(float(roll) / (pi / 2)) % 4 for roll in reading.line.rows.roll]
    found: list[Order] = []
    for bend, quarter, before in zip(reading.bends, quarters, [None, *quarters], strict=False):
        up = reading.face((quarter + (1 if sense == "clockwise" else -1)) * pi / 2)
        steps = 0 if before is None else (quarter - before) % 4
        degrees = 90 * steps if steps < 3 else -90
        spot = None if seam is None else _spot(seam, bend.toward, up)
        turn = _TURNS[degrees] if before is not None else _load(bend.toward, up, spot)
        found.append(
            Order(
                bend=bend.number,
                face_on_die=bend.toward,
                face_up=up,
                turn=turn,
                turn_degrees=degrees,
                seam=spot,
                seam_wall=None if spot is None else _wall(spot),
            )
        )
    stretched = tuple(order.bend for order in found if order.seam_wall == "outer")
    if stretched:
        findings += (_stretched(reading, stretched),)
    return Orders(
        bends=tuple(found),
        seam_when_loaded=found[0].seam if found else None,
        seam_on_outer_wall=stretched,
        findings=findings,
    )


def _load(on_die: Face, up: Face, seam: Spot | None) -> str:
    lying = f"load the tube with the {on_die} face against the die and the {up} face up"
    if seam is None:
        return lying
    return f"{lying}; weld seam {'against the die' if seam == 'on the die' else seam}"


def _spot(seam: Face, on_die: Face, up: Face) -> Spot:
    spots: dict[Face, Spot] = {
        on_die: "on the die",
        OPPOSITE[on_die]: "away from the die",
        up: "up",
        OPPOSITE[up]: "down",
    }
    return spots[seam]


def _wall(spot: Spot) -> Wall:
    return "inner" if spot == "on the die" else "outer" if spot == "away from the die" else "side"


def _seam(reading: Reading) -> tuple[Face | None, tuple[Finding, ...]]:
    """The seam face the job wants, if this part can have it, and what stands against it."""
    part, seam = reading.part, reading.part.seam
    if seam is None:
        return None, ()
    if seam not in ("top", "bottom", *reading.sides):
        allowed = ", ".join(["top", "bottom", *sorted(reading.sides)])
        return None, (_finding(reading, "stop", f"has no {seam} face to put the weld seam on; choose {allowed}"),)
    section = part.section
    if part.seam_on is None or section.height == section.width:
        return seam, ()
    upright = section.height if seam not in ("top", "bottom") else section.width  # how wide the seam's face is
    kind = "wide" if upright == max(section.height, section.width) else "narrow"
    if kind == part.seam_on:
        return seam, ()
    sides = sorted(reading.sides)
    other = ["top", "bottom"] if seam in sides else sides
    says = (
        f"cannot have its weld seam on the {seam} face: that face is {kind}, and this tube comes with the seam on a "
        f"{part.seam_on} face; choose {other[0]} or {other[1]}, or order tube with its seam on a {kind} face"
    )
    return None, (_finding(reading, "stop", says),)


def _stretched(reading: Reading, bends: tuple[int, ...]) -> Finding:
    numbers = ", ".join(str(bend) for bend in bends)
    says = (
        f"has its weld seam ({reading.part.seam} face) on the outer, stretched wall of bend {numbers}, "
        "where a seam splits first; a side wall is best"
    )
    return _finding(reading, "warn", says, bends[0])


def _finding(reading: Reading, level: Literal["stop", "warn"], says: str, bend: int | None = None) -> Finding:
    part = reading.part
    return Finding(rule="seam", level=level, says=f"{part.label} {says}", part=part.name, hand=part.hand, bend=bend)
