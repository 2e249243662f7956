"""Beside the machine: the card is always of the part that is chosen, and of the job as it stands."""

import time
from pathlib import Path
from typing import Any

import pytest
from browser import PHONE, Opened, visited
from live import SHOP, Running, demo_job, running, small_job
from playwright.sync_api import Browser, Route

from exporters.sheets.bend_sheet import bend_sheets
from railmodel.frame import build_frame
from railmodel.job.reader import read_job

CARD = "document.getElementById('card').textContent"


@pytest.fixture
def shown_part(browser: Browser, cart: Running) -> Any:
    with visited(browser, f"{cart.address}bend", **PHONE) as (shown,):
        shown.until(f"{CARD}.includes('Bend 1 of 2')")
        yield shown


def chosen(shown: Opened) -> str:
    label: str = shown.page.locator("#which").evaluate("one => one.selectedOptions[0]?.text ?? ''")
    return label


def change(served: Running, op: dict[str, Any]) -> None:
    assert served.http.post("api/edit", json={"rev": served.state()["rev"], "op": op}).status_code == 200


def test_while_another_part_is_asked_for_nothing_of_the_first_one_can_be_followed(shown_part: Opened) -> None:
    shown = shown_part

    def late(route: Route) -> None:
        time.sleep(0.8)
        route.continue_()

    shown.page.evaluate("localStorage.clear()")
    shown.page.locator("#which").select_option(label="rail left")
    shown.until(f"{CARD}.includes('Bend 1 of 2')")
    shown.page.locator("#next").tap()
    shown.until("document.documentElement.dataset.bend === '1'")
    shown.page.locator("#which").select_option(label="rail right")
    shown.until(f"{CARD}.includes('Bend 1 of 2')")
    shown.page.route("**/api/rehearsal*", late)
    shown.page.locator("#which").select_option(label="rail left")
    assert "Bend" not in shown.page.locator("#card").inner_text()
    assert shown.page.locator("#card").inner_text() == "Being worked out …"
    assert shown.page.locator("#dots li").count() == 0
    assert shown.page.locator("#next").is_disabled()
    shown.until(f"{CARD}.includes('Bend 2 of 2')")  # one bend was made of this one, and that is not forgotten
    assert shown.said == []


def test_the_part_that_was_chosen_is_shown_again(shown_part: Opened) -> None:
    shown = shown_part
    shown.page.locator("#which").select_option(label="rail left")
    shown.until(f"{CARD}.includes('Bend 1 of 2')")
    shown.page.locator("#next").tap()
    shown.page.reload()
    shown.ready().until(f"{CARD}.includes('Bend 2 of 2')")
    assert chosen(shown) == "rail left"
    shown.page.goto(shown.page.url.split("?")[0])  # as the job's page leads there
    shown.ready().until(f"{CARD}.includes('Bend 2 of 2')")
    assert chosen(shown) == "rail left"


def test_a_change_of_the_job_takes_nobody_to_another_part(browser: Browser, tmp_path: Path) -> None:
    with (
        running(small_job(tmp_path)) as served,
        visited(browser, f"{served.address}bend?part=rail&hand=left", **PHONE) as (shown,),
    ):
        shown.until(f"{CARD}.includes('Bend 1 of 2')")
        bend = {"at": [20, 0, 20], "die": "hard 7"}
        cap = {"name": "cap", "tube": "main", "points": [[0, 0, 20], bend, [40, 0, 30]]}
        change(served, {"op": "insert", "at": ["parts"], "index": 0, "value": cap})
        shown.until("document.querySelectorAll('#which option').length === 3")
        assert chosen(shown) == "rail left"
        change(served, {"op": "rename", "what": "part", "from": "rail", "to": "long rail"})
        shown.until(f"{CARD}.includes('is not in this job any more')")
        assert chosen(shown) == ""
        assert shown.page.locator("#next").is_disabled()
        shown.page.locator("#which").select_option(label="long rail left")
        shown.until(f"{CARD}.includes('Bend 1 of 2')")
        assert shown.said == []


def test_another_die_is_called_for_where_the_bend_sheet_calls_for_it(browser: Browser, tmp_path: Path) -> None:
    path = demo_job(tmp_path, "hay_rack/hay_rack.yaml")
    frame = build_frame(read_job(path))
    sheet = bend_sheets(frame)
    steps = next(page["steps"] for page in sheet["pages"] if page["part"] == "ladder stay")
    assert [step["change"] for step in steps] == ["", "Change to die easy 5.", "Change to die hard 10."]
    with running(path) as served, visited(browser, f"{served.address}bend?part=ladder%20stay&hand=single") as (shown,):
        for number, step in enumerate(steps, 1):
            shown.until(f"{CARD}.includes('Bend {number} of 3')")
            called = shown.page.locator("#card .change").all_inner_texts()
            assert called == ([step["change"]] if step["change"] else [])
            assert "Marks count from the leading cut end." in shown.page.locator("#card").inner_text()
            shown.page.locator("#next").click()
            shown.page.wait_for_timeout(450)  # the next tap comes no sooner than a person's
        assert shown.said == []


@pytest.mark.parametrize(("step", "places"), [("0.25", 2), ("0.05", 2), ("0.5", 1), ("0.01", 2), ("1", 1)])
def test_a_set_angle_has_the_digits_of_the_bend_sheet(
    browser: Browser, tmp_path: Path, step: str, places: int
) -> None:
    path = small_job(tmp_path)
    finer = SHOP.replace("centreline_height: 38", f"centreline_height: 38, set_angle_step: {step}")
    (tmp_path / "shop.yaml").write_text(finer, encoding="utf-8")
    sheet = bend_sheets(build_frame(read_job(path)))
    printed = sheet["pages"][0]["steps"][0]["set"]
    assert len(printed.split(".")[1]) == places
    with running(path) as served, visited(browser, f"{served.address}bend", **PHONE) as (shown,):
        shown.until(f"{CARD}.includes('Set angle')")
        assert f"{printed}°" in shown.page.locator("#card dd").all_inner_texts()
        shown.page.goto(f"{served.address}#bending")
        shown.ready().until("document.documentElement.dataset.rehearsed === 'rail right front 0'")
        shown.page.get_by_role("button", name="bend 1").click()
        assert f"{printed}°" in shown.page.locator("#step-now dd").all_inner_texts()


def test_where_a_die_has_its_marks_elsewhere_the_mark_at_the_gauge_is_told(browser: Browser, tmp_path: Path) -> None:
    path = small_job(tmp_path)
    (tmp_path / "shop.yaml").write_text(
        SHOP.replace("max_angle: 110}", "max_angle: 110, mark_offset: 1/4}"), encoding="utf-8"
    )
    with running(path) as served, visited(browser, f"{served.address}bend", **PHONE) as (shown,):
        shown.until(f"{CARD}.includes('Mark at')")
        order = served.until(lambda state: state["plan"]["answer"])["plan"]["answer"]["parts"][0]["steps"][0]
        assert order["mark_at_gauge"] == pytest.approx(order["mark"] + 0.25)
        said = dict(
            zip(*(shown.page.locator(f"#card {tag}").all_inner_texts() for tag in ("dt", "dd")), strict=True)
        )
        assert f"{order['mark']:.3f} in" in said["Mark at"]
        assert f"{order['mark_at_gauge']:.3f} in" in said["Mark at the gauge"]
        shown.page.goto(f"{served.address}#bending")
        shown.ready().until("document.documentElement.dataset.rehearsed === 'rail right front 0'")
        shown.page.get_by_role("button", name="bend 1").click()
        assert f"{order['mark_at_gauge']:.3f} in" in shown.page.locator("#step-now").inner_text()


def test_the_stock_is_told_before_the_first_bend_and_what_is_cut_off_after_the_last(
    browser: Browser, tmp_path: Path
) -> None:
    path = small_job(tmp_path)
    path.write_text(path.read_text(encoding="utf-8").replace("- [90, 15, 24]", "- [57, 15, 24]"), encoding="utf-8")
    sheet = bend_sheets(build_frame(read_job(path)))["pages"][0]
    number, tape = sheet["cut"]
    trim = sheet["trims"]
    assert trim.endswith("at the tail")
    with running(path) as served, visited(browser, f"{served.address}bend", **PHONE) as (shown,):
        shown.until(f"{CARD}.includes('Bend 1 of 2')")
        said = shown.page.locator("#card dd").all_inner_texts()
        assert f"{tape} {number} in" in said
        assert "Cut off" not in shown.page.locator("#card").inner_text()
        for _ in range(2):
            shown.page.locator("#next").click()
            shown.page.wait_for_timeout(450)
        shown.until(f"{CARD}.includes('All bends made')")
        assert "Cut length" not in shown.page.locator("#card").inner_text()
        numbers = trim.split(": ")[1].split(" (")[0]
        assert f"{numbers} in at the tail" in shown.page.locator("#card .change").inner_text()
        assert shown.said == []
