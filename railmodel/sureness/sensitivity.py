"""What a job asks of its bent parts, each as a number with its derivatives by every value of their bend tables.

Fit points, joints and clearances are taken as `railmodel check` measures them. A gap does not change to first order
when its foot slides along the tube, or its nearest place along the shape (envelope theorem), so that only the movement
of the tube there counts. mm, radians.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from math import inf, pi
from typing import Literal

import numpy as np

from railmodel.bending.work import ToolKey, ToolUse, shop_work
from railmodel.fitting.clear_job import clearances, solid_parts
from railmodel.fitting.fit_job import Fit, Joined, fit_work
from railmodel.fitting.joint import outward
from railmodel.fitting.near import witness_of
from railmodel.fitting.wishes import FLIP
from railmodel.frame import Frame
from railmodel.geometry.centreline import Centreline, Pose
from railmodel.geometry.rows import Array
from railmodel.part import RailPart
from railmodel.sureness.best_fit import WORDS as BEST_WORDS
from railmodel.sureness.best_fit import Held, best_screws, held_by
from railmodel.sureness.datum import BEST, Datum, datum_for, datum_place
from railmodel.sureness.screws import Columns, Movers, Place, Working, moved, movers, place_at, turned

Kind = Literal["fit point", "joint", "clearance"]


@dataclass(frozen=True, eq=False, kw_only=True)
class Bent:
    """A tube of one hand, laid against its datum.

    Args:
        part: the tube.
        line: its centreline from the leading end; bends and straights are counted along it.
        datum: the place that stays where it is, and
        datum_words: what it is called.
        movers: how each value of its bend table moves it.
        stretch: (n,) part of each arc that comes from stretching.
        held: what it is laid by where it is laid as well as it fits; None where it is laid on the datum.
    """

    part: RailPart
    line: Centreline
    datum: Place
    datum_words: str
    movers: Movers
    stretch: Array
    held: Held | None = None

    @property
    def columns(self) -> Columns:
        """The values of its bend table."""
        return Columns(self.line.rows.count)

    def place(self, along: float) -> Place:
        """The place at a length along the centreline from its front end, mm."""
        return place_at(self.line, along if self.part.leading_end == "front" else self.line.length - along)

    def end(self, end: str) -> Place:
        """The place of its front or rear end."""
        return Place(0, 0.0) if end == self.part.leading_end else Place(2 * self.columns.bends, 1.0)

    def screws(self, places: Sequence[Place]) -> Array:
        """(m, x, 6) how it moves at some places; see `railmodel.sureness.screws`."""
        if self.held is not None:
            return self.movers.at(places) - best_screws(self.movers, self.datum, self.held)
        return self.movers.at(places, self.datum)

    def slope(self, place: Place, point: Array, normal: Array) -> Array:
        """(x,) how a point (3,) that is carried along moves in a direction (3,)."""
        return np.asarray(moved(self.screws([place])[0], point) @ normal)


@dataclass(frozen=True, eq=False, kw_only=True)
class Measure:
    """One number that the job asks about.

    Args:
        kind: what it belongs to.
        name: of the fit point, joint or shape.
        on: label of the part; for a joint, of its first end's part.
        what: which number of it: "gap"; on a joint also "aside" and "up" (where the second end stands along s and u of
            the first), "tilt aside" and "tilt up" (where its travel leans) and "roll".
        value: as the job has it, mm or radians.
        low: least value that will do; -inf where none is given.
        high: largest value that will do; inf where none is given.
        slopes: by label of a part, (x,) derivatives in the order of its `Columns`; parts that do not matter are left
            out.
        about: the fit point or joint as measured, None for a clearance.
        place: where on the part it is measured, and
        normal: (3,) for a gap, the direction it is measured in, away from the tube.
    """

    kind: Kind
    name: str
    on: str
    what: str
    value: float
    low: float = -inf
    high: float = inf
    slopes: Mapping[str, Array]
    about: Fit | Joined | None = None
    place: Place | None = None
    normal: Array | None = None

    @property
    def unit(self) -> Literal["length", "angle"]:
        """What the value is."""
        return "angle" if self.what in ("tilt aside", "tilt up", "roll") else "length"


@dataclass(frozen=True, eq=False, kw_only=True)
class Sensitivity:
    """A job's bent parts and everything asked of them.

    Args:
        working: how the shop works.
        bent: by label, every part that is bent or cut; crossmembers follow their rails and are not followed.
        measures: in the order fit points, joints, clearances.
        left_out: what could not be taken along, a sentence each.
    """

    working: Working
    bent: Mapping[str, Bent]
    measures: tuple[Measure, ...]
    left_out: tuple[str, ...] = field(default=())


def sensitivity(frame: Frame, data: Sequence[Datum] = (), working: Working = "marks fixed") -> Sensitivity:
    """Exact derivatives of everything a job asks by every value of its bend tables.

    Args:
        frame: the job.
        data: what parts are laid against; each part takes the last that is for it, else its longest straight.
        working: how the shop works.

    Raises:
        InputError: a datum that a part does not have.
    """
    bent = bents(frame, data, working)
    measures = [*_fit_points(frame, bent), *_joints(frame, bent), *_clearances(frame, bent)]
    left_out = [finding.says for finding in fit_work(frame).trouble + clearances(frame).trouble]
    for fit in fit_work(frame).fits:
        if fit.part.label not in bent:
            left_out.append(f"{fit.point.name} stands on {fit.part.label}, which follows its rails and is not followed")
    for label in bent:
        if not any(label in measure.slopes for measure in measures):
            left_out.append(f"{label} has no fit point, joint or shape to keep clear, so none of its bends can matter")
    return Sensitivity(working=working, bent=bent, measures=tuple(measures), left_out=tuple(left_out))


def bents(frame: Frame, data: Sequence[Datum] = (), working: Working = "marks fixed") -> dict[str, Bent]:
    """Every part that is bent or cut, by label, laid against its datum."""
    tools, found = tools_of(frame), {}
    for part in solid_parts(frame):
        if part.cuts is not None:
            continue
        line = part.read.line
        own = np.array([tools[tool_key(part, i)].tube_use.stretch for i in range(line.rows.count)], dtype=float)
        datum = datum_for(part, data)
        place, words = datum_place(part, datum)
        held = held_by(frame, part) if datum.where == BEST else None
        found[part.label] = Bent(
            part=part, line=line, datum=place, datum_words=words if held is None else BEST_WORDS,
            movers=movers(line, working, stretch=own), stretch=own, held=held,
        )  # fmt: skip
    return found


def tools_of(frame: Frame) -> dict[ToolKey, ToolUse]:
    """What the job's bends are made with, with what the record says of it."""
    return {(tool.name, tool.tube, tool.way, tool.radius): tool for tool in shop_work(frame).tools}


def tool_key(part: RailPart, index: int) -> ToolKey:
    """What a bend of a part, counted from 0 at the leading end, is made with."""
    bend = part.read.bends[index]
    return bend.die, part.tube, bend.way, float(part.read.line.rows.radius[index])


def _fit_points(frame: Frame, bent: Mapping[str, Bent]) -> Iterator[Measure]:
    for fit in fit_work(frame).fits:
        own = bent.get(fit.part.label)
        if own is None:
            continue
        place = own.place(fit.foot.along)
        roll = fit.part.read_from("front").roll_of(fit.point.to.face)
        normal = fit.part.line.pose_at(fit.foot.along).direction(roll)[0]
        at = point_on(fit)  # seen from the tube, the point moves the other way
        yield Measure(
            kind="fit point", name=fit.point.name, on=fit.part.label, what="gap", value=fit.foot.gap,
            low=fit.point.gap.want - fit.point.gap.within, high=fit.point.gap.want + fit.point.gap.within,
            slopes={fit.part.label: own.slope(place, at, -normal)}, about=fit, place=place, normal=normal,
        )  # fmt: skip


def point_on(fit: Fit) -> Array:
    """(3,) the fit point itself, on the hand it was measured on."""
    at = np.array(fit.point.at)
    return at * FLIP if fit.part.hand == "left" and fit.point.hand is None else at


def _clearances(frame: Frame, bent: Mapping[str, Bent]) -> Iterator[Measure]:
    for gap, needs in clearances(frame).gaps:
        own = bent.get(gap.part)
        if own is None:
            continue
        near = witness_of(gap, own.part, own.part.line)
        stretch = own.part.line.stretches[near.stretch]
        place = own.place(stretch.station + near.share * stretch.length)
        yield Measure(
            kind="clearance", name=gap.shape, on=gap.part, what="gap", value=gap.gap, low=needs,
            slopes={gap.part: own.slope(place, near.at, near.normal)}, place=place, normal=near.normal,
        )  # fmt: skip


def _joints(frame: Frame, bent: Mapping[str, Bent]) -> Iterator[Measure]:
    for joined in fit_work(frame).joints:
        labels = [name.rpartition(".")[0] for name in joined.names]
        ends = [_End.of(bent[label], end.end) for label, end in zip(labels, joined.joint.between, strict=True)]
        for what, (value, slopes) in _meeting(ends[0], ends[1]).items():
            limit = {"gap": joined.joint.gap, "roll": joined.joint.roll}.get(what)
            yield Measure(
                kind="joint", name=" and ".join(joined.names), on=labels[0], what=what, value=value,
                low=-inf if limit is None else -limit, high=inf if limit is None else limit,
                slopes=_summed(labels, slopes), about=joined,
            )  # fmt: skip


@dataclass(frozen=True, eq=False)
class _End:
    """An end looking out of its tube, and how each value of the bend table moves it (x, 3)."""

    pose: Pose
    at: Array
    t: Array
    s: Array
    u: Array

    @classmethod
    def of(cls, bent: Bent, end: str) -> "_End":
        pose = outward(bent.part.line, "rear" if end == "rear" else "front")
        screw = bent.screws([bent.end(end)])[0]
        t, s, u = (turned(screw, direction) for direction in (pose.t, pose.s, pose.u))
        return cls(pose, moved(screw, pose.at), t, s, u)


def _meeting(first: _End, second: _End) -> dict[str, tuple[float, tuple[Array, Array]]]:
    """How two ends meet, each number with its slopes by the first and by the second; see `Measure.what`."""
    one, other = first.pose, second.pose
    apart = other.at - one.at
    found = {}
    for what, axis, own in (("gap", one.t, first.t), ("aside", one.s, first.s), ("up", one.u, first.u)):
        found[what] = (float(apart @ axis), (own @ apart - first.at @ axis, second.at @ axis))
    for what, axis, own in (("tilt aside", one.s, first.s), ("tilt up", one.u, first.u)):
        found[what] = (float(-other.t @ axis), (-own @ other.t, -second.t @ axis))
    up, aside = float(other.u @ one.u), float(-other.u @ one.s)  # t x u = -s
    turn = float(np.arctan2(aside, up))
    square = up**2 + aside**2
    slopes = tuple(
        (up * by_aside - aside * by_up) / square
        for by_up, by_aside in ((first.u @ other.u, -first.s @ other.u), (second.u @ one.u, -second.u @ one.s))
    )
    found["roll"] = (turn - pi * round(turn / pi), (slopes[0], slopes[1]))
    return found


def _summed(labels: Sequence[str], slopes: Sequence[Array]) -> dict[str, Array]:
    """Slopes by label; both ends may belong to one part."""
    found: dict[str, Array] = {}
    for label, slope in zip(labels, slopes, strict=True):
        found[label] = found[label] + slope if label in found else slope
    return found
