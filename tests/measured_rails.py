"""Simulated rails for tests: bent a little off by a known spread, then measured with known noise."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from rails import part, random_legal_line

from railmodel.as_bent.choose import candidates
from railmodel.as_bent.measured import Measured
from railmodel.as_bent.rail import Rail, Readings
from railmodel.geometry.centreline import Centreline
from railmodel.geometry.rows import Array, BendRows
from railmodel.sureness.screws import Columns, Working

ANGLE, MARK, USE, ROLL, RADIUS = np.radians(0.5), 0.8, 0.5, np.radians(0.5), 0.005


def spread_for(line: Centreline, *, angle: float = ANGLE) -> Array:
    """(6 n + 1,) a shop's spread: angles, marks, tube use, rolls and radii."""
    columns = Columns(line.rows.count)
    spread = np.zeros(columns.count)
    for field, size in (("angle", angle), ("distance", MARK), ("tube use", USE), ("roll", ROLL)):
        spread[columns.block(field)] = size  # type: ignore[arg-type]
    spread[columns.block("radius")] = RADIUS * line.rows.radius
    spread[columns.tail] = MARK
    return spread


def frame_rail(rng: np.random.Generator, bends: int, working: Working = "marks fixed") -> Rail:
    """A random rail like those of frames: bends of 8 to 45 degrees, straights of 150 to 1200 mm."""
    line = random_legal_line(rng, bends)
    rows = BendRows.of(
        rng.uniform(150, 1200, bends), line.rows.rotation, np.radians(rng.uniform(8, 45, bends)),
        rng.uniform(150, 260, bends), rng.uniform(200, 1200),
    )  # fmt: skip
    line = Centreline(rows, line.start)
    stretch = rng.uniform(0, 0.02, bends)
    return Rail(part(line).read, working, stretch, spread_for(line))


def drawn(rail: Rail, rng: np.random.Generator) -> Array:
    """(6 n + 1,) one piece's errors by the rail's spread."""
    return np.asarray(rng.normal(size=rail.columns.count) * rail.spread)


def read(rail: Rail, off: Array, things: Sequence[Measured], rng: np.random.Generator | None) -> tuple[Measured, ...]:
    """What the shop reads of some things on a piece, with noise where a generator is given."""
    readings = Readings(rail, tuple(things), None)
    values = readings.look(off[rail.free])[0]
    noise = readings.sigmas * rng.normal(size=len(values)) if rng is not None else 0.0
    return tuple(
        replace(one, value=float(value), text=f"{value:.4f}") for one, value in zip(things, values + noise, strict=True)
    )


def some_things(rail: Rail, rng: np.random.Generator) -> tuple[Measured, ...]:
    """A shop's choice of what to measure: most angles, some straights, a few distances."""
    every = candidates(rail)
    chance = {"angle": 0.8, "straight": 0.6, "distance": 0.2}
    taken = tuple(one for one in every if rng.random() < chance[one.kind])
    return taken or every[:1]
