"""Forces shared out by statics alone: a load over the places that take it, and what supports give back.

A wrench is a force and a moment, (6,): N and N mm, the moment taken about the origin of the vehicle's axes.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from railmodel.geometry.rows import Array

APART = 1.0
"""Places closer than this (mm) cannot hold against each other."""

NOTHING = 1e-9
"""A support that carries less (N) carries nothing."""

_PUSHES = 1e-6
"""A support that pulls less than this part of what it carries does not pull."""

_ROUNDS = 30
"""How often who brakes how much is found again from who carries how much."""


def wrench(force: ArrayLike, at: ArrayLike, moment: ArrayLike = (0.0, 0.0, 0.0)) -> Array:
    """The wrench of a force at a place, with a moment."""
    push, place = np.asarray(force, dtype=float), np.asarray(at, dtype=float)
    return np.concatenate([push, np.cross(place, push) + np.asarray(moment, dtype=float)])


def shared(total: Array, places: Array, weights: Array | None = None) -> Array:
    """A wrench shared out over places.

    The least forces (in the sum of their squares over weight) that make up the wrench; what forces alone cannot make
    up, such as a turn about the line through two places, goes to the places as moments by weight.

    Args:
        total: the wrench.
        places: (k, 3) mm.
        weights: (k,) how much of it each takes; None = all alike.

    Returns:
        (k, 6) forces and moments at the places themselves.
    """
    count = len(places)
    weight = np.full(count, 1.0 / count) if weights is None else weights / weights.sum()
    middle = weight @ places
    off = places - middle
    about = total[3:] - np.cross(middle, total[:3])
    # forces -W A^T x with A their moments; (r x f) = skew(r) f
    skew = np.zeros((count, 3, 3))
    skew[:, 0, 1], skew[:, 0, 2] = -off[:, 2], off[:, 1]
    skew[:, 1, 0], skew[:, 1, 2] = off[:, 2], -off[:, 0]
    skew[:, 2, 0], skew[:, 2, 1] = -off[:, 1], off[:, 0]
    inertia = np.einsum("k,kij,klj->il", weight, skew, skew)
    values, ways = np.linalg.eigh(inertia)
    holds = values > max(APART**2 / 4, 1e-9 * float(values.max()))  # about the other ways forces have no lever
    solved = ways[:, holds] @ ((ways[:, holds].T @ about) / values[holds])
    forces = weight[:, None] * (total[:3] + np.einsum("kji,j->ki", skew, solved))
    left = about - np.cross(off, forces).sum(axis=0)
    return np.concatenate([forces, weight[:, None] * left], axis=1)


@dataclass(frozen=True, slots=True, eq=False)
class Rest:
    """What holds the frame up across the vehicle.

    Args:
        name: of the support.
        x: station where the wheels or the coupling stand, mm.
        places: (k, 3) where it holds the frame.
        track: from wheel to wheel, mm, if it has wheels that are spoken of.
        ball: Z of the ball of a coupling, where its pull is; None where it stands on the road.
    """

    name: str
    x: float
    places: Array
    track: float | None
    ball: float | None = None

    @property
    def wide(self) -> bool:
        """Whether it can hold against roll."""
        return self.ball is None and float(np.ptp(self.places[:, 1])) > APART


@dataclass(frozen=True, slots=True, eq=False)
class Reaction:
    """What one support gives back, on the road below it or at its ball.

    Args:
        rest: the support.
        along: N, positive rearward.
        across: N, positive to the right.
        up: N.
        roll: moment about X, N mm: right wheel less left.
    """

    rest: Rest
    along: float
    across: float
    up: float
    roll: float

    def on_frame(self, ground: float) -> Array:
        """(k, 6) forces and moments at its places; the road is at `ground`."""
        at = np.array([self.rest.x, 0.0, ground if self.rest.ball is None else self.rest.ball])
        total = wrench([self.along, self.across, self.up], at, [self.roll, 0.0, 0.0])
        return shared(total, self.rest.places)


def held_down(reaction: Reaction) -> tuple[tuple[str, float], ...]:
    """What of a support pulls down (N): statics has it hold what a wheel or a stand, that only pushes, does not.

    Args:
        reaction: of the support.

    Returns:
        "left wheel" or "right wheel", or "" for the whole of it, and the pull; nothing where all of it pushes.
    """
    rest, least = reaction.rest, _PUSHES * max(abs(reaction.up), 1.0)
    if reaction.up < -least:
        return (("", -reaction.up),)
    if not rest.track:
        return ()
    more = reaction.roll / rest.track
    wheels = (("left wheel", reaction.up / 2 - more), ("right wheel", reaction.up / 2 + more))
    return tuple((wheel, -up) for wheel, up in wheels if up < -least)


def reactions(load: Array, rests: Sequence[Rest], ground: float, lift: str | None = None) -> list[Reaction]:
    """What the supports give back to a load, by statics.

    Up and across are found from the balance along the vehicle (the least squares where more than two supports share
    it); braking goes to the supports as their load does, and so does roll, among those that can take it. A ball takes
    its share of braking and cornering at its own height, and no roll.

    Args:
        load: wrench on the frame.
        rests: the supports; two or more at different stations, one of them wide.
        ground: Z of the road, mm.
        lift: name of the support whose left wheel hangs free while its right one carries all.
    """
    stations = np.array([rest.x for rest in rests])
    ones, everyone = np.ones(len(rests)), np.ones(len(rests), dtype=bool)
    heights = np.array([ground if rest.ball is None else rest.ball for rest in rests])
    across = _balance(ones, stations, -load[1], -load[5])
    along = -load[0] * ones / len(rests)
    up = _balance(ones, stations, -load[2], load[4] + heights @ along)
    for _ in range(_ROUNDS if np.ptp(heights) else 1):  # on one level it does not matter to the load who brakes
        along = -load[0] * _share(up, everyone)
        up = _balance(ones, stations, -load[2], load[4] + heights @ along)
    roll = -load[3] + heights @ across
    wide = np.array([rest.wide for rest in rests])
    rolls = roll * _share(up, wide)
    if lift is not None:
        rolls = rolls + _lifted(lift, rests, up, wide)
    return [
        Reaction(rest, *(float(value) for value in values))
        for rest, *values in zip(rests, along, across, up, rolls, strict=True)
    ]


def twisting(torque: float, rests: Sequence[Rest]) -> list[Reaction]:
    """A torque (N mm) put in at the first wide support and taken out at the last."""
    wide = [rest for rest in rests if rest.wide]
    return [Reaction(wide[0], 0.0, 0.0, 0.0, torque), Reaction(wide[-1], 0.0, 0.0, 0.0, -torque)]


def _balance(ones: Array, stations: Array, force: float, moment: float) -> Array:
    """Forces at stations with a given sum and a given sum of force times station."""
    middle = float(stations.mean())
    rows = np.array([ones, stations - middle])
    return np.asarray(np.linalg.pinv(rows) @ np.array([force, moment - middle * force]))


def _share(up: Array, wide: NDArray[np.bool_]) -> Array:
    """(k,) what each support takes of a whole: as it carries among those that count; all alike where none carries."""
    carried = np.where(wide, np.maximum(up, 0.0), 0.0)
    return np.asarray(carried / carried.sum() if carried.sum() > NOTHING else wide / wide.sum())


def _lifted(lift: str, rests: Sequence[Rest], up: Array, wide: Array) -> Array:
    """Roll moments that stand for one wheel of a support in the air, as far as the others can hold against it."""
    own = next(i for i, rest in enumerate(rests) if rest.name == lift)
    most = [
        max(float(load), 0.0) * rest.track / 2 if rest.track else np.inf for load, rest in zip(up, rests, strict=True)
    ]
    others = np.array([i != own for i in range(len(rests))]) & wide
    turn = min(most[own], sum(roll for roll, other in zip(most, others, strict=True) if other))
    found = np.zeros(len(rests))
    found[own] = turn
    return np.asarray(found - turn * _share(up, others)) if turn else found
