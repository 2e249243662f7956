"""The frame drawing as PDF, read back with PDFium: the DXF file's numbers, nothing off the sheet or over another."""

from collections import Counter
from itertools import combinations
from math import hypot
from pathlib import Path

import numpy as np
import pytest
from drawings import drawing
from papers import CANNOT_BEND, HAULER, HOSTILE, NASTY_READ, RACK, TRAILER, Page, frame_at, job_of, pages_of

from exporters.drawing.as_pdf import drawing_pdf, marks_of, page_data
from exporters.drawing.marks import Arc, Text
from exporters.drawing.sheets import PAPER, make_drawing
from exporters.drawing.title import AS_AGREED, scale_words, tolerances
from exporters.room import Rect
from railmodel.bending.cautions import NO_CERTIFICATE
from railmodel.fingerprint import fingerprint, short

MM = 72 / 25.4  # points
JOBS = [HAULER, RACK, TRAILER, CANNOT_BEND]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("pages")


def printed(folder: Path, job: Path) -> list[Page]:
    path = folder / f"{job.parent.name}_{job.stem}.pdf"
    if not path.exists():
        path.write_bytes(drawing_pdf(drawing(job)))
    return pages_of(path)


@pytest.mark.parametrize("job", JOBS, ids=lambda path: path.stem)
def test_every_text_of_the_drawing_is_on_its_page(folder, job):
    made = drawing(job)
    pages = printed(folder, job)
    assert len(pages) == len(made.sheets)
    for page, sheet in zip(pages, made.sheets, strict=True):
        wanted = Counter("".join(mark.text.replace(" ", "") for mark in marks_of(sheet) if isinstance(mark, Text)))
        assert Counter(letter.text for letter in page.letters) == wanted
    first = pages[0].solid
    for laid in made.views[:2]:
        assert laid.figure.dimensions
        for one in laid.figure.dimensions:
            assert one.text.replace(" ", "") in first


@pytest.mark.parametrize("job", JOBS, ids=lambda path: path.stem)
def test_pages_have_their_size_and_fonts_and_keep_inside_the_border(folder, job):
    _, width, height = PAPER[frame_at(job).unit]
    for page in printed(folder, job):
        assert page.size == pytest.approx((width * MM, height * MM), abs=0.5)
        assert page.fonts
        assert all(page.fonts.values())
        assert page.links == 0
        inside = Rect(9.5 * MM, 9.5 * MM, (width - 9.5) * MM, (height - 9.5) * MM)
        assert [letter for letter in page.letters if not Rect(*letter.box).within(inside)] == []


@pytest.mark.parametrize("job", JOBS, ids=lambda path: path.stem)
def test_no_letter_lies_on_another(folder, job):
    for page in printed(folder, job):
        boxes = np.array([letter.box for letter in page.letters])
        order = np.argsort(boxes[:, 0])
        boxes, letters = boxes[order], [page.letters[i] for i in order]
        for i, box in enumerate(boxes):
            near = np.flatnonzero((boxes[i + 1 :, 0] < box[2] - 0.3) & (boxes[i + 1 :, 1] < box[3] - 0.3)
                                  & (boxes[i + 1 :, 3] > box[1] + 0.3)) + i + 1  # fmt: skip
            assert [(letters[i].text, letters[k].text) for k in near] == []


NARROW = """\
job: Roll hoop stub
units: in
tubes:
  main: {height: 3, width: 2, wall: 3/16}
  tie: {diameter: 1 3/4, wall: 1/8}
parts:
- {name: rail, tube: main, hand: pair, points: [[0, 15, 0], {at: [8, 15, 0], radius: 5}, [10, 15, 40]]}
crossmembers:
- {name: tie, tube: tie, between: [rail], x: 3}
"""


def test_names_of_views_narrower_than_they_are_keep_inside_the_border_and_round_tube_is_called_round(tmp_path):
    frame = frame_at(job_of(tmp_path, NARROW))
    made = make_drawing(frame)
    _, width, height = PAPER[frame.unit]
    path = tmp_path / "drawing.pdf"
    path.write_bytes(drawing_pdf(made))
    inside = Rect(9.5 * MM, 9.5 * MM, (width - 9.5) * MM, (height - 9.5) * MM)
    for page in pages_of(path):
        assert [letter for letter in page.letters if not Rect(*letter.box).within(inside)] == []
        assert "tie:1.75diameterx0.125wall,round" in page.solid
        assert "1.75high" not in page.solid


def test_letters_have_the_width_the_drawing_reckons_with(folder):
    """Heights are those of capitals: 2.5 mm, within the tenth by which fonts differ."""
    page = printed(folder, HAULER)[0]
    title = "Hillsidehauler"
    letters = "".join(letter.text for letter in page.letters)
    at = letters.index(title)
    first, last = page.letters[at], page.letters[at + len(title) - 1]
    assert (first.box[3] - first.box[1]) / MM == pytest.approx(4.5, rel=0.1)
    assert (last.box[2] - first.box[0]) / MM == pytest.approx(0.8 * 4.5 * (len(title) + 1), rel=0.05)


def test_the_title_block_says_whose_it_is(folder):
    for job in (HAULER, TRAILER):
        frame, (first, *_) = frame_at(job), printed(folder, job)
        said = first.text
        scale = scale_words(drawing(job).views[0].figure.denominator)
        for words in (
            frame.job.job, frame.job.revision, frame.job.customer, frame.job.datum, short(fingerprint(frame)),
            "inches" if frame.unit == "in" else "millimetres", scale, tolerances(frame), "approved: name, date",
            "X rearward", "Z up", "Y right", "third angle" if frame.unit == "in" else "first angle",
        ):  # fmt: skip
            assert words in said
        assert NO_CERTIFICATE.replace(" ", "") in first.solid
    assert tolerances(frame_at(HAULER)) == AS_AGREED
    assert "3 high x 2 wide x 0.1875 wall, corner 0.375, A500-B" in printed(folder, HAULER)[0].text


def test_the_table_holds_every_point_of_the_hauler(folder):
    said = " ".join(page.text for page in printed(folder, HAULER)[1:])
    for row in (
        "front end -26.000 15.000 24.000",
        "A1 12.000 15.000 24.000 37.046 15.52° 7.000 bottom hard 7",
        "A4 88.000 15.000 25.000 14.549 20.56° 7.000 bottom hard 7",
        "B2 141.000 -15.000 25.000 20.000 90.00° 5.000 left easy 5",
    ):
        assert row in said
    assert "neither view" not in said
    rack = " ".join(page.text for page in printed(folder, RACK)[1:])
    assert "Seen square in neither view, so that angle and radius stand here only: A1, B2, B3, C1" in rack


def test_any_name_is_only_text(tmp_path):
    pages = printed(tmp_path, job_of(tmp_path, HOSTILE))
    said = "".join(page.solid for page in pages)
    assert NASTY_READ[:30].replace(" ", "") in said
    assert "=1+1#panic()<i>" in said


def test_the_same_job_gives_the_same_bytes():
    assert drawing_pdf(drawing(TRAILER)) == drawing_pdf(make_drawing(frame_at(TRAILER)))


def test_arcs_become_curves_that_stay_on_them():
    made = drawing(HAULER)
    height = made.size[1]
    arcs = [mark for mark in marks_of(made.sheets[0]) if isinstance(mark, Arc) and mark.layer == "VISIBLE"]
    (visible,) = (group for group in page_data(made)["sheets"][0]["strokes"] if group["width"] == 0.35)
    curves, at = [], None
    for step in visible["steps"]:
        if len(step) == 3:
            at = step[1:]
        else:
            curves.append(np.array([at, step[:2], step[2:4], step[4:]]))
            at = step[4:]
    assert curves
    share = np.linspace(0, 1, 9)[:, None]
    for p, q, r, s in curves:
        on = (1 - share) ** 3 * p + 3 * (1 - share) ** 2 * share * q + 3 * (1 - share) * share**2 * r + share**3 * s
        off = [
            max(abs(hypot(x - arc.centre[0], height - y - arc.centre[1]) - arc.radius) for x, y in on) for arc in arcs
        ]
        assert min(off) < 1e-3


def test_the_picture_of_a_page_is_as_black_as_its_lines(folder):
    """A page that came out empty or all black would pass every reading of its text."""
    for page in printed(folder, HAULER):
        picture = page.page.render(scale=1, grayscale=True).to_numpy()
        assert 0.005 < np.mean(picture < 128) < 0.2


def test_no_dimension_text_lies_on_another():
    for job in (HAULER, TRAILER):
        for laid in drawing(job).views[:2]:
            boxes = [one.label.box for one in laid.figure.dimensions]
            assert not any(one.meets(other) for one, other in combinations(boxes, 2))
