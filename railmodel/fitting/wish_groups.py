"""The smooth wishes of a job, grouped by part: fit points, limits of shop and geometry, rolls, plumb places, joints."""

from collections.abc import Callable, Collection, Iterator, Mapping
from math import radians
from typing import Literal

import numpy as np

from railmodel.fitting.lay_out import Plan
from railmodel.fitting.wishes import FLIP, FitPoints, Group, Limits, Meeting, PlumbPlaces, Rolls, Wish
from railmodel.frame import Frame
from railmodel.geometry.roll import off_legal
from railmodel.job.fit import FitPoint, Joint
from railmodel.part import RailPart
from railmodel.tolerances import ANGLE

LargestAngle = Callable[[RailPart, int], float]
"""The largest finished angle (radians) a shop can make at a bend (its index from the front) of a part."""

_JOINT_UNITS: dict[str, Literal["length", "angle"]] = {
    "gap": "length", "offset": "length", "angle": "angle", "roll": "angle",
}  # fmt: skip

LEAST_ANGLE = radians(0.1)
"""A bend smaller than this is none."""


def groups_of(
    frame: Frame,
    plans: Mapping[int, Plan],
    free: Collection[int],
    largest: LargestAngle,
    *,
    roomy: Collection[int] = (),
) -> Iterator[Group]:
    """Every group of smooth wishes.

    Args:
        frame: the job as built.
        plans: how its parts are laid out.
        free: numbers of the parts that change; limits are wished of these only.
        largest: what the shop can bend.
        roomy: numbers of the parts whose end straights must hold grip and tail without a trim.
    """
    for index, plan in plans.items():
        faces = ("top", "bottom", *plan.real.sides)
        points = [one for one in frame.job.fit_points if one.to.part == plan.real.name and one.to.face in faces]
        if points:
            yield _fit_points(plan, points)
        if index in free:
            yield _limits(frame, plan, largest, index in roomy)
            rolls = _rolls(plan)
            if rolls is not None:
                yield rolls
        plumb = [place for place in frame.job.plumb if place.part == plan.real.name]
        if plumb:
            names = tuple(place.name or f"{place.part} at X {frame.say(place.x)}" for place in plumb)
            wishes = tuple(
                Wish(
                    name=f"{name}: top face level", rule="plumb", unit="angle", low=-place.within, high=place.within,
                    parts=(index,), shared=True,
                )
                for name, place in zip(names, plumb, strict=True)
            )  # fmt: skip
            yield PlumbPlaces(index, tuple(place.x for place in plumb), wishes)
    for joint in frame.job.joints:
        meeting = _meeting(plans, joint)
        if meeting is not None:
            yield meeting


def _fit_points(plan: Plan, points: list[FitPoint]) -> FitPoints:
    at, across, reach = [], [], []
    gaps, places, inside, aside = [], [], [], []
    for point in points:
        at.append(np.array(point.at) * (FLIP if point.hand == "left" else 1.0))
        direction, half, flat = face_of(plan.real, point.to.face)
        across.append(direction)
        reach.append(half)
        gap, clear, parts = point.gap, None, (plan.index,)
        gaps.append(
            Wish(
                name=f"{point.name}: gap to the {point.to.face} of {plan.real.name}", rule="fit gap",
                low=gap.want - gap.within, high=gap.want + gap.within, parts=parts, shared=True,
            )
        )  # fmt: skip
        if point.on == "straight" or point.from_bend is not None:
            clear = Wish(
                name=f"{point.name}: foot away from bends", rule="fit place", low=point.from_bend or 0.0, parts=parts
            )
        places.append(clear)
        inside.append(Wish(name=f"{point.name}: foot on {plan.real.name}", rule="fit place", low=0.0, parts=parts))
        name = f"{point.name}: foot on the flat of the face"
        aside.append(Wish(name=name, rule="fit place", low=-flat, high=flat, parts=parts))
    return FitPoints(
        plan.index, np.array(at), np.array(across), np.array(reach),
        tuple(gaps), tuple(places), tuple(inside), tuple(aside),
    )  # fmt: skip


def face_of(part: RailPart, face: str) -> tuple[tuple[float, float], float, float]:
    """A face of a part: its direction along (s, u), its distance from the centreline and half its flat width, mm."""
    section = part.section
    half, across = section.height / 2, section.width / 2
    if face in ("top", "bottom"):
        return (0.0, 1.0 if face == "top" else -1.0), half, across - section.corner
    return (1.0 if face == part.sides[0] else -1.0, 0.0), across, half - section.corner


def _meeting(plans: Mapping[int, Plan], joint: Joint) -> Meeting | None:
    """A joint; where it names neither hand of two pairs, both hands are alike. None where a part makes no shape."""
    numbers = {plan.real.name: index for index, plan in plans.items()}
    first, second = joint.between
    if first.part not in numbers or second.part not in numbers:
        return None
    limits = {"gap": joint.gap, "offset": joint.offset, "angle": joint.angle, "roll": joint.roll}
    ends = [(numbers[end.part], end.hand == "left", end.end) for end in joint.between]
    said = [f"{end.part}{f' {end.hand}' if end.hand else ''}.{end.end}" for end in joint.between]
    kinds = tuple(kind for kind, limit in limits.items() if limit is not None)
    wishes = tuple(
        Wish(
            name=f"{said[0]} to {said[1]}: {kind}", rule="joint", unit=_JOINT_UNITS[kind],
            low=-limit, high=limit, parts=(ends[0][0], ends[1][0]), shared=True,
        )
        for kind, limit in limits.items()
        if limit is not None
    )  # fmt: skip
    return Meeting(ends[0], ends[1], kinds, wishes) if kinds else None


def _limits(frame: Frame, plan: Plan, largest: LargestAngle, roomy: bool) -> Limits:
    part, parts = plan.real, (plan.index,)
    count = len(plan.radius)
    rear = part.leading_end == "rear"
    dies = frame.shop.dies if frame.shop is not None else {}

    def number(bend: int) -> int:  # counted from the leading end, as everywhere a person reads it
        return count - bend if rear else bend + 1

    straights = []
    for i in range(count + 1):
        before, behind = (number(i), number(i - 1)) if rear else (number(i - 1), number(i))
        low = 0.0
        if 0 < i < count:
            words, key = f"straight between bends {before} and {behind}", "between"
        elif count == 0:
            words, key = "length", ""
        else:
            words, key = ("first straight", "grip") if (i == 0) != rear else ("last straight", "tail")
        die = dies.get(_die_at(part, i, rear) or "")
        if die is not None and key and (roomy or key == "between"):
            low = getattr(die, key) or 0.0
        straights.append(Wish(name=f"{part.name}: {words}", rule="straight", low=low, parts=parts))
    angles = tuple(
        Wish(
            name=f"{part.name}: angle of bend {number(i)}", rule="angle", unit="angle", low=LEAST_ANGLE,
            high=largest(part, i), parts=parts,
        )
        for i in range(count)
    )  # fmt: skip
    offsets = tuple(
        Wish(name=f"{part.name}: run of the offset in path[{k}]", rule="offset", low=0.0, parts=parts)
        for k, step in enumerate(plan.written.path or ())
        if step.offset is not None and step.offset.over is not None
    )
    return Limits(plan.index, tuple(straights), angles, offsets)


def _die_at(part: RailPart, straight: int, rear: bool) -> str | None:
    """The die that holds a straight, counted from the front: that of the bend made next to it, else of the last one."""
    if not part.dies:
        return None
    bend = straight - 1 if rear else straight
    return part.dies[min(max(bend, 0), len(part.dies) - 1)]


def _rolls(plan: Plan) -> Rolls | None:
    """The two-plane rule for a part given by points, unless its points all lie in one upright or level plane."""
    points = plan.written.points
    if points is None or len(points) < 3 or _flat(plan):
        return None
    part = plan.real
    wishes = tuple(
        Wish(
            name=f"{part.name}: bend {i + 1} toward a face", rule="roll", unit="angle", low=0.0, high=0.0,
            parts=(plan.index,),
        )
        for i in range(len(plan.radius))
    )  # fmt: skip
    return Rolls(plan.index, wishes)


def _flat(plan: Plan) -> bool:
    """Whether the points stay in a plane square to an axis, with every bend toward a face whatever moves in it."""
    assert plan.written.points is not None
    at = np.array([point.at for point in plan.written.points])
    moves = np.zeros(3, dtype=bool)
    for loc in plan.where:
        if loc[:3] == ("parts", plan.index, "points"):
            moves[int(loc[-1])] = True
    legal = bool(np.all(np.abs(off_legal(plan.real.line.rows.roll)) <= ANGLE))
    level = (np.ptp(at, axis=0) == 0.0) & ~moves
    top = np.array(plan.written.top or (0.0, 0.0, 1.0))
    return legal and any(
        level[axis] and (abs(top[axis]) == np.linalg.norm(top) or top[axis] == 0.0) for axis in range(3)
    )
