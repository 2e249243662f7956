"""A ladder frame in pure torsion against a second solver written here, and a single tube against Bredt's formula.

The second solver: the textbook stiffness matrix of a straight beam in space (J. Przemieniecki, Theory of Matrix
Structural Analysis, 1968, from memory), with the offset of a crossmember's end from the rail's axis as a rigid arm in
the kinematics, and least squares in place of supports. Bredt: shear T / (2 A t), twist T L / (G J) (R. Bredt, 1896;
any text on strength of materials); J by finite elements from sectionproperties, a general reference library.
"""

from pathlib import Path

import numpy as np
import pytest
from ladders import LADDER, SUPPORTS, ladder
from rails import TUBE, part
from sectionproperties.analysis import Section as Mesh
from sectionproperties.pre.library import rectangular_hollow_section

from railmodel.geometry.centreline import Centreline, Pose
from railmodel.geometry.rows import Array, BendRows
from railmodel.geometry.section import Section
from railmodel.loading.beams import SHEAR, YOUNG, Beams, held_still, solve
from railmodel.loading.carry import carry
from railmodel.loading.skeleton import Mesh as Cutting
from railmodel.loading.skeleton import skeleton
from railmodel.loading.stress import stresses

RAIL = Section(height=100, width=50, wall=4, corner=8)
CROSS = Section(height=60, width=40, wall=3, corner=6)


def beam_matrix(start: Array, end: Array, section: Section) -> Array:
    """(12, 12) stiffness in vehicle axes; the section's height stands along Z."""
    length = float(np.linalg.norm(end - start))
    along = (end - start) / length
    up = np.array([0.0, 0.0, 1.0])
    side = np.cross(up, along)
    axial, twist = YOUNG * section.area / length, SHEAR * section.torsion_constant / length
    local = np.zeros((12, 12))
    for at, stiff in ((0, axial), (3, twist)):
        local[np.ix_([at, at + 6], [at, at + 6])] += stiff * np.array([[1, -1], [-1, 1]])
    for places, inertia, sign in (((2, 4, 8, 10), section.inertia_s, -1), ((1, 5, 7, 11), section.inertia_u, 1)):
        a, b = 12 / length**2, sign * 6 / length
        block = np.array([[a, b, -a, b], [b, 4, -b, 2], [-a, -b, a, -b], [b, 2, -b, 4]])
        local[np.ix_(places, places)] += YOUNG * inertia / length * block
    turn = np.kron(np.eye(4), np.array([along, side, up]))
    return turn.T @ local @ turn


def arm(offset: Array) -> Array:
    """(6, 6) movement of a point fixed to a node, off by an offset, from the node's movement."""
    x, y, z = offset
    moved = np.eye(6)
    moved[:3, 3:] = np.array([[0, z, -y], [-z, 0, x], [y, -x, 0]])
    return moved


def independent_stiffness(feet: tuple[float, float], crossings: tuple[float, ...]) -> float:
    """Torque over twist between the feet of two 3 m rails 800 mm apart, N mm/rad."""
    stations = sorted({0.0, 3000.0, *feet, *crossings})
    nodes = np.array([[x, y, 500.0] for y in (-400.0, 400.0) for x in stations])
    count = len(stations)
    whole = np.zeros((6 * len(nodes),) * 2)

    def add(one: int, other: int, matrix: Array) -> None:
        places = np.concatenate([np.arange(6) + 6 * one, np.arange(6) + 6 * other])
        whole[np.ix_(places, places)] += matrix

    for side in (0, count):
        for i in range(count - 1):
            add(side + i, side + i + 1, beam_matrix(nodes[side + i], nodes[side + i + 1], RAIL))
    for x in crossings:
        one = stations.index(x)
        other = count + one
        inward = np.array([0.0, RAIL.width / 2, 0.0])
        arms = np.zeros((12, 12))
        arms[:6, :6], arms[6:, 6:] = arm(inward), arm(-inward)
        add(one, other, arms.T @ beam_matrix(nodes[one] + inward, nodes[other] - inward, CROSS) @ arms)
    force = np.zeros(6 * len(nodes))
    for x, sign in zip(feet, (1, -1), strict=True):
        force[6 * stations.index(x) + 2] = -sign / 800.0  # a couple about X of one N mm
        force[6 * (count + stations.index(x)) + 2] = sign / 800.0
    moved = np.linalg.lstsq(whole, force, rcond=1e-12)[0].reshape(-1, 6)
    rolls = [(moved[count + stations.index(x), 2] - moved[stations.index(x), 2]) / 800.0 for x in feet]
    return 1 / (rolls[0] - rolls[1])


@pytest.mark.parametrize("more", [(), (1500.0,), (900.0, 1500.0, 2100.0)])
def test_torsional_stiffness_of_a_ladder(tmp_path: Path, more: tuple[float, ...]) -> None:
    extra = "".join(f"  - {{name: cross at {x:g}, tube: cross, between: [rail], x: {x:g}}}\n" for x in more)
    head = LADDER.replace("fit_points:", f"{extra}fit_points:")
    screening = carry(ladder(tmp_path, f"loads:\n{SUPPORTS}", head))
    assert screening.stiffness is not None
    theirs = independent_stiffness((500.0, 2500.0), (200.0, *more, 2800.0))
    assert screening.stiffness * 1000 == pytest.approx(theirs, rel=2e-3)


@pytest.mark.parametrize("tube", [TUBE, RAIL, Section(height=101.6, width=50.8, wall=3.05, corner=6.1)])
def test_a_straight_tube_twists_as_bredt_and_finite_elements_have_it(tube: Section) -> None:
    length, torque = 2000.0, 1e6
    start = Pose.of([0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0])
    cut = skeleton([part(Centreline(BendRows.of([], [], [], [], length), start), tube)], [], {}, Cutting(0.1, 500.0))
    push = np.zeros((1, len(cut.beams.nodes), 6))
    push[0, -1, 3] = torque
    solved = solve(Beams(cut.beams.nodes, cut.beams.pieces, held_still(0)), push)
    twist = solved.moved[0, -1, 3]
    assert twist == pytest.approx(torque * length / (SHEAR * tube.torsion_constant_thin_wall), rel=1e-2)
    shape = rectangular_hollow_section(d=tube.height, b=tube.width, t=tube.wall, r_out=tube.corner, n_r=8)
    mesh = Mesh(shape.create_mesh(mesh_sizes=[tube.wall**2]))
    mesh.calculate_geometric_properties()
    mesh.calculate_warping_properties()
    assert twist == pytest.approx(torque * length / (SHEAR * mesh.get_j()), rel=4e-3)
    # the shear at the outside of the wall, which EN 10219's modulus gives, is above Bredt's mean by its t / (2 A / p)
    midline = (tube.height - tube.wall) * (tube.width - tube.wall) - (tube.corner - tube.wall / 2) ** 2 * (4 - np.pi)
    bredt = torque / (2 * midline * tube.wall)
    shear = stresses(cut, solved).equivalent[0, 0, 0] / np.sqrt(3)
    assert bredt < shear < 1.2 * bredt
