"""The approval page as a file: complete, self-contained, accessible, whatever it is opened with."""

import re
from base64 import b64encode
from hashlib import sha256
from pathlib import Path

import pytest
from browser import DESKTOP, PHONE, Opened, opened
from playwright.sync_api import Browser

from railmodel.fingerprint import fingerprint, short
from railmodel.frame import Frame

NO_WEBGL = """
const plain = HTMLCanvasElement.prototype.getContext;
HTMLCanvasElement.prototype.getContext = function (kind, ...rest) {
  return /webgl/.test(kind) ? null : plain.call(this, kind, ...rest);
};
"""
WINDOWS = {
    f"{name}-{scheme}": {**window, "color_scheme": scheme}
    for name, window in (("phone", PHONE), ("desktop", DESKTOP))
    for scheme in ("light", "dark")
}  # fmt: skip


def complete(shown: Opened, frame: Frame) -> None:
    """All that must stand in the page with and without scripts."""
    text = shown.page.locator("body").inner_text()
    for words in (frame.job.job, frame.job.customer, frame.job.datum, short(fingerprint(frame))):
        assert str(words) in text
    assert "no structural certification" in text
    assert shown.page.locator("figure svg").count() == 3
    bends = [part.line.rows.count for part in frame.parts if part.hand != "left" and part.line.rows.count]
    tables = shown.page.locator("section[aria-labelledby=bends] table")
    assert [tables.nth(i).locator("tbody tr").count() - 1 for i in range(tables.count())] == bends
    assert shown.page.locator("section[aria-labelledby=fit] tbody tr").count() == len(frame.job.fit_points)
    assert shown.page.locator("section[aria-labelledby=joints] tbody tr").count() == len(frame.job.joints)
    shapes = sum(2 if shape.mirror else 1 for shape in frame.job.keep_clear)
    assert shown.page.locator("section[aria-labelledby=gaps] tbody tr").count() == shapes
    quote = f"approved: {frame.job.job}, revision {frame.job.revision}, fingerprint {short(fingerprint(frame))}"
    assert shown.page.locator("#quote").inner_text() == quote


def test_it_is_one_file_under_1_mb_that_names_nothing_outside_itself(hauler_page: Path) -> None:
    text = hauler_page.read_text(encoding="utf-8")
    assert hauler_page.stat().st_size < 1_000_000
    page = re.sub(r"<script.*?</script>", "", text, flags=re.DOTALL)
    assert not re.search(r"\b(src|href)=(?!\"#)", page)
    assert "http" not in page.replace('http-equiv="Content-Security-Policy"', "")
    assert "url(" not in page
    assert "@import" not in page


def test_its_policy_allows_its_own_scripts_and_style_by_hash_and_nothing_else(hauler_page: Path) -> None:
    """Content Security Policy Level 3 (W3C): a hash is that of the element's text, SHA-256 in base64."""
    text = hauler_page.read_text(encoding="utf-8")
    (policy,) = re.findall(r'http-equiv="Content-Security-Policy" content="([^"]*)"', text)
    rules = dict(rule.split(" ", 1) for rule in policy.replace("&#39;", "'").split("; "))

    def hashes(tag: str) -> set[str]:
        inside = re.findall(rf"<{tag}>(.*?)</{tag}>", text, flags=re.DOTALL)
        return {f"'sha256-{b64encode(sha256(one.encode()).digest()).decode()}'" for one in inside}

    assert rules["default-src"] == "'none'"
    assert set(rules["script-src"].split()) == hashes("script")
    assert set(rules["style-src"].split()) == hashes("style")
    assert len(hashes("script")) == 2
    assert set(rules) == {"default-src", "script-src", "style-src", "base-uri", "form-action"}


@pytest.mark.parametrize("window", WINDOWS)
def test_it_asks_for_nothing_says_nothing_and_never_scrolls_sideways(
    browser: Browser, hauler_page: Path, hauler: Frame, window: str
) -> None:
    with opened(browser, hauler_page, **WINDOWS[window]) as shown:
        shown.ready()
        complete(shown, hauler)
        assert shown.requests == [hauler_page.as_uri()]
        assert shown.said == []
        wide = WINDOWS[window]["viewport"]["width"]
        assert shown.page.evaluate("document.documentElement.scrollWidth") <= wide
        assert shown.page.evaluate("innerWidth") == wide
        assert shown.page.locator("#turn canvas").is_visible()
        assert not shown.page.locator("#picture").is_visible()
        assert "Drag to turn" in shown.page.locator("#hint").inner_text()


@pytest.mark.parametrize("window", WINDOWS)
def test_it_breaks_no_rule_of_accessibility(browser: Browser, hauler_page: Path, axe: str, window: str) -> None:
    """All rules of axe-core, which cover what can be tested by machine of WCAG 2.2 and good practice."""
    with opened(browser, hauler_page, **WINDOWS[window]) as shown:
        shown.ready()
        shown.page.evaluate(axe)
        found = shown.page.evaluate("axe.run()")
        assert [(one["id"], [node["html"][:200] for node in one["nodes"]]) for one in found["violations"]] == []
        assert len(found["passes"]) > 20


@pytest.mark.parametrize("kind", ["without scripts", "without 3D", "printed"])
def test_the_picture_stays_where_nothing_can_be_turned(
    browser: Browser, hauler_page: Path, hauler: Frame, kind: str
) -> None:
    window = {**PHONE, "java_script_enabled": kind != "without scripts"}
    with opened(browser, hauler_page, before=NO_WEBGL if kind == "without 3D" else None, **window) as shown:
        if kind == "printed":
            shown.ready().page.emulate_media(media="print")
        complete(shown, hauler)
        assert shown.page.locator("#picture").is_visible()
        assert shown.page.locator("#picture svg").bounding_box()["height"] > 100
        assert not shown.page.locator("#turn").is_visible()
        assert not shown.page.locator("#hint").is_visible()
        assert "Drag to turn" not in shown.page.locator("body").inner_text()
        assert shown.requests == [hauler_page.as_uri()]
        assert [line for line in shown.said if not line.startswith("error: THREE.WebGLRenderer:")] == []


def test_the_picture_comes_back_when_3d_is_lost(browser: Browser, hauler_page: Path) -> None:
    with opened(browser, hauler_page) as shown:
        shown.ready()
        shown.page.evaluate("frameView.renderer.getContext().getExtension('WEBGL_lose_context').loseContext()")
        shown.page.locator("#picture").wait_for(state="visible")
        assert not shown.page.locator("#turn").is_visible()
        assert not shown.page.locator("#hint").is_visible()


def test_whatever_got_into_it_could_load_or_run_nothing(browser: Browser, hauler_page: Path) -> None:
    with opened(browser, hauler_page) as shown:
        shown.ready()
        shown.page.evaluate(
            """() => {
                window.broken = [];
                document.addEventListener('securitypolicyviolation', event => broken.push(event.effectiveDirective));
                const script = document.createElement('script');
                script.textContent = 'window.ran = true';
                const picture = document.createElement('img');
                picture.src = 'http://127.0.0.1:9/x.png';
                const styled = document.createElement('div');
                styled.setAttribute('style', 'background: url(http://127.0.0.1:9/y.png)');
                document.body.append(script, picture, styled);
                return fetch('http://127.0.0.1:9/z').catch(() => 0);
            }"""
        )
        shown.drawn()
        broken = shown.page.evaluate("broken")
        assert {"script-src-elem", "img-src", "connect-src", "style-src-attr"} <= set(broken)
        assert shown.page.evaluate("window.ran") is None
        assert set(shown.requests) == {hauler_page.as_uri(), *shown.refused}


def test_the_licence_of_the_3d_library_stands_in_full(browser: Browser, hauler_page: Path, modules: Path) -> None:
    licence = (modules / "three" / "LICENSE").read_text(encoding="utf-8")
    with opened(browser, hauler_page) as shown:
        assert shown.page.locator("details pre").text_content() == licence
