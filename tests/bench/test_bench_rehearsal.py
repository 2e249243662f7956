"""Speed of the rehearsal: a 10-bend rail from both ends, and the same distances by the CAD kernel in one run.

Processor time of this process is measured, so that what else runs on the computer does not count.
"""

from collections.abc import Callable
from time import process_time
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from railmodel.bending.machine import Machine, MachineSolid
from railmodel.bending.nearest import Body, Solids, least
from railmodel.bending.pose import STILL
from railmodel.bending.rehearsal import rehearse, rehearse_both
from railmodel.geometry.centreline import Centreline, Pose, Stretch
from railmodel.geometry.pieces import pieces
from railmodel.geometry.rows import BendRows, wrap
from railmodel.geometry.section import Section
from railmodel.part import RailPart

Recorder = Callable[[str, object], None]

TUBE = Section(height=76.2, width=50.8, wall=4.7625, corner=9.525)
MACHINE = Machine(
    bends="counter-clockwise",
    centreline_height=965.2,
    solids=(
        MachineSolid.box("bed", (-3000, 0, -450), (5600, 300, 300)),
        MachineSolid.box("head", (-100, 250, -450), (600, 700, 300)),
        MachineSolid.box("back wall", (0, 2600, 500), (12000, 100, 3000)),
        MachineSolid.cylinder("column", (1500, -1900, -965), (1500, -1900, 3000), 200),
        MachineSolid.box("arm", (350, 60, -190), (560, 160, 100), moves="arm"),
        MachineSolid.box("clamp", (90, -75, 0), (140, 60, 150), moves="arm"),
    ),
)


def ten_bends() -> RailPart:
    rng = np.random.default_rng(4)
    rows = BendRows.of(
        rng.uniform(180, 600, 10),
        wrap(rng.integers(-1, 3, 10) * np.pi / 2),
        rng.uniform(0.15, 0.5, 10),
        [177.8] * 10,
        400.0,
    )
    line = Centreline(rows, Pose.of([0, 400, 0], [1, 0, 0], [0, 0, 1]))
    return RailPart(name="rail", hand="right", tube="main", section=TUBE, line=line, sides=("outboard", "inboard"))


def test_ten_bends_from_both_ends_take_less_than_a_second(record_property: Recorder) -> None:
    part = ten_bends()
    rehearse(part.read, MACHINE)  # the collision library's own loading does not count
    best, steps = np.inf, 0
    for _ in range(3):
        start = process_time()
        both = rehearse_both(part, MACHINE)
        best = min(best, process_time() - start)
        steps = len(both.front.steps) + len(both.rear.steps)
    record_property("10 bends, both ends, s", best)
    record_property("steps", steps)
    assert both.front.run.rows.count == 10
    assert best < 1.0


def test_fifty_times_faster_than_the_cad_kernel_on_the_same_steps(record_property: Recorder) -> None:
    """The lead's least distance to all fixed solids in poses of two steps: same poses, same answers, solids built."""
    rehearsal = rehearse(ten_bends().read, MACHINE)
    names = [step.name for step in rehearsal.steps]
    run, fixed = rehearsal.run, MACHINE.moving("fixed")
    start = Pose.of([float(run.rows.distance[0]), 0, 0], [-1, 0, 0], run.moves[0].up)
    line, solids, obstacles = Centreline(run.rows, start), Solids(fixed), [kernel_solid(solid) for solid in fixed]
    ours, kernels = 0.0, 0.0
    for name in ("turn 5", "bend 8", "bend 10"):
        index = names.index(name)
        poses = [rehearsal.state(index, float(f)).lead for f in np.linspace(0, 1, 5)]
        stretches = line.stretches[: 2 * run.moves[index].made]
        lead = kernel_lead(stretches)
        body = Body(tuple(p.vertices for p in pieces(line, TUBE, 0.5) if p.stretch < len(stretches)))
        least(body, poses[0], STILL, solids)  # builds the collision library's shapes, as the kernel's are built
        began = process_time()
        mine = [least(body, pose, STILL, solids).gap for pose in poses]
        ours += process_time() - began
        began = process_time()
        theirs = [kernel_distance(lead, pose, obstacles) for pose in poses]
        kernels += process_time() - began
        for gap, true in zip(mine, theirs, strict=True):
            assert true - 1.0 <= max(gap, 0.0) <= true + 1e-3
    record_property("kernel's time over ours", kernels / ours)
    assert kernels > 50 * ours


def kernel_solid(solid: MachineSolid) -> Any:
    import cadquery as cq

    x, z = cq.Vector(*solid.turn[:, 0]), cq.Vector(*solid.turn[:, 2])
    if solid.round:
        base = cq.Vector(*(solid.centre - solid.half[2] * solid.turn[:, 2]))
        return cq.Solid.makeCylinder(float(solid.half[0]), float(2 * solid.half[2]), base, z)
    block = cq.Workplane(cq.Plane(cq.Vector(*solid.centre), x, z)).box(*(2 * solid.half).tolist())
    return block.val()


def kernel_lead(stretches: tuple[Stretch, ...]) -> Any:
    """The outside of the tube as one compound of exact prisms and revolved bends."""
    import cadquery as cq

    corners = [(x * TUBE.width / 2, y * TUBE.height / 2) for x, y in ((-1, -1), (1, -1), (1, 1), (-1, 1))]
    flat = cq.Wire.makePolygon([cq.Vector(*corner) for corner in corners], close=True)
    rounded = flat.fillet2D(TUBE.corner, flat.Vertices())
    found = []
    for stretch in stretches:
        here = stretch.start
        outline = rounded.moved(cq.Location(cq.Plane(cq.Vector(*here.at), cq.Vector(*here.s), cq.Vector(*here.t))))
        if stretch.kind == "straight":
            found.append(cq.Solid.extrudeLinear(outline, [], cq.Vector(*(here.t * stretch.length))))
        else:
            centre = cq.Vector(*stretch.centre)
            above = cq.Vector(*(stretch.centre + stretch.axis))
            found.append(cq.Solid.revolve(outline, [], float(np.degrees(stretch.angle)), centre, above))
    return cq.Compound.makeCompound(found)


def kernel_distance(lead: Any, pose: NDArray[np.float64], obstacles: list[Any]) -> float:
    import cadquery as cq
    from OCP.BRepExtrema import BRepExtrema_DistShapeShape

    placed = lead.moved(
        cq.Location(cq.Plane(cq.Vector(*pose[:3, 3]), cq.Vector(*pose[:3, 0]), cq.Vector(*pose[:3, 2])))
    )
    return min(BRepExtrema_DistShapeShape(placed.wrapped, solid.wrapped).Value() for solid in obstacles)


@pytest.mark.parametrize("index", [1, 3])
def test_the_kernels_bends_are_the_same_tube(index: int) -> None:
    """The kernel's compound is what the comparison says it is: Pappus, section area times centreline length."""
    stretches = ten_bends().line.stretches[: index + 1]
    area = TUBE.width * TUBE.height - (4 - np.pi) * TUBE.corner**2
    assert kernel_lead(stretches).Volume() == pytest.approx(area * sum(s.length for s in stretches), rel=1e-6)
