"""Bends against Winkler's theory of curved beams, within 1 %.

Sources: S. Timoshenko, Strength of Materials, Part II; R. Budynas and K. Nisbett, Shigley's Mechanical Engineering
Design, chapters on curved beams in bending and on deflection of curved members by Castigliano's theorem; W. Young and
R. Budynas, Roark's Formulas for Stress and Strain, curved beams loaded square to their plane (all from memory).
The sections have sharp corners, for which the neutral radius r_n = A / (integral of dA / r) is a sum of logarithms,
and the outer wall is thinned as 2 R t / (2 R + d), the usual rule for boiler tube.
"""

from math import log, pi

import numpy as np
import pytest
from rails import part

from railmodel.geometry.centreline import Centreline, Pose
from railmodel.geometry.rows import BendRows
from railmodel.geometry.section import Section
from railmodel.loading.beams import SHEAR, YOUNG, Beams, held_still, solve
from railmodel.loading.bent_section import bent_section
from railmodel.loading.skeleton import Mesh, skeleton
from railmodel.loading.stress import stresses

INCH = 25.4
START = Pose.of([0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0])


class Bar:
    """A hollow rectangle with sharp corners, `deep` in the plane of the bend, its outer wall thinned."""

    def __init__(self, deep: float, wide: float, wall: float, radius: float, *, thinned: bool = True) -> None:
        outer_wall = wall * 2 * radius / (2 * radius + deep) if thinned else wall
        inner, outer = radius - deep / 2, radius + deep / 2
        low, high = inner + wall, outer - outer_wall
        self.area = deep * wide - (high - low) * (wide - 2 * wall)
        moment = wide * (outer**2 - inner**2) / 2 - (wide - 2 * wall) * (high**2 - low**2) / 2
        self.radius = moment / self.area
        self.neutral = self.area / (wide * log(outer / inner) - (wide - 2 * wall) * log(high / low))
        self.inner, self.outer = inner, outer
        self.lever = self.radius - self.neutral

    def inside(self) -> float:
        return (self.neutral - self.inner) / (self.area * self.lever * self.inner)

    def outside(self) -> float:
        return (self.outer - self.neutral) / (self.area * self.lever * self.outer)


BENDS = [
    (80.0, 40.0, 3.0, 160.0, 0.0), (80.0, 40.0, 3.0, 160.0, pi / 2), (76.2, 50.8, 4.76, 177.8, 0.0),
    (60.0, 60.0, 4.0, 300.0, pi),
]  # fmt: skip


@pytest.mark.parametrize(("height", "width", "wall", "radius", "roll"), BENDS)
@pytest.mark.parametrize("thinned", [True, False])
def test_the_section_inside_a_bend(
    height: float, width: float, wall: float, radius: float, roll: float, thinned: bool
) -> None:
    upright = abs(np.cos(roll)) > 0.5
    bar = Bar(*((height, width) if upright else (width, height)), wall, radius, thinned=thinned)
    bent = bent_section(Section(height=height, width=width, wall=wall, corner=0.0), roll, radius, thinned=thinned)
    for ours, theirs in (
        (bent.area, bar.area), (bent.radius, bar.radius), (bent.neutral, bar.neutral),
        (bent.eccentricity, bar.lever), (bent.inside, bar.inside()), (bent.outside, bar.outside()),
    ):  # fmt: skip
        assert ours == pytest.approx(theirs, rel=1e-9)


def test_the_factor_that_the_plan_names() -> None:
    """1.11 for 4 x 2 x 0.120 the hard way at 10 in, 1.06 the easy way at 6 in: worked out beforehand."""
    tube = Section(height=4 * INCH, width=2 * INCH, wall=0.12 * INCH, corner=0.24 * INCH)
    assert round(bent_section(tube, 0.0, 10 * INCH, thinned=False).factor, 2) == 1.11
    assert round(bent_section(tube, pi / 2, 6 * INCH, thinned=False).factor, 2) == 1.06


def test_a_round_bar_as_the_closed_form_has_it() -> None:
    """For a circle of radius c the integral of dA / r is 2 pi (R - sqrt(R^2 - c^2))."""
    tube = Section(height=40, width=40, wall=3, corner=20)
    bent = bent_section(tube, 0.0, 120.0, thinned=False)
    hoop = [2 * pi * (120 - np.sqrt(120**2 - c**2)) for c in (20, 17)]
    assert bent.neutral == pytest.approx(tube.area / (hoop[0] - hoop[1]), rel=1e-10)


@pytest.mark.parametrize(("height", "width", "wall", "radius", "roll"), BENDS)
@pytest.mark.parametrize(("turn", "within"), [(7.5, 0.01), (3.0, 0.01), (0.5, 0.001)])
def test_a_quarter_bend_under_a_load_across_its_end(
    height: float, width: float, wall: float, radius: float, roll: float, turn: float, within: float
) -> None:
    """U = integral of M^2 / (2 A e E) - M N / (A E) + R N^2 / (2 A E) over the angle, M = P R sin, N = P sin."""
    tube = Section(height=height, width=width, wall=wall, corner=0.0)
    upright = abs(np.cos(roll)) > 0.5
    bar = Bar(*((height, width) if upright else (width, height)), wall, radius)
    line = Centreline(BendRows.of([0.0], [roll], [pi / 2], [radius], 0.0), START)
    cut = skeleton([part(line, tube)], [], {}, Mesh(np.radians(turn), 1e6))
    count = len(cut.beams.nodes)
    bend, load = line.bends[0], 1000.0
    pull = np.zeros((1, count, 6))
    out = bend.start.t  # across the tube where it ends
    pull[0, -1, :3] = load * out
    middle = line.end.at + bent_section(tube, roll, radius).shift * -out
    pull[0, -1, 3:] = np.cross(middle - cut.beams.nodes[-1], load * out)
    solved = solve(Beams(cut.beams.nodes, cut.beams.pieces, held_still(0)), pull)
    moved = float((solved.moved[0, -1, :3] + np.cross(solved.moved[0, -1, 3:], middle - cut.beams.nodes[-1])) @ out)
    theory = load * pi / (4 * YOUNG * bar.area) * (bar.radius**2 / bar.lever - bar.radius)
    assert moved == pytest.approx(theory, rel=within)

    found = stresses(cut, solved)
    moment = load * bar.radius  # at the held end, which it opens: the inside is pulled, and by the load as well
    theory = load / bar.area + moment * bar.inside()
    assert found.normal[0, 0, 0] == pytest.approx(theory, rel=within)
    assert found.inside[0, 0, 0]
    assert found.equivalent[0, 0, 0] == pytest.approx(theory, rel=within)


@pytest.mark.parametrize(("height", "width", "wall", "radius", "roll"), BENDS)
@pytest.mark.parametrize(("turn", "within"), [(7.5, 0.01), (0.5, 0.001)])
def test_a_quarter_bend_under_a_load_square_to_its_plane(
    height: float, width: float, wall: float, radius: float, roll: float, turn: float, within: float
) -> None:
    """It bends and twists: P R^3 (pi / (4 E I) + (3 pi / 4 - 2) / (G J)), R of the circle of the centroid."""
    tube = Section(height=height, width=width, wall=wall, corner=0.0)
    bent = bent_section(tube, roll, radius)
    line = Centreline(BendRows.of([0.0], [roll], [pi / 2], [radius], 0.0), START)
    cut = skeleton([part(line, tube)], [], {}, Mesh(np.radians(turn), 1e6))
    bend, load = line.bends[0], 1000.0
    off = line.end.at - bent.shift * bend.start.t - cut.beams.nodes[-1]
    pull = np.zeros((1, len(cut.beams.nodes), 6))
    pull[0, -1, :3], pull[0, -1, 3:] = load * bend.axis, np.cross(off, load * bend.axis)
    solved = solve(Beams(cut.beams.nodes, cut.beams.pieces, held_still(0)), pull)
    moved = float((solved.moved[0, -1, :3] + np.cross(solved.moved[0, -1, 3:], off)) @ bend.axis)
    theory = load * bent.radius**3 * (pi / (4 * YOUNG * bent.across) + (3 * pi / 4 - 2) / (SHEAR * bent.torsion))
    assert moved == pytest.approx(theory, rel=within)
    held = solved.held[0, 0]
    np.testing.assert_allclose(held[:3], -load * bend.axis, atol=1e-6)
    arm = line.end.at - bent.shift * bend.start.t - cut.beams.nodes[0]
    np.testing.assert_allclose(held[3:], -np.cross(arm, load * bend.axis), rtol=1e-7, atol=1e-2)
