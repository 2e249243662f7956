"""Points to bend rows: a batch against a plain loop of `math`, and growth with the number of rails.

Ratios only, both sides timed in the same run and by turns: processor time, the shortest of several goes, so that what
else the computer does counts as little as it can.
"""

from collections.abc import Callable
from itertools import pairwise
from math import atan2, pi, sqrt
from time import process_time

import numpy as np
import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from railmodel.geometry.rows import BendRows, rows_from_points

BENDS = 8
TOP = (0.0, 0.0, 1.0)
Point = tuple[float, float, float]


def rails(count: int) -> tuple[np.ndarray, np.ndarray]:
    """Points (count, 10, 3) of rails that run rearward and wander up and sideways, and their radii (count, 8)."""
    random = np.random.default_rng(8)
    steps = random.uniform([200, -80, -80], [400, 80, 80], size=(count, BENDS + 2, 3))
    return np.cumsum(steps, axis=1), np.full((count, BENDS), 150.0)


def rows_by_loop(points: list[Point], radii: list[float]) -> tuple[list[float], list[float], list[float]]:
    """Straights, rotations and angles of one rail, one bend at a time in plain floats: the same arithmetic."""
    legs, straights = [], []
    for (x0, y0, z0), (x1, y1, z1) in pairwise(points):
        dx, dy, dz = x1 - x0, y1 - y0, z1 - z0
        length = sqrt(dx * dx + dy * dy + dz * dz)
        legs.append((dx / length, dy / length, dz / length))
        straights.append(length)
    rotations, angles = [], []
    ax, ay, az = legs[0]
    px, py, pz = ay * TOP[2] - az * TOP[1], az * TOP[0] - ax * TOP[2], ax * TOP[1] - ay * TOP[0]
    for i, radius in enumerate(radii):
        bx, by, bz = legs[i + 1]
        cx, cy, cz = ay * bz - az * by, az * bx - ax * bz, ax * by - ay * bx
        sine, cosine = sqrt(cx * cx + cy * cy + cz * cz), ax * bx + ay * by + az * bz
        over = ax * (py * cz - pz * cy) + ay * (pz * cx - px * cz) + az * (px * cy - py * cx)
        rotation = atan2(over, px * cx + py * cy + pz * cz)
        rotations.append(pi if rotation <= -pi + 1e-12 else rotation)
        angles.append(atan2(sine, cosine))
        setback = radius * sine / (1 + cosine)
        straights[i] -= setback
        straights[i + 1] -= setback
        ax, ay, az, px, py, pz = bx, by, bz, cx, cy, cz
    return straights, rotations, angles


def seconds(run: Callable[[], object]) -> float:
    """Processor time of one go."""
    start = process_time()
    run()
    return process_time() - start


@pytest.mark.benchmark(timer=process_time)
def test_a_batch_is_at_least_15_times_as_fast_as_a_loop(
    benchmark: BenchmarkFixture, record_property: Callable[[str, object], None]
) -> None:
    points, radii = rails(100_000)
    few = 5_000  # enough for the loop, which takes the same time for each rail
    listed = list(zip(points[:few].tolist(), radii[:few].tolist(), strict=True))

    def loop() -> list[tuple[list[float], list[float], list[float]]]:
        return [rows_by_loop(*rail) for rail in listed]

    loops: list[float] = []
    rows = benchmark.pedantic(
        rows_from_points,
        args=(points, radii),
        setup=lambda: loops.append(seconds(loop)),
        rounds=15,
        warmup_rounds=1,
    )
    straights, rotations, angles = (np.array(column) for column in zip(*loop(), strict=True))
    assert np.abs(rows.straights[:few] - straights).max() < 1e-9
    assert np.abs(rows.rotation[:few] - rotations).max() < 1e-9
    assert np.abs(rows.angle[:few] - angles).max() < 1e-9

    ratio = (min(loops) / few) / (benchmark.stats.stats.min / len(points))
    record_property("times as fast as a loop", ratio)
    assert ratio >= 15


def test_a_hundred_times_as_many_rails_take_no_more_than_130_times_as_long(
    record_property: Callable[[str, object], None],
) -> None:
    points, radii = rails(1_000_000)

    def by_ten_thousand() -> list[BendRows]:
        # a hundred separate lots, all kept: both sides read as much and write as much
        return [rows_from_points(points[i : i + 10_000], radii[i : i + 10_000]) for i in range(0, 1_000_000, 10_000)]

    turns = [(seconds(by_ten_thousand), seconds(lambda: rows_from_points(points, radii))) for _ in range(4)]
    small, large = (min(times) / len(points) for times in zip(*turns, strict=True))
    record_property("microseconds a rail", large * 1e6)
    record_property("growth for each rail", large / small)
    assert large <= 1.3 * small
