"""Hypothesis strategies for bend rows and the places they start from; any roll, not only what a die can do."""

import numpy as np
from hypothesis import strategies as st

from railmodel.geometry.centreline import Centreline, Pose
from railmodel.geometry.rows import BendRows


def numbers(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(low, high, allow_subnormal=False)


@st.composite
def bend_rows(draw: st.DrawFn, least: int = 0, most: int = 8) -> BendRows:
    """Up to eight bends of 3 to 150 degrees on radii of 20 to 300 mm, straights of 1 to 900 mm between."""
    count = draw(st.integers(least, most))

    def column(low: float, high: float, size: int = count) -> list[float]:
        return draw(st.lists(numbers(low, high), min_size=size, max_size=size))

    straights = column(1.0, 900.0, count + 1)
    rotation = column(-np.pi + 1e-6, np.pi)
    angle = column(np.radians(3), np.radians(150))
    return BendRows.of(straights[:-1], rotation, angle, column(20.0, 300.0), straights[-1])


@st.composite
def poses(draw: st.DrawFn) -> Pose:
    """A start within 3 m of the datum, looking anywhere."""
    at = draw(st.tuples(*[numbers(-3000.0, 3000.0)] * 3))
    turn, lift, roll = (draw(numbers(-np.pi, np.pi)) for _ in range(3))
    heading = [np.cos(lift) * np.cos(turn), np.cos(lift) * np.sin(turn), np.sin(lift)]
    up = [-np.sin(lift) * np.cos(turn), -np.sin(lift) * np.sin(turn), np.cos(lift)]
    return Pose.of(at, heading, Pose.of(at, heading, up).direction(roll))


def centrelines(least: int = 0, most: int = 8) -> st.SearchStrategy[Centreline]:
    """A centreline of such rows from such a place."""
    return st.builds(Centreline, bend_rows(least, most), poses())
