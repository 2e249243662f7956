"""Pictures inside a page: to scale, seen from the side they are named for, badges off tubes and off each other."""

import re
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
from commands import HAULER, TRAILER
from jobfiles import frame_of

from exporters.approval_points import badges, letters
from exporters.page_views import VIEWS, Badge, drawing, facets, paper_style, picture_of
from exporters.views import PICTORIAL, PLAN, SIDE, View
from railmodel.frame import Frame, build_frame
from railmodel.job.reader import read_job
from railmodel.plates import placed_plates

NUMBER = r"-?\d+(?:\.\d+)?"


@pytest.fixture(scope="module")
def hauler() -> Frame:
    return build_frame(read_job(HAULER))


def faces(svg: str) -> np.ndarray:
    """Corners (n, 4, 2) of every face, in the order they are painted."""
    found = re.findall(r'<path class="f\d" d="M([^"]*)z"', svg)
    return np.array([re.findall(NUMBER, one) for one in found], dtype=float).reshape(-1, 4, 2)


@pytest.mark.parametrize("view", VIEWS, ids=lambda view: view.name)
def test_every_picture_is_well_formed_and_inside_its_window(hauler: Frame, view: View) -> None:
    shown = drawing(facets(hauler.parts), view, badges(hauler, letters(hauler)))
    root = ElementTree.fromstring(shown.svg)
    assert root.attrib["aria-label"] == view.name
    x, y, w, h = map(float, root.attrib["viewBox"].split())
    assert w == pytest.approx(shown.width, abs=1)
    corners = faces(shown.svg).reshape(-1, 2)
    assert (corners >= [x - 1, y - 1]).all()
    assert (corners <= [x + w + 1, y + h + 1]).all()
    for text in root.iter("text"):
        assert x < float(text.attrib["x"]) < x + w
        assert y < float(text.attrib["y"]) < y + h
    assert len(shown.svg) < 80_000  # bytes: three of them and a viewer stay below a page's million


@pytest.mark.parametrize(("view", "size"), [(SIDE, (168, 9)), (PLAN, (168, 32))], ids=["side", "plan"])
def test_the_frame_is_drawn_true_to_size(hauler: Frame, view: View, size: tuple[float, float]) -> None:
    """Inches by hand from the job: 158 long and 10 of the cap, 1.5 up and down of 24 ... 19 ... 25, 1 out of +-15."""
    corners = faces(drawing(facets(hauler.parts), view).svg).reshape(-1, 2)
    np.testing.assert_allclose(np.ptp(corners, axis=0) / 25.4, size, atol=0.02)


def test_right_and_up_are_where_the_names_say(tmp_path: Path) -> None:
    frame = frame_of(tmp_path, "- {name: bar, tube: box, points: [[500, 300, 100], [900, 300, 100]]}")
    every = facets(frame.parts)
    for view, way in ((SIDE, [1, -1]), (PLAN, [1, -1])):  # SVG's y runs down the page
        middle = faces(drawing(every, view).svg).mean(axis=(0, 1))
        assert np.sign(middle).tolist() == way
    assert faces(drawing(every, PICTORIAL).svg).size


def test_what_is_near_the_eye_is_painted_last(tmp_path: Path) -> None:
    frame = frame_of(
        tmp_path,
        """
        - {name: far, tube: box, points: [[0, 500, 0], [50, 500, 0]]}
        - {name: near, tube: box, points: [[1000, -500, 0], [1050, -500, 0]]}
        """,
    )
    painted = faces(drawing(facets(frame.parts), SIDE).svg).mean(axis=1)[:, 0]
    assert (np.diff(painted) > -100).all()  # seen from the left: the left one, further along X, comes last
    assert painted[-1] > 900


def area_of(corners: np.ndarray) -> float:
    """Area inside a polygon (n, 2), by the surveyor's formula."""
    after = np.roll(corners, -1, axis=0)
    return float(abs(np.sum(corners[:, 0] * after[:, 1] - corners[:, 1] * after[:, 0])) / 2)


def holds(corners: np.ndarray, spot: np.ndarray) -> bool:
    """Whether a place lies inside a convex polygon (n, 2)."""
    side, off = np.roll(corners, -1, axis=0) - corners, spot - corners
    turn = side[:, 0] * off[:, 1] - side[:, 1] * off[:, 0]
    return bool((turn > 0).all() or (turn < 0).all())


def test_a_plate_hides_what_it_lies_on_and_is_hidden_by_what_lies_on_it(tmp_path: Path) -> None:
    """One plate on top of two bars, one below them: where outlines cross, painting order tells what is seen."""
    path = tmp_path / "job.yaml"
    path.write_text(
        """\
job: Two bars
units: mm
tubes: {box: {height: 50, width: 50, wall: 3}}
parts:
  - {name: bar, tube: box, hand: pair, points: [[0, 100, 0], [600, 100, 0]]}
plates:
  - {name: over, thickness: 8, size: [400, 300], holes: [{at: [200, 150], diameter: 60}],
     place: {at: [100, -150, 25], normal: [0, 0, 1], up: [0, 1, 0]}}
  - {name: under, thickness: 8, size: [400, 300], place: {at: [100, -150, -33], normal: [0, 0, 1], up: [0, 1, 0]}}
"""
    )
    frame = build_frame(read_job(path))
    placed = placed_plates(frame)
    for view in (PICTORIAL, PLAN):
        areas = re.findall(r'<path class="f\d" d="([^"]*)"', drawing(facets(frame.parts, placed), view).svg)
        spots = [np.array(re.findall(NUMBER, area), dtype=float).reshape(-1, 2) for area in areas]
        size = np.array([np.ptp(one, axis=0) for one in spots])
        spread = np.array([area_of(one[:4]) for one in spots])
        under, over = np.flatnonzero(spread > 40_000)  # 400 by 300, seen from above and slantwise
        assert (areas[under].count("M"), areas[over].count("M")) == (1, 2)  # one has a hole
        bars = [i for i in range(len(areas)) if 1_000 < spread[i] < 40_000 and size[i].max() < 200]
        covered = [i for i in bars if holds(spots[over][:4], spots[i][:4].mean(axis=0))]
        covering = [i for i in bars if holds(spots[under][:4], spots[i][:4].mean(axis=0))]
        assert len(covered) > 6
        assert len(covering) > 6
        assert max(covered) < over
        assert min(covering) > under


def test_badges_keep_off_tubes_axes_and_each_other(hauler: Frame) -> None:
    shown = drawing(facets(hauler.parts), PLAN, badges(hauler, letters(hauler)))
    root = ElementTree.fromstring(shown.svg)
    letter = 0.027 * shown.width / 1.1
    boxes = [
        (float(one.attrib["x"]), float(one.attrib["y"]), 0.5 * letter * len(one.text or ""), letter)
        for one in root.iter("text")
    ]
    for i, (x, y, w, h) in enumerate(boxes):
        for a, b, c, d in boxes[i + 1 :]:
            assert abs(x - a) * 2 > w + c or abs(y - b) * 2 > h + d
    tubes = faces(shown.svg)
    low, high = tubes.min(axis=1), tubes.max(axis=1)
    named = [box for box, one in zip(boxes, root.iter("text"), strict=True) if one.attrib["class"].startswith("b ")]
    for x, y, _, _ in named:
        assert not ((low < [x, y]) & ([x, y] < high)).all(axis=1).any()


def test_a_badge_of_both_hands_is_drawn_once_where_one_hides_the_other(hauler: Frame) -> None:
    texts = [one.text for one in ElementTree.fromstring(
        drawing(facets(hauler.parts), SIDE, badges(hauler, letters(hauler))).svg).iter("text")]  # fmt: skip
    assert texts.count("A1") == texts.count("F1") == 1
    texts = [one.text for one in ElementTree.fromstring(
        drawing(facets(hauler.parts), PLAN, badges(hauler, letters(hauler))).svg).iter("text")]  # fmt: skip
    assert texts.count("A1") == texts.count("F1") == 2


def test_a_datum_far_from_the_parts_is_left_out(tmp_path: Path) -> None:
    frame = frame_of(tmp_path, "- {name: bar, tube: box, points: [[9000, 0, 0], [9400, 0, 0]]}")
    assert 'class="a"' not in drawing(facets(frame.parts), SIDE).svg
    near = frame_of(tmp_path, "- {name: bar, tube: box, points: [[90, 0, 0], [940, 0, 0]]}")
    assert 'class="a"' in drawing(facets(near.parts), SIDE).svg


def test_more_badges_than_there_is_room_for_are_left_out_in_order(tmp_path: Path) -> None:
    frame = frame_of(tmp_path, "- {name: bar, tube: box, points: [[0, 0, 0], [400, 0, 0]]}")
    crowd = [Badge(f"F{i}", (200.0 + i / 10, 0.0, 0.0)) for i in range(60)]
    texts = [one.text for one in ElementTree.fromstring(drawing(facets(frame.parts), SIDE, crowd).svg).iter("text")]
    shown = [text for text in texts if text and text.startswith("F")]
    assert shown[0] == "F0"
    assert 5 < len(shown) < 60


def test_parts_get_letters_that_stand_for_nothing_else(tmp_path: Path) -> None:
    bar = "- {{name: bar {0}, tube: box, points: [[0, {1}, 0], [400, {1}, 0]]}}"
    many = "\n".join(bar.format(i, 60 * i) for i in range(45))
    given = list(letters(frame_of(tmp_path, many)).values())
    assert given[:6] == ["A", "B", "C", "D", "E", "G"]
    assert len(set(given)) == 45
    assert not {"F", "J", "I", "O"} & set("".join(given))


def test_a_picture_by_itself_is_coloured_and_shows_the_plates_with_their_holes() -> None:
    """Tones for white paper, no words, and the same faces as the page's view; holes of a plate leave a gap."""
    frame = build_frame(read_job(TRAILER))
    placed = placed_plates(frame)
    bare, whole = (picture_of(facets(frame.parts, some), PICTORIAL) for some in ([], placed))
    root = ElementTree.fromstring(f"<svg>{paper_style(2.0)}{''.join(whole.elements)}</svg>")
    style, *paths = root
    assert style.tag == "style"
    assert all(f".f{i}{{fill:#" in str(style.text) for i in range(4))
    assert {path.tag for path in paths} == {"path"}
    assert len(whole.elements) > len(bare.elements)
    (coupling,) = [plate for plate, _ in placed if plate.name == "coupling plate"]
    loops = [path.get("d", "").count("M") for path in paths if path.get("class", "").startswith("f")]
    assert max(loops) == 1 + len(coupling.holes)
    page = drawing(facets(frame.parts, placed), PICTORIAL).svg
    assert all(element in page for element in whole.elements)
