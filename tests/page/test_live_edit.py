"""Editing on the live page as a person does: typing, choosing, dragging, keys, taking back, in one tab and in two."""

import time
from collections.abc import Iterator
from typing import Any

import pytest
from browser import Opened, visited
from live import Running
from playwright.sync_api import Browser, Locator

HEIGHT = "parts/0/points/1/at/2"
POINT = ["parts", 0, "points", 1]
QUIET = "!page.store.busy && page.store.queue.size === 0 && !page.three.busy"


@pytest.fixture
def shown(browser: Browser, cart: Running) -> Iterator[Opened]:
    with visited(browser, cart.address) as (tab,):
        settled(tab, "page.three.changed > 0")
        unfold(tab)
        yield tab
        wrong = [line for line in tab.said if "422" not in line and "409" not in line]
        assert wrong == []
        assert {request.split("/")[2] for request in tab.requests} == {cart.address.split("/")[2]}


def unfold(shown: Opened) -> None:
    shown.page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true })")


def field(shown: Opened, at: str) -> Locator:
    return shown.page.locator(f'[data-at="{at}"]')


def settled(shown: Opened, holds: str = "true") -> Opened:
    return shown.until(f"{QUIET} && {holds}", 20.0)


def written(served: Running, place: list[Any] = POINT) -> Any:
    found: Any = served.state()["written"]
    for step in place:
        found = found["at"] if step == "at" and isinstance(found, dict) and "at" in found else found[step]
    return found


def high(shown: Opened) -> float:
    """The highest place of the right rail in the picture, mm."""
    return float(
        shown.page.evaluate(
            """() => {
                const mesh = page.three.view.parts.group.children.find(one => one.name === 'rail right');
                mesh.geometry.computeBoundingBox();
                return mesh.geometry.boundingBox.max.z;
            }"""
        )
    )


def test_a_length_typed_as_on_a_tape_moves_the_rail_and_is_one_step_to_take_back(shown: Opened, cart: Running) -> None:
    before = cart.state()
    lowest = high(shown)
    ends = [field(shown, f"parts/0/points/{i}/at/2") for i in (2, 3)]
    ends[0].fill("")
    for given in ("26", "26 1", "26 1/", "26 1/2"):
        ends[0].fill(given)
    settled(shown, "page.store.state.written.parts[0].points[2].at[2] === '26 1/2'")
    assert written(cart)["at"] == ["30", "15", "20"]
    assert ends[0].get_attribute("aria-invalid") is None
    assert high(shown) > lowest + 25
    shown.page.keyboard.press("Control+z")
    settled(shown, "page.store.state.written.parts[0].points[2].at[2] === '24'")
    assert ends[0].input_value() == "24"
    assert cart.state()["written"] == before["written"]
    assert high(shown) == pytest.approx(lowest, abs=1e-3)


def test_a_bad_value_stays_says_why_beside_it_and_changes_nothing(shown: Opened, cart: Running) -> None:
    rev = cart.state()["rev"]
    height = field(shown, HEIGHT)
    height.fill("20 1/2 apples")
    shown.page.keyboard.press("Tab")
    settled(shown)
    shown.until(f"document.querySelector('[data-at=\"{HEIGHT}\"]').getAttribute('aria-invalid') === 'true'")
    why = shown.page.locator(f"#{height.get_attribute('aria-describedby')}")
    assert why.is_visible()
    assert "20 1/2 apples" in why.inner_text()
    assert height.input_value() == "20 1/2 apples"
    assert (cart.state()["rev"], written(cart)["at"][2]) == (rev, "20")
    other = field(shown, "fit_points/0/gap/within")
    other.fill("7/8")
    settled(shown, "page.store.state.written.fit_points[0].gap.within === '7/8'")
    assert height.input_value() == "20 1/2 apples"
    assert why.is_visible()
    height.press("Escape")
    assert height.input_value() == "20"
    assert not why.is_visible()
    other.fill("1")
    settled(shown, "page.store.state.written.fit_points[0].gap.within === '1'")


def test_undo_and_redo_by_buttons_and_by_keys(shown: Opened, cart: Running) -> None:
    undo, redo = (shown.page.get_by_role("button", name=name, exact=True) for name in ("Undo", "Redo"))
    field(shown, "tubes/main/wall").fill("1/4")
    settled(shown, "page.store.state.written.tubes.main.wall === '1/4'")
    assert "wall" in str(undo.get_attribute("title"))
    for act, now in (
        (undo.click, "3/16"), (redo.click, "1/4"),
        (lambda: shown.page.keyboard.press("Control+z"), "3/16"),
        (lambda: shown.page.keyboard.press("Control+Shift+Z"), "1/4"),
        (lambda: shown.page.keyboard.press("Control+z"), "3/16"),
    ):  # fmt: skip
        act()
        settled(shown, f"page.store.state.written.tubes.main.wall === '{now}'")
        assert field(shown, "tubes/main/wall").input_value() == now
    assert cart.state()["written"]["tubes"]["main"]["wall"] == "3/16"
    assert redo.is_enabled()


@pytest.mark.parametrize(("view", "by", "after"), [("side", (31, -23), {0, 2}), ("plan", (22, 17), {0, 1})])
def test_a_point_dragged_lands_on_the_tape_s_marks_and_is_one_step(
    shown: Opened, cart: Running, view: str, by: tuple[int, int], after: set[int]
) -> None:
    before = written(cart)["at"]
    handle = shown.page.locator(f"#{view} .handle").nth(1)
    handle.scroll_into_view_if_needed()
    box = handle.locator("rect").bounding_box()
    scale = shown.page.evaluate(f"page.flats[{int(view == 'plan')}].pixel")
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    shown.page.mouse.move(x, y)
    shown.page.mouse.down()
    shown.page.mouse.move(x + by[0], y + by[1], steps=6)
    shown.page.mouse.up()
    settled(shown)
    state = cart.state()
    (part,) = [one for one in state["parts"] if one["id"] == "rail right"]
    moved = [now - float(was) for now, was in zip(part["corners"][1], before, strict=True)]
    assert {i for i, change in enumerate(moved) if change} == after
    for axis, pixels in zip(sorted(after), (by[0], -by[1]), strict=True):
        assert moved[axis] == pytest.approx(pixels * scale, abs=1 / 32 + 1e-6)
        assert part["corners"][1][axis] * 16 == pytest.approx(round(part["corners"][1][axis] * 16))
    assert f"X {part['corners'][1][0]:.3f}" in shown.page.locator("#flat-says").inner_text()
    shown.page.keyboard.press("Control+z")
    settled(shown, "page.store.state.written.parts[0].points[1].at[0] === '30'")
    assert written(cart)["at"] == before


def test_arrow_keys_move_a_point_by_the_tape_s_marks(shown: Opened, cart: Running) -> None:
    handle = shown.page.locator("#side .handle").nth(1)
    handle.focus()
    for key in ("ArrowRight", "ArrowRight", "ArrowUp", "Shift+ArrowDown"):
        shown.page.keyboard.press(key)
    settled(shown)
    assert written(cart)["at"] == ["30 1/8", "15", "19 1/16"]
    assert "X 30.125, Z 19.063" in str(handle.get_attribute("aria-label"))
    assert shown.page.evaluate("document.activeElement.classList.contains('handle')")
    shown.page.keyboard.press("Control+z")
    settled(shown, "page.store.state.written.parts[0].points[1].at[0] === '30'")


def leaves(data: Any, at: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    if isinstance(data, dict | list):
        for key, value in data.items() if isinstance(data, dict) else enumerate(data):
            yield from leaves(value, (*at, key))
    else:
        yield at


def test_every_value_of_the_job_has_a_field_with_a_name_that_shows_it(shown: Opened, cart: Running) -> None:
    state = cart.state()
    found = shown.page.evaluate(
        """() => Object.fromEntries([...page.form.fields].map(([key, one]) =>
            [key, [one.label.textContent, one.input.type === 'checkbox' ? one.input.checked : one.input.value]]))"""
    )
    for at in leaves(state["written"]):
        key = "/".join(map(str, at))
        bare = key.replace("/points/0/", "/points/0/at/").replace("/points/3/", "/points/3/at/")
        label, value = found.get(key) or found[bare]
        given: Any = state["written"]
        for step in at:
            given = given[step]
        assert label
        assert value == given, key


def test_points_parts_and_tubes_are_added_moved_renamed_and_taken_out(shown: Opened, cart: Running) -> None:
    before = cart.state()

    def press(name: str, holds: str) -> None:
        shown.page.get_by_role("button", name=name, exact=True).first.click()
        settled(shown, holds)

    press("Add after Point 2, bend 1", "page.store.state.written.parts[0].points.length === 5")
    press("Take out Point 3, bend 2", "page.store.state.written.parts[0].points.length === 4")
    for way in ("points", "moves", "bend rows"):
        count = len(cart.state()["written"]["parts"])
        press(f"Add a part by {way}", f"page.store.state.written.parts.length === {count + 1}")
    press("Add a tube", "Object.keys(page.store.state.written.tubes).length === 2")
    name = field(shown, "tubes/main/#name")
    name.fill("3 by 2")
    name.press("Enter")
    settled(shown, "page.store.state.written.parts[0].tube === '3 by 2'")
    field(shown, "parts/0/tube").wait_for(state="attached")
    assert field(shown, "parts/0/tube").input_value() == "3 by 2"
    assert {part["written"] for part in cart.state()["parts"]} == {"points", "path", "rows"}
    edits = 7
    for _ in range(edits):
        undone = shown.page.evaluate("page.store.state.rev") + 1
        shown.page.keyboard.press("Control+z")
        settled(shown, f"page.store.state.rev >= {undone}")
    assert cart.state()["written"] == before["written"]


def test_two_tabs_stay_in_step_and_neither_writes_over_the_field_a_person_is_in(
    browser: Browser, cart: Running
) -> None:
    with visited(browser, cart.address, cart.address) as (one, two):
        unfold(one)
        unfold(two)
        field(two, "parts/0/points/0/at/2").focus()
        two.page.keyboard.press("End")
        field(one, HEIGHT).fill("21")
        settled(two, "page.store.state.written.parts[0].points[1].at[2] === '21'")
        assert field(two, HEIGHT).input_value() == "21"
        # the field that a person is in keeps what they see, while the other tab changes it
        field(one, "parts/0/points/0/at/2").fill("19")
        settled(two, "page.store.state.written.parts[0].points[0][2] === '19'")
        assert field(two, "parts/0/points/0/at/2").input_value() == "20"
        # an edit that was made on an older state is told the newest one, and made on that
        two.page.evaluate(
            """() => {
                page.store.state = { ...page.store.state, rev: page.store.state.rev - 1 };
                document.activeElement.value = '20 1/4';
                document.activeElement.dispatchEvent(new Event('input'));
            }"""
        )
        settled(one, "page.store.state.written.parts[0].points[0][2] === '20 1/4'")
        assert any("409" in line for line in two.said)
        for value, at in (("20", HEIGHT), ("20", "parts/0/points/0/at/2")):
            field(one, at).fill(value)
        settled(one, "page.store.state.written.parts[0].points[0][2] === '20'")


def test_a_reload_in_the_middle_of_an_edit_shows_what_the_job_holds(shown: Opened, cart: Running) -> None:
    for i in range(6):
        field(shown, HEIGHT).fill(f"20 {i}/16")
    shown.page.reload()
    shown.ready()
    settled(shown)
    now = written(cart)["at"][2]
    assert now in {"20", *(f"20 {i}/16" for i in range(6))}
    assert field(shown, HEIGHT).input_value() == now
    unfold(shown)
    field(shown, HEIGHT).fill("20")
    settled(shown, "page.store.state.written.parts[0].points[1].at[2] === '20'")
    end = time.monotonic() + 20
    while cart.state()["saved"]["state"] != "saved":
        assert time.monotonic() < end
        time.sleep(0.05)
    shown.until("document.getElementById('saved').textContent.startsWith('✓')")
