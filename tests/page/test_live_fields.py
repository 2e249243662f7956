"""Every kind of thing a job holds, changed on the page as it is written in the job, and every key the form knows."""

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any, get_args

import pytest
from browser import DESKTOP, PHONE, Opened, visited
from live import Running, running
from playwright.sync_api import Browser
from pydantic import BaseModel
from yard import yard_job

from railmodel.job.reader import read_job
from railmodel.job.schema import Job

QUIET = "!page.store.busy && page.store.queue.size === 0 && !page.three.busy"
UNFOLD = "document.querySelectorAll('details').forEach(one => { one.open = true })"
FORM = """async () => {
  const { GROUPS } = await import('/static/schema.js');
  const found = {};
  const walk = (node, path) => {
    const keys = Object.entries(node.keys || {}).map(([key, one]) => [one, key]);
    const inner = { list: [[node.item, '*'], [node.ends, '*']], map: [[node.item, '*']], group: keys };
    if (node.kind === 'either') return walk(node.whole, path);
    if (node.kind === 'variant') {
      Object.entries(node.kinds).forEach(([key, kind]) => walk(kind.node, [...path, key]));
      Object.entries(node.beside || {}).forEach(([key, one]) => walk(one, [...path, key]));
    }
    if (node.rename) found[[...path, '*', 'name'].join('.')] = true;
    const parts = inner[node.kind];
    found[path.join('.')] ??= !parts && node.kind !== 'variant';
    (parts || []).forEach(([one, key]) => one && walk(one, [...path, key]));
  };
  GROUPS.forEach(({ node, at }) => walk(node, at));
  return found;
}"""
"""From every place of a job that the form knows to whether it is the last."""
STEEP: dict[str, Any] = {**DESKTOP, "viewport": {"width": 1280, "height": 420}}
"""A window so low that views are as tall as they may be, with room at their sides."""


@pytest.fixture(scope="module")
def yard(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Running]:
    path = yard_job(tmp_path_factory.mktemp("yard"))
    with running(path) as served:
        served.path = path  # type: ignore[attr-defined]
        yield served


@pytest.fixture
def shown(browser: Browser, yard: Running) -> Iterator[Opened]:
    with visited(browser, yard.address) as (tab,):
        settled(tab, "page.three.changed > 0")
        tab.page.evaluate(UNFOLD)
        yield tab
        assert [line for line in tab.said if "422" not in line] == []


def settled(shown: Opened, holds: str = "true") -> None:
    shown.until(f"{QUIET} && {holds}", 30.0)


def saved(served: Running) -> Path:
    served.until(lambda state: state["saved"]["state"] == "saved")
    path: Path = served.path  # type: ignore[attr-defined]
    return path


def enter(shown: Opened, place: str, value: str) -> None:
    """Type or choose."""
    field = shown.page.locator(f'[data-at="{place}"]')
    if field.evaluate("one => one.tagName") == "SELECT":
        field.select_option(value)
    else:
        field.fill(value)
        field.press("Enter")


def at(data: Any, place: str) -> Any:
    """What is written at a place; nothing where nothing is."""
    for step in place.split("/"):
        if isinstance(data, dict):
            data = data.get(step, "")
        elif isinstance(data, list) and step != "at":
            data = data[int(step)]
    return data


CHANGES = (
    ("tubes/main/wall", "4"), ("parts/0/points/1/at/2", "510"), ("parts/0/points/1/die", "hard 200"),
    ("parts/0/points/2/radius", "170"), ("parts/0/points/1/free/z/1", "530"), ("parts/0/seam", "inboard"),
    ("parts/0/top/1", "0.01"), ("parts/1/path/0/straight", "410"), ("parts/1/path/1/offset/by", "105"),
    ("parts/1/path/1/offset/free/by/0", "95"), ("parts/1/path/3/bend/toward", "bottom"),
    ("parts/1/path/3/bend/die", "hard 200"), ("parts/1/path/2/free/1", "430"), ("parts/1/start/at/2", "910"),
    ("parts/1/start/free/z/0", "890"), ("parts/2/rows/1/rotation", "80"), ("parts/2/rows/0/die", ""),
    ("parts/2/rows/0/toward", ""), ("parts/2/rows/1/distance", "260"), ("parts/2/rows/1/radius", "110"),
    ("parts/2/tail", "210"), ("parts/2/free/tail/1", "230"), ("crossmembers/0/x", "320"),
    ("joints/0/between/1", "tie.rear"), ("joints/0/gap", "3000"), ("fit_points/0/to/face", "top"),
    ("fit_points/0/gap/want", "55"), ("fit_points/0/at/0", "210"), ("motions/axle/up", "90"),
    ("motions/axle/with/roll", ""), ("keep_clear/0/shape/cylinder/diameter", "70"),
    ("keep_clear/1/shape/box/size/0", "510"), ("keep_clear/1/moves/up", "15"), ("keep_clear/1/gap", "25"),
    ("plates/0/holes/0/diameter", "14"), ("shop", "other.yaml"),
)  # fmt: skip
"""Of tubes, parts given each of three ways, dies, fit points, shapes and their travel, joints, plates, the shop."""


def test_every_kind_of_thing_is_changed_where_it_stands_and_taken_back(shown: Opened, yard: Running) -> None:
    text = saved(yard).read_text(encoding="utf-8")
    for done, (place, value) in enumerate(CHANGES):
        rev = yard.state()["rev"]
        assert at(yard.state()["written"], place) != value, place
        enter(shown, place, value)
        settled(shown, f"page.store.state.rev === {rev + 1}")
        assert at(yard.state()["written"], place) == value, place
        assert shown.page.locator("[aria-invalid]").count() == 0, (place, done)
    assert read_job(saved(yard)).shop is not None
    for _ in CHANGES:
        rev = yard.state()["rev"]
        assert yard.http.post("api/undo", json={"rev": rev}).status_code == 200
    assert yard.state()["undo"] is None
    yard.until(lambda state: state["saved"]["state"] == "saved")
    assert saved(yard).read_text(encoding="utf-8") == text


def test_the_shop_s_dies_are_told_and_those_that_take_the_tube_are_offered(shown: Opened) -> None:
    told = shown.page.locator("#dies li").all_inner_texts()
    assert "hard 160: hard way, radius 160.0 mm, to 110°, for main" in told
    assert len(told) == 3
    for place, dies in (("parts/0/points/1/die", {"hard 160", "hard 200"}), ("parts/2/rows/0/die", {"square 100"})):
        offered = shown.page.locator(f'[data-at="{place}"] option').all_inner_texts()
        assert set(offered) == dies | {"chosen by the program"}


def test_every_key_that_a_job_may_hold_has_a_place_in_the_form(shown: Opened) -> None:
    form: dict[str, bool] = shown.page.evaluate(FORM)
    missing = set()

    def models(kind: Any) -> list[type[BaseModel]]:
        if isinstance(kind, type) and issubclass(kind, BaseModel):
            return [kind]
        return [one for inner in get_args(kind) for one in models(inner)]

    def walk(model: type[BaseModel], path: tuple[str, ...]) -> None:
        for name, field in model.model_fields.items():
            place = (*path, field.alias or name)
            many = any(f"{'.'.join(place)}.*" in key for key in form)
            if ".".join(place) not in form:
                missing.add(".".join(place))
            elif not form[".".join(place)]:
                for inner in models(field.annotation):
                    walk(inner, (*place, "*") if many else place)

    walk(Job, ())
    assert missing == {"loads"}  # typed in the job file


def test_every_value_of_a_job_is_shown_in_a_field(
    browser: Browser, truck: Running, shown: Opened, yard: Running
) -> None:
    with visited(browser, truck.address) as (tab,):
        for page, served in ((tab, truck), (shown, yard)):
            fields = page.page.evaluate(
                """() => Object.fromEntries([...page.form.fields].map(([key, one]) =>
                    [key, one.input.type === 'checkbox' ? one.input.checked : one.input.value]))"""
            )
            written = served.state()["written"]
            for place in leaves(written):
                key = "/".join(map(str, place))
                bare = re.sub(r"(/points/[0-9]+)/([0-9]+)$", r"\1/at/\2", key)
                assert place[0] == "loads" or fields.get(key, fields.get(bare)) == at(written, key), key


def leaves(data: Any, place: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    if isinstance(data, dict | list):
        for key, value in data.items() if isinstance(data, dict) else enumerate(data):
            yield from leaves(value, (*place, key))
    else:
        yield place


TAPE = {"4 1/2": 4.5, '4-1/2"': 4.5, "3' 6\"": 42, "3' 6 1/2\"": 42.5, "114 mm": 114 / 25.4, "5.25": 5.25}
"""As builders write lengths, and inches (25.4 mm by the international definition of 1959)."""


def test_lengths_are_typed_as_a_tape_is_read(browser: Browser, cart: Running) -> None:
    with visited(browser, cart.address) as (tab,):
        settled(tab, "page.three.changed > 0")
        tab.page.evaluate(UNFOLD)
        field = tab.page.locator('[data-at="keep_clear/0/gap"]')
        for typed, inches in TAPE.items():
            field.press("Control+a")
            field.press_sequentially(typed)
            settled(tab, f"page.store.state.shapes[0].needs.toFixed(6) === '{inches:.6f}'")
            assert cart.state()["written"]["keep_clear"][0]["gap"] == typed
            assert field.input_value() == typed
            assert field.get_attribute("aria-invalid") is None
        undone = tab.page.evaluate("page.store.state.rev") + 1
        tab.page.get_by_role("button", name="Undo", exact=True).click()  # one turn at a field is one step
        settled(tab, f"page.store.state.rev === {undone} && page.store.state.written.keep_clear[0].gap === '1'")


def finger(shown: Opened, *spots: tuple[float, float]) -> None:
    devices = shown.page.context.new_cdp_session(shown.page)
    for i, (x, y) in enumerate(spots):
        kind = "touchStart" if i == 0 else "touchMove"
        devices.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": [{"x": x, "y": y}]})
    devices.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})


@pytest.mark.parametrize("touched", [True, False])
def test_a_point_follows_finger_and_mouse_in_both_views_to_whole_millimetres(
    browser: Browser, yard: Running, touched: bool
) -> None:
    before = ["1500", "400", "620"]
    with visited(browser, yard.address, **(PHONE if touched else DESKTOP)) as (tab,):
        settled(tab, "page.three.changed > 0")
        for view, axes in (("side", (0, 2)), ("plan", (0, 1))):
            rev = yard.state()["rev"]
            scale = dragged(tab, view, touched)
            settled(tab, f"page.store.state.rev > {rev} && !document.querySelector('.handle.held')")
            now = yard.state()["written"]["parts"][0]["points"][2]["at"]
            for axis, pixels in zip(axes, (11, 13), strict=True):
                assert re.fullmatch("[0-9]+", now[axis])
                assert float(now[axis]) - float(before[axis]) == pytest.approx(pixels * scale, abs=0.6 + 0.1 * scale)
            assert [now[axis] for axis in {0, 1, 2} - {*axes}] == [before[axis] for axis in {0, 1, 2} - {*axes}]
            tab.page.get_by_role("button", name="Undo", exact=True).click()
            settled(tab, "page.store.state.written.parts[0].points[2].at[0] === '1500'")
            assert yard.state()["written"]["parts"][0]["points"][2]["at"] == before


def dragged(shown: Opened, view: str, touched: bool) -> float:
    """Take the third point 11 pixels right and 13 up; millimetres to a pixel."""
    handle = shown.page.locator(f"#{view} .handle").nth(2)
    handle.scroll_into_view_if_needed()
    box = handle.locator("rect").bounding_box()
    assert box is not None
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    scale = float(shown.page.evaluate(f"1 / document.querySelector('#{view} svg').getScreenCTM().a"))
    if touched:
        finger(shown, (x, y), (x + 5, y - 7), (x + 11, y - 13))
    else:
        shown.page.mouse.move(x, y)
        shown.page.mouse.down()
        shown.page.mouse.move(x + 11, y - 13, steps=4)
        shown.page.mouse.up()
    return scale


def test_letters_and_handles_keep_their_size_in_a_view_as_tall_as_may_be(browser: Browser, yard: Running) -> None:
    with visited(browser, yard.address, **STEEP) as (tab,):
        settled(tab, "page.three.changed > 0")
        for view in ("side", "plan"):
            seen = tab.page.evaluate(
                """view => {
                    const svg = document.querySelector(`#${view} svg`), scale = svg.getScreenCTM().a;
                    const wide = svg.getBoundingClientRect().width;
                    return [parseFloat(svg.style.fontSize) * scale, svg.viewBox.baseVal.width * scale / wide,
                        Number(svg.querySelector('.handle rect').getAttribute('width')) * scale];
                }""",
                view,
            )
            assert seen[0] == pytest.approx(12, abs=0.3)
            assert seen[1] < 0.9  # there is room at its sides
            assert seen[2] == pytest.approx(9, abs=0.3)
