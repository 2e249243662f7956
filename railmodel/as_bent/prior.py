"""How far a tube may be off before anything is measured: the shop's spread, and customary values where it has none."""

from math import radians
from typing import Final

import numpy as np

from railmodel.as_bent.rail import Rail
from railmodel.errors import InputError
from railmodel.frame import Frame
from railmodel.geometry.rows import Array
from railmodel.part import RailPart
from railmodel.sureness.screws import Field, Working
from railmodel.sureness.sensitivity import Bent, bents
from railmodel.sureness.spread import WORDS, Spread, spread_of

CUSTOMARY: Final[dict[Field, tuple[float, str]]] = {
    "angle": (radians(0.5), "0.5 degrees"),
    "distance": (25.4 / 32, "1/32 in"),
    "roll": (radians(0.5), "0.5 degrees"),
    "radius": (0.005, "0.5 % of it"),
    "tube use": (0.5, "0.5 mm"),
}
"""Standard deviations where the shop's records and settings say nothing: mm, radians, the radius as a part of itself
(common practice, no source)."""


def rail_of(frame: Frame, part: RailPart, working: Working) -> tuple[Rail, tuple[str, ...]]:
    """A part with the spread it may come out with, and where that is known from, a sentence each.

    Raises:
        InputError: the part is no solid as the job has it.
    """
    bent = bents(frame, (), working).get(part.label)
    if bent is None:
        raise InputError(f"{part.label} makes no solid as the job has it, so it cannot have been bent; check the job")
    known, sources = _known(frame, bent, working)
    rows, columns = part.read.line.rows, bent.columns
    spread = known.copy()
    assumed = []
    for field, (size, words) in CUSTOMARY.items():
        if field == "tube use" and working == "straights held":
            continue
        block = columns.block(field)
        if field == "roll" and known[columns.block("rotation")].any():
            continue
        usual = size * rows.radius if field == "radius" else np.full(rows.count, size)
        own = spread[block]
        if (own == 0).any():
            assumed.append(f"{WORDS[field]} {words}")
        spread[block] = np.where(own > 0, own, usual)
    if not spread[columns.tail]:
        spread[columns.tail] = CUSTOMARY["distance"][0]
    if assumed:
        sources = (*sources, f"assumed, for want of the shop's own: {', '.join(assumed)} (one standard deviation)")
    return Rail(part.read, working, bent.stretch, spread), sources


def _known(frame: Frame, bent: Bent, working: Working) -> tuple[Array, tuple[str, ...]]:
    """(6 n + 1,) what the shop's records and settings tell of each value of a bend table."""
    label = bent.part.label
    variance = np.zeros(bent.columns.count)
    try:
        spread: Spread = spread_of(frame, {label: bent}, working)
    except InputError:
        return variance, ()
    for cause in spread.causes:
        size = cause.sigma.predictive
        for column, by in cause.hits.get(label, ()):
            variance[column] += (by * (size if np.isfinite(size) else 2 * cause.sigma.value)) ** 2
    return np.sqrt(variance), tuple(source for source in spread.sources if "counted as none" not in source)
