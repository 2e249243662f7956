"""What the live page shows: the frame, what it must keep clear of at any position, gaps, findings, scale."""

import re
from collections.abc import Iterator
from math import radians
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from browser import DESKTOP, PHONE, Opened, visited
from commands import HAULER
from live import Running, running, small_job
from playwright.sync_api import Browser

from railmodel.frame import build_frame
from railmodel.job.reader import read_job

INCH = 25.4
COUNT = """() => {
  const view = page.three.view, gl = view.renderer.getContext();
  view.render();
  const [w, h] = [gl.drawingBufferWidth, gl.drawingBufferHeight];
  const data = new Uint8Array(w * h * 4);
  gl.readPixels(0, 0, w, h, gl.RGBA, gl.UNSIGNED_BYTE, data);
  const colours = new Set();
  let full = 0;
  for (let i = 0; i < data.length; i += 4) {
    if (data[i + 3] > 60) { full += 1; colours.add((data[i] << 16) + (data[i + 1] << 8) + data[i + 2]); }
  }
  return { share: full / (w * h), colours: colours.size };
}"""
BOXES = """group => Object.fromEntries(page.three.view.parts[group].children.map(mesh => {
  mesh.geometry.computeBoundingBox();
  const { min, max } = mesh.geometry.boundingBox;
  return [mesh.name, [min.toArray(), max.toArray()]];
}))"""


@pytest.fixture(scope="module")
def shown(browser: Browser, truck: Running) -> Iterator[Opened]:
    with visited(browser, truck.address) as (tab,):
        tab.until("page.store.state.checks.stage === 'done' && page.three.changed > 0 && !page.three.busy")
        yield tab
        assert tab.said == []
        assert {request.split("/")[2] for request in tab.requests} == {truck.address.split("/")[2]}


@pytest.fixture(scope="module")
def state(truck: Running) -> dict[str, Any]:
    return truck.state()


def test_the_canvas_shows_the_frame_and_the_shapes_in_many_shades(shown: Opened) -> None:
    found = shown.page.evaluate(COUNT)
    assert found["share"] > 0.1
    assert found["colours"] > 200


def test_the_meshes_are_those_of_the_frame(shown: Opened) -> None:
    """Ends, sizes and heights of both hands against the part's own centreline and section."""
    frame = build_frame(read_job(HAULER))
    boxes = shown.page.evaluate(BOXES, "group")
    assert set(boxes) == {part.label for part in frame.parts}
    for part in frame.parts[:2]:
        low, high = boxes[part.label]
        assert low[0] == pytest.approx(part.line.start.at[0], abs=0.01)
        assert high[0] == pytest.approx(part.line.end.at[0], abs=0.01)
        assert high[1] - low[1] == pytest.approx(part.section.width, abs=0.01)
        top = max(part.line.start.at[2], part.line.end.at[2]) + part.section.height / 2
        assert high[2] == pytest.approx(top, abs=0.01)
    assert shown.page.evaluate("page.three.view.renderer.info.render.triangles") <= 10_000


def test_every_shape_to_keep_clear_of_stands_where_the_job_says(shown: Opened, state: dict[str, Any]) -> None:
    boxes = shown.page.evaluate(BOXES, "shapes")
    assert set(boxes) == {shape["id"] for shape in state["shapes"]}
    assert len(boxes) == 14  # twelve written, two of them on the other side as well
    by_name = {shape["name"]: boxes[shape["id"]] for shape in state["shapes"]}
    assert np.allclose(by_name["engine"], np.array([[-9, -11, 18], [21, 11, 42]]) * INCH, atol=0.01)
    assert np.allclose(by_name["rear axle tube"][1][1], 29 * INCH, atol=0.01)


def test_gaps_are_drawn_between_their_places_with_their_numbers(shown: Opened, state: dict[str, Any]) -> None:
    gaps = state["checks"]["answer"]["gaps"]
    drawn = shown.page.evaluate("page.three.view.gaps.map(gap => [gap.badge, gap.from, gap.to, gap.words])")
    assert len(drawn) == len({gap["shape"] for gap in gaps}) == 14
    for badge, start, end, words in drawn:
        own = [gap for gap in gaps if f" to {gap['shape']}: " in words]
        (gap,) = [one for one in own if words.startswith((f"{one['part']} {one['hand']} to", f"{one['part']} to"))]
        assert gap["gap"] - gap["needs"] == pytest.approx(min(one["gap"] - one["needs"] for one in own), abs=1e-6)
        assert badge == f"{gap['gap']:.3f}"
        assert np.allclose([start, end], np.array([gap["where"], gap["where_on_shape"]]) * INCH)
        assert np.linalg.norm(np.subtract(start, end)) / INCH == pytest.approx(gap["gap"], abs=0.05)
    rows = shown.page.locator("#gap-table tbody tr").all_inner_texts()
    assert len(rows) == 14
    assert all("✓ clear" in row for row in rows)


def test_a_finding_that_is_picked_is_shown_in_every_view(shown: Opened, state: dict[str, Any]) -> None:
    finding = next(one for one in state["checks"]["answer"]["findings"] if one["level"] == "warn" and one["where"])
    item = shown.page.locator("#finding-list button", has_text=finding["says"][:60]).first
    assert item.inner_text().startswith("! Look, ")
    item.click()
    shown.drawn()
    target = shown.page.evaluate("page.three.view.orbit.target.toArray()")
    assert np.allclose(target, np.array(finding["where"]) * INCH)
    assert finding["says"] in shown.status
    assert shown.page.locator(".rv-picked").is_visible()
    for view, axes in (("side", (0, 2)), ("plan", (0, 1))):
        ring = shown.page.locator(f"#{view} .ring")
        spot = [float(str(ring.get_attribute(name))) for name in ("cx", "cy")]
        assert spot == pytest.approx([finding["where"][axes[0]], -finding["where"][axes[1]]])
    assert item.get_attribute("aria-pressed") == "true"
    item.click()
    assert shown.page.locator(".rv-picked").count() == 0
    shown.page.get_by_role("button", name="Pictorial", exact=True).click()


def slide(shown: Opened, number: int, value: float) -> None:
    shown.page.locator(f"#travel-{number}").evaluate(
        "(one, value) => { one.value = value; one.dispatchEvent(new Event('input', { bubbles: true })) }", value
    )
    shown.until("!page.travel.busy && document.getElementById('travel-says').textContent.startsWith('Here')")
    shown.drawn()


def matrix(shown: Opened, shape: str) -> Any:
    """Where a shape stands, as a matrix (4, 4)."""
    found = shown.page.evaluate(
        "id => page.three.view.parts.shapes.children.find(mesh => mesh.name === id).matrix.elements", shape
    )
    return np.array(found).reshape(4, 4).T


def test_shapes_stand_at_any_position_of_their_travel(shown: Opened, state: dict[str, Any]) -> None:
    """The rear axle goes 4 in up and 3 down and rolls 5 degrees either way about X through (110, 0, 14)."""
    assert shown.page.locator("#travel-of").input_value() == "rear axle"
    (axle,) = [shape["id"] for shape in state["shapes"] if shape["name"] == "rear axle tube"]
    slide(shown, 0, 1.0)
    lifted = np.eye(4)
    lifted[2, 3] = 4 * INCH
    assert np.allclose(matrix(shown, axle), lifted, atol=1e-3)
    assert "4.000 in up" in shown.page.locator("#travel-says").inner_text()
    (up,) = [line for line in shown.page.locator("#travel-says li").all_inner_texts() if "rear axle tube" in line]
    slide(shown, 1, 0.0)
    pivot, turn = np.array([110, 0, 14]) * INCH, radians(-5)
    rolled = np.array([[1, 0, 0], [0, np.cos(turn), -np.sin(turn)], [0, np.sin(turn), np.cos(turn)]])
    expected = np.eye(4)
    expected[:3, :3], expected[:3, 3] = rolled, pivot - rolled @ pivot + [0, 0, 4 * INCH]
    assert np.allclose(matrix(shown, axle), expected, atol=1e-3)
    (both,) = [line for line in shown.page.locator("#travel-says li").all_inner_texts() if "rear axle tube" in line]
    gaps = [float(re.findall(r": (-?[0-9.]+) in", line)[0]) for line in (up, both)]
    assert gaps[1] < gaps[0]
    least = min(gap["gap"] for gap in state["checks"]["answer"]["gaps"] if gap["shape"] == "rear axle tube")
    assert least - 1e-3 <= gaps[1]
    shown.page.get_by_role("button", name="As drawn").click()
    assert np.allclose(matrix(shown, axle), np.eye(4))


def test_play_moves_the_shapes_until_it_is_stopped(shown: Opened, state: dict[str, Any]) -> None:
    (axle,) = [shape["id"] for shape in state["shapes"] if shape["name"] == "rear axle tube"]
    shown.page.locator("#travel").get_by_role("button", name="Play").click()
    seen = set()
    for _ in range(60):
        seen.add(tuple(np.round(matrix(shown, axle).ravel(), 3)))
        if len(seen) > 3:
            break
        shown.page.wait_for_timeout(60)
    assert len(seen) > 3
    shown.page.locator("#travel").get_by_role("button", name="Stop").click()
    shown.page.get_by_role("button", name="As drawn").click()
    shown.until("!page.travel.busy")


def test_the_flat_views_are_to_scale_and_show_what_is_written(shown: Opened, state: dict[str, Any]) -> None:
    (rail,) = [part for part in state["parts"] if part["id"] == "side rail right"]
    for view, axes in (("side", (0, 2)), ("plan", (0, 1))):
        scale = shown.page.evaluate(
            "view => { const m = document.querySelector(view).getScreenCTM(); return [m.a, m.b, m.c, m.d]; }",
            f"#{view} svg",
        )
        assert scale[0] == pytest.approx(scale[3])  # as many pixels to the inch either way
        assert scale[1:3] == pytest.approx([0, 0])
        marks = shown.page.locator(f"#{view} .handle rect").evaluate_all(
            """all => all.map(one => ['x', 'y'].map(
                key => Number(one.getAttribute(key)) + Number(one.getAttribute('width')) / 2))"""
        )
        corners = [(corner[axes[0]], -corner[axes[1]]) for corner in rail["corners"]]
        assert np.allclose(marks[: len(corners)], corners, atol=1e-6)
        bar = shown.page.locator(f"#{view} .scale path").get_attribute("d")
        length = re.findall(r"H([-0-9.]+)", str(bar))[0], re.findall(r"M([-0-9.]+)", str(bar))[0]
        said = shown.page.locator(f"#{view} .scale text").text_content()
        assert said == f"{float(length[0]) - float(length[1]):g} in"


def test_light_and_dark_change_every_view_and_states_are_said_in_words(browser: Browser, truck: Running) -> None:
    grounds = []
    for scheme in ("light", "dark"):
        with visited(browser, truck.address, **DESKTOP, color_scheme=scheme) as (tab,):
            tab.until("page.three.changed > 0")
            grounds.append(
                tab.page.evaluate(
                    """['body', '.rv-stage', '.flat'].map(
                        one => getComputedStyle(document.querySelector(one)).backgroundColor)"""
                )
            )
            if scheme == "dark":
                assert "✓ Nothing found stops this job." in tab.page.locator("#verdict").inner_text()
                assert tab.page.locator("#saved").inner_text().startswith("✓ ")
    assert all(a != b for a, b in zip(*grounds, strict=True))


def test_a_finger_turns_the_picture_and_moves_a_point_on_a_phone(browser: Browser, cart: Running) -> None:
    with visited(browser, cart.address, **PHONE) as (tab,):
        tab.until("page.three.changed > 0")
        devices = tab.page.context.new_cdp_session(tab.page)

        def finger(*spots: tuple[float, float]) -> None:
            for i, (x, y) in enumerate(spots):
                kind = "touchStart" if i == 0 else "touchMove"
                devices.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": [{"x": x, "y": y}]})
            devices.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})

        canvas = tab.page.locator("#three canvas")
        canvas.scroll_into_view_if_needed()
        box = canvas.bounding_box()
        turn = tab.page.evaluate("page.three.view.orbit.turn")
        x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
        finger((x, y), (x + 30, y), (x + 80, y))
        assert tab.page.evaluate("page.three.view.orbit.turn") != pytest.approx(turn, abs=0.1)
        handle = tab.page.locator("#side .handle").nth(2)
        handle.scroll_into_view_if_needed()
        box = handle.locator("rect").bounding_box()
        x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
        finger((x, y), (x, y - 10), (x, y - 20))
        tab.until("!page.store.busy && page.store.state.written.parts[0].points[2].at[2] !== '24'")
        tab.page.get_by_role("button", name="Undo", exact=True).click()
        tab.until("!page.store.busy")


def test_where_no_part_is_written_by_points_nobody_is_told_to_drag_one(browser: Browser, tmp_path: Path) -> None:
    path = small_job(tmp_path)
    text = path.read_text(encoding="utf-8")
    before, after = text.split("    points:\n")[0], text[text.index("fit_points:") :]
    path.write_text(
        f"{before}    path:\n      - straight: 30\n      - bend: {{toward: top, angle: 20, die: hard 7}}\n"
        f"      - straight: 30\n    start: {{at: [0, 15, 20], heading: [1, 0, 0]}}\n{after}",
        encoding="utf-8",
    )
    with running(path) as served, visited(browser, served.address) as (shown,):
        assert shown.page.locator(".handle").count() == 0
        says = "No part is written by points: nothing here can be dragged; change the numbers in the form."
        assert shown.page.locator("#flat-says").inner_text() == says


def test_where_nothing_can_be_turned_the_flat_views_remain(browser: Browser, cart: Running) -> None:
    script = Path(__file__).with_name("test_approval_file.py").read_text(encoding="utf-8").split('"""')[3]
    with visited(browser, cart.address, before=script) as (tab,):
        assert tab.page.locator("#no-three").is_visible()
        assert not tab.page.locator("#three").is_visible()
        assert tab.page.locator("#side .handle").count() == 4
