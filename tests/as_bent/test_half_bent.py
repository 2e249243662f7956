"""A rail half bent: the commands that are left put the places that matter back, within their limits."""

from dataclasses import replace

import numpy as np
import pytest
from measured_rails import drawn, frame_rail
from rails import part

from railmodel.as_bent.deviations import Target
from railmodel.as_bent.rail import Rail
from railmodel.as_bent.remaining import Room, remaining
from railmodel.as_bent.spots import Spot, where
from railmodel.geometry.centreline import Centreline
from railmodel.geometry.rows import Array
from railmodel.sureness.screws import Place

FREE = Room(straight=10.0, angle=np.radians(120))


def matter(rail: Rail, *, last: int = 0) -> list[Target]:
    """Places on the straights from one on, two on each."""
    n = rail.columns.bends
    spots = [
        Spot(f"{share:g} of straight {i}", Place(2 * i, share), 0.0, 40.0 * (1 if share < 0.5 else -1))
        for i in range(last, n + 1)
        for share in (0.3, 0.7)
    ]
    at = where(rail.reading.line, spots)
    return [Target(name=spot.name, spot=spot, at=place, weight=1.0) for spot, place in zip(spots, at, strict=True)]


def so_far(rail: Rail, bent: int, rng: np.random.Generator) -> Array:
    """Errors of the bends made."""
    off, columns = np.zeros(rail.columns.count), rail.columns
    errors = drawn(rail, rng) * 3
    for field in ("distance", "angle", "radius", "roll", "tube use"):
        block = columns.block(field)  # type: ignore[arg-type]
        own = errors[block]
        own[bent:] = 0.0
        off[block] = own
    return off


def test_commands_never_make_it_worse_and_keep_to_their_limits() -> None:
    rng = np.random.default_rng(61)
    for _ in range(10):
        rail = frame_rail(rng, 4)
        bent = int(rng.integers(1, 4))
        now = rail.rows(so_far(rail, bent, rng))
        plan = rail.reading.line.rows
        room = Room(straight=float(plan.straights.min()), angle=float(plan.angle.max()))
        found = remaining(rail.reading, now, bent, matter(rail), [room] * (5 - bent))
        assert found.error_after <= found.error_before + 1e-9
        assert found.straight[:-1].min() >= room.straight - 1e-6
        assert found.angle.max(initial=0) <= room.angle + 1e-6
        assert found.rows.angle[:bent] == pytest.approx(now.angle[:bent])
        assert found.rows.rotation == pytest.approx(now.rotation)


def test_one_wrong_bend_of_a_flat_rail_is_taken_out_by_the_two_bends_left() -> None:
    """Two bends and the straight between bring a straight back to any line of the plane (three conditions, three
    commands), so the places behind them lose all their error but that along the tube."""
    rng = np.random.default_rng(62)
    for _ in range(5):
        rail = frame_rail(rng, 3)
        line = rail.reading.line
        flat = Centreline(replace(line.rows, rotation=np.array([line.rows.rotation[0], np.pi, 0.0])), line.start)
        rail = Rail(part(flat).read, "marks fixed", rail.stretch, rail.spread)
        off = np.zeros(rail.columns.count)
        off[rail.columns.of("angle", 1)] = np.radians(0.8)
        places = matter(rail, last=3)
        places += [one for one in matter(rail) if one.spot.place.stretch == 0]
        found = remaining(rail.reading, rail.rows(off), 1, places, [FREE] * 3)
        assert found.removed > 0.9


def test_the_last_bend_alone_does_what_it_can() -> None:
    rng = np.random.default_rng(63)
    gains = []
    for _ in range(8):
        rail = frame_rail(rng, 4)
        now = rail.rows(so_far(rail, 3, rng))
        found = remaining(rail.reading, now, 3, matter(rail), [FREE] * 2)
        gains.append(found.removed)
    assert min(gains) >= -1e-9
    assert np.mean(gains) > 0.1


def test_a_piece_as_planned_is_bent_on_as_planned() -> None:
    rail = frame_rail(np.random.default_rng(64), 4)
    plan = rail.reading.line.rows
    found = remaining(rail.reading, plan, 2, matter(rail), [FREE] * 3)
    assert found.error_before < 1e-6
    assert found.angle == pytest.approx(plan.angle[2:], abs=1e-6)
    assert found.straight == pytest.approx(plan.straights[2:], abs=1e-3)
