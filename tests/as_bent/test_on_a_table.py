"""Places measured on a table: the tube is found wherever the table's own axes are, and told from its mirror image."""

from dataclasses import replace

import numpy as np
import pytest
from measured_rails import drawn, frame_rail
from rails import part

from railmodel.as_bent.choose import candidates
from railmodel.as_bent.estimate import sift, solve
from railmodel.as_bent.measured import Measured
from railmodel.as_bent.rail import Rail, Readings
from railmodel.as_bent.slips import other_reading
from railmodel.as_bent.spots import Spot, apex, where
from railmodel.geometry.centreline import Centreline
from railmodel.geometry.rows import Array
from railmodel.sureness.screws import Place

SIGMA = 0.5


def never(*_: object) -> bool:
    return False


def spots_of(rail: Rail) -> list[Spot]:
    n = rail.columns.bends
    ends = [Spot("front end", Place(0, 0.0)), Spot("rear end", Place(2 * n, 1.0))]
    return (
        ends
        + [Spot(f"middle of straight {i}", Place(2 * i, 0.5)) for i in range(n + 1)]
        + [Spot(f"apex {i + 1}", apex(i), apex=True) for i in range(n)]
    )


def on_table(rail: Rail, at: Array, axes: int = 3) -> tuple[Measured, ...]:
    """Readings of places that lie so on the table."""
    plain = candidates(rail)[0]
    return tuple(
        replace(plain, kind="table", index=axis, spots=(spot,), value=float(place[axis]), sigma=SIGMA, name=spot.name)
        for spot, place in zip(spots_of(rail), at, strict=True)
        for axis in range(axes)
    )


def turned(rng: np.random.Generator) -> tuple[Array, Array]:
    """A table's axes, anywhere."""
    axes, _ = np.linalg.qr(rng.normal(size=(3, 3)))
    return axes * np.sign(np.linalg.det(axes)), rng.uniform(-2000, 2000, 3)


def test_a_shape_is_found_on_a_table_anywhere() -> None:
    rng = np.random.default_rng(81)
    for _ in range(4):
        rail = frame_rail(rng, 3)
        off, (axes, origin) = drawn(rail, rng), turned(rng)
        at = where(rail.line(off), spots_of(rail)) @ axes.T + origin
        sharp = [replace(one, sigma=1e-3) for one in on_table(rail, at)]
        found, truth = solve(Readings.of(rail, sharp)).line.rows, rail.rows(off)
        assert np.degrees(np.abs(found.angle - truth.angle).max()) < 0.01
        assert np.abs(found.straights - truth.straights).max() < 0.3


def flat_rail(rng: np.random.Generator) -> Rail:
    """A rail whose bends lie in one plane, so that it lies flat on a table."""
    rail = frame_rail(rng, 3)
    line = rail.reading.line
    rows = replace(line.rows, rotation=np.array([line.rows.rotation[0], np.pi, 0.0]))
    return Rail(part(Centreline(rows, line.start)).read, rail.working, rail.stretch, rail.spread)


def test_a_flat_rail_on_a_table_needs_no_heights() -> None:
    rng = np.random.default_rng(82)
    for _ in range(4):
        rail = flat_rail(rng)
        off = np.zeros(rail.columns.count)
        off[rail.columns.block("angle")] = np.radians(rng.normal(size=3) * 0.5)
        points = where(rail.line(off), spots_of(rail))
        plane = np.linalg.svd(points - points.mean(axis=0))[2]  # the table: along, aside, up
        plane[2] *= np.sign(np.linalg.det(plane))
        sharp = [replace(one, sigma=1e-2) for one in on_table(rail, points @ plane.T, axes=2)]
        found = solve(Readings.of(rail, sharp)).line.rows
        assert np.degrees(np.abs(found.angle - rail.rows(off).angle).max()) < 0.02


def test_one_wild_place_is_left_out() -> None:
    rng = np.random.default_rng(83)
    rail = frame_rail(rng, 3)
    off, (axes, origin) = drawn(rail, rng), turned(rng)
    at = where(rail.line(off), spots_of(rail)) @ axes.T + origin + rng.normal(size=(len(spots_of(rail)), 3)) * SIGMA
    at[3, 1] += 40.0
    taken = on_table(rail, at)
    (dropped,) = sift(rail, taken, never).dropped
    assert dropped[0] is taken[3 * 3 + 1]
    assert dropped[1] == pytest.approx(at[3, 1] - 40.0, abs=5.0)


def test_a_mirrored_rail_on_the_table_is_of_the_other_hand() -> None:
    rng = np.random.default_rng(84)
    rail = frame_rail(rng, 3)
    line = rail.reading.line
    rows = replace(line.rows, rotation=np.array([0.0, np.pi / 2, np.pi / 2]))
    rail = Rail(part(Centreline(rows, line.start)).read, rail.working, rail.stretch, rail.spread)
    other = Rail(part(Centreline(rows, line.start).mirrored()).read, rail.working, rail.stretch, rail.spread)
    axes, origin = turned(rng)
    taken = on_table(rail, where(other.reading.line, spots_of(rail)) @ axes.T + origin)
    said = other_reading(rail, taken, None, (other, taken))
    assert said is not None
    assert "fits the other hand" in said
    right = on_table(rail, where(rail.reading.line, spots_of(rail)) @ axes.T + origin)
    assert other_reading(rail, right, None, (other, right)) is None
