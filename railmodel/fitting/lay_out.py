"""The shape of a part from its free values, with exact derivatives: `railmodel.geometry` in duals.

A leading batch axis b counts sets of values that are worked out at once. mm, radians.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import cos as cosine
from math import sin as sine

import numpy as np

from railmodel.fitting.dual import Dual, arctan2, cos, cross, dot, norm, scaled, sin, sqrt, stack, unit
from railmodel.geometry.centreline import Pose
from railmodel.geometry.rows import Array
from railmodel.job.parts import OffsetStep, Part, Start
from railmodel.job.yaml_tree import Loc
from railmodel.part import RailPart


@dataclass(frozen=True, slots=True, eq=False)
class Laid:
    """A part laid out: straight 0, bend 1, straight 1, ... , straight n as in `Centreline.stretches`.

    Args:
        at: (b, 2n + 1, 3) where each stretch starts.
        t: (b, 2n + 1, 3) travel direction there.
        u: (b, 2n + 1, 3) direction of the top face there.
        length: (b, 2n + 1) centreline length.
        inward: (b, n, 3) direction from the start of each bend to its centre.
        angle: (b, n).
        radius: (n,).
        roll: (b, n) where each bend goes, from the top face.
        end: (b, 3) last end, with
        end_t: (b, 3) and
        end_u: (b, 3) there.
        slack: (b, m) for each offset given by `over`: how much of it is left beyond the least, mm; negative is short.
    """

    at: Dual
    t: Dual
    u: Dual
    length: Dual
    inward: Dual
    angle: Dual
    radius: Array
    roll: Dual
    end: Dual
    end_t: Dual
    end_u: Dual
    slack: Dual

    @property
    def s(self) -> Dual:
        """(b, 2n + 1, 3) direction square to travel and top face."""
        return cross(self.u, self.t)

    @property
    def straights(self) -> Dual:
        """(b, n + 1) straights, mm."""
        return self.length[:, ::2]


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """How a part is laid out from the free values of the job.

    Args:
        index: of the part in the job.
        written: the part as written.
        real: the part as built (the right one of a pair): its faces, section, radii and rolls.
        radius: (n,) centreline radius of each bend.
        where: from the place of a free value in the job file to its number.
    """

    index: int
    written: Part
    real: RailPart
    radius: Array
    where: Mapping[Loc, int]

    def lay_out(self, values: Dual) -> Laid:
        """The part for values (b, k)."""
        if self.written.points is not None:
            return _from_points(self, values)
        return _from_moves(self, values)

    def value(self, values: Dual, written: float, *loc: str | int) -> Dual:
        """(b,) a value: the free one, or what is written where it is not free."""
        number = self.where.get(("parts", self.index, *loc))
        if number is not None:
            return values[:, number]
        return Dual.constant(np.full(len(values.value), written), values.count)

    def place(self, values: Dual, written: Sequence[float], *loc: str | int) -> Dual:
        """(b, 3) a place whose axes may be free."""
        return stack([self.value(values, written[axis], *loc, "at", axis) for axis in range(3)])


def _from_points(plan: Plan, values: Dual) -> Laid:
    given = plan.written.points
    assert given is not None
    points = stack([plan.place(values, point.at, "points", k) for k, point in enumerate(given)], axis=-2)
    top = np.array(plan.written.top or (0.0, 0.0, 1.0), dtype=float)
    legs = _Legs.of(points, top / np.linalg.norm(top))
    at = plan.written.points_at or "centre"
    if at != "centre":
        points = points - _shifts(plan, legs, at)
        legs = _Legs.of(points, top / np.linalg.norm(top))
    count = len(given) - 2
    setback = legs.half * plan.radius
    straights = list(_columns(legs.length))
    for i, back in enumerate(_columns(setback)):
        straights[i] = straights[i] - back
        straights[i + 1] = straights[i + 1] - back
    begins, ts, us, lengths = [points[:, 0]], [], [], []
    for i in range(count + 1):
        ts.append(legs.t[:, i])
        us.append(legs.u[i])
        lengths.append(straights[i])
        if i < count:
            corner, back = points[:, i + 1], setback[:, i]
            begins += [corner - scaled(legs.t[:, i], back), corner + scaled(legs.t[:, i + 1], back)]
            ts.append(legs.t[:, i])
            us.append(legs.u[i])
            lengths.append(legs.angle[:, i] * plan.radius[i])
    roll = [
        arctan2(-dot(legs.inward[:, i], cross(legs.u[i], legs.t[:, i])), dot(legs.inward[:, i], legs.u[i]))
        for i in range(count)
    ]
    empty = Dual.constant(np.zeros((len(values.value), 0)), values.count)
    return Laid(
        at=stack(begins, -2), t=stack(ts, -2), u=stack(us, -2), length=stack(lengths), inward=legs.inward,
        angle=legs.angle, radius=plan.radius, roll=stack(roll) if roll else empty,
        end=points[:, -1], end_t=legs.t[:, -1], end_u=legs.u[-1], slack=empty,
    )  # fmt: skip


@dataclass(frozen=True, slots=True, eq=False)
class _Legs:
    """The legs of a polyline (b, n + 2, 3) and its corners, with the top face carried along without twist."""

    length: Dual  # (b, n + 1)
    t: Dual  # (b, n + 1, 3)
    inward: Dual  # (b, n, 3)
    angle: Dual  # (b, n)
    half: Dual  # (b, n) tangent of half the angle
    u: list[Dual]  # n + 1 of (b, 3)

    @classmethod
    def of(cls, points: Dual, top: Array) -> "_Legs":
        legs = points[:, 1:] - points[:, :-1]
        length = norm(legs)
        t = legs / length[..., None]
        before, after = t[:, :-1], t[:, 1:]
        cosines = dot(before, after)
        inward = unit(after - scaled(before, cosines))
        sines = dot(after, inward)
        first = t[:, 0]
        u = [unit(top - scaled(first, dot(first, top)))]
        for i in range(inward.shape[1]):
            u.append(turned(u[-1], first, inward[:, i], cosines[:, i], sines[:, i]))
            first = t[:, i + 1]
        return cls(length, t, inward, arctan2(sines, cosines), sines / (cosines + 1.0), u)


def turned(u: Dual, t: Dual, inward: Dual, cosines: Dual, sines: Dual) -> Dual:
    """A direction square to t, carried through a bend."""
    along = dot(u, inward)
    return u + scaled(scaled(inward, cosines - 1.0) - scaled(t, sines), along)


def _shifts(plan: Plan, legs: _Legs, at: str) -> Dual:
    """(b, n + 2, 3) from the centreline's points to the points measured to a face; see `points_on_centreline`."""
    section, sides = plan.real.section, plan.real.sides
    up = {"top": section.height / 2, "bottom": -section.height / 2}.get(at, 0.0)
    side = 0.0
    if at in ("inside", "outside"):
        side = section.width / 2 * (1 if sides[0] == ("inboard" if at == "inside" else "outboard") else -1)
    count = legs.inward.shape[1]
    plain = [legs.u[i] * up + cross(legs.u[i], legs.t[:, i]) * side for i in range(count + 1)]
    found = [plain[0]]
    for i in range(count):
        slid = dot(plain[i], legs.inward[:, i]) * legs.half[:, i]
        found.append(plain[i] - scaled(legs.t[:, i], slid))
    return stack([*found, plain[-1]], -2)


def _from_moves(plan: Plan, values: Dual) -> Laid:
    """A part given by a path or by rows: its frame is carried from move to move."""
    start = plan.written.start or Start()
    pose = Pose.of(start.at, start.heading, start.top)
    lanes = len(values.value)
    at = plan.place(values, start.at, "start")
    t, u = (Dual.constant(np.broadcast_to(one, (lanes, 3)), values.count) for one in (pose.t, pose.u))
    straights, angles, slack = _moves(plan, values)
    rolls = plan.real.line.rows.roll
    begins, ts, us, lengths, inwards = [], [], [], [], []
    for i, length in enumerate(straights):
        begins.append(at)
        ts.append(t)
        us.append(u)
        lengths.append(length)
        at = at + scaled(t, length)
        if i == len(angles):
            break
        angle, radius = angles[i], float(plan.radius[i])
        inward = u * cosine(rolls[i]) - cross(u, t) * sine(rolls[i])
        begins.append(at)
        ts.append(t)
        us.append(u)
        lengths.append(angle * radius)
        inwards.append(inward)
        cosines, sines = cos(angle), sin(angle)
        at = at + (scaled(t, sines) + scaled(inward, 1.0 - cosines)) * radius
        u = turned(u, t, inward, cosines, sines)
        t = scaled(t, cosines) + scaled(inward, sines)
    none = Dual.constant(np.zeros((lanes, 0)), values.count)
    nowhere = Dual.constant(np.zeros((lanes, 0, 3)), values.count)
    return Laid(
        at=stack(begins, -2), t=stack(ts, -2), u=stack(us, -2), length=stack(lengths),
        inward=stack(inwards, -2) if inwards else nowhere, angle=stack(angles) if angles else none,
        radius=plan.radius, roll=Dual.constant(np.broadcast_to(rolls, (lanes, len(rolls))), values.count),
        end=at, end_t=t, end_u=u, slack=stack(slack) if slack else none,
    )  # fmt: skip


def _moves(plan: Plan, values: Dual) -> tuple[list[Dual], list[Dual], list[Dual]]:
    """Straights (n + 1 of (b,)), angles (n of (b,)) and the slack of offsets given by `over`."""
    part = plan.written
    if part.rows is not None:
        straights = [plan.value(values, row.distance, "rows", k, "distance") for k, row in enumerate(part.rows)]
        angles = [plan.value(values, row.angle, "rows", k, "angle") for k, row in enumerate(part.rows)]
        return [*straights, plan.value(values, part.tail or 0.0, "tail")], angles, []
    assert part.path is not None
    nothing = Dual.constant(np.zeros(len(values.value)), values.count)
    straights, angles, slack = [nothing], [], []
    for k, step in enumerate(part.path):
        if step.straight is not None:
            straights[-1] = straights[-1] + plan.value(values, step.straight, "path", k, "straight")
        elif step.bend is not None:
            angles.append(plan.value(values, step.bend.angle, "path", k, "bend", "angle"))
            straights.append(nothing)
        elif step.offset is not None:
            angle, between, left = _offset(plan, values, k, step.offset, float(plan.radius[len(angles)]))
            angles += [angle, angle]
            straights += [between, nothing]
            slack += left
    return straights, angles, slack


def _offset(plan: Plan, values: Dual, k: int, given: OffsetStep, radius: float) -> tuple[Dual, Dual, list[Dual]]:
    """Angle and middle straight (b,) of an offset; see `railmodel.geometry.path.Offset`."""
    by = plan.value(values, given.by, "path", k, "offset", "by")
    if given.angle is not None:
        angle = plan.value(values, given.angle, "path", k, "offset", "angle")
        return angle, (by - (1.0 - cos(angle)) * (2 * radius)) / sin(angle), []
    assert given.over is not None
    over = plan.value(values, given.over, "path", k, "offset", "over")
    square = over * over + by * by - by * (4 * radius)
    left = square / (over * 2.0)
    held = Dual(np.maximum(square.value, 1e-6), np.where(square.value[..., None] > 1e-6, square.slope, 0.0))
    between = sqrt(held)
    angle = arctan2(by - 2 * radius, over) + arctan2(between * 0.0 + 2 * radius, between)
    return angle, between, [left]


def _columns(values: Dual) -> list[Dual]:
    return [values[:, i] for i in range(values.shape[1])]


def material_points(laid: Laid, stretch: Array, share: Array, s: Array, u: Array) -> Dual:
    """Points that belong to the part, carried along as it changes: the same share of the same stretch.

    Args:
        laid: the part.
        stretch: (m,) index of each point's stretch.
        share: (m,) how far along it, from 0 to 1.
        s: (m,) place in the cross-section, mm.
        u: (m,) likewise.

    Returns:
        (b, m, 3).
    """
    at, t, up, length = (one[:, stretch] for one in (laid.at, laid.t, laid.u, laid.length))
    side = cross(up, t)
    along = length * share
    straight = at + scaled(t, along) + up * u[:, None] + side * s[:, None]
    bend = (stretch - 1) // 2
    curved = stretch % 2 == 1
    if not curved.any():
        return straight
    bend = np.where(curved, bend, 0)
    inward, radius = laid.inward[:, bend], laid.radius[bend]
    turn = laid.angle[:, bend] * share
    cosines, sines = cos(turn), sin(turn)
    round_ = at + (scaled(t, sines) + scaled(inward, 1.0 - cosines)) * radius[:, None]
    round_ = round_ + turned(up, t, inward, cosines, sines) * u[:, None]
    round_ = round_ + turned(side, t, inward, cosines, sines) * s[:, None]
    pick = curved[:, None]
    return Dual(
        np.where(pick, round_.value, straight.value), np.where(pick[..., None], round_.slope, straight.slope)
    )
