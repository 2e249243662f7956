"""Charts are SVG that any reader of XML takes, with every point where its numbers say."""

import xml.etree.ElementTree as ET
from collections.abc import Sequence
from itertools import pairwise
from math import floor, log10

import pytest
from hypothesis import given
from hypothesis import strategies as st

from exporters.chart import Chart, chart_svg, ticks

SVG = "{http://www.w3.org/2000/svg}"
LINE = ((0.0, 1.0), (90.0, 1.9))
BAND = ((0.0, 0.5, 1.5), (90.0, 1.2, 2.6))


def chart(
    points: Sequence[tuple[float, float]] = ((10.0, 1.1), (45.0, 1.4)),
    line: Sequence[tuple[float, float]] = LINE,
    band: Sequence[tuple[float, float, float]] = BAND,
    **texts: str,
) -> Chart:
    words = {"title": "Springback", "across": "finished angle, degrees", "up": "springback, degrees"} | texts
    return Chart(points=points, line=line, band=band, **words)


def drawn(made: Chart) -> ET.Element:
    return ET.fromstring(chart_svg(made))


def axis(root: ET.Element, anchor: str, place: str) -> list[tuple[float, float]]:
    """Pixel and value of every number along an axis."""
    found = []
    for text in root.findall(f"{SVG}text"):
        if text.get("text-anchor") == anchor and text.text and text.text.lstrip("-").replace(".", "").isdigit():
            found.append((float(text.get(place, "nan")), float(text.text)))
    return found


def read_back(root: ET.Element, x: float, y: float) -> tuple[float, float]:
    """The numbers a point of the drawing stands for, by the numbers written along its axes."""
    (x0, a0), *_, (x1, a1) = axis(root, "middle", "x")
    (y0, b0), *_, (y1, b1) = axis(root, "end", "y")
    return a0 + (x - x0) / (x1 - x0) * (a1 - a0), b0 + (y + 4 - y0) / (y1 - y0) * (b1 - b0)


def test_points_line_and_band_stand_at_their_numbers() -> None:
    """The digit of a drawing unit: 0.1 of 640 across for 100 degrees, of 324 up for 3."""
    root = drawn(chart())
    circles = [read_back(root, float(c.get("cx", "")), float(c.get("cy", ""))) for c in root.iter(f"{SVG}circle")]
    for found, wanted in zip(circles, ((10.0, 1.1), (45.0, 1.4)), strict=True):
        assert found == pytest.approx(wanted, abs=0.03)
    (line,) = root.iter(f"{SVG}polyline")
    ends = [tuple(map(float, pair.split(","))) for pair in line.get("points", "").split()]
    assert [read_back(root, *end) for end in ends] == [pytest.approx(end, abs=0.03) for end in LINE]
    (band,) = root.iter(f"{SVG}polygon")
    corners = [read_back(root, *map(float, pair.split(","))) for pair in band.get("points", "").split()]
    wanted_corners = [(0, 1.5), (90, 2.6), (90, 1.2), (0, 0.5)]
    assert corners == [pytest.approx(corner, abs=0.03) for corner in wanted_corners]


def test_texts_are_there_in_words() -> None:
    root = drawn(chart(title="Die <7> & 'tube'"))
    texts = [text.text for text in root.iter(f"{SVG}text")]
    assert {"finished angle, degrees", "springback, degrees", "Die <7> & 'tube'"} <= set(texts)
    title = root.find(f"{SVG}title")
    assert title is not None
    assert title.text == "Die <7> & 'tube'"


@given(st.text(max_size=300))
def test_whatever_a_name_holds_the_drawing_is_well_formed(name: str) -> None:
    root = drawn(chart(title=name, across=name, up=name))
    assert len(root.findall(f"{SVG}circle")) == 2
    shown = next(iter(root.iter(f"{SVG}text"))).text or ""
    assert len(shown) <= 81  # what fits over the chart


NUMBERS = st.floats(-1e6, 1e6, allow_subnormal=False)


@given(st.lists(st.tuples(st.floats(0, 180), NUMBERS), max_size=6), NUMBERS, st.floats(0, 1e6))
def test_nothing_is_drawn_outside_the_sheet(points: list[tuple[float, float]], level: float, half: float) -> None:
    root = drawn(
        chart(points, ((0.0, level), (90.0, level)), ((0.0, level - half, level + half), (90.0, level, level)))
    )
    for shape in (*root.iter(f"{SVG}polyline"), *root.iter(f"{SVG}polygon")):
        for pair in shape.get("points", "").split():
            x, y = map(float, pair.split(","))
            assert 0 <= x <= 720
            assert 0 <= y <= 420
    for circle in root.iter(f"{SVG}circle"):
        assert 0 <= float(circle.get("cx", "")) <= 720
        assert 0 <= float(circle.get("cy", "")) <= 420


def test_a_chart_of_nothing_but_its_line() -> None:
    assert list(drawn(chart(points=())).iter(f"{SVG}circle")) == []


@given(st.floats(-1e3, 1e3), st.floats(1e-3, 1e6), st.integers(2, 12))
def test_ticks_span_the_range_in_even_round_steps(low: float, span: float, most: int) -> None:
    found = ticks(low, low + span, most)
    steps = [after - before for before, after in pairwise(found)]
    step = steps[0]
    assert steps == pytest.approx([step] * len(steps), rel=1e-6)
    assert found[0] <= low + 1e-6 * step
    assert found[-1] >= low + span - 1e-6 * step
    assert len(steps) <= most + 1  # the range may begin and end between two of them
    assert any(step == pytest.approx(digit * 10 ** floor(log10(step) + 1e-6), rel=1e-6) for digit in (1, 2, 5))


def test_a_range_of_nothing_still_has_two_ticks() -> None:
    assert len(ticks(0.0, 0.0)) == 2
