"""The search's bound is never above what sampling finds, and close to it; whatever is touched is named."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from railmodel.bending.machine import MachineSolid
from railmodel.bending.nearest import Body, Solids, least
from railmodel.bending.pose import STILL, Motion, Slide, Swing, moved, undone
from railmodel.geometry.centreline import Centreline, Pose
from railmodel.geometry.pieces import pieces
from railmodel.geometry.rows import BendRows
from railmodel.geometry.section import Section

TUBE = Section(height=76.2, width=50.8, wall=4.7625, corner=9.525)
unit = st.tuples(*[st.floats(-1, 1)] * 3).filter(lambda v: np.linalg.norm(v) > 0.1)
spot = st.tuples(*[st.floats(-500, 500)] * 3)
swings = st.builds(
    lambda at, axis, start, end: Swing(at, tuple(np.array(axis) / np.linalg.norm(axis)), start, end),
    spot,
    unit,
    st.floats(-3, 3),
    st.floats(-3, 3),
)
motions = swings | st.builds(Slide, spot)


@given(swings, st.floats(0, 1), spot)
def test_a_swing_is_a_rotation_about_its_axis(swing: Swing, fraction: float, point: tuple[float, float, float]) -> None:
    """Against scipy's rotations."""
    angle = swing.start + fraction * (swing.end - swing.start)
    turn = Rotation.from_rotvec(angle * np.array(swing.axis))
    expected = turn.apply(np.array(point) - swing.at) + swing.at
    matrix = swing.matrix(fraction)
    assert moved(matrix, np.array(point)) == pytest.approx(expected, abs=1e-9)
    assert undone(matrix) @ matrix == pytest.approx(np.eye(4), abs=1e-9)


@given(motions, unit, spot, st.floats(0, 1), st.floats(0, 1))
def test_how_far_a_point_reaches_over_an_interval(
    motion: Motion,
    direction: tuple[float, float, float],
    point: tuple[float, float, float],
    one: float,
    other: float,
) -> None:
    low, high = sorted((one, other))
    toward = np.array(direction) / np.linalg.norm(direction)
    middle = moved(motion.matrix((low + high) / 2), np.array(point))
    half = np.array([(high - low) / 2])
    reach = float(motion.furthest(toward[None], middle[None, None], half)[0, 0])
    places = motion.matrix(np.linspace(low, high, 400)) @ np.array([*point, 1.0])
    sampled = float((places[:, :3] @ toward).max())
    travel = float(motion.travel(np.array(point)))
    assert sampled - 1e-9 <= reach <= sampled + travel / 700 + 1e-9
    steps = np.linalg.norm(np.diff(places[:, :3], axis=0), axis=-1).sum()
    assert steps <= travel * (high - low) + 1e-9


def scene(seed: int) -> tuple[Body, Solids, Motion]:
    rng = np.random.default_rng(seed)
    rows = BendRows.of(
        rng.uniform(150, 400, 3),
        rng.uniform(-3, 3, 3),
        rng.uniform(0.2, 0.8, 3),
        [177.8] * 3,
        float(rng.uniform(50, 300)),
    )
    line = Centreline(rows, Pose.of([0, 0, 0], [1, 0, 0], [0, 0, 1]))
    body = Body(tuple(piece.vertices for piece in pieces(line, TUBE, 1.0)))

    def place(size: float) -> tuple[float, float, float]:
        x, y, z = rng.uniform(-size, size, 3).tolist()
        return x, y, z

    solids = [MachineSolid.box(f"box {i}", place(1200), tuple(rng.uniform(50, 600, 3)), place(3)) for i in range(3)]
    solids += [MachineSolid.cylinder(f"rod {i}", place(1200), place(1200), rng.uniform(30, 200)) for i in range(3)]
    axis = rng.normal(size=3)
    swing = Swing(place(200), tuple(axis / np.linalg.norm(axis)), *rng.uniform(-1.5, 1.5, 2).tolist())
    return body, Solids(tuple(solids)), swing if seed % 2 else Slide(place(500))


def sampled(body: Body, solids: Solids, motion: Motion, count: int) -> tuple[float, set[int]]:
    """Least distance over poses, and the solids touched in any, asking the library about every pair."""
    import coal

    request, result = coal.DistanceRequest(True, True), coal.DistanceResult()
    gap, touched = np.inf, set()
    for matrix in motion.matrix(np.linspace(0, 1, count)):
        here = coal.Transform3s(matrix[:3, :3], matrix[:3, 3])
        for index, there in enumerate(solids.placed):
            for shape in body.shapes:
                result.clear()
                distance = coal.distance(shape, here, *there, request, result)
                gap = min(gap, distance)
                if distance < 0:
                    touched.add(index)
    return gap, touched


@pytest.mark.parametrize("seed", range(24))
def test_the_bound_holds_and_is_close(seed: int) -> None:
    body, solids, motion = scene(seed)
    found = least(body, np.eye(4), motion, solids, within=0.2)
    gap, touched = sampled(body, solids, motion, 201)
    coarse = float(motion.travel(body.corners).max()) / 400  # no farther from a sample than this
    assert touched <= found.touched
    if gap > 0:
        assert gap - coarse - 0.2 <= found.gap <= gap + 1e-6
        assert found.gap > 0 or found.touched or gap < coarse + 0.2
    else:
        assert found.gap <= gap + 1e-3
        assert found.gap >= 1.3 * gap - coarse - 0.2


@pytest.mark.parametrize("seed", [1, 2, 5, 7])
def test_a_body_at_rest_is_as_far_away_as_the_library_says(seed: int) -> None:
    body, solids, _ = scene(seed)
    found = least(body, np.eye(4), STILL, solids, within=0.01)
    gap, touched = sampled(body, solids, STILL, 1)
    assert found.touched == touched
    if gap > 0:
        assert gap - 0.011 <= found.gap <= gap


def test_pairs_left_out_do_not_count() -> None:
    body, solids, motion = scene(1)
    nearest = least(body, np.eye(4), motion, solids)
    assert nearest.place is not None
    skip = np.zeros((len(body.pieces), len(solids.items)), dtype=bool)
    skip[:, nearest.place.solid] = True
    other = least(body, np.eye(4), motion, solids, skip=skip)
    alone = Solids(tuple(s for i, s in enumerate(solids.items) if i != nearest.place.solid))
    assert other.gap == pytest.approx(least(body, np.eye(4), motion, alone).gap, abs=0.5)
    assert least(body, np.eye(4), motion, solids, skip=np.ones_like(skip)).place is None


def test_only_what_is_nearer_than_asked_is_looked_for() -> None:
    body, solids, motion = next(s for s in map(scene, range(24)) if least(s[0], np.eye(4), s[2], s[1]).gap > 20)
    gap = least(body, np.eye(4), motion, solids).gap
    assert least(body, np.eye(4), motion, solids, below=gap - 5).place is None
    assert least(body, np.eye(4), motion, solids, below=gap + 5).place is not None


def test_the_first_pieces_are_a_body_of_their_own() -> None:
    body, solids, motion = scene(3)
    few = replace(body, pieces=body.pieces[:3])
    assert least(body.first(3), np.eye(4), motion, solids).gap == least(few, np.eye(4), motion, solids).gap
    assert body.first(0).pieces == ()
