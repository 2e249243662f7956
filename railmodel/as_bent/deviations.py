"""How far the places that matter came out from where they belong: against a datum, and after the best fit. mm.

Both are needed: a datum shows which bend is wrong, the best fit whether the tube can be used.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from railmodel.as_bent.align import after_fit, rigid, weight_of
from railmodel.as_bent.estimate import Solution
from railmodel.as_bent.spots import Spot, slopes, spot_at, where
from railmodel.fitting.fit_job import Fit, fit_work
from railmodel.fitting.fit_point import foot_on
from railmodel.frame import Frame
from railmodel.geometry.centreline import Centreline, Pose
from railmodel.geometry.rows import Array
from railmodel.part import RailPart, Reading
from railmodel.sureness.datum import Datum, datum_place
from railmodel.sureness.screws import Place, moved


@dataclass(frozen=True, eq=False, kw_only=True)
class Target:
    """A place that matters.

    Args:
        name: of the fit point, or "front end", "rear end".
        spot: where on the tube it stands; of a fit point, its foot as planned.
        at: (3,) where it belongs, mm.
        weight: how much it counts in the best fit; 0 = not at all.
        fit: the fit point as planned; None for an end.
    """

    name: str
    spot: Spot
    at: Array
    weight: float
    fit: Fit | None = None


def feet(frame: Frame, part: RailPart) -> dict[str, Spot]:
    """Spots of the feet of a part's fit points, by their names."""
    line = part.read.line
    return {
        fit.point.name: spot_at(f"foot of {fit.point.name}", line, fit.foot.at)
        for fit in fit_work(frame).fits
        if fit.part.label == part.label
    }


def targets(frame: Frame, part: RailPart, weights: Mapping[str, float], *, last: int | None = None) -> list[Target]:
    """What matters on a part: its fit points and its two ends.

    The ends count in the best fit only where fit points do not hold the tube: fewer than three, or all on one line.

    Args:
        frame: the job.
        part: the part.
        weights: by name, instead of the customary ones.
        last: only what stands before the end of this bend, counted from 0 in reading order; None = all.
    """
    line = part.read.line
    spots = feet(frame, part)
    given = list(weights.items())
    found = [
        Target(name=fit.point.name, spot=spots[fit.point.name], at=fit.foot.at,
               weight=weight_of(fit.point.name, given), fit=fit)
        for fit in fit_work(frame).fits
        if fit.part.label == part.label
    ]  # fmt: skip
    held = _held(np.array([one.at for one in found if one.weight > 0]).reshape(-1, 3))
    count = line.rows.count
    for name in ("front end", "rear end"):
        leads = name.split()[0] == part.leading_end
        place = Place(0, 0.0) if leads else Place(2 * count, 1.0)
        at = (line.start if leads else line.end).at
        weight = dict(given).get(name, 0.0 if held else 1.0)
        found.append(Target(name=name, spot=Spot(name, place), at=at, weight=weight))
    if not held:
        found += [
            Target(
                name=f"apex {i + 1}", spot=Spot(f"apex {i + 1}", Place(2 * i + 1, 0.0), apex=True), at=at, weight=1.0
            )
            for i, at in enumerate(line.points[1:-1])
        ]
    return [one for one in found if last is None or one.spot.place.stretch <= 2 * last + 1]


def _held(points: Array) -> bool:
    """Whether points hold a tube: three or more, not on one line (within a twentieth of their length)."""
    if len(points) < 3:
        return False
    sizes = np.linalg.svd(points - points.mean(axis=0), compute_uv=False)
    return bool(sizes[1] > 0.02 * sizes[0])


@dataclass(frozen=True, eq=False, kw_only=True)
class Deviation:
    """How far one place came out.

    Args:
        target: the place.
        moved: (3,) from where it belongs, mm.
        sigma: (3,) standard error of that.
        gap: of a fit point, its gap as bent and laid so; None for others.
    """

    target: Target
    moved: Array
    sigma: Array
    gap: float | None = None

    @property
    def ok(self) -> bool | None:
        """Whether the gap is within what the job allows; None where there is none."""
        if self.gap is None or self.target.fit is None:
            return None
        want = self.target.fit.point.gap
        return abs(self.gap - want.want) <= want.within


@dataclass(frozen=True, eq=False, kw_only=True)
class Laying:
    """All places with the tube laid one way.

    Args:
        name: what it is laid on: "its front end", "the middle of straight 2, its longest", "best fit".
        deviations: place by place.
        rms: weighted root mean square of the distances, mm.
    """

    name: str
    deviations: tuple[Deviation, ...]
    rms: float


def laid_on(solution: Solution, chosen: Sequence[Target], datum: Datum) -> Laying:
    """Deviations with the tube laid on a datum: that place where it belongs, its direction and top face too.

    Raises:
        InputError: a datum the part does not have.
    """
    reading = solution.readings.rail.reading
    place, name = datum_place(reading.part, datum)
    line, spots = solution.line, [one.spot for one in chosen]
    turn, shift = _onto(pose_at(line, place), pose_at(reading.line, place))
    at = where(line, spots)
    moving = solution.readings.rail.movers(line)
    still = moving.at([place])[0]
    slope = slopes(line, moving, spots, at) - moved(still[None], at[:, None])
    return _laying(solution, name, chosen, turn, shift, at, slope @ turn.T)


def best_fit(solution: Solution, chosen: Sequence[Target]) -> Laying:
    """Deviations with the tube laid as well as it fits: turned and shifted, not scaled, not mirrored."""
    line, spots = solution.line, [one.spot for one in chosen]
    at = where(line, spots)
    belongs = np.array([one.at for one in chosen])
    weights = np.array([one.weight for one in chosen])
    turn, shift = rigid(at, belongs, weights)
    moving = solution.readings.rail.movers(line)
    slope = slopes(line, moving, spots, at) @ turn.T
    left = after_fit(belongs, weights, slope.swapaxes(1, 2)).swapaxes(1, 2)
    return _laying(solution, "best fit", chosen, turn, shift, at, left)


def pose_at(line: Centreline, place: Place) -> Pose:
    """The tube's frame at a place."""
    stretch = line.stretches[place.stretch]
    return stretch.pose(stretch.length * place.share)


def _onto(pose: Pose, other: Pose) -> tuple[Array, Array]:
    """Turn and shift that bring one frame onto another."""
    own, target = (np.array([one.t, one.s, one.u]).T for one in (pose, other))
    turn = target @ own.T
    return turn, other.at - turn @ pose.at


def _laying(
    solution: Solution, name: str, chosen: Sequence[Target], turn: Array, shift: Array, at: Array, slope: Array
) -> Laying:
    found = []
    sigma = solution.sigma(slope.swapaxes(1, 2))
    laid = Centreline(solution.line.rows, _turned(solution.line.start, turn, shift))
    for i, one in enumerate(chosen):
        gap = None
        if one.fit is not None:
            gap = _gap(laid, solution.readings.rail.reading, one.fit)
        found.append(Deviation(target=one, moved=turn @ at[i] + shift - one.at, sigma=sigma[i], gap=gap))
    weights = np.array([one.weight for one in chosen])
    squares = np.array([float(one.moved @ one.moved) for one in found])
    return Laying(name=name, deviations=tuple(found), rms=float(np.sqrt(weights @ squares / weights.sum())))


def _turned(pose: Pose, turn: Array, shift: Array) -> Pose:
    return Pose(turn @ pose.at + shift, turn @ pose.t, turn @ pose.s, turn @ pose.u)


def _gap(line: Centreline, reading: Reading, fit: Fit) -> float:
    """The gap of a fit point, which stays where the vehicle has it, to the tube as laid."""
    point = np.array(fit.point.at)
    if fit.part.hand == "left" and fit.point.hand is None:
        point = point * [1.0, -1.0, 1.0]
    return foot_on(line, reading.part.section, point, reading.roll_of(fit.point.to.face)).gap
