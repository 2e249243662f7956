"""The job's record on the page: newest first, of the job as it stands or of an older one, and noted with a name."""

from typing import Any

from browser import PHONE, visited
from live import Running, Z
from playwright.sync_api import Browser

SMALL: dict[str, Any] = {**PHONE, "device_scale_factor": 1, "color_scheme": "dark"}


def test_what_happened_is_noted_and_told_whether_it_is_of_the_job_as_it_stands(
    browser: Browser, cart: Running, axe: str
) -> None:
    with visited(browser, f"{cart.address}#record", **SMALL) as (shown,):
        page = shown.page
        shown.until("page.three.changed > 0").until("document.documentElement.dataset.recorded === '0'")
        assert page.get_by_text("Nothing is recorded yet.").is_visible()
        page.get_by_role("button", name="Note: sent").click()
        shown.until("!document.getElementById('record-by-why').hidden")
        assert "who it was is missing" in page.locator("#record-by-why").inner_text()
        page.get_by_label("Who").fill("the office")
        page.get_by_label("Note (may").fill("by post")
        page.get_by_role("button", name="Note: sent").click()
        shown.until("document.documentElement.dataset.recorded === '1'")
        page.get_by_label("Who").fill("the customer")
        page.get_by_role("button", name="Note: approved").click()
        shown.until("document.documentElement.dataset.recorded === '2'")
        lines = page.locator("#record-list li")
        assert lines.nth(0).inner_text().startswith("Approved by the customer")
        assert lines.nth(1).inner_text().startswith("Sent by the office")
        assert "by post" in lines.nth(1).inner_text()
        assert all("✓ the job as it stands" in one for one in lines.all_inner_texts())
        assert page.locator("#record-stands").inner_text() == "✓ The job stands as it was approved."
        op = {"op": "set", "at": Z, "value": "20 1/2"}
        assert cart.http.post("api/edit", json={"rev": cart.state()["rev"], "op": op}).status_code == 200
        shown.until("document.getElementById('record-stands').textContent.startsWith('✗')")
        assert all("○ an older state of the job" in one for one in lines.all_inner_texts())
        page.evaluate(axe)
        found = page.evaluate("async () => (await axe.run()).violations.map(one => one.id)")
        assert found == []
        assert page.evaluate("document.documentElement.scrollWidth") <= 412
        assert cart.http.post("api/undo", json={"rev": cart.state()["rev"]}).status_code == 200
        shown.until("document.getElementById('record-stands').textContent.startsWith('✓')")
        page.reload()
        shown.ready().until("document.documentElement.dataset.recorded === '2'")
