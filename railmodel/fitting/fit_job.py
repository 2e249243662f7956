"""Does it land where the vehicle holds on: the job's fit points and joints, measured. mm, radians."""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from math import degrees

import numpy as np

from railmodel.findings import Finding
from railmodel.fitting.clear_job import solid_parts
from railmodel.fitting.fit_point import Foot, foot_on
from railmodel.fitting.joint import Meeting, meeting, outward
from railmodel.fitting.tape import Spot
from railmodel.frame import Frame
from railmodel.job.fit import FitPoint, Joint, JointEnd
from railmodel.part import RailPart
from railmodel.tolerances import ANGLE, LENGTH


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """One fit point on one part.

    Args:
        point: as written.
        part: the part and hand it was measured on.
        foot: where it stands.
        wrong: why it does not fit, a phrase each; none when it does.
    """

    point: FitPoint
    part: RailPart
    foot: Foot
    wrong: tuple[str, ...]

    @property
    def ok(self) -> bool:
        """Whether it fits."""
        return not self.wrong

    @property
    def spacer(self) -> float:
        """Height of the spacer or bracket to add for the gap wanted, mm; negative: so much must come off."""
        return self.foot.gap - self.point.gap.want


@dataclass(frozen=True, slots=True, kw_only=True)
class Joined:
    """One joint between two ends.

    Args:
        joint: as written.
        names: what the two ends are called.
        part: the part the first end belongs to.
        found: how they meet.
        wrong: why they do not meet well enough, a phrase each.
    """

    joint: Joint
    names: tuple[str, str]
    part: RailPart
    found: Meeting
    wrong: tuple[str, ...]

    @property
    def ok(self) -> bool:
        """Whether the ends meet within the joint's limits."""
        return not self.wrong


@dataclass(frozen=True, slots=True, kw_only=True)
class FitWork:
    """Everything measured: fit points, joints, and findings about those that could not be."""

    fits: tuple[Fit, ...]
    joints: tuple[Joined, ...]
    trouble: tuple[Finding, ...]


@lru_cache(maxsize=8)
def fit_work(frame: Frame) -> FitWork:
    """Every fit point and joint of a frame, measured."""
    trouble: list[Finding] = []
    fits: list[Fit] = []
    built = solid_parts(frame)
    for point in frame.job.fit_points:
        hands = [part for part in built if part.name == point.to.part and point.hand in (None, part.hand)]
        if not hands:
            says = f"{point.name}: {point.to.part} makes no shape, so nothing was measured; see its own findings"
            trouble.append(Finding(rule="fit point", level="stop", says=says, part=point.to.part))
        for part in hands:
            measured = _fit(frame, point, part)
            if isinstance(measured, Finding):
                trouble.append(measured)
            else:
                fits.append(measured)
    joints = [joined for joint in frame.job.joints for joined in _joints(frame, built, joint)]
    return FitWork(fits=tuple(fits), joints=tuple(joints), trouble=tuple(trouble))


def _fit(frame: Frame, point: FitPoint, part: RailPart) -> Fit | Finding:
    reading, face = part.read_from("front"), point.to.face
    if face not in ("top", "bottom", *part.sides):
        says = (
            f"{point.name}: {part.label} has no {face} face; use top, bottom, {part.sides[0]} or {part.sides[1]}"
        )
        return Finding(rule="fit point", level="stop", says=says, part=part.name, hand=part.hand, where=point.at)
    at = np.array(point.at)
    if part.hand == "left" and point.hand is None:
        at = at * [1.0, -1.0, 1.0]
    foot = foot_on(part.line, part.section, at, reading.roll_of(face))
    return Fit(point=point, part=part, foot=foot, wrong=tuple(_wrong(frame, point, part, foot)))


def _wrong(frame: Frame, point: FitPoint, part: RailPart, foot: Foot) -> Iterator[str]:
    gap, want = foot.gap, point.gap
    if abs(gap - want.want) > want.within + LENGTH:
        spacer = gap - want.want
        cure = f"a spacer of {frame.say(spacer)}" if spacer > 0 else f"{frame.say(-spacer)} less bracket"
        yield (
            f"stands {frame.say(gap)} from the {point.to.face} face and {frame.say(want.want)} within "
            f"{frame.say(want.within)} is wanted ({cure} would make it right)"
        )
    if foot.beyond:
        yield f"lies {frame.say(foot.beyond)} beyond the end of the tube"
    if foot.off_face > LENGTH:
        yield f"lies {frame.say(foot.off_face)} off the flat of the {point.to.face} face"
    if point.on == "straight" and foot.kind == "bend":
        yield f"stands on bend {foot.number} (from the front end) and a straight is wanted"
    elif point.from_bend is not None and foot.from_bend < point.from_bend - LENGTH:
        yield f"stands {frame.say(foot.from_bend)} from a bend and {frame.say(point.from_bend)} is wanted"


def _joints(frame: Frame, built: list[RailPart], joint: Joint) -> Iterator[Joined]:
    """The joint on each hand it is meant for."""
    first, second = joint.between
    hands = ("right", "left") if first.hand is None and second.hand is None else (None,)
    seen: set[tuple[str, str]] = set()
    for hand in hands:
        one, other = _end(built, first, hand), _end(built, second, hand)
        if one is None or other is None:
            continue
        names = (f"{one.label}.{first.end}", f"{other.label}.{second.end}")
        if names in seen:
            continue
        seen.add(names)
        found = meeting(outward(one.line, first.end), outward(other.line, second.end))
        yield Joined(joint=joint, names=names, part=one, found=found, wrong=tuple(_parted(frame, joint, found)))


def _end(built: list[RailPart], end: JointEnd, hand: str | None) -> RailPart | None:
    wanted = end.hand or hand
    own = [part for part in built if part.name == end.part]
    return next((part for part in own if part.hand in ("single", wanted)), None)


def _parted(frame: Frame, joint: Joint, found: Meeting) -> Iterator[str]:
    if joint.gap is not None and abs(found.gap) > joint.gap + LENGTH:
        word = "leave a gap of" if found.gap > 0 else "overlap by"
        yield f"{word} {frame.say(abs(found.gap))} ({frame.say(joint.gap)} allowed)"
    if joint.offset is not None and found.offset > joint.offset + LENGTH:
        yield f"stand {frame.say(found.offset)} aside of each other ({frame.say(joint.offset)} allowed)"
    for name, value, limit in (("angle", found.angle, joint.angle), ("roll", found.roll, joint.roll)):
        if limit is not None and value > limit + ANGLE:
            yield f"are out by {degrees(value):.2f} degrees in {name} ({degrees(limit):g} allowed)"


def fit_findings(frame: Frame) -> Iterator[Finding]:
    """Fit points that are missed and joints that do not meet."""
    work = fit_work(frame)
    yield from work.trouble
    for fit in work.fits:
        if fit.ok:
            continue
        at = fit.foot.at
        yield Finding(
            rule="fit point", level="stop", says=f"{fit.point.name} on {fit.part.label} {'; '.join(fit.wrong)}",
            part=fit.part.name, hand=fit.part.hand, where=(float(at[0]), float(at[1]), float(at[2])),
            found=fit.foot.gap, needs=fit.point.gap.want, unit="length",
        )  # fmt: skip
    for joined in work.joints:
        if joined.ok:
            continue
        end = outward(joined.part.line, joined.joint.between[0].end).at
        says = f"{joined.names[0]} and {joined.names[1]} {'; '.join(joined.wrong)}; move one of the two ends"
        yield Finding(
            rule="joint", level="stop", says=says, part=joined.part.name, hand=joined.part.hand,
            where=(float(end[0]), float(end[1]), float(end[2])), found=joined.found.gap, needs=joined.joint.gap,
            unit="length",
        )  # fmt: skip


def feet_of(frame: Frame) -> dict[str, list[Spot]]:
    """The feet of fit points that were measured on both hands, for the tape check, by part name."""
    found: dict[str, list[Spot]] = {}
    for fit in fit_work(frame).fits:
        twin = [other for other in fit_work(frame).fits if other.point is fit.point and other.part is not fit.part]
        if fit.part.hand != "single" and twin:
            found.setdefault(fit.part.name, []).append(Spot(f"foot of {fit.point.name}", fit.part.hand, fit.foot.at))
    return found
