"""What an open page costs while nobody touches it, and how soon it ends when it is told to.

The first is a share of one core over some seconds: the server with the process that thinks, and the browser with all
of its processes, after everything has been worked out and drawn.
"""

import os
import signal
import time
from collections.abc import Callable
from pathlib import Path

from browser import launch, visited
from live import demo_job, running
from playwright.sync_api import sync_playwright

LIMIT = 0.02
"""Share of one core."""

SECONDS, ROUNDS = 6.0, 3
"""Of the rounds the quietest counts: a browser looks for new versions of itself and the like when it starts."""

SOON = 1.5
"""Seconds from Ctrl-C to the end of the server, with a page that listens."""

TICKS = os.sysconf("SC_CLK_TCK")


def family(root: int) -> set[int]:
    """A process and all that come from it."""
    parents = {}
    for path in Path("/proc").glob("[0-9]*/stat"):
        try:
            parents[int(path.parent.name)] = int(path.read_text().rpartition(")")[2].split()[1])
        except (FileNotFoundError, ProcessLookupError):
            continue
    found, fresh = {root}, {root}
    while fresh := {child for child, parent in parents.items() if parent in fresh}:
        found |= fresh
    return found


def spent(processes: set[int]) -> float:
    """Seconds of processor time so far, of those that still run (proc(5): fields 14 and 15 of stat)."""
    total = 0
    for process in processes:
        try:
            fields = Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()
        except (FileNotFoundError, ProcessLookupError):
            continue
        total += int(fields[11]) + int(fields[12])
    return total / TICKS


def test_an_open_page_at_rest_costs_next_to_nothing(
    tmp_path: Path, record_property: Callable[[str, object], None]
) -> None:
    with running(demo_job(tmp_path)) as served, sync_playwright() as playwright:
        browser = launch(playwright)
        with visited(browser, served.address) as (shown,):
            shown.until("page.three.changed > 0 && page.store.state.checks.stage === 'done'", 120)
            own = family(os.getpid()) - {os.getpid()}
            assert served.process.pid in own
            assert len(own) > 5  # the server, its thinker, the browser's driver and the browser's own processes
            shares = []
            for _ in range(ROUNDS):
                before = spent(own)
                time.sleep(SECONDS)
                shares.append((spent(own) - before) / SECONDS)
            assert family(os.getpid()) - {os.getpid()} == own
        browser.close()
    record_property("share of a core at rest", min(shares))
    record_property("share, worst round", max(shares))
    assert min(shares) < LIMIT


def test_ctrl_c_ends_it_soon(tmp_path: Path, record_property: Callable[[str, object], None]) -> None:
    found = []
    for number in range(3):
        folder = tmp_path / str(number)
        folder.mkdir()
        with running(demo_job(folder)) as served, served.http.stream("GET", "events") as news:
            next(news.iter_lines())
            began = time.monotonic()
            served.process.send_signal(signal.SIGINT)
            served.process.wait(10)
            found.append(time.monotonic() - began)
    record_property("seconds from Ctrl-C to the end", min(found))
    assert min(found) < SOON
