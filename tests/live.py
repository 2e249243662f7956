"""The live page in tests: a job in a folder of its own, the server in this process, or as a process of its own."""

import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import Any

import httpx
from anyio.from_thread import BlockingPortal, start_blocking_portal

from railmodel.app.page.desk import Desk
from railmodel.app.page.guard import Lan
from railmodel.app.page.room import Room
from railmodel.app.page.server import make_app

ROOT = Path(__file__).resolve().parents[1]
PORT = 8123
BASE = f"http://127.0.0.1:{PORT}"

SHOP = """\
shop: Test shop
units: in
bender: {bends: clockwise, centreline_height: 38}
dies:
  hard 7: {height: 3, width: 2, way: hard, radius: 7, grip: 6, between: 6, tail: 9, max_angle: 110}
stock:
  - {tube: main, length: 20 ft, kerf: 1/16, end_trim: 1/2}
"""

JOB = """\
# A small job for tests.
job: Small cart
units: in
shop: shop.yaml
tubes:
  main: {height: 3, width: 2, wall: 3/16, corner: 3/8}   # the only tube
parts:
  - name: rail
    tube: main
    hand: pair
    points:
      - [0, 15, 20]
      - {at: [30, 15, 20], die: hard 7, free: {z: [18, 22]}}   # the bend
      - {at: [50, 15, 24], die: hard 7}
      - [90, 15, 24]
fit_points:
  - {name: hanger, at: [10, 15, 16 1/2], to: {part: rail, face: bottom}, gap: {want: 2, within: 1}}
keep_clear:
  - name: axle
    shape: {cylinder: {from: [70, -20, 14], to: [70, 20, 14], diameter: 3}}
    moves: {up: 2, down: 1, roll: 5}
    gap: 1
"""
Z = ["parts", 0, "points", 1, "at", 2]
"""The place of a height in the small job."""


def small_job(folder: Path) -> Path:
    """The small job with its shop."""
    (folder / "shop.yaml").write_text(SHOP, encoding="utf-8")
    path = folder / "cart.yaml"
    path.write_text(JOB, encoding="utf-8")
    return path


def demo_job(folder: Path, name: str = "hillside_hauler/hauler.yaml") -> Path:
    """A demo job copied with all it needs."""
    shutil.copytree(ROOT / "demo_jobs", folder / "demo_jobs")
    return folder / "demo_jobs" / name


class Page:
    """The server in this process, without the process that thinks."""

    def __init__(self, client: httpx.AsyncClient, portal: BlockingPortal, desk: Desk) -> None:
        self.client, self.portal, self.desk = client, portal, desk

    def ask(self, method: str, path: str, **more: Any) -> httpx.Response:
        """A request; an error that the server does not handle is raised here."""
        return self.portal.call(partial(self.client.request, method, path, **more))

    def get(self, path: str, **more: Any) -> httpx.Response:
        """A request to look."""
        return self.ask("GET", path, **more)

    def state(self) -> dict[str, Any]:
        """The state."""
        found: dict[str, Any] = self.get("/api/state").json()
        return found

    def post(self, path: str, body: Any, **more: Any) -> httpx.Response:
        """A request with JSON."""
        return self.ask("POST", path, json=body, **more)

    def edit(self, op: dict[str, Any], rev: int | None = None) -> httpx.Response:
        """An edit on the newest revision."""
        return self.post("/api/edit", {"rev": self.desk.store.rev if rev is None else rev, "op": op})

    def set(self, at: list[Any], value: Any) -> httpx.Response:
        """A value set."""
        return self.edit({"op": "set", "at": at, "value": value})


@contextmanager
def page(path: Path, *, lan: Lan | None = None, base: str = BASE) -> Iterator[Page]:
    """A page on a job."""
    desk = Desk(path)

    async def silent(_: object) -> None:
        return None

    desk.thinking.give = silent  # type: ignore[method-assign]
    transport = httpx.ASGITransport(make_app(Room(path.parent, PORT, desk, lan)))
    with start_blocking_portal() as portal:
        client = httpx.AsyncClient(transport=transport, base_url=base)
        portal.call(desk.open)
        yield Page(client, portal, desk)
        portal.call(client.aclose)
        portal.call(desk.close)


class Running:
    """A server process."""

    def __init__(self, process: "subprocess.Popen[str]", address: str, lines: list[str]) -> None:
        self.process, self.address, self.lines = process, address, lines
        self.http = httpx.Client(base_url=address, timeout=60, trust_env=False)

    def state(self) -> dict[str, Any]:
        """The state."""
        found: dict[str, Any] = self.http.get("api/state").json()
        return found

    def until(self, good: Any, seconds: float = 60.0) -> dict[str, Any]:
        """The first state that is good."""
        end = time.monotonic() + seconds
        while not good(state := self.state()):
            assert time.monotonic() < end, state
            time.sleep(0.05)
        return state


@contextmanager
def running(path: Path | None, *options: str, cwd: Path | None = None) -> Iterator[Running]:
    """`railmodel open` as a process of its own, killed at the end if it still runs."""
    named = [] if path is None else [str(path)]
    command = [sys.executable, "-m", "railmodel", "open", *named, "--no-browser", *options]
    folder = cwd or (path.parent if path is not None else ROOT)
    home = str(folder / ".home")
    env = {"PYTHONPATH": str(ROOT), "PATH": "/usr/bin:/bin", "XDG_STATE_HOME": home, "HOME": home}
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True, cwd=folder, env=env)
    try:
        assert process.stdout is not None
        lines = [process.stdout.readline()]
        if "--lan" in options:
            lines.append(process.stdout.readline())
        found = Running(process, lines[0].split()[2], lines)
        with found.http:
            end = time.monotonic() + 30
            while True:
                try:
                    found.http.get("api/here")
                    break
                except httpx.HTTPError:
                    assert time.monotonic() < end
                    time.sleep(0.05)
            yield found
    finally:
        if process.poll() is None:
            process.kill()
        process.wait()
        if process.stdout is not None:
            process.stdout.close()
