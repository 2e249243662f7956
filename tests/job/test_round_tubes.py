"""Round tubes: written by their diameter, for straight parts and crossmembers."""

from collections.abc import Callable
from math import pi
from pathlib import Path

import numpy as np
import pytest
from jobfiles import SHOP, job_file

from exporters.bend_table import as_json, table_of
from exporters.solids import solid
from railmodel.bending.limits import round_tubes
from railmodel.checks import run_checks
from railmodel.errors import InputError
from railmodel.frame import Frame, build_frame
from railmodel.geometry.pieces import pieces
from railmodel.job.reader import read_job

HEAD = """\
job: Test frame
units: in
tubes:
  main: {height: 3, width: 2, wall: 3/16, corner: 3/8}
  round bar: {diameter: 2, wall: 1/8, grade: A500-B}
"""
BAR = "parts:\n- {name: bar, tube: round bar, points: [[0, 0, 0], [20, 0, 0]]}\n"
PATH = "[{straight: 10}, {bend: {toward: top, angle: 30, radius: 8}}, {straight: 10}]"
BENT = f"parts:\n- {{name: bar, tube: round bar, path: {PATH}}}\n"


@pytest.fixture
def frame(tmp_path: Path) -> Callable[..., Frame]:
    def built(parts: str, head: str = HEAD, shop: str | None = None) -> Frame:
        return build_frame(read_job(job_file(tmp_path, head + parts, shop)))

    return built


def test_a_round_tube_is_a_section_that_is_all_corner(frame: Callable[..., Frame]) -> None:
    """Area, inertia and torsion of a pipe by its textbook formulas: pi/4 (D^2 - d^2), pi/64 (D^4 - d^4), twice that."""
    section = frame(BAR).parts[0].section
    outer, inner = 50.8, 50.8 - 2 * 3.175
    assert section.round
    assert (section.height, section.width, section.corner) == (outer, outer, outer / 2)
    assert section.area == pytest.approx(pi / 4 * (outer**2 - inner**2), rel=1e-12)
    assert section.inertia_s == pytest.approx(pi / 64 * (outer**4 - inner**4), rel=1e-12)
    assert section.inertia_u == pytest.approx(section.inertia_s)
    assert section.plastic_modulus_s == pytest.approx((outer**3 - inner**3) / 6, rel=1e-12)
    assert section.torsion_constant == pytest.approx(pi / 32 * (outer**4 - inner**4), rel=0.01)
    assert section.girth == pytest.approx(pi * outer, rel=1e-12)
    assert all(section.reach(roll) == pytest.approx(outer / 2) for roll in (0, 0.3, 1, 2))


def test_other_sections_are_not_round(frame: Callable[..., Frame]) -> None:
    other = BAR.replace("round bar", "main")
    assert not frame(other).parts[0].section.round


@pytest.mark.parametrize(
    ("tube", "says"),
    [
        ("{diameter: 2, height: 3, wall: 1/8}", "found diameter and height; a round tube has no height; take it out"),
        ("{diameter: 2, width: 2, wall: 1/8}", "found diameter and width; a round tube has no width; take it out"),
        ("{diameter: 2, wall: 1/8, corner: 1}", "found diameter and corner; a round tube has no corner; take it out"),
        (
            "{diameter: 2, wall: 1/8, seam_on: wide}",
            "found diameter and seam_on; a round tube has no seam_on; take it out",
        ),
        ("{width: 2, wall: 1/8}", "height is missing; it is required, or diameter for a round tube"),
        ("{height: 2, wall: 1/8}", "width is missing; it is required, or diameter for a round tube"),
        ("{wall: 1/8}", "height and width are missing; they are required, or diameter for a round tube"),
        ("{diameter: 2}", "wall is missing; it is required"),
        ("{diameter: 2, wall: 1}", "wall 1 does not fit a 2 x 2 section"),
        ("{diameter: 0, wall: 1/8}", "found 0; allowed: a length above 0"),
        ("{diametre: 2, wall: 1/8}", 'unknown key "diametre"; allowed: height, width, diameter, wall, corner'),
    ],
)
def test_a_tube_is_either_round_or_not(frame: Callable[..., Frame], tube: str, says: str) -> None:
    head = HEAD.replace("{diameter: 2, wall: 1/8, grade: A500-B}", tube)
    with pytest.raises(InputError) as caught:
        frame(BAR, head)
    assert any("tubes round bar" in problem and says in problem for problem in caught.value.problems), caught.value


def test_a_straight_round_part_is_checked_tabled_and_built(frame: Callable[..., Frame]) -> None:
    found = frame(BAR)
    assert [finding for finding in run_checks(found) if finding.level == "stop"] == []
    table = as_json(table_of(found.parts[0], job="Test", revision=None, unit="in"))
    assert '"height": 2.0' in table or '"height": 2' in table
    shape = solid(found.parts[0])
    assert shape.isValid()
    assert shape.Volume() == pytest.approx(pi / 4 * (50.8**2 - 44.45**2) * 508, rel=1e-9)
    assert sorted(face.geomType() for face in shape.Faces()) == ["CYLINDER"] * 8 + ["PLANE"] * 2


def test_pieces_for_distances_enclose_the_circle(frame: Callable[..., Frame]) -> None:
    (piece,) = pieces(frame(BAR).parts[0].line, frame(BAR).parts[0].section, 0.05)
    ring = piece.vertices[: len(piece.vertices) // 2, 1:]
    middles = (ring + np.roll(ring, -1, axis=0)) / 2
    assert np.linalg.norm(ring, axis=1).max() <= 25.4 + 0.05
    assert np.linalg.norm(middles, axis=1).min() >= 25.4 - 1e-9


def test_a_round_part_with_bends_is_stopped_in_one_sentence(frame: Callable[..., Frame]) -> None:
    for shop in (None, SHOP):
        found = frame(BENT, shop=shop)
        (finding,) = round_tubes(found)
        assert (finding.rule, finding.level, finding.part, finding.bend) == ("round tube", "stop", "bar", 1)
        assert finding.says == (
            "bar: its tube is round, 2.000 in across, and only flat-sided tube can be planned with bends; "
            "write it straight, or of a tube with height and width"
        )
        assert finding in run_checks(found)


def test_a_round_crossmember_is_checked_and_built(frame: Callable[..., Frame]) -> None:
    rails = "parts:\n- {name: rail, tube: main, hand: pair, points: [[0, 15, 20], [80, 13, 20]]}\n"
    member = "crossmembers:\n- {name: tie, tube: round bar, between: [rail], x: 40}\n"
    found = frame(rails + member)
    assert [finding for finding in run_checks(found) if finding.level == "stop"] == []
    assert solid(found.parts[-1]).isValid()
