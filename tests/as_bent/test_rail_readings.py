"""Readings of a bent rail and their derivatives, against the centreline itself and against difference quotients."""

from dataclasses import replace

import numpy as np
import pytest
from measured_rails import drawn, frame_rail, read

from railmodel.as_bent.choose import candidates
from railmodel.as_bent.measured import Measured
from railmodel.as_bent.rail import Rail, Readings, table_rows, turns
from railmodel.as_bent.spots import Spot, apex, find_spot, where
from railmodel.errors import InputError
from railmodel.geometry.rows import rows_from_points
from railmodel.sureness.screws import Place, Working

WAYS: tuple[Working, Working] = ("marks fixed", "straights held")


def things(rail: Rail, rng: np.random.Generator) -> tuple[Measured, ...]:
    """All that could be measured, places on faces and on a table with them."""
    n = rail.columns.bends
    spots = [Spot(f"spot {i}", Place(int(rng.integers(0, 2 * n + 1)), float(rng.random())), *rng.normal(size=2) * 20)
             for i in range(4)]  # fmt: skip
    spots += [Spot(f"apex {i + 1}", apex(i), *rng.normal(size=2) * 20, apex=True) for i in range(n)]
    plain = candidates(rail)[0]
    found = [*candidates(rail)]
    found += [replace(plain, kind="turn", index=i) for i in range(n)]
    found += [replace(plain, kind="apexes", index=i) for i in range(n + 1)]
    found += [replace(plain, kind="distance", index=0, spots=(one, spots[0])) for one in spots[1:]]
    found += [
        replace(plain, kind="table", index=axis, spots=(spot,), value=float(where(rail.reading.line, [spot])[0, axis]))
        for spot in spots
        for axis in range(3)
    ]
    return tuple(found)


@pytest.mark.parametrize("working", WAYS)
def test_derivatives_agree_with_difference_quotients(working: Working) -> None:
    rng = np.random.default_rng(11)
    for bends in (1, 3):
        rail = frame_rail(rng, bends, working)
        readings = Readings.of(rail, things(rail, rng))
        at = rng.normal(size=readings.unknowns) * readings.scale * 0.2
        slopes = readings.look(at)[1]
        for i, size in enumerate(readings.scale):
            step = np.zeros_like(at)
            step[i] = 1e-4 * size
            quotient = (readings.look(at + step)[0] - readings.look(at - step)[0]) / (2 * step[i])
            assert np.abs(quotient - slopes[:, i]).max() * size < 1e-5 * max(1.0, np.abs(slopes[:, i]).max() * size)


@pytest.mark.parametrize("working", WAYS)
def test_readings_are_those_of_the_polyline_with_rounded_corners(working: Working) -> None:
    """Straights, turns, angles and legs between apexes, read off the corners of the bent centreline by other code."""
    rng = np.random.default_rng(12)
    for _ in range(10):
        rail = frame_rail(rng, 4, working)
        off = drawn(rail, rng)
        line = rail.line(off)
        again = rows_from_points(line.points, line.rows.radius, line.start.u)
        kinds = {"straight": again.straights, "angle": again.angle, "turn": again.rotation}
        plain = candidates(rail)[0]
        for kind, expected in kinds.items():
            own = tuple(replace(plain, kind=kind, index=i, spots=()) for i in range(len(expected)))
            found = [one.value for one in read(rail, off, own, None)]
            assert np.abs(np.exp(1j * np.array(found)) - np.exp(1j * expected)).max() < 1e-9
        legs = tuple(replace(plain, kind="apexes", index=i, spots=()) for i in range(5))
        found = [one.value for one in read(rail, off, legs, None)]
        assert found == pytest.approx(np.linalg.norm(np.diff(line.points, axis=0), axis=1), abs=1e-9)


def test_a_mark_that_is_off_moves_a_bend_along_and_nothing_else_with_marks_fixed() -> None:
    rail = frame_rail(np.random.default_rng(13), 3)
    off = np.zeros(rail.columns.count)
    off[rail.columns.of("distance", 2)] = 2.0
    assert rail.rows(off).straights - rail.reading.line.rows.straights == pytest.approx([0, 2, -2, 0])
    assert table_rows(rail.movers(rail.reading.line))[rail.columns.of("distance", 2)][:4] == pytest.approx(
        [0, 1, -1, 0]
    )


def test_an_apex_on_a_face_is_where_the_lines_along_that_face_meet() -> None:
    rail = frame_rail(np.random.default_rng(14), 3)
    line, n = rail.reading.line, 3
    for i in range(n):
        for s, u in ((0.0, 50.0), (25.0, 0.0), (-25.0, -50.0)):
            before, after = line.straights[i].start, line.straights[i + 1].start
            a, b = (pose.at + s * pose.s + u * pose.u for pose in (before, after))
            # the point of one line nearest to the other, which it meets
            along = np.linalg.lstsq(np.array([before.t, -after.t]).T, b - a, rcond=None)[0]
            expected = a + along[0] * before.t
            assert where(line, [Spot("apex", apex(i), s, u, apex=True)])[0] == pytest.approx(expected, abs=1e-8)


def test_names_count_from_either_end() -> None:
    rail = frame_rail(np.random.default_rng(15), 3)
    reading = rail.reading
    for from_front, from_rear in (
        ("apex 1", "apex 3"), ("start of bend 1", "end of bend 3"), ("middle of straight 0", "middle of straight 3"),
        ("front end", "front end"), ("rear end, top", "rear end, top"),
    ):  # fmt: skip
        one, other = find_spot(from_front, reading, {}, "front"), find_spot(from_rear, reading, {}, "rear")
        places = where(reading.line, [one, other])
        assert places[0] == pytest.approx(places[1], abs=1e-9)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("apex 4", "found bend 4; allowed: 1 to 3"),
        ("middle of straight 4", "found straight 4; allowed: 0 to 3"),
        ("the middle", 'found "the middle"; allowed: front end, rear end, apex 2'),
        ("apex 1, upper", 'found "upper"; allowed: top, bottom'),
        ("foot of axle", 'foot of a fit point: found "axle"; allowed: none'),
    ],
)
def test_a_place_that_is_none_is_named(text: str, says: str) -> None:
    rail = frame_rail(np.random.default_rng(16), 3)
    with pytest.raises(InputError) as caught:
        find_spot(text, rail.reading, {}, "front")
    assert says in caught.value.problems[0]


def test_turns_about_three_axes_are_turns() -> None:
    _, whole = turns(np.array([0.3, -0.2, 0.9]))
    assert whole @ whole.T == pytest.approx(np.eye(3), abs=1e-12)
    assert np.linalg.det(whole) == pytest.approx(1.0)
