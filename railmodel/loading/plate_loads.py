"""Plates as dead load: what every placed copy weighs, and the tubes that take it; mm, kg."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import ceil

import numpy as np

from railmodel.frame import Frame
from railmodel.geometry.rows import Array
from railmodel.loading.carried import BRACKET, Carried, Foothold
from railmodel.loading.ties import TOUCHING, off_tube, span_of
from railmodel.loading.weigh import plate_centre
from railmodel.part import RailPart
from railmodel.plates import Placing, Plate, plates

_APART = 10.0
"""Places on a plate's edge that are asked whether they touch a tube are no farther apart than this, mm."""

_ACROSS = 5
"""And within it as many each way."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftOut:
    """Plates that are cut but load nothing.

    Args:
        name: the plate's.
        count: how many.
        mass: of one, kg.
        why: in words, behind their name.
    """

    name: str
    count: int
    mass: float
    why: str


def plate_loads(frame: Frame, parts: Sequence[RailPart]) -> tuple[tuple[Carried, ...], tuple[LeftOut, ...]]:
    """The plates of a job as masses, each on the tubes that it touches, or on the nearest within a bracket's reach.

    Args:
        frame: the job.
        parts: the tubes that are held up.

    Returns:
        Every placed copy by itself, and what is left out.
    """
    loads: list[Carried] = []
    left: list[LeftOut] = []
    for plate in plates(frame):
        if not plate.area > 0:
            continue
        spots, middle, missed = _spots(plate), plate_centre(plate), 0
        for placing in plate.places:
            feet = tuple(_feet(plate, placing, spots, parts))
            if feet:
                at = placing.points(middle, plate.thickness / 2)
                loads.append(Carried(plate.name, plate.mass(), at, feet, ()))
            else:
                missed += 1
        spare = plate.count - len(plate.places)
        for count, why in (
            (missed, "no tube that is held up is within reach"),
            (spare, "without a place in the vehicle"),
        ):
            if count > 0:
                left.append(LeftOut(name=plate.name, count=count, mass=plate.mass(), why=why))
    return tuple(loads), tuple(left)


def _feet(plate: Plate, placing: Placing, spots: Array, parts: Sequence[RailPart]) -> Iterator[Foothold]:
    """Where a plate rests: in the middle of what touches of it, on every tube that it touches."""
    places = np.concatenate([placing.points(spots, depth) for depth in (0.0, plate.thickness)])
    nearest: tuple[float, Array, RailPart] | None = None
    found = False
    for part in parts:
        away = off_tube(part, places)[1]
        if away.min() <= TOUCHING:
            found = True
            yield _foothold(part, places[away <= TOUCHING].mean(axis=0))
        if nearest is None or away.min() < nearest[0]:
            nearest = float(away.min()), places[int(away.argmin())], part
    if not found and nearest is not None and nearest[0] <= BRACKET:
        yield _foothold(nearest[2], nearest[1])


def _foothold(part: RailPart, at: Array) -> Foothold:
    station = float(np.clip(part.line.closest(at)[0][0], *span_of(part)))
    return Foothold(part.label, station, at)


def _spots(plate: Plate) -> Array:
    """(n, 2) places all over a plate, mm."""
    edges = []
    for edge in plate.outline.edges:
        count = max(4, ceil(float(np.linalg.norm(edge.end - edge.start)) / _APART))
        edges.append(edge.points(np.arange(count) / count))
    left, low, right, high = plate.outline.box
    shares = (np.arange(_ACROSS) + 0.5) / _ACROSS
    grid = np.array([(left + x * (right - left), low + y * (high - low)) for x in shares for y in shares])
    within = [spot for spot in grid if plate.outline.inside(spot) > 0]
    return np.concatenate([*edges, np.array(within).reshape(-1, 2)])
