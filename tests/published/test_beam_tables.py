"""Beam pieces against published beam tables and worked examples, within 0.1 %.

Sources: AISC Steel Construction Manual, Table 3-23 (shears, moments and deflections: simple beam under uniform load,
under a load at mid-span and anywhere, cantilevers, fixed ends; the case numbers are from memory), the same in Roark's
Formulas for Stress and Strain; AISC Design Examples F.7A and F.7B, a 21 ft simple beam of HSS10x6x3/16 carrying 0.15
kip/ft dead and 0.4 kip/ft live: 1.05 in allowed, I of 57.5 in^4 needed, moments of 45.2 and 30.3 kip ft (read in
secondary copies). Steel's modulus there is 29,000 ksi and here 200 GPa, 0.03 % more.
"""

import numpy as np
import pytest

from railmodel.bending.grades import KSI
from railmodel.geometry.rows import Array
from railmodel.loading.beams import YOUNG, Beams, Piece, Solved, chain, held_still, solve

INCH = 25.4
KIP = KSI * INCH**2
LENGTH = 96 * INCH
COUNT = 12
INERTIA = 3.66 * INCH**4
"""HSS4X2X3/16, Ix as printed."""

PINNED = {0: (True, True, True, True, False, False), COUNT: (False, True, True, False, False, False)}
FIXED = {0: (True,) * 6, COUNT: (True,) * 6}


def beam(held: dict[int, tuple[bool, ...]], load: Array, spread: float = 0.0, inertia: float = INERTIA,
         length: float = LENGTH, count: int = COUNT) -> Solved:  # fmt: skip
    """A level beam along X with loads up (count + 1,), N, and evenly spread, N/mm."""
    nodes = np.linspace(0, 1, count + 1)[:, None] * [length, 0.0, 0.0]
    up = np.array([0.0, 0.0, 1.0])
    pieces = tuple(Piece(i, j, 1.89 * INCH**2, inertia, inertia / 3, inertia, up) for i, j in chain(count))
    forces = np.zeros((1, count + 1, 6))
    forces[0, :, 2] = load
    even = np.zeros((1, count, 3))
    even[0, :, 2] = spread
    return solve(Beams(nodes, pieces, held), forces, even)


def at(node: int, push: float = -2 * KIP) -> Array:
    load = np.zeros(COUNT + 1)
    load[node] = push
    return load


EVEN = -0.05 * KIP / INCH
CASES = {
    # what is held, loads at nodes, even load, the node looked at, deflection worked out from the table's formula, in
    "simple, load at mid-span": (PINNED, at(6), 0.0, 6, 0.347315),
    "simple, uniform": (PINNED, at(6, 0.0), EVEN, 6, 0.520972),
    "simple, load at a third, there": (PINNED, at(4), 0.0, 4, 0.274422),
    "cantilever, end load": (held_still(0), at(12), 0.0, 12, 5.557038),
    "cantilever, uniform": (held_still(0), at(12, 0.0), EVEN, 12, 5.001334),
    "fixed, load at mid-span": (FIXED, at(6), 0.0, 6, 0.086829),
    "fixed, uniform": (FIXED, at(6, 0.0), EVEN, 6, 0.104194),
}


@pytest.mark.parametrize("case", CASES)
def test_deflection_as_the_tables_have_it(case: str) -> None:
    held, load, even, node, published = CASES[case]
    solved = beam(held, load, even)
    assert -solved.moved[0, node, 2] / INCH == pytest.approx(published, rel=1e-3)


def test_moments_as_the_tables_have_them() -> None:
    simple = beam(PINNED, at(6))
    assert abs(simple.ends[0, 5, 1, 4]) / (KIP * INCH) == pytest.approx(2 * 96 / 4, rel=1e-9)  # P L / 4
    even = beam(PINNED, at(6, 0.0), EVEN)
    assert abs(even.ends[0, 5, 1, 4]) / (KIP * INCH) == pytest.approx(0.05 * 96**2 / 8, rel=1e-9)  # w L^2 / 8
    fixed = beam(FIXED, at(6, 0.0), EVEN)
    assert abs(fixed.ends[0, 0, 0, 4]) / (KIP * INCH) == pytest.approx(0.05 * 96**2 / 12, rel=1e-9)  # w L^2 / 12


def test_the_beam_of_the_aisc_design_examples() -> None:
    foot = KIP / (12 * INCH)
    live = beam(PINNED, at(6, 0.0), -0.4 * foot, inertia=57.482 * INCH**4, length=21 * 12 * INCH)
    assert -live.moved[0, 6, 2] / INCH == pytest.approx(1.05, rel=1e-3)
    for load, published in ((0.15 + 0.4, 30.3), (1.2 * 0.15 + 1.6 * 0.4, 45.2)):
        solved = beam(PINNED, at(6, 0.0), -load * foot, inertia=74.6 * INCH**4, length=21 * 12 * INCH)
        moment = abs(solved.ends[0, 5, 1, 4]) / (KIP * 12 * INCH)
        assert moment == pytest.approx(published, rel=1e-3)


@pytest.mark.parametrize(
    ("way", "up"),
    [((1, 0, 0), (0, 0, 1)), ((1, 0, 0), (0, 1, 0)), ((0, 1, 0), (0, 0, 1)), ((0, 0, 1), (1, 0, 0)),
     ((0.6, 0.64, 0.48), (0, 0, 1)), ((-0.6, 0.64, 0.48), (0.2, 0, 1)), ((0, 0, -1), (0.6, 0.8, 0))],
)  # fmt: skip
def test_the_section_stands_as_it_was_put_whichever_way_the_beam_runs(
    way: tuple[float, ...], up: tuple[float, ...]
) -> None:
    along = np.array(way, dtype=float)
    u = np.array(up) - along * np.dot(up, along)
    u = u / np.linalg.norm(u)
    s = np.cross(u, along)
    nodes = np.linspace(0, 2000, 5)[:, None] * along
    beams = Beams(nodes, tuple(Piece(i, j, 900.0, 2e6, 7e5, 1e6, np.array(up)) for i, j in chain(4)), held_still(0))
    forces = np.zeros((2, 5, 6))
    forces[0, 4, :3], forces[1, 4, :3] = -500 * u, -500 * s
    solved = solve(beams, forces)
    assert solved.moved[0, 4, :3] @ u == pytest.approx(-500 * 2000**3 / (3 * YOUNG * 2e6), rel=1e-6)
    assert solved.moved[1, 4, :3] @ s == pytest.approx(-500 * 2000**3 / (3 * YOUNG * 7e5), rel=1e-6)
    np.testing.assert_allclose(solved.held[:, 0, :3], -forces[:, 4, :3], atol=1e-6)
