"""A bent piece beside the bench, in a real browser: measured, looked at, kept, and what it tells is changed."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from browser import DESKTOP, PHONE, Opened, visited
from commands import run
from live import Running, demo_job, running
from nested import assert_alike
from playwright.sync_api import Browser

READY = "page.asBent !== null && Number(document.documentElement.dataset.bent) > 0"
SHAPE = "page.asBent.answer?.said !== undefined"
LITTLE: dict[str, Any] = {"viewport": {"width": 640, "height": 480}}
"""A window that is quick to draw."""


@pytest.fixture(scope="module")
def hauler_job(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return demo_job(tmp_path_factory.mktemp("bench"))


@pytest.fixture(scope="module")
def bench(hauler_job: Path) -> Iterator[Running]:
    with running(hauler_job) as served:
        yield served


def at_bench(shown: Opened) -> Opened:
    """Wait until the first shape is drawn and the first answer is there."""
    return shown.until("page.three.changed > 0").until(READY)


def settled(shown: Opened) -> None:
    """Wait until what was typed last is answered."""
    shown.until(READY)
    shown.drawn()


def opened(shown: Opened) -> None:
    """Open the demo job's own record."""
    shown.page.locator("#bent-record").select_option("right_rail.yaml")
    shown.until("page.asBent.now.name === 'right_rail.yaml'").until(SHAPE)
    settled(shown)


def field(shown: Opened, at: str) -> Any:
    return shown.page.locator(f'[data-at="{at}"]')


def enter(shown: Opened, at: str, text: str) -> None:
    """Type into a field, its group unfolded first."""
    shown.page.evaluate("at => { document.querySelector(`[data-at=\"${at}\"]`).closest('details').open = true; }", at)
    field(shown, at).fill(text)
    settled(shown)


def why(shown: Opened, at: str) -> str:
    said: str = shown.page.evaluate(
        "at => document.getElementById(document.querySelector(`[data-at=\"${at}\"]`)"
        ".getAttribute('aria-describedby')).textContent", at,
    )  # fmt: skip
    return said


def test_readings_are_typed_looked_at_kept_and_given_to_the_shop(
    browser: Browser, bench: Running, hauler_job: Path
) -> None:
    with visited(browser, f"{bench.address}#as-bent", **LITTLE) as (shown,):
        at_bench(shown)
        assert "Nothing is measured yet" in shown.page.locator("#as-bent-found").inner_text()
        assert shown.page.locator("#bent-first li").count() == 6
        enter(shown, "angles/0/reads", "15.0; 15.1")
        enter(shown, "legs/0/reads", "37")
        enter(shown, "angles/1/reads", "fifteen")
        assert why(shown, "angles/1/reads") == '✗ found "fifteen"; allowed: a number'
        assert field(shown, "angles/1/reads").get_attribute("aria-invalid") == "true"
        shown.until(SHAPE)
        shown.until("page.three.view.parts.ghosts.children.length === 1")
        assert shown.page.evaluate("page.three.view.parts.ghosts.children[0].name") == "bent side rail right"
        near = shown.page.evaluate("page.asBent.answer.mesh.points")
        shown.page.locator("#bent-times").select_option("10")
        shown.until(f"page.asBent.answer?.mesh.points !== {json.dumps(near)}")
        shown.page.locator("#bent-over").uncheck()
        assert shown.page.evaluate("page.three.view.parts.ghosts.children.length") == 0
        shown.page.locator("#bent-over").check()

        shown.page.reload()
        at_bench(shown.ready())
        assert field(shown, "angles/0/reads").input_value() == "15.0; 15.1"
        assert field(shown, "angles/1/reads").input_value() == "fifteen"
        shown.until("document.querySelector('[data-at=\"angles/1/reads\"]').hasAttribute('aria-invalid')")
        save = shown.page.get_by_role("button", name="Save the record")
        save.click()
        shown.until("document.getElementById('bent-says').textContent.startsWith('✗ Nothing was saved')")
        path = hauler_job.parent / "measured" / "side_rail_right_1.yaml"
        assert not path.exists()

        enter(shown, "angles/1/reads", "14.7")
        assert why(shown, "angles/1/reads") == ""
        shown.page.evaluate("document.querySelector('[data-fold=set]').open = true")
        field(shown, "set").select_option("planned")
        settled(shown)
        log = shown.page.get_by_role("button", name="test bends")
        assert log.is_disabled()
        save.click()
        shown.until("document.getElementById('bent-says').textContent.startsWith('✓ Saved as')")
        settled(shown)
        found = shown.page.evaluate("page.asBent.answer")
        for command in ("measured", "correct"):
            ran = run(command, hauler_job, path, "--format", "json")
            assert_alike(found[command], json.loads(ran.out))
        before = (hauler_job.parents[1] / "test_bends.csv").read_text()
        log.click()
        shown.until("document.getElementById('bent-says').textContent.includes('2 bends added to test_bends.csv')")
        assert (hauler_job.parents[1] / "test_bends.csv").read_text().startswith(before)
        assert [text for text in shown.said if "422" not in text] == []


def test_a_record_is_opened_a_slip_is_marked_and_the_file_is_never_written_over(
    browser: Browser, bench: Running, hauler_job: Path
) -> None:
    path = hauler_job.parent / "measured" / "right_rail.yaml"
    with visited(browser, f"{bench.address}#as-bent", **LITTLE) as (shown,):
        at_bench(shown)
        opened(shown)
        assert shown.page.get_by_text("For the next side rail right").is_visible()
        assert shown.page.get_by_text("Laid as well as it fits:").is_visible()
        enter(shown, "angles/1/reads", "41.7")
        shown.until("page.asBent.answer?.said.left_out.length === 1")
        assert why(shown, "angles/1/reads").startswith("! Left out")
        assert "two digits swapped" in shown.page.locator("#as-bent-found").inner_text()
        theirs = path.read_text().replace("by protractor", "by the long protractor")
        path.write_text(theirs)
        shown.page.get_by_role("button", name="Save the record").click()
        shown.until("document.getElementById('bent-says').textContent.includes('changed by another program')")
        assert path.read_text() == theirs
        assert field(shown, "angles/1/reads").input_value() == "41.7"
        shown.page.get_by_role("button", name="Start again").click()
        shown.until("document.querySelector('[data-at=\"angles/1/reads\"]').value === '14.7; 14.7'")
        enter(shown, "angles/1/reads", "14.8")
        shown.page.get_by_role("button", name="Save the record").click()
        shown.until("document.getElementById('bent-says').textContent.startsWith('✓ Saved as')")
        assert path.read_text() == theirs.replace("reads: [14.7, 14.7]", "reads: 14.8")


def test_a_rail_half_bent_is_told_what_is_left_with_the_keyboard_alone(browser: Browser, bench: Running) -> None:
    with visited(browser, f"{bench.address}#as-bent", **LITTLE) as (shown,):
        at_bench(shown)
        keys = shown.page.keyboard
        shown.page.evaluate("document.getElementById('bent-part').focus()")
        keys.type("side rail left")
        shown.until("page.asBent.now.label === 'side rail left'")
        keys.press("Tab")
        keys.type("2")
        shown.until("page.asBent.held.draft.bent === '2'").until("page.asBent.answer?.first.length > 0")
        settled(shown)
        shown.page.evaluate("document.querySelector('#bent-first button').focus()")
        keys.press("Enter")
        assert shown.page.evaluate("document.activeElement.dataset.at").endswith("/reads")
        keys.type("37 1/8")
        settled(shown)
        shown.until(SHAPE)
        assert shown.page.get_by_text("What is left to do on this side rail left").is_visible()
        rows = shown.page.locator("#as-bent-found table").first.locator("tbody tr")
        assert [row.locator("th").inner_text() for row in rows.all()] == ["3", "4"]
        assert shown.page.get_by_text("of the error is removed").is_visible()


AXE = """async () => (await axe.run()).violations.map(
  one => [one.id, one.nodes.map(node => node.html.slice(0, 200))])"""
LOW = """() => [...document.querySelectorAll('#panel-as-bent, #as-bent-found, #as-bent-over')].flatMap(
  one => [...one.querySelectorAll('button, select, summary, input')]).filter(one => {
    if (!one.checkVisibility()) return false;
    return (one.type === 'checkbox' ? one.closest('.check') : one).getBoundingClientRect().height < 43.9;
  }).map(one => one.outerHTML.slice(0, 120))"""


WINDOWS = {"desktop-light": {**DESKTOP, "color_scheme": "light"}, "phone-dark": {**PHONE, "color_scheme": "dark"}}


@pytest.mark.parametrize("window", WINDOWS)
def test_everybody_can_use_the_bench(browser: Browser, bench: Running, axe: str, window: str) -> None:
    kind: dict[str, Any] = WINDOWS[window]
    with visited(browser, f"{bench.address}#as-bent", **kind) as (shown,):
        at_bench(shown)
        shown.page.evaluate(axe)
        opened(shown)
        shown.page.evaluate("document.querySelectorAll('#panel-as-bent details').forEach(one => { one.open = true; })")
        shown.page.get_by_role("button", name="Another point").click()
        enter(shown, "legs/1/reads", "nonsense " * 12)
        field(shown, "set").select_option("these")
        settled(shown)
        shown.until("document.querySelector('[aria-invalid]') !== null")
        assert shown.page.evaluate(AXE) == []
        assert shown.page.evaluate("document.documentElement.scrollWidth") <= kind["viewport"]["width"]
        assert shown.page.evaluate("innerWidth") == kind["viewport"]["width"]
        assert shown.page.evaluate(LOW) == []
        assert shown.said == []


def test_from_elsewhere_records_are_looked_at_and_nothing_is_typed(browser: Browser, bench: Running) -> None:
    with visited(browser, bench.address, **LITTLE) as (shown,):
        shown.until("page.three.changed > 0")
        shown.page.evaluate(
            "page.store.take({ ...page.store.state, readonly: true, key: `${page.store.state.rev}.9999` })"
        )
        shown.page.evaluate("() => { location.hash = 'as-bent'; }")
        shown.until(READY)
        opened(shown)
        assert field(shown, "angles/0/reads").is_disabled()
        assert not shown.page.get_by_role("button", name="Save the record").is_visible()
        assert shown.page.get_by_text("For the next side rail right").is_visible()
