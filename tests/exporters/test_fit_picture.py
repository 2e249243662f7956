"""The fit pictures: well-formed SVG, every gap in words, too near told by a word and a square, hostile names inert."""

import xml.etree.ElementTree as ET
from pathlib import Path

import pytest

from exporters.fit_picture import fit_picture, write_fit_pictures
from exporters.views import PLAN, SIDE
from railmodel.fitting.clear_job import tightest
from railmodel.frame import build_frame
from railmodel.job.reader import read_job

HAULER = Path(__file__).parents[2] / "demo_jobs" / "hillside_hauler" / "hauler.yaml"
SVG = "{http://www.w3.org/2000/svg}"


def job(tmp_path: Path, name: str, needs: float):
    path = tmp_path / "job.yaml"
    path.write_text(
        "job: 'a <b> & \"c\"'\nunits: mm\ntubes: {t: {height: 80, width: 40, wall: 3}}\n"
        "parts: [{name: rail, tube: t, points: [[0, 0, 0], [1000, 0, 0]]}]\n"
        f"keep_clear: [{{name: {name!r}, gap: {needs}, shape: {{sphere: {{at: [500, 0, 200], diameter: 100}}}}}}]\n"
    )
    return build_frame(read_job(path))


@pytest.mark.parametrize("view", [SIDE, PLAN])
def test_every_shape_of_the_hauler_is_told_in_words(view) -> None:
    frame = build_frame(read_job(HAULER))
    root = ET.fromstring(fit_picture(frame, view))
    words = [element.text or "" for element in root.iter(f"{SVG}text")]
    gaps = tightest(frame)
    assert len(gaps) == 14
    for gap, _ in gaps:
        assert any(f"{gap.shape} to {gap.part}: clear" in line for line in words)


@pytest.mark.parametrize(
    ("needs", "word", "squares"), [(50, ": clear", 0), (150, ": TOO NEAR", 1), (111, ": TOO NEAR", 1)]
)
def test_too_near_is_a_word_and_a_square(tmp_path: Path, needs: float, word: str, squares: int) -> None:
    root = ET.fromstring(fit_picture(job(tmp_path, "ball", needs), SIDE))
    assert any(word in (element.text or "") for element in root.iter(f"{SVG}text"))
    assert len(list(root.iter(f"{SVG}rect"))) == squares


def test_a_shape_inside_the_tube_says_so(tmp_path: Path) -> None:
    path = tmp_path / "job.yaml"
    path.write_text(
        "job: j\nunits: mm\ntubes: {t: {height: 80, width: 40, wall: 3}}\n"
        "parts: [{name: rail, tube: t, points: [[0, 0, 0], [1000, 0, 0]]}]\n"
        "keep_clear: [{name: pipe, gap: 5, shape: {sphere: {at: [500, 0, 60], diameter: 60}}}]\n"
    )
    assert "RUNS INTO IT" in fit_picture(build_frame(read_job(path)), SIDE)


def test_markup_in_names_stays_text(tmp_path: Path) -> None:
    name = "</svg><script>alert(1)</script>"
    text = fit_picture(job(tmp_path, name, 10), PLAN)
    root = ET.fromstring(text)
    assert "<script" not in text
    assert any(name in (element.text or "") for element in root.iter(f"{SVG}text"))


def test_both_views_are_written(tmp_path: Path) -> None:
    paths = write_fit_pictures(build_frame(read_job(HAULER)), tmp_path, "hauler")
    assert [path.name for path in paths] == ["hauler_side.svg", "hauler_plan.svg"]
