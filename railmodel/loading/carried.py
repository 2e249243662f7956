"""What a job's loads come to: masses with the places that take them, and the supports with theirs; mm, kg.

Everything that the job names is looked up here, and what leads nowhere is named with its place in the file.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from railmodel.errors import InputError
from railmodel.fitting.fit_job import Fit, fit_work
from railmodel.frame import Frame
from railmodel.geometry.rows import Array
from railmodel.job.fields import not_among
from railmodel.job.loads import Hold, Loads, Support
from railmodel.loading.statics import APART, Rest
from railmodel.loading.ties import off_tube, span_of
from railmodel.part import RailPart

BRACKET = 150.0
"""A place farther than this from every tube's face touches none of them, mm."""


@dataclass(frozen=True, slots=True, eq=False)
class Foothold:
    """A place where a tube takes a load.

    Args:
        label: of the tube.
        station: along it, mm.
        at: (3,) where the load comes in, mm.
    """

    label: str
    station: float
    at: Array


@dataclass(frozen=True, slots=True, eq=False)
class Bed:
    """A length of tube that takes a load spread evenly.

    Args:
        label: of the tube.
        low: station where it begins, mm.
        high: station where it ends, mm.
    """

    label: str
    low: float
    high: float


@dataclass(frozen=True, slots=True, eq=False)
class Carried:
    """A mass.

    Args:
        name: what it is.
        mass: kg.
        at: (3,) its centre of mass, mm.
        feet: where it is taken.
        beds: or the lengths of tube it lies on.
    """

    name: str
    mass: float
    at: Array
    feet: tuple[Foothold, ...]
    beds: tuple[Bed, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Borne:
    """All that a frame carries, and what holds it up.

    Args:
        masses: the masses.
        rests: the supports.
        feet: where each support holds, in the order of `rests`.
    """

    masses: tuple[Carried, ...]
    rests: tuple[Rest, ...]
    feet: tuple[tuple[Foothold, ...], ...]


def borne(frame: Frame, loads: Loads, parts: Sequence[RailPart]) -> Borne:
    """Look up everything that a job's loads name.

    Raises:
        InputError: names that lead nowhere, places that touch nothing, supports that cannot hold the frame.
    """
    problems: list[str] = []
    masses: list[Carried] = []
    rests: list[Rest] = []
    feet: list[tuple[Foothold, ...]] = []
    for i, mass in enumerate(loads.masses):
        where = f'{frame.source.where("loads", "masses", i, "on")}: loads masses "{mass.name}" on: '
        held = [_hold(frame, hold, parts, problems, where) for hold in mass.on]
        at_points = tuple(foot for some, _ in held for foot in some)
        along = tuple(bed for _, some in held for bed in some)
        if at_points and along:
            problems.append(f"{where}found places and whole parts together; name either the one or the other")
        masses.append(Carried(mass.name, mass.mass, np.array(mass.at), at_points, along))
    for i, load in enumerate(loads.payload):
        where = f'{frame.source.where("loads", "payload", i, "on")}: loads payload "{load.name}" on: '
        beds = tuple(bed for name in load.on for bed in _beds(frame, name, load.x, parts, problems, where))
        at = np.array([sum(load.x) / 2, load.aside, load.height])
        masses.append(Carried(load.name, load.mass, at, (), beds))
    for i, support in enumerate(loads.supports):
        where = f'{frame.source.where("loads", "supports", i)}: loads supports "{support.name}": '
        found = tuple(foot for name in support.at for foot in _fit_point(frame, name, parts, problems, where))
        feet.append(found)
        if found:
            rests.append(_rest(support, found))
    if not problems:
        problems += _holding(frame, rests, loads)
    if problems:
        raise InputError(problems)
    return Borne(tuple(masses), tuple(rests), tuple(feet))


def _hold(
    frame: Frame, hold: Hold, parts: Sequence[RailPart], problems: list[str], where: str
) -> tuple[list[Foothold], list[Bed]]:
    """Places, or lengths of tube, that one hold stands for."""
    if hold.at is not None:
        return [foot for foot in [_touched(frame, np.array(hold.at), parts, problems, where)] if foot], []
    assert hold.name is not None
    if any(point.name == hold.name for point in frame.job.fit_points):
        return list(_fit_point(frame, hold.name, parts, problems, where)), []
    return [], list(_beds(frame, hold.name, None, parts, problems, where))


def _touched(frame: Frame, at: Array, parts: Sequence[RailPart], problems: list[str], where: str) -> Foothold | None:
    """The tube nearest to a place, if it is within a bracket's reach."""
    best: tuple[float, RailPart, float] | None = None
    for part in parts:
        (station,), (distance,) = off_tube(part, at[None])
        if best is None or distance < best[0]:
            best = float(distance), part, float(station)
    if best is not None and best[0] <= BRACKET:
        return Foothold(best[1].label, best[2], at)
    place = ", ".join(frame.say(float(value)) for value in at)
    near = "" if best is None else f"; the nearest, {best[1].label}, is {frame.say(best[0])} away"
    cure = f"give a place within {frame.say(BRACKET)} of a tube's face"
    problems.append(f"{where}found ({place}), which touches no tube{near}; {cure}")
    return None


def _fit_point(
    frame: Frame, name: str, parts: Sequence[RailPart], problems: list[str], where: str
) -> Iterator[Foothold]:
    """The feet of a fit point, one for each hand it stands for."""
    known = [point.name for point in frame.job.fit_points]
    if name not in known:
        problems.append(f"{where}{not_among(name, known)}; a support holds the frame at fit points")
        return
    labels = {part.label for part in parts}
    found = [fit for fit in fit_work(frame).fits if fit.point.name == name and fit.part.label in labels]
    if not found:
        problems.append(f'{where}found "{name}", which stands on no tube; see railmodel check')
    missed = next((fit for fit in found if _miss(fit) > BRACKET), None)
    if missed is not None:
        problems.append(
            f'{where}found "{name}", which misses {missed.part.label} by {frame.say(_miss(missed))}; allowed: within '
            f"{frame.say(BRACKET)} of where it is to stand; move the fit point or the tube"
        )
        return
    for fit in found:
        at = np.array(fit.point.at)
        if fit.part.hand == "left" and fit.point.hand is None:
            at = at * [1.0, -1.0, 1.0]
        low, high = span_of(fit.part)
        yield Foothold(fit.part.label, float(np.clip(fit.foot.along, low, high)), at)


def _miss(fit: Fit) -> float:
    """How far a fit point is from where it would stand on its tube, mm."""
    foot = fit.foot
    return float(np.linalg.norm([foot.gap - fit.point.gap.want, foot.off_face, foot.beyond]))


def _beds(
    frame: Frame, name: str, between: tuple[float, float] | None, parts: Sequence[RailPart], problems: list[str],
    where: str,
) -> Iterator[Bed]:  # fmt: skip
    """Lengths of the tubes of a name, whole or between two stations of the vehicle."""
    named = [part for part in parts if name in (part.name, part.label)]
    if not named:
        tubes = [part.name for part in frame.job.parts] + [cross.name for cross in frame.job.crossmembers]
        points = [] if between else [point.name for point in frame.job.fit_points]
        problems.append(f"{where}{not_among(name, [*tubes, *points])}")
        return
    count = 0
    for part in named:
        low, high = span_of(part)
        for bed in [Bed(part.label, low, high)] if between is None else _within(part, low, high, between):
            count += 1
            yield bed
    if not count:
        assert between is not None
        reach = np.concatenate([part.line.points[:, 0] for part in named])
        spans = ((reach.min(), reach.max()), between)
        ends, wanted = ((frame.say(float(first)), frame.say(float(last))) for first, last in spans)
        problems.append(
            f"{where}found {name}, which runs from X {ends[0]} to {ends[1]} and not between {wanted[0]} and "
            f"{wanted[1]}; move the load, or name another part"
        )


def _within(part: RailPart, low: float, high: float, between: tuple[float, float]) -> Iterator[Bed]:
    """Stretches of a part that lie between two stations of the vehicle."""
    steps = np.linspace(low, high, 2001)
    x = part.line.pose_at(steps).at[:, 0]
    inside = (x >= between[0]) & (x <= between[1])
    edges = np.flatnonzero(np.diff(np.concatenate([[False], inside, [False]]).astype(int)))
    for first, past in edges.reshape(-1, 2):
        ends = [float(steps[first]), float(steps[past - 1])]
        for place, (out, within) in enumerate(((first - 1, first), (past, past - 1))):
            if 0 <= out < len(steps):  # the edge lies between two steps
                bound = between[0] if x[out] < between[0] else between[1]
                share = (bound - x[within]) / (x[out] - x[within])
                ends[place] = float(steps[within] + share * (steps[out] - steps[within]))
        if ends[1] - ends[0] > APART:
            yield Bed(part.label, *ends)


def _rest(support: Support, feet: Sequence[Foothold]) -> Rest:
    places = np.array([foot.at for foot in feet])
    x = float(places[:, 0].mean()) if support.x is None else support.x
    return Rest(support.name, x, places, support.track, support.ball)


def _holding(frame: Frame, rests: Sequence[Rest], loads: Loads) -> list[str]:
    """Why the supports cannot hold the frame up, if they cannot."""
    where = f"{frame.source.where('loads', 'supports')}: loads supports: "
    names = " and ".join(rest.name for rest in rests)
    if np.ptp([rest.x for rest in rests]) <= APART:
        return [f"{where}found {names} at one station, so that the frame would tip; hold it at another station too"]
    for one, other in combinations(rests, 2):
        if float(np.linalg.norm(one.places.mean(axis=0) - other.places.mean(axis=0))) <= APART:
            twins = f"{one.name} and {other.name}"
            return [f"{where}found {twins}, which hold the frame at one place; give each fit points of its own"]
    wide = [rest.name for rest in rests if rest.wide]
    if not wide:
        return [
            f"{where}found {names}, none of which holds both sides, so that the frame would roll over; hold it at fit "
            "points on both sides"
        ]
    lift = loads.cases.one_wheel_up
    if lift is not None and (lift not in wide or len(wide) < 2):
        return [
            f"{where}found one_wheel_up {lift}, but it takes two supports that hold both sides to twist the frame; "
            "take one_wheel_up out"
        ]
    if loads.cases.torsion is not None and len(wide) < 2:
        return [f"{where}found torsion, but only {wide[0]} holds both sides; take torsion out"]
    return []
