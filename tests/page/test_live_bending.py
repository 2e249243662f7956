"""The rehearsal and the next bend: what stands there is what the plan says, and where one was is not forgotten."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from browser import PHONE, Opened, visited
from commands import HAULER, run
from live import Running, running, small_job
from playwright.sync_api import Browser
from yard import yard_job

from railmodel.job.starter import write_starter

AWAKE = """
window.asked = 0;
Object.defineProperty(navigator, 'wakeLock', { value: { request: kind => {
  window.asked += kind === 'screen';
  return Promise.resolve({ released: false, addEventListener: () => {} });
} } });
"""
APART = 450
"""Milliseconds between two taps of a person who means both."""
SKIN = "Array.from(page.bending.view.parts.skin.mesh.geometry.attributes.position.array)"


@pytest.fixture(scope="module")
def plan() -> dict[str, Any]:
    found: dict[str, Any] = json.loads(run("plan", HAULER, "--json").out)
    return found


def one_of(plan: dict[str, Any], kind: str, end: str = "front") -> dict[str, Any]:
    """What a plan says of the right side rail."""
    return next(
        one for one in plan[kind] if (one["part"], one["hand"], one["leading_end"]) == ("side rail", "right", end)
    )


def made(shown: Opened, number: int) -> None:
    """A bend is made, and the next tap comes no sooner than a person's."""
    shown.page.get_by_role("button", name=f"Bend {number} is made").tap()
    shown.until(f"document.documentElement.dataset.bend === '{number}'")
    shown.page.wait_for_timeout(APART)


def facts(shown: Opened, where: str) -> dict[str, str]:
    names, words = (shown.page.locator(f"{where} {tag}").all_inner_texts() for tag in ("dt", "dd"))
    return dict(zip(names, words, strict=True))


def test_the_rehearsal_shows_every_step_with_its_clearance_face_and_floor(
    browser: Browser, truck: Running, plan: dict[str, Any]
) -> None:
    with visited(browser, f"{truck.address}#bending") as (shown,):
        shown.until("document.documentElement.dataset.rehearsed === 'side rail right front 0'")
        steps = one_of(plan, "rehearsal")["steps"]
        rows = [line.split("\n") for line in shown.page.locator("#step-list button").all_inner_texts()]
        assert rows == [[step["step"], f"{step['gap']:.3f} in"] for step in steps]
        number = [step["step"] for step in steps].index("bend 2")
        shown.page.locator("#step-list button").nth(number).click()
        shown.drawn()
        order = one_of(plan, "parts")["steps"][1]
        found = facts(shown, "#step-now")
        assert found["Face on the die"] == order["face_on_die"] == "top"
        assert found["Face up"] == order["face_up"] == "inboard"
        assert found["Turn"] == order["turn"]
        assert found["Set angle"] == f"{order['set_angle']:.1f}°"
        assert found["Mark"] == '55 11/16", 55.694 in'
        assert found["Least clearance"] == f"{steps[number]['gap']:.3f} in, to {steps[number]['against']}"
        area = steps[number]["keep_out"]
        assert found["Floor arc, keep out"].split()[0] == "within"
        assert float(found["Floor arc, keep out"].split()[1]) == pytest.approx(area["radius"], abs=0.005)
        shapes = shown.page.evaluate("page.bending.view.parts.shapes.children.map(mesh => mesh.name)")
        assert "keep out" in shapes
        scrub(shown, number)
        stepped(shown, number)
        assert shown.said == []


def scrub(shown: Opened, number: int) -> None:
    """At a picture the tube is as the server said, between two pictures it is between them."""
    frames = shown.page.evaluate(f"page.bending.data.steps[{number}].frames")
    at, points = [frame["fraction"] for frame in frames], np.array([frame["points"] for frame in frames])
    for fraction in (0.0, 0.5, 0.83):
        shown.page.locator("#scrub").evaluate(
            "(one, value) => { one.value = value; one.dispatchEvent(new Event('input')) }", number + fraction
        )
        shown.drawn()
        expected = [np.interp(fraction, at, column) for column in points.T]
        assert np.allclose(shown.page.evaluate(SKIN), expected, atol=0.01)
    assert "bend 2" in str(shown.page.locator("#scrub").get_attribute("aria-valuetext"))


def stepped(shown: Opened, number: int) -> None:
    for name, after in (("Step on", number + 1), ("Step back", number), ("Step back", number - 1)):
        shown.page.get_by_role("button", name=name).click()
        assert shown.page.locator("#step-list [aria-current]").inner_text() == (
            shown.page.locator("#step-list button").nth(after).inner_text()
        )
    shown.page.locator("#panel-bending").get_by_role("button", name="Play").click()
    shown.until(f"page.bending.at > {number - 1} + 0.3")
    shown.page.locator("#panel-bending").get_by_role("button", name="Stop").click()
    before = shown.page.evaluate("page.bending.at")
    shown.page.wait_for_timeout(100)
    assert shown.page.evaluate("page.bending.at") == before


def test_the_other_end_can_be_tried(browser: Browser, truck: Running, plan: dict[str, Any]) -> None:
    with visited(browser, f"{truck.address}#bending") as (shown,):
        shown.until("document.documentElement.dataset.rehearsed !== undefined")
        shown.page.locator("#rehearse-end").select_option("rear")
        shown.until("document.documentElement.dataset.rehearsed === 'side rail right rear 0'")
        steps = one_of(plan, "rehearsal", "rear")["steps"]
        rows = [line.split("\n")[0] for line in shown.page.locator("#step-list button").all_inner_texts()]
        assert rows == [step["step"] for step in steps]


def test_one_tap_a_bend_in_large_type_kept_when_the_page_is_closed_with_the_screen_awake(
    browser: Browser, truck: Running, plan: dict[str, Any]
) -> None:
    order = one_of(plan, "parts")["steps"]
    address = f"{truck.address}bend?part=side%20rail&hand=right"
    with visited(browser, address, before=AWAKE, **PHONE) as (shown,):
        shown.until("document.documentElement.dataset.bend === '0'")
        assert shown.page.evaluate("window.asked") >= 1
        assert shown.page.locator("#awake").inner_text() == "✓ The screen stays on."
        for number, now in enumerate(order[:3]):
            found = facts(shown, "#card")
            assert shown.page.locator("#card h2").inner_text() == f"Bend {number + 1} of 4"
            assert found["Face on the die"] == now["face_on_die"]
            assert found["Face up"] == now["face_up"]
            assert found["Set angle"] == f"{now['set_angle']:.1f}°"
            assert f"{now['mark']:.3f} in" in found["Mark at"]
            size = shown.page.locator(".big .wide dd").evaluate("one => parseFloat(getComputedStyle(one).fontSize)")
            assert size >= 44
            made(shown, number + 1)
        shown.page.reload()
        shown.ready().until("document.documentElement.dataset.bend === '3'")
        assert shown.page.locator("#card h2").inner_text() == "Bend 4 of 4"
        assert shown.page.locator("#dots .made").count() == 3
        shown.page.get_by_role("button", name="Take one back").tap()
        assert shown.page.locator("#card h2").inner_text() == "Bend 3 of 4"
        shown.page.wait_for_timeout(APART)
        for number in (3, 4):
            made(shown, number)
        assert "All bends made" in shown.page.locator("#card").inner_text()
        shown.page.locator("#which").select_option(label="side rail left")
        shown.until("document.getElementById('card').textContent.includes('Bend 1 of 4')")
        assert shown.said == []


def test_a_count_begun_on_another_shape_starts_anew_and_says_so(browser: Browser, cart: Running) -> None:
    with visited(browser, f"{cart.address}bend", **PHONE) as (shown,):
        shown.until("document.documentElement.dataset.bend === '0'")
        shown.page.locator("#next").tap()
        assert shown.page.evaluate("document.documentElement.dataset.bend") == "1"
        rev = cart.state()["rev"]
        op = {"op": "set", "at": ["parts", 0, "points", 2, "at", 2], "value": "24 1/2"}
        assert cart.http.post("api/edit", json={"rev": rev, "op": op}).status_code == 200
        shown.until("document.getElementById('card').textContent.includes('the count starts anew')")
        assert shown.page.evaluate("document.documentElement.dataset.bend") == "0"
        assert cart.http.post("api/undo", json={"rev": rev + 1}).status_code == 200


def test_where_no_bender_is_known_the_plan_alone_leads_from_bend_to_bend(browser: Browser, tmp_path: Path) -> None:
    path = tmp_path / "cart.yaml"
    write_starter(path)
    with running(path) as served, visited(browser, f"{served.address}bend", **PHONE) as (shown,):
        shown.until("document.documentElement.dataset.bend === '0'")
        found = facts(shown, "#card")
        assert found["Face on the die"] == "top"
        assert found["Finished angle"] == "14.0°"
        assert found["Mark at"] == '29 1/8" 29.138 in'
        made(shown, 1)
        assert shown.page.locator("#card h2").inner_text() == "Bend 2 of 2"


def test_two_taps_in_one_make_one_bend(browser: Browser, cart: Running) -> None:
    with visited(browser, f"{cart.address}bend", **PHONE) as (shown,):
        shown.until("document.documentElement.dataset.bend === '0'")
        shown.page.locator("#next").dblclick()
        shown.page.wait_for_timeout(APART)
        assert shown.page.locator("#card h2").inner_text() == "Bend 2 of 2"


def test_how_far_a_tube_is_outlives_the_page_and_the_program(browser: Browser, tmp_path: Path) -> None:
    path = small_job(tmp_path)
    window = browser.new_context(**PHONE)
    for begun in (0, 1):
        with running(path) as served:
            tab = Opened(window.new_page())
            tab.page.goto(f"{served.address}bend")
            tab.until(f"document.documentElement.dataset.bend === '{begun}'")
            if not begun:
                made(tab, 1)
            tab.page.close()
            again = Opened(window.new_page())
            again.page.goto(f"{served.address}bend")
            again.until("document.documentElement.dataset.bend === '1'")
            again.page.close()
    window.close()


def test_words_beside_the_machine_are_never_cut_and_a_metric_mark_has_its_unit_once(
    browser: Browser, tmp_path: Path
) -> None:
    with running(yard_job(tmp_path)) as served, visited(browser, f"{served.address}bend", **PHONE) as (shown,):
        shown.until("document.documentElement.dataset.bend === '0'")
        found = facts(shown, "#card")
        assert found["Face up"] == "outboard"
        assert found["Mark at"] == "786.4 mm"
        for wide in (1280, 820, 600, 412, 320):
            shown.page.set_viewport_size({"width": wide, "height": 800})
            shown.drawn()
            lines = shown.page.locator("#card dd").evaluate_all(
                """all => all.filter(one => !one.textContent.includes(' ')).map(one =>
                    one.getBoundingClientRect().height / parseFloat(getComputedStyle(one).lineHeight))"""
            )
            assert len(lines) >= 4
            assert max(lines) < 1.5, wide  # a word stands on one line
            assert shown.page.evaluate("document.documentElement.scrollWidth") <= wide


def test_the_whole_tube_and_the_floor_to_keep_out_of_are_in_sight_at_every_step(
    browser: Browser, truck: Running
) -> None:
    with visited(browser, f"{truck.address}#bending") as (shown,):
        shown.until("document.documentElement.dataset.rehearsed === 'side rail right front 0'")
        shown.drawn()
        most = shown.page.evaluate(
            """() => {
                const { view, data } = page.bending;
                const place = view.orbit.target.clone();
                const off = points => points.reduce((most, _, i) => {
                    if (i % 3) return most;
                    const [right, up] = view.orbit.seen(place.set(points[i], points[i + 1], points[i + 2]));
                    return Math.max(most, Math.abs(right) / view.aspect, Math.abs(up));
                }, 0);
                return data.steps.map((step, i) => {
                    page.bending.to(i);
                    const area = view.parts.shapes.children.find(({ name }) => name === 'keep out');
                    const floor = area ? [...area.geometry.attributes.position.array] : [];
                    return Math.max(off(floor), ...step.frames.map(({ points }) => off(points)));
                });
            }"""
        )
        assert max(most) <= 1
        assert max(most) > 0.6  # and no smaller than it need be


def test_where_nothing_is_rehearsed_nothing_of_another_part_stays_in_sight(browser: Browser, tmp_path: Path) -> None:
    path = tmp_path / "cart.yaml"
    write_starter(path)
    with running(path) as served, visited(browser, f"{served.address}#bending") as (shown,):
        shown.until("document.getElementById('rehearse-says').textContent.startsWith('✗')")
        assert not shown.page.locator(".bench").is_visible()
