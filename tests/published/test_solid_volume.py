"""Solids against Pappus's theorem and the centre of mass of a bend in closed form.

Pappus-Guldin, V = A d: R. Larson and B. Edwards, Calculus, section 7.6, example 7 (a torus of radius 2 with a circle
of radius 1: V = 4 pi^2, printed as 39.5). The centre of mass of a bend follows from the parallel-axis theorem: a
fibre at radius r carries r dA of metal a radian and its own centre stands at r, so the metal's centre circle has the
radius (integral of r^2 dA) / (R A) = R + I / (A R); an arc of it has its centre at sin(angle/2) / (angle/2) of that.
"""

import numpy as np
import pytest
from rails import TUBE, part

from exporters.solids import solid
from railmodel.geometry.centreline import Centreline, Pose
from railmodel.geometry.rows import BendRows
from railmodel.geometry.section import Section

START = Pose.of([0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0])


def bend(radius: float, angle: float, roll: float = 0.0) -> Centreline:
    return Centreline(BendRows.of([0.0], [roll], [angle], [radius], 0.0), START)


def test_a_torus_has_the_published_volume() -> None:
    published = 4 * np.pi**2  # the whole torus, solid: 39.5 as printed
    assert round(published, 1) == 39.5
    angle = np.radians(179.0)
    tube = Section(height=2.0, width=2.0, wall=0.5, corner=1.0)  # a round tube: the circle less one of half its radius
    ours = solid(part(bend(2.0, angle), tube)).Volume()
    assert ours == pytest.approx(published * (1 - 0.5**2) * angle / (2 * np.pi), rel=1e-12)


@pytest.mark.parametrize(("roll", "inertia"), [(0.0, TUBE.inertia_s), (np.pi / 2, TUBE.inertia_u)])
@pytest.mark.parametrize("angle", [0.2, np.pi / 2, 2.8])
def test_the_centre_of_mass_of_a_bend(roll: float, inertia: float, angle: float) -> None:
    radius, line = 200.0, bend(200.0, angle, roll)
    mean = radius + inertia / (TUBE.area * radius)
    from_centre = mean * np.sin(angle / 2) / (angle / 2)
    turn = line.bends[0]
    toward_middle = -np.cos(angle / 2) * turn.inward + np.sin(angle / 2) * turn.start.t
    found = np.array(solid(part(line)).Center().toTuple())
    np.testing.assert_allclose(found, turn.centre + from_centre * toward_middle, atol=1e-9)


def test_the_centre_of_a_quarter_bend_as_worked_out_beforehand() -> None:
    """100 x 50 x 4 with 8 mm corners, radius 200, the easy way; the plain arc's centre would be 1 % nearer."""
    found = np.array(solid(part(bend(200.0, np.pi / 2, roll=np.pi / 2))).Center().toTuple())
    from_centre = np.linalg.norm(found - [0.0, -200.0, 0.0])
    assert from_centre == pytest.approx(181.911483851, abs=1e-8)
    assert from_centre > 1.009 * 200 * np.sin(np.pi / 4) / (np.pi / 4)


@pytest.mark.parametrize("angle", [0.3, 1.9])
def test_volume_of_a_bend_by_pappus(angle: float) -> None:
    assert solid(part(bend(150.0, angle))).Volume() == pytest.approx(TUBE.area * 150.0 * angle, rel=1e-12)
