"""A tube laid as well as it fits the places that matter, instead of on one of its straights. mm, radians.

Each tube is laid by itself, also of a pair: rails are set to the vehicle one at a time, before anything ties them. It
is turned and shifted, never scaled or mirrored, with the least weighted sum of squares over the feet of its fit
points. To first order, the screw that is taken off for each value of the bend table is the one that fits best how the
feet move (implicit derivative of the rigid fit at the nominal, where every foot stands where it belongs).
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from railmodel.as_bent.align import weight_of
from railmodel.fitting.fit_job import fit_work
from railmodel.frame import Frame
from railmodel.geometry.rows import Array
from railmodel.part import RailPart
from railmodel.sureness.screws import Movers, Place, moved, place_at

WORDS: Final = "the best fit over its fit points, each by itself"

_LINE: Final = 0.02
"""Points whose spread aside is less than this part of their length lie on one line, and leave a tube free to turn."""


@dataclass(frozen=True, eq=False)
class Held:
    """What a tube is fitted by.

    Args:
        places: m, read from its leading end.
        points: (m, 3) where they are, on its centreline, mm.
        weights: (m,) how much each counts.
    """

    places: tuple[Place, ...]
    points: Array
    weights: Array


def held_by(frame: Frame, part: RailPart) -> Held:
    """What a tube is fitted by: the feet of its fit points; its ends and bends too where those are few.

    Fewer than three, or all on one line, leave it free to turn.
    """
    line = part.read.line
    fits = [fit for fit in fit_work(frame).fits if fit.part.label == part.label]
    at = [fit.foot.at for fit in fits]
    weights = [weight_of(fit.point.name) for fit in fits]
    points = np.array(at).reshape(-1, 3)
    sizes = np.linalg.svd(points - points.mean(axis=0), compute_uv=False) if len(points) >= 3 else np.zeros(3)
    if not sizes[1] > _LINE * sizes[0]:
        ends = [line.stretches[0].pose(0.0).at, line.end.at]
        points = np.concatenate([points, ends, *([bend.pose(bend.length / 2).at[None] for bend in line.bends])])
        weights += [1.0] * (len(points) - len(weights))
    stations = line.closest(points)[0]
    places = tuple(place_at(line, float(station)) for station in stations)
    return Held(places, line.pose_at(stations).at, np.array(weights))


def best_screws(movers: Movers, datum: Place, held: Held) -> Array:
    """(x, 6) the screw that a tube laid as well as it fits is moved by, for each value of its bend table.

    Args:
        movers: how the tube moves.
        datum: what holds it where the points do not, such as a turn about their common line.
        held: what it is fitted by.
    """
    points, weights = held.points, held.weights
    middle = weights @ points / weights.sum()
    moves = moved(movers.at(held.places, datum), points[:, None])  # (m, x, 3)
    arms = points - middle
    size = float(np.sqrt(np.mean(arms**2))) or 1.0
    design = np.zeros((len(points), 3, 6))
    for axis in range(3):
        turn = np.zeros(6)
        turn[axis] = 1.0
        design[:, :, axis] = moved(turn, arms) / size
    design[:, :, 3:] = np.eye(3)
    root = np.repeat(np.sqrt(weights), 3)[:, None]
    flat = moves.swapaxes(1, 2).reshape(3 * len(points), -1)
    found = np.linalg.lstsq(design.reshape(-1, 6) * root, flat * root, rcond=1e-9)[0].T
    turns, shifts = found[:, :3] / size, found[:, 3:]
    about = np.concatenate([turns, shifts - np.cross(turns, middle)], axis=1)
    return np.asarray(movers.at([datum])[0] + about)
