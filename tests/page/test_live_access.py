"""Every view of the live page: rules of accessibility, a phone's width, the keyboard alone."""

from pathlib import Path
from typing import Any

import pytest
from browser import DESKTOP, PHONE, Opened, visited
from live import Running, running, small_job
from playwright.sync_api import Browser

WINDOWS: dict[str, dict[str, Any]] = {
    "desktop-light": {**DESKTOP, "color_scheme": "light"}, "phone-dark": {**PHONE, "color_scheme": "dark"},
}  # fmt: skip
SMALL = """() => [...document.querySelectorAll('button, a[href], select, summary, input')].filter(one => {
  if (!one.checkVisibility() || one.disabled) return false;
  const inLine = one.tagName === 'A' && one.closest('p');
  const box = (one.type === 'checkbox' ? one.closest('.check, .flag') : one).getBoundingClientRect();
  return box.height < 43.9 && !one.classList.contains('skip') && !inLine;
}).map(one => one.outerHTML.slice(0, 120))"""


def checked(shown: Opened, axe: str, part: str = "html") -> None:
    """All rules of axe-core on a part of a page; the axe script is put in once."""
    if not shown.page.evaluate("typeof window.axe === 'object'"):
        shown.page.evaluate(axe)
    found = shown.page.evaluate("part => axe.run(part)", part)
    assert [(one["id"], [node["html"][:200] for node in one["nodes"]]) for one in found["violations"]] == []
    assert len(found["passes"]) > 3


def unfold(shown: Opened, every: bool) -> None:
    """Open every group of the form, and of the things in each the first, or all."""
    shown.page.evaluate(
        """every => document.querySelectorAll('details').forEach(one => {
            one.open = every || one.className === 'group' || one.matches(':first-child');
        })""",
        every,
    )


def fits(shown: Opened, window: dict[str, Any]) -> None:
    """No sideways scroll, and nothing to touch lower than 44 px."""
    wide = window["viewport"]["width"]
    assert shown.page.evaluate("document.documentElement.scrollWidth") <= wide
    assert shown.page.evaluate("innerWidth") == wide
    assert shown.page.evaluate(SMALL) == []


@pytest.mark.parametrize("window", WINDOWS)
def test_every_view_of_a_job_can_be_used_by_everybody(browser: Browser, truck: Running, axe: str, window: str) -> None:
    with visited(browser, truck.address, **WINDOWS[window]) as (shown,):
        shown.until("page.three.changed > 0")
        unfold(shown, window == "desktop-light")
        for panel, ready in (
            ("edit", "true"), ("solve", "true"), ("files", "document.querySelectorAll('.kinds input').length > 0"),
            ("bending", "document.documentElement.dataset.rehearsed !== undefined"),
            ("as-bent", "Number(document.documentElement.dataset.bent) > 0"),
            ("record", "document.documentElement.dataset.recorded !== undefined"),
        ):  # fmt: skip
            shown.page.evaluate("panel => { location.hash = panel }", panel)
            shown.until(f"document.body.dataset.panel === '{panel}' && {ready}")
            shown.drawn()
            checked(shown, axe, "html" if panel == "edit" else f"#panel-{panel}")
            fits(shown, WINDOWS[window])
        assert shown.said == []


@pytest.mark.parametrize("window", WINDOWS)
def test_so_can_the_page_beside_the_bender(browser: Browser, truck: Running, axe: str, window: str) -> None:
    with visited(browser, f"{truck.address}bend", **WINDOWS[window]) as (shown,):
        shown.until("document.documentElement.dataset.bend === '0'")
        checked(shown, axe)
        fits(shown, WINDOWS[window])
        while shown.page.locator("#next").is_enabled():
            shown.page.locator("#next").click()
            shown.page.wait_for_timeout(100)
        checked(shown, axe)


def test_so_can_one_on_which_all_goes_wrong_that_can(browser: Browser, cart: Running, axe: str) -> None:
    with visited(browser, cart.address, **PHONE) as (shown,):
        unfold(shown, every=True)
        shown.page.locator('[data-at="parts/0/points/1/at/2"]').fill("nonsense " * 12)
        shown.page.locator('[data-at="parts/0/points/1/at/0"]').focus()
        shown.until("document.querySelector('[aria-invalid]') !== null")
        shown.until("page.store.state.checks.stage === 'done' && !page.store.busy && !page.store.asking")
        shown.page.evaluate(  # nothing is under way that would bring another state
            """() => page.store.take({
                ...page.store.state, saved: { state: 'outside', says: 'cart.yaml was changed' }, readonly: true,
            })"""
        )
        shown.page.locator("#outside").wait_for()
        checked(shown, axe)
        fits(shown, PHONE)


def test_a_job_is_edited_with_the_keyboard_alone(browser: Browser, cart: Running) -> None:
    with visited(browser, cart.address) as (shown,):
        keys = shown.page.keyboard

        def walk(holds: str, most: int = 120) -> None:
            for _ in range(most):
                keys.press("Tab")
                if shown.page.evaluate(f"(() => {{ const at = document.activeElement; return {holds}; }})()"):
                    return
            raise AssertionError(f"Tab never came to where {holds}")

        walk("at.classList.contains('skip')", 2)
        keys.press("Enter")
        assert shown.page.evaluate("document.activeElement.id") == "main"
        walk("at.dataset.at === 'parts/0/points/0/at/2'")
        assert shown.page.evaluate("getComputedStyle(document.activeElement).outlineStyle") != "none"
        keys.press("Control+a")
        keys.type("20 3/8")
        shown.until("page.store.state.written.parts[0].points[0][2] === '20 3/8'")
        keys.press("Control+z")
        shown.until("page.store.state.written.parts[0].points[0][2] === '20'")
        walk("at.classList.contains('rv-canvas')")
        turn = shown.page.evaluate("page.three.view.orbit.turn")
        keys.press("ArrowLeft")
        assert shown.page.evaluate("page.three.view.orbit.turn") != turn
        walk("at.id === 'travel-0'")
        keys.press("ArrowRight")
        shown.until("document.getElementById('travel-says').textContent.includes('up')")
        walk("at.classList.contains('handle')")
        keys.press("ArrowUp")
        shown.until("!page.store.busy && page.store.state.undo !== null")
        keys.press("Control+z")
        shown.until("page.store.state.checks.stage === 'done' && !page.store.busy && !page.three.busy")
        walk("at.matches('button.finding')")
        keys.press("Enter")
        assert shown.page.locator(".rv-picked, .finding[aria-pressed=true]").first.is_visible()
        shown.page.evaluate("document.querySelector('nav a[href=\"#bending\"]').focus()")
        keys.press("Enter")
        shown.until("document.body.dataset.panel === 'bending'")
        shown.until("document.documentElement.dataset.rehearsed !== undefined")
        walk("at.textContent === 'Step on'")
        keys.press("Enter")
        assert shown.page.evaluate("page.bending.at") == 1
        walk("at.id === 'scrub'")
        keys.press("ArrowRight")
        assert 1 < shown.page.evaluate("page.bending.at") < 1.1


@pytest.mark.parametrize("window", WINDOWS)
def test_so_can_one_who_only_looks_from_another_machine(
    browser: Browser, axe: str, tmp_path: Path, window: str
) -> None:
    with running(small_job(tmp_path), "--lan") as served:
        words = served.lines[1].split()
        port, code = words[words.index("code") - 1].rsplit(":", 1)[1].strip("/"), words[-1]
        with visited(browser, f"http://127.0.0.1:{port}/", **WINDOWS[window]) as (shown,):
            checked(shown, axe)
            fits(shown, WINDOWS[window])
            shown.page.get_by_label("Code").fill(code)
            shown.page.get_by_role("button", name="Open").click()
            shown.page.locator("#readonly").wait_for()
            shown.ready().until("page.three.changed > 0")
            unfold(shown, every=True)
            for panel in ("edit", "solve", "files", "bending", "as-bent", "record"):
                shown.page.evaluate("panel => { location.hash = panel }", panel)
                shown.until(f"document.body.dataset.panel === '{panel}'")
                shown.page.wait_for_timeout(300)
                checked(shown, axe)
                fits(shown, WINDOWS[window])
            assert shown.said == []


@pytest.mark.parametrize("window", WINDOWS)
def test_so_can_the_page_before_any_job(browser: Browser, axe: str, tmp_path: Path, window: str) -> None:
    with running(None, cwd=tmp_path) as served, visited(browser, served.address, **WINDOWS[window]) as (shown,):
        shown.page.locator("#demos .job").first.wait_for()
        checked(shown, axe)
        fits(shown, WINDOWS[window])
        assert shown.said == []
