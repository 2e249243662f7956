"""Views look from where they say: the eye is on the side the name tells, and what is nearer covers what is behind."""

import numpy as np
import pytest
from papers import frame_at, job_of

from exporters.views import PICTORIAL, PLAN, SIDE, View, draw, panels
from railmodel.geometry.centreline import Centreline, Pose
from railmodel.geometry.rows import BendRows
from railmodel.geometry.section import Section
from railmodel.part import RailPart

SECTION = Section(height=80, width=40, wall=3, corner=6)


def tube(at, heading) -> RailPart:
    line = Centreline(BendRows.of([], [], [], [], 500.0), Pose.of(at, heading, [0, 0, 1]))
    return RailPart(name="tube", hand="single", tube="t", section=SECTION, line=line)


@pytest.mark.parametrize(("view", "eye"), [(SIDE, [0, -1, 0]), (PLAN, [0, 0, 1])])
def test_the_eye_stands_where_the_name_says(view: View, eye: list[float]) -> None:
    assert view.toward == pytest.approx(eye)


def test_the_pictorial_view_looks_from_the_rear_left_and_above() -> None:
    assert np.sign(PICTORIAL.toward).tolist() == [1, -1, 1]
    assert np.linalg.norm(PICTORIAL.toward) == pytest.approx(1)


@pytest.mark.parametrize("view", [SIDE, PLAN, PICTORIAL])
def test_no_view_is_a_mirror_image(view: View) -> None:
    axes = np.array([view.across, view.up, view.toward])
    assert np.linalg.det(axes) == pytest.approx(1)


def test_a_tube_is_as_long_on_the_paper_as_it_is() -> None:
    picture = draw([tube([0, 0, 0], [1, 0, 0])], SIDE)
    assert picture.low == pytest.approx((0, -40))
    assert picture.high == pytest.approx((500, 40))


def test_what_lies_nearer_is_painted_later() -> None:
    low, high = tube([0, 0, 0], [1, 0, 0]), tube([0, 0, 300], [1, 0, 0])
    alone = set(draw([high], PLAN).elements)
    both = draw([high, low], PLAN).elements
    assert set(both[-len(alone) :]) == alone


@pytest.mark.parametrize("ends", ["coped", "mitred", "square"])
def test_a_crossmember_is_drawn_as_its_ends_are_cut(tmp_path, ends) -> None:
    """A tube 30 wide between faces at Y 280 and -280, 200 forward on the way: its sides end at the faces.

    Mitred and coped, both side edges end on the rails' faces and their ends lie 30 / cos apart along them; square,
    they end square to the tube, the short side off the face (derived by hand).
    """
    path = job_of(
        tmp_path,
        f"""\
job: Slanting
units: mm
tubes: {{main: {{height: 80, width: 40, wall: 3}}, cross: {{height: 50, width: 30, wall: 3, corner: 0.01}}}}
parts:
  - {{name: rail, tube: main, hand: pair, points: [[0, 300, 400], [1800, 300, 400]]}}
crossmembers:
  - {{name: slanting, tube: cross, between: [rail], points: [[1000, -280, 400], [800, 280, 400]], ends: {ends}}}
""",
    )
    part = next(part for part in frame_at(path).parts if part.name == "slanting")
    tip = panels(part)[-1].corners
    slant = np.hypot(200, 560) / 560
    if ends == "square":
        assert tip[:, 1].max() == pytest.approx(280, abs=0.01)
        assert np.ptp(tip[:, 1]) == pytest.approx(30 * 200 / np.hypot(200, 560), abs=0.01)
    else:
        assert tip[:, 1] == pytest.approx(280, abs=0.01)
        assert np.ptp(tip[:, 0]) == pytest.approx(30 * slant, abs=0.02)
    sides = np.concatenate([panel.corners for panel in panels(part)[:-2]])
    assert sides[np.argmax(sides[:, 1])] == pytest.approx(tip[np.argmax(tip[:, 1])])
