"""How soon the approval page of the hauler is ready, from its file to the first drawn frame of the view to turn.

This one is in seconds: a person waits for it. The least of several openings counts, on this machine's software 3D,
which is slower than any phone's.
"""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from browser import DESKTOP, PHONE, launch, opened
from commands import HAULER
from playwright.sync_api import sync_playwright

from exporters.approval import write_approval
from railmodel.app.answers import check_answer
from railmodel.checks import run_checks
from railmodel.frame import build_frame
from railmodel.job.reader import read_job

LIMIT = 1000.0
"""Milliseconds."""

LEAST, MOST = 5, 40
"""Openings: more than the least only where other work holds the machine up."""


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Path:
    frame = build_frame(read_job(HAULER))
    path = tmp_path_factory.mktemp("page") / "hauler.html"
    write_approval(frame, check_answer(frame, run_checks(frame)), path)
    return path


@pytest.mark.parametrize("window", [PHONE, DESKTOP], ids=["phone", "desktop"])
def test_the_page_is_ready_within_a_second(
    page: Path, window: dict[str, Any], record_property: Callable[[str, object], None]
) -> None:
    found: list[float] = []
    with sync_playwright() as playwright:
        browser = launch(playwright)
        while len(found) < LEAST or (min(found) >= LIMIT and len(found) < MOST):
            with opened(browser, page, **window) as shown:
                shown.ready()
                found.append(float(shown.page.evaluate("document.documentElement.dataset.ready")))
        browser.close()
    record_property("ms until the page is ready", min(found))
    record_property("kB of the page", page.stat().st_size / 1000)
    assert min(found) < LIMIT
