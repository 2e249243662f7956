"""Volume, area and centroid in closed form, against the CAD kernel's integrals and against sums over points."""

import cadquery
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from kernel_shapes import kernel_shape
from rails import TUBE, part, random_legal_line, random_section, rolled

from exporters.bodies import integrated
from exporters.solids import solid
from railmodel.fitting.shapes import Box, Capsule, Cylinder, Sphere
from railmodel.geometry.centreline import Centreline, Pose
from railmodel.geometry.figures import Figures, ball, box, flat, rod, swept, total
from railmodel.geometry.flat_outline import Outline, rounded
from railmodel.geometry.rows import BendRows


def measured(shape: cadquery.Shape) -> Figures:
    """What the kernel integrates over the faces."""
    return integrated(shape.wrapped)


def same(one: Figures, other: Figures, rel: float = 1e-8) -> None:
    assert one.volume == pytest.approx(other.volume, rel=rel)
    assert one.area == pytest.approx(other.area, rel=rel)
    assert one.centroid == pytest.approx(other.centroid, abs=rel * 1e4)


@pytest.mark.parametrize("seed", range(4))
def test_random_rails_measure_what_the_kernel_integrates(seed: int) -> None:
    rng = np.random.default_rng(seed)
    for _ in range(4):
        section = random_section(rng)
        line = random_legal_line(rng, int(rng.integers(0, 4)), section=section)
        same(swept(line, section), measured(solid(part(line, section))))


@pytest.mark.parametrize("off", [1e-6, 0.1, 0.7, 1.4, -0.5])
def test_rails_off_the_legal_roll_too(off: float) -> None:
    rows = BendRows.of([150.0], [0.0], [1.3], [260.0], 90.0)
    line = rolled(Centreline(rows, Pose.of([10.0, -300.0, 40.0], [1.0, 0.1, 0.05], [0.0, 0.0, 1.0])), off)
    same(swept(line, TUBE), measured(solid(part(line))))


def test_the_metal_of_a_bend_lies_farther_out_than_its_centreline() -> None:
    """A half turn: its centreline's centroid lies 2 R / pi from the axis, as any table of centroids has it."""
    line = Centreline(BendRows.of([0.0], [0.0], [np.pi], [200.0], 0.0), Pose.of([0, 0, 0], [1, 0, 0], [0, 0, 1]))
    x, y, z = swept(line, TUBE).centroid
    outward = TUBE.inertia_s / TUBE.area / 200.0
    assert x == pytest.approx((200.0 + outward) * 2 / np.pi)
    assert (y, z) == pytest.approx((0.0, 200.0))


def cut(outline: Outline, holes: list[tuple[float, float, float]], thickness: float) -> cadquery.Shape:
    drawn = cadquery.Workplane().moveTo(*outline.points[0])
    for edge in outline.edges:
        end = tuple(edge.end)
        drawn = drawn.threePointArc(tuple(edge.points(np.array([0.5]))[0]), end) if edge.turn else drawn.lineTo(*end)
    shape = drawn.close().extrude(thickness)
    for x, y, diameter in holes:
        shape = shape.cut(cadquery.Workplane().center(x, y).circle(diameter / 2).extrude(thickness))
    return shape.val()


OUTLINES = {
    "rounded": rounded([(0, 0), (90, 0), (90, 40), (45, 130), (0, 40)], [0, 0, 30, 25, 30]),
    "hollow corner": rounded([(0, 0), (120, 0), (120, 100), (60, 60), (0, 100)], [10, 10, 5, 30, 5]),
    "half round end": rounded([(0, 0), (100, 0), (100, 40), (0, 40)], [0, 20, 20, 0]),
    "more than half a circle": Outline.of([(0.0, 0.0), (60.0, 0.0)], [np.tan(4.0 / 4), 0.0]),
    "bitten": Outline.of([(0.0, 0.0), (80.0, 0.0), (80.0, 50.0), (0.0, 50.0)], [-0.4, 0.0, 0.0, 0.0]),
}


@pytest.mark.parametrize("outline", OUTLINES.values(), ids=OUTLINES)
def test_plates_measure_what_the_kernel_integrates(outline: Outline) -> None:
    x, y = (20.0, 28.0) if len(outline.edges) > 2 else outline.edges[0].centre.tolist()
    holes = [(x, y, 9.0), (x + 12.0, y + 1.0, 5.0)]
    same(flat(outline, holes, 6.0), measured(cut(outline, holes, 6.0)))


SHAPES = [
    (Box(at=(1, -2, 3), size=(10, 20, 35), turn=(0.3, -0.2, 1.0)), box((1, -2, 3), (10, 20, 35))),
    (Sphere(at=(4, 5, -6), diameter=14), ball((4, 5, -6), 14)),
    (
        Cylinder(start=(1, 2, 3), end=(5, 9, 30), diameter=8),
        rod((1, 2, 3), (5, 9, 30), 8, rounded=False),
    ),
]


@pytest.mark.parametrize(("shape", "figures"), SHAPES, ids=["box", "sphere", "cylinder"])
def test_simple_shapes_measure_what_the_kernel_integrates(shape: Box | Sphere | Cylinder, figures: Figures) -> None:
    same(figures, measured(kernel_shape(shape)))


def test_a_capsule_is_a_cylinder_and_a_ball() -> None:
    shape = Capsule(start=(0, 0, 0), end=(0, 30, 0), diameter=10)
    figures = rod(shape.start, shape.end, shape.diameter, rounded=True)
    assert figures.volume == pytest.approx(np.pi * 25 * 30 + 4 / 3 * np.pi * 125)
    assert figures.area == pytest.approx(np.pi * 10 * 30 + 4 * np.pi * 25)
    assert figures.centroid == (0, 15, 0)


@given(st.lists(st.tuples(*[st.floats(0.1, 1e3)] * 2, *[st.floats(-1e3, 1e3)] * 3), min_size=1, max_size=5))
def test_what_is_taken_together_balances_about_its_centroid(rows: list[tuple[float, ...]]) -> None:
    every = [Figures(volume, area, (x, y, z)) for volume, area, x, y, z in rows]
    whole = total(every)
    arms = np.array([np.subtract(one.centroid, whole.centroid) * one.volume for one in every])
    assert np.abs(arms.sum(axis=0)).max() <= 1e-9 * max(whole.volume, 1.0) * 1e3
    assert total(reversed(every)).volume == pytest.approx(whole.volume)


def test_nothing_measures_nothing() -> None:
    assert total([]).volume == 0
