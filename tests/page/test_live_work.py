"""Longer work on the live page: solving, writing files, the file on the disk, and starting from nothing."""

import time
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from browser import PHONE, Opened, visited
from live import JOB, Running, running, small_job
from playwright.sync_api import Browser

from railmodel.job.starter import STARTER

TOO_FAR = JOB.replace("at: [10, 15, 16 1/2]", "at: [10, 15, 15 1/4]")
"""The hanger hangs 3 1/4 in below the rail, 1/4 more than it may; the rail's free bend can come down."""


@pytest.fixture(scope="module")
def loose(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Running]:
    path = small_job(tmp_path_factory.mktemp("loose"))
    path.write_text(TOO_FAR, encoding="utf-8")
    with running(path) as served:
        served.path = path  # type: ignore[attr-defined]
        yield served


def press(shown: Opened, name: str) -> None:
    shown.page.get_by_role("button", name=name, exact=True).click()


def saved(served: Running) -> None:
    served.until(lambda state: state["saved"]["state"] == "saved")


def inches(text: str) -> float:
    """A length as a person reads it: 18 3/4 is 18.75."""
    return float(sum(Fraction(piece) for piece in text.split()))


def solved(shown: Opened) -> None:
    press(shown, "Solve")
    shown.until("page.store.state.solve !== null && !page.three.busy", 60)


def test_the_solver_is_watched_and_its_shape_looked_at_before_it_is_left_or_taken(
    browser: Browser, loose: Running
) -> None:
    with visited(browser, f"{loose.address}#solve") as (shown,):
        before = loose.state()["written"]
        shown.page.evaluate(
            "() => { window.heard = []; page.store.on('work', work => heard.push([work.kind, work.state, work.says])) }"
        )
        solved(shown)
        shown.until("page.three.view.parts.ghosts.children.length > 0")
        assert shown.page.locator("#solve-result").get_by_text("✓ Every wish is met.").is_visible()
        assert "● moved" in shown.page.locator("#solve-result").inner_text()
        told = shown.page.locator("#solve-result").inner_text()
        values = shown.page.evaluate("page.store.state.solve.answer.values")
        height = next(one for one in values if one["changed"])
        written, taken = told.split("into the job file: ")[1].removesuffix(".").split(" → ")
        assert written == "20"  # as it stands in the job file
        assert inches(taken) == pytest.approx(height["after"])
        assert {kind for kind, _, _ in shown.page.evaluate("heard")} == {"solve"}
        assert shown.page.locator("#solve-says").inner_text() != ""
        heights = shown.page.evaluate(
            """() => ['ghosts', 'group'].map(group => {
                const mesh = page.three.view.parts[group].children.find(one => one.name.endsWith('rail right'));
                const { array } = mesh.geometry.attributes.position;
                return array.reduce((sum, value, i) => (i % 3 === 2 ? sum + value : sum), 0) / (array.length / 3);
            })"""
        )
        assert heights[0] < heights[1] - 1  # the shape of the solver lies lower than the job as it is
        overlay = shown.page.get_by_role("checkbox", name="Show it over the job as it is")
        overlay.uncheck()
        assert shown.page.evaluate("page.three.view.parts.ghosts.children.length") == 0
        overlay.check()
        press(shown, "Leave it")
        shown.until("page.store.state.solve === null && page.three.view.parts.ghosts.children.length === 0")
        shown.page.wait_for_timeout(300)  # what else the server has to say of it
        assert shown.page.locator("#solve-says").inner_text() == "Left as it was."
        shown.page.reload()
        shown.ready()
        assert shown.page.locator("#solve-says").inner_text() == ""  # no wish is met by the job as it stands
        assert loose.state()["written"] == before
        solved(shown)
        press(shown, "Take this shape")
        shown.until("page.store.state.written.parts[0].points[1].at[2] !== '20'")
        assert shown.page.evaluate("page.three.view.parts.ghosts.children.length") == 0
        assert loose.state()["quick"]["findings"] == [] or all(
            finding["level"] != "stop" for finding in loose.state()["quick"]["findings"]
        )
        press(shown, "Undo")
        shown.until("page.store.state.written.parts[0].points[1].at[2] === '20'")
        assert loose.state()["written"] == before


def test_files_that_are_chosen_are_written_and_can_be_fetched(browser: Browser, loose: Running, tmp_path: Path) -> None:
    with visited(browser, f"{loose.address}#files") as (shown,):
        shown.until("document.querySelectorAll('.kinds input').length > 3")
        for box in shown.page.locator(".kinds input").all():
            box.set_checked(box.get_attribute("value") == "table")
        shown.page.evaluate("() => { window.heard = []; page.store.on('work', work => heard.push(work.done)) }")
        press(shown, "Write the files")
        shown.until("page.store.state.files.length > 0 && !page.store.state.work?.state.startsWith('run')", 60)
        links = shown.page.locator("#file-list a")
        links.first.wait_for()
        names = links.all_inner_texts()
        assert names
        assert all("table" in name for name in names)
        assert shown.page.evaluate("heard.length") >= 1
        with shown.page.expect_download() as fetched:
            links.first.click()
        fetched.value.save_as(tmp_path / "table")
        reply = loose.http.get(str(links.first.get_attribute("href")))
        assert (tmp_path / "table").read_bytes() == reply.content
        assert len(reply.content) > 50
        op = {"op": "set", "at": ["revision"], "value": "B"}
        assert loose.http.post("api/edit", json={"rev": loose.state()["rev"], "op": op}).status_code == 200
        shown.page.get_by_text("The job was changed since these were written").wait_for()


def test_a_file_changed_outside_is_told_and_both_are_offered(browser: Browser, loose: Running) -> None:
    path: Path = loose.path  # type: ignore[attr-defined]
    saved(loose)
    with visited(browser, loose.address) as (shown,):
        text = path.read_text(encoding="utf-8")
        for keep, left in (("Take what is in the file", "90 1/2"), ("Keep what is here", "90 1/2")):
            other = "90 1/2" if keep.startswith("Take") else "95"
            path.write_text(text.replace("[90, 15, 24]", f"[{other}, 15, 24]"), encoding="utf-8")
            shown.page.locator("#outside").wait_for()
            assert shown.page.locator("#saved").inner_text().startswith("!")
            line = f"+       - [{other}, 15, 24]"
            shown.until(f"document.querySelector('#outside .lines').textContent.includes('{line}')")
            assert path.read_text(encoding="utf-8").count(other) == 1
            if keep.startswith("Take"):  # written once more before anybody chose
                path.write_text(path.read_text(encoding="utf-8").replace("hanger", "front hanger"), encoding="utf-8")
                shown.until("document.querySelector('#outside .lines').textContent.includes('front hanger')")
            press(shown, keep)
            shown.until("document.getElementById('outside').hidden")
            saved(loose)
            assert loose.state()["written"]["parts"][0]["points"][3][0] == left
            end = time.monotonic() + 10
            while f"[{left}, 15, 24]" not in path.read_text(encoding="utf-8"):
                assert time.monotonic() < end
                time.sleep(0.05)
        assert "# the bend" in path.read_text(encoding="utf-8")


def test_the_state_of_the_file_is_said(browser: Browser, loose: Running) -> None:
    path: Path = loose.path  # type: ignore[attr-defined]
    with visited(browser, loose.address) as (shown,):
        shown.page.evaluate(
            """() => {
                window.states = [];
                new MutationObserver(() => states.push(document.getElementById('saved').dataset.state))
                    .observe(document.getElementById('saved'), { attributes: true });
            }"""
        )
        field = shown.page.locator('[data-at="tubes/main/wall"]')
        shown.page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true })")
        field.fill("1/4")
        shown.until("states.includes('waiting') && states[states.length - 1] === 'saved'")
        assert "wall: 1/4" in path.read_text(encoding="utf-8")
        field.fill("3/16")
        shown.until("page.store.state.written.tubes.main.wall === '3/16'")
        saved(loose)


def test_from_nothing_a_starter_a_demo_and_recent_jobs_are_offered(browser: Browser, axe: str, tmp_path: Path) -> None:
    folder = tmp_path / "jobs"
    folder.mkdir()
    with running(None, cwd=folder) as served, visited(browser, served.address, **PHONE) as (shown,):
        assert shown.page.evaluate("document.documentElement.scrollWidth") <= PHONE["viewport"]["width"]
        shown.page.evaluate(axe)
        assert [one["id"] for one in shown.page.evaluate("axe.run()")["violations"]] == []
        assert shown.page.get_by_role("heading", name="Which job?").is_visible()
        demos: Any = shown.page.locator("#demos .job")
        demos.first.wait_for()
        shown.page.locator("#recent").get_by_text("None yet.").wait_for()
        assert "Hillside hauler" in demos.all_inner_texts()
        shown.page.get_by_label("File").fill("../elsewhere.yaml")
        press(shown, "Start")
        shown.until("document.getElementById('says').textContent.startsWith('✗')")
        assert not (tmp_path / "elsewhere.yaml").exists()
        shown.page.get_by_label("File").fill("meadow.yaml")
        press(shown, "Start")
        shown.page.locator("#name").get_by_text("Meadow cart").wait_for()
        shown.ready()
        assert (folder / "meadow.yaml").read_text(encoding="utf-8") == STARTER
        assert [line for line in shown.said if "422" not in line] == []
    with running(None, cwd=folder) as served, visited(browser, served.address) as (shown,):
        shown.page.locator("#recent .job").first.wait_for()
        assert shown.page.locator("#recent .job").all_inner_texts() == ["meadow"]
        shown.page.locator("#recent .job").click()
        shown.page.locator("#name").get_by_text("Meadow cart").wait_for()


def test_another_machine_types_the_code_and_may_only_look(browser: Browser, axe: str, tmp_path: Path) -> None:
    with running(small_job(tmp_path), "--lan") as served:
        words = served.lines[1].split()
        port, code = words[words.index("code") - 1].rsplit(":", 1)[1].strip("/"), words[-1]
        with visited(browser, f"http://127.0.0.1:{port}/") as (shown,):
            assert shown.page.get_by_role("heading", name="The code, please").is_visible()
            shown.page.evaluate(axe)
            assert [one["id"] for one in shown.page.evaluate("axe.run()")["violations"]] == []
            shown.page.get_by_label("Code").fill("000000" if code != "000000" else "000001")
            press(shown, "Open")
            shown.until("document.getElementById('says').textContent.startsWith('✗')")
            shown.page.get_by_label("Code").fill(code)
            shown.page.get_by_label("Code").press("Enter")
            shown.page.locator("#readonly").wait_for()
            shown.ready().until("page.three.changed > 0")
            assert shown.page.locator("#form input:enabled, #form select:enabled, #form button").count() == 0
            assert shown.page.locator(".handle").count() == 0
            shown.page.get_by_role("link", name="Next bend").first.click()
            shown.ready()
            assert shown.page.get_by_role("heading", name="Next bend").is_visible()
