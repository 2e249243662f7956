"""A real browser without a screen or a network, and pages opened in it."""

import shutil
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from time import monotonic
from typing import Any

from commands import ROOT
from playwright.sync_api import Browser, BrowserContext, Page, Playwright

VIEWER = ROOT / "exporters" / "viewer"
FLAGS = (
    "--use-gl=angle", "--use-angle=swiftshader", "--enable-unsafe-swiftshader", "--no-sandbox",
    "--disable-dev-shm-usage", "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1",
)  # fmt: skip
PHONE: dict[str, Any] = {
    "viewport": {"width": 412, "height": 915}, "device_scale_factor": 2, "is_mobile": True, "has_touch": True,
}  # fmt: skip
DESKTOP: dict[str, Any] = {"viewport": {"width": 1280, "height": 900}}


def launch(playwright: Playwright) -> Browser:
    """Start the machine's Chromium with the network blocked, but for this machine itself."""
    found = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    assert found, "the page tests need Chromium; install it (Debian: apt-get install chromium)"
    return playwright.chromium.launch(executable_path=found, args=list(FLAGS))


def node_modules(folder: Path) -> Path:
    """What package-lock.json pins, installed into a folder without running anything of it."""
    npm = shutil.which("npm")
    assert npm, "the viewer's tests need npm; install Node.js with npm (Debian: apt-get install nodejs npm)"
    for name in ("package.json", "package-lock.json"):
        shutil.copy(VIEWER / name, folder)
    command = [npm, "ci", "--ignore-scripts", "--no-audit", "--no-fund", "--prefer-offline"]
    done = subprocess.run(command, cwd=folder, capture_output=True, text=True, timeout=300)
    assert done.returncode == 0, f"npm ci failed: {done.stdout}{done.stderr}"
    return folder / "node_modules"


@dataclass
class Opened:
    """A page with all that it asked for, what of that its own policy refused, and all that it said."""

    page: Page
    requests: list[str] = field(default_factory=list)
    said: list[str] = field(default_factory=list)
    refused: list[str] = field(default_factory=list)

    def ready(self) -> "Opened":
        """Wait until the view that can be turned has drawn."""
        return self.until("document.documentElement.dataset.ready !== undefined")

    def until(self, holds: str, seconds: float = 30.0) -> "Opened":
        """Wait until an expression is true; asked from outside, as the page's policy lets it evaluate no text."""
        end = monotonic() + seconds
        while not self.page.evaluate(holds):
            assert monotonic() < end, f"after {seconds:g} s still not: {holds}"
            self.page.wait_for_timeout(20)
        return self

    def drawn(self) -> None:
        """Wait until what was asked for is on the screen."""
        self.page.evaluate("() => new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done)))")

    @property
    def status(self) -> str:
        """What the view last said."""
        self.drawn()
        return self.page.locator(".rv-status").inner_text()


@contextmanager
def opened(browser: Browser, path: Path, *, before: str | None = None, **kind: Any) -> Iterator[Opened]:
    """Open a file as a mail program would hand it over, offline.

    Args:
        browser: the browser.
        path: the file.
        before: a script that runs before any of the page's.
        kind: the kind of window, such as `PHONE` and color_scheme="dark".
    """
    with _window(browser, before, offline=True, **kind) as context:
        yield _shown(context, path.as_uri())


@contextmanager
def visited(browser: Browser, *addresses: str, before: str | None = None, **kind: Any) -> Iterator[list[Opened]]:
    """Open addresses of this machine's own server, each in a tab of one window, and wait until they are ready."""
    with _window(browser, before, **kind) as context:
        yield [_shown(context, address).ready() for address in addresses]


@contextmanager
def _window(browser: Browser, before: str | None, **kind: Any) -> Iterator[BrowserContext]:
    context = browser.new_context(**{**DESKTOP, **kind})
    try:
        if before:
            context.add_init_script(before)
        yield context
    finally:
        context.close()


def _shown(context: BrowserContext, address: str) -> Opened:
    shown = Opened(context.new_page())
    shown.page.on("request", lambda request: shown.requests.append(request.url))
    shown.page.on("requestfailed", lambda one: shown.refused.append(one.url) if one.failure == "csp" else None)
    shown.page.on("console", lambda message: shown.said.append(f"{message.type}: {message.text}"))
    shown.page.on("pageerror", lambda error: shown.said.append(f"error: {error} {error.stack}"))
    shown.page.on("dialog", lambda dialog: (shown.said.append(f"dialog: {dialog.message}"), dialog.dismiss()))
    shown.page.goto(address)
    return shown
