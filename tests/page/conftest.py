"""One browser and one page of the demo truck for all tests of pages."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from browser import launch, node_modules
from commands import HAULER
from live import Running, demo_job, running, small_job
from playwright.sync_api import Browser, sync_playwright

from exporters.approval import write_approval
from railmodel.app.answers import check_answer
from railmodel.checks import run_checks
from railmodel.frame import Frame, build_frame
from railmodel.job.reader import read_job


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    with sync_playwright() as playwright:
        started = launch(playwright)
        yield started
        started.close()


@pytest.fixture(scope="session")
def modules(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The pinned packages of the viewer: the bundler, the 3D library, the accessibility checker."""
    return node_modules(tmp_path_factory.mktemp("viewer"))


@pytest.fixture(scope="session")
def axe(modules: Path) -> str:
    """axe-core, the accessibility rules, as a script."""
    return (modules / "axe-core" / "axe.min.js").read_text(encoding="utf-8")


@pytest.fixture(scope="session")
def hauler() -> Frame:
    return build_frame(read_job(HAULER))


@pytest.fixture(scope="session")
def hauler_page(hauler: Frame, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("page") / "hauler.html"
    write_approval(hauler, check_answer(hauler, run_checks(hauler)), path)
    return path


@pytest.fixture(scope="session")
def cart(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Running]:
    """The live page of the small job, to be edited; every test leaves the job as it was."""
    with running(small_job(tmp_path_factory.mktemp("cart"))) as served:
        yield served


@pytest.fixture(scope="session")
def truck(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Running]:
    """The live page of the demo truck, to be looked at, with everything worked out."""
    with running(demo_job(tmp_path_factory.mktemp("truck"))) as served:
        served.until(lambda state: state["checks"]["stage"] == "done" and state["checks"]["rev"] == state["rev"])
        yield served
