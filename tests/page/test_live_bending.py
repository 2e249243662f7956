"""The rehearsal and the next bend: what stands there is what the plan says, and where one was is not forgotten."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from browser import PHONE, Opened, visited
from commands import HAULER, run
from live import Running, running
from playwright.sync_api import Browser

from railmodel.job.starter import write_starter

AWAKE = """
window.asked = 0;
Object.defineProperty(navigator, 'wakeLock', { value: { request: kind => {
  window.asked += kind === 'screen';
  return Promise.resolve({ released: false, addEventListener: () => {} });
} } });
"""
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
            shown.page.get_by_role("button", name=f"Bend {number + 1} is made").tap()
        shown.page.reload()
        shown.ready().until("document.documentElement.dataset.bend === '3'")
        assert shown.page.locator("#card h2").inner_text() == "Bend 4 of 4"
        assert shown.page.locator("#dots .made").count() == 3
        shown.page.get_by_role("button", name="Take one back").tap()
        assert shown.page.locator("#card h2").inner_text() == "Bend 3 of 4"
        for number in (3, 4):
            shown.page.get_by_role("button", name=f"Bend {number} is made").tap()
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
        shown.page.locator("#next").tap()
        assert shown.page.locator("#card h2").inner_text() == "Bend 2 of 2"
