"""Names that look like markup, formulas or right-to-left text stand in the page as text, and nothing else happens."""

import json
from collections.abc import Iterator
from pathlib import Path

import pytest
from browser import PHONE, Opened, opened
from commands import CANNOT_BEND, TRAILER
from playwright.sync_api import Browser

from exporters.approval import write_approval
from exporters.manifest import write_index
from railmodel.app.answers import check_answer
from railmodel.checks import run_checks
from railmodel.frame import Frame, build_frame
from railmodel.job.reader import read_job

HEBREW = "\u05e1\u05d5\u05e8\u05d2"  # the reader refuses marks and overrides of direction; letters that run left pass
NAMES = {
    "job": "</title><script>window.ran=1</script>",
    "revision": "\"'><img src=x onerror=window.ran=2>",
    "customer": "Smith & Sons <b>Ltd</b> {{ 7*7 }} {% raw %}",
    "datum": f"{HEBREW} 12 front axle & 'centre'",
    "note": "first line\nsecond </script><svg onload=window.ran=3> <!-- <script>",
    "pair": f"{HEBREW} <i>&amp; 34",
    "single": "=HYPERLINK(\"x\")" + "w" * 180,
    "fit": f"{HEBREW} mount",
    "plate": "<img src=x onerror=window.ran=5>",
    "shape": "</script><script>window.ran=4</script>",
}


def written(folder: Path) -> Frame:
    say = {key: json.dumps(value) for key, value in NAMES.items()}
    (folder / "job.yaml").write_text(
        f"""\
job: {say["job"]}
revision: {say["revision"]}
customer: {say["customer"]}
datum: {say["datum"]}
note: {say["note"]}
units: mm
tubes: {{"<u>main": {{height: 80, width: 40, wall: 3}}}}
parts:
  - name: {say["pair"]}
    tube: <u>main
    hand: pair
    points: [[0, 400, 0], {{at: [900, 400, 0], radius: 200}}, [1800, 400, 300]]
  - name: {say["single"]}
    tube: <u>main
    points: [[0, 0, 0], {{at: [900, 0, 0], radius: 20}}, [1800, 300, 300]]
joints:
  - between: [{{part: {say["pair"]}, hand: right, end: front}}, {{part: {say["pair"]}, hand: left, end: front}}]
    gap: 1
fit_points:
  - {{name: {say["fit"]}, at: [300, 400, 60], to: {{part: {say["pair"]}, face: top}}, gap: {{want: 90, within: 1}}}}
plates:
  - {{name: {say["plate"]}, thickness: 6, size: [90, 60], place: {{at: [0, 0, 500], normal: [0, 0, 1], up: [0, 1, 0]}}}}
keep_clear:
  - {{name: {say["shape"]}, shape: {{sphere: {{at: [400, 0, 0], diameter: 90}}}}, gap: 5}}
""",
        encoding="utf-8",
    )
    return build_frame(read_job(folder / "job.yaml"))


@pytest.fixture(scope="module")
def frame(tmp_path_factory: pytest.TempPathFactory) -> Frame:
    return written(tmp_path_factory.mktemp("hostile"))


@pytest.fixture(scope="module")
def page(frame: Frame, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("hostile_page") / "page.html"
    write_approval(frame, check_answer(frame, run_checks(frame)), path)
    return path


@pytest.fixture(params=[True, False], ids=["with scripts", "without"])
def shown(browser: Browser, page: Path, request: pytest.FixtureRequest) -> Iterator[Opened]:
    with opened(browser, page, **PHONE, java_script_enabled=request.param) as window:
        if request.param:
            window.ready()
        yield window


def test_names_stand_as_text_and_nothing_runs(shown: Opened, page: Path) -> None:
    text = shown.page.locator("body").text_content()
    assert text is not None
    for name in NAMES.values():
        assert name in text
    assert shown.page.title() == f"\u2068{NAMES['job']}\u2069, revision \u2068{NAMES['revision']}\u2069: for approval"
    assert shown.page.evaluate("window.ran") is None
    assert shown.page.locator("img, b, i, u, svg svg, [onload], [onerror]").count() == 0
    assert shown.page.locator("script").count() == 3  # the data, the viewer, what starts it
    assert shown.requests == [page.as_uri()]
    assert shown.said == []
    assert shown.page.evaluate("document.documentElement.scrollWidth") <= PHONE["viewport"]["width"]


def test_every_name_is_isolated_so_that_no_number_beside_it_turns_round(shown: Opened) -> None:
    """Unicode Standard Annex 9: what stands in an isolate (HTML: bdi) leaves the order of all else alone."""
    loose = shown.page.evaluate(
        """() => {
            const found = [], walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
            while (walk.nextNode()) {
                const node = walk.currentNode;
                if (node.parentElement.closest('script, bdi')) continue;
                if (/[\\u202a-\\u202e\\u2066-\\u2069\\u0590-\\u05ff]/.test(node.data)) found.push(node.data);
            }
            return found;
        }"""
    )
    assert loose == []
    isolated = shown.page.locator("bdi").all_text_contents()
    assert NAMES["pair"] in isolated
    assert NAMES["fit"] in isolated


def test_what_the_view_says_of_such_names_is_text_too(browser: Browser, page: Path, frame: Frame) -> None:
    with opened(browser, page) as shown:
        shown.ready()
        for words in frame.parts[0].label, frame.parts[-1].label:
            shown.page.evaluate("words => frameView.tell({ name: words })", words)
            assert shown.page.locator(".rv-status bdi").text_content() == words
        names = shown.page.evaluate("frameView.parts.group.children.map(mesh => mesh.userData.name)")
        assert names == [*(part.label for part in frame.parts), NAMES["plate"]]
        assert shown.page.evaluate("window.ran") is None


def test_the_index_of_such_a_job_holds_text_and_links_inside_the_folder(
    browser: Browser, frame: Frame, axe: str, tmp_path: Path
) -> None:
    files = [(Path("customer", "a_b.html"), f"page of {frame.parts[0].label}"), (Path("check.json"), "findings")]
    write_index(frame, tmp_path, files, ["cnc/x.step (solid): <b>too tight</b>"])
    with opened(browser, tmp_path / "index.html", **PHONE) as shown:
        text = shown.page.locator("body").text_content()
        assert text is not None
        assert NAMES["job"] in text
        assert "<b>too tight</b>" in text
        links = shown.page.locator("a").evaluate_all("all => all.map(one => one.getAttribute('href'))")
        assert links == ["customer/a_b.html", "check.json", "manifest.json"]
        assert shown.page.locator("b, img").count() == 0
        assert shown.requests == [(tmp_path / "index.html").as_uri()]
        assert shown.said == []
        assert shown.page.evaluate("document.documentElement.scrollWidth") <= PHONE["viewport"]["width"]
        shown.page.evaluate(axe)
        assert [one["id"] for one in shown.page.evaluate("axe.run()")["violations"]] == []


@pytest.mark.parametrize("job", [CANNOT_BEND, TRAILER], ids=lambda job: job.stem)
def test_jobs_that_stop_and_jobs_in_millimetres_make_a_page_too(
    browser: Browser, axe: str, job: Path, tmp_path: Path
) -> None:
    frame = build_frame(read_job(job))
    answer = check_answer(frame, run_checks(frame))
    path = tmp_path / "page.html"
    write_approval(frame, answer, path)
    with opened(browser, path, **PHONE) as shown:
        shown.ready()
        text = shown.page.locator("body").inner_text()
        assert ("Not ready for approval" in text) == (not answer["ok"])
        assert ("Nothing found stops this job." in text) == answer["ok"]
        stops = [finding for finding in answer["findings"] if finding["level"] == "stop"]
        assert all(f"Stop, {finding['rule']}:" in text for finding in stops)
        assert shown.said == []
        assert shown.page.evaluate("document.documentElement.scrollWidth") <= PHONE["viewport"]["width"]
        shown.page.evaluate(axe)
        assert [one["id"] for one in shown.page.evaluate("axe.run()")["violations"]] == []
        if job is TRAILER:
            assert shown.page.evaluate("frameView.parts.group.children.length") == len(frame.parts) + 3  # placed plates
            assert "coupling plate" in text
            assert text.count("not in the pictures") == 1
        if stops:
            marked = shown.page.evaluate("[...frameView.parts.marked.values()]")
            assert "stop" in marked


def test_a_job_in_which_nothing_makes_a_shape_still_has_a_page(browser: Browser, tmp_path: Path) -> None:
    (tmp_path / "job.yaml").write_text(
        "job: Nothing\nunits: mm\ntubes: {m: {height: 80, width: 40, wall: 3}}\n"
        "parts: [{name: rail, tube: m, points: [[0, 0, 0], [0, 0, 0]]}]\n"
    )
    frame = build_frame(read_job(tmp_path / "job.yaml"))
    assert frame.parts == ()
    path = tmp_path / "page.html"
    write_approval(frame, check_answer(frame, run_checks(frame)), path)
    with opened(browser, path) as shown:
        text = shown.page.locator("body").inner_text()
        assert "No part of this job makes a shape yet." in text
        assert "Not ready for approval: 1 finding stops this job." in text
        assert shown.said == []
