"""The assembly file is at most half the size of the bare kernel's default file for the same sweep, plus 4 kB."""

from pathlib import Path

import cadquery
import numpy as np
import pytest
from rails import part

from exporters.step import write_part, write_parts
from railmodel.geometry.centreline import Centreline
from railmodel.geometry.section import Section

POINTS = [[0, 0, 0], [600, 0, 0], [900, 0, 200], [2400, 0, 200], [2700, 0, 0], [3300, 0, 0]]


def swept(line: Centreline, section: Section) -> cadquery.Workplane:
    """The plain way: draw the section, draw the path, sweep."""
    edges = []
    for stretch in line.stretches:
        begin, middle, end = (cadquery.Vector(*stretch.pose(stretch.length * share).at) for share in (0, 0.5, 1))
        straight = stretch.kind == "straight"
        edges.append(
            cadquery.Edge.makeLine(begin, end) if straight else cadquery.Edge.makeThreePointArc(begin, middle, end)
        )
    path = cadquery.Workplane(obj=cadquery.Wire.assembleEdges(edges))

    def rectangle(less: float, corner: float) -> cadquery.Sketch:
        sketch = cadquery.Sketch().rect(section.width - less, section.height - less)
        return sketch.vertices().fillet(corner).reset() if corner else sketch

    ring = rectangle(0, section.corner).face(rectangle(2 * section.wall, section.inside_corner), mode="s")
    start = line.start
    plane = cadquery.Plane(tuple(start.at), tuple(start.s), tuple(start.t))
    return cadquery.Workplane(plane).placeSketch(ring).sweep(path, transition="right")


@pytest.mark.parametrize("corner", [0.0, 9.525])
def test_files_are_at_most_half_the_bare_kernels_size_plus_4_kb(corner: float, tmp_path: Path) -> None:
    section = Section(height=101.6, width=50.8, wall=4.7625, corner=corner)
    line = Centreline.from_points(np.array(POINTS, dtype=float), [200.0] * 4)
    shape = swept(line, section)
    assert shape.val().Volume() == pytest.approx(section.area * line.length, rel=1e-9)
    bare = cadquery.Assembly(name="frame")
    parts = []
    for number in range(3):
        bare.add(cadquery.Workplane(obj=shape.val().copy()), name=f"rail {number}", color=cadquery.Color(0.2, 0.3, 0.4))
        parts.append(part(line, section, name=f"rail {number}"))
    bare.export(str(tmp_path / "bare.step"))
    write_parts(parts, tmp_path / "ours.step", title="frame")
    single = cadquery.Assembly(shape, name="rail 0", color=cadquery.Color(0.2, 0.3, 0.4))
    single.export(str(tmp_path / "bare_part.step"))
    write_part(parts[0], tmp_path / "ours_part.step")
    for ours, theirs in (("ours", "bare"), ("ours_part", "bare_part")):
        size, allowed = ((tmp_path / f"{name}.step").stat().st_size for name in (ours, theirs))
        assert size <= 0.5 * allowed + 4000
