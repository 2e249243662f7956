"""How soon the picture of the hauler follows a number that is typed, measured in the browser.

In milliseconds, as a person waits for it: from the `input` event of a field to the first frame of the 3D view whose
pixels differ, read back from the canvas so that the drawing is done. Software 3D, which is slower than any graphics
card. The server says how long it had a request in hand (W3C Server Timing). Of every edit the quickest of several
rounds counts: others run on the same machine.
"""

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from browser import launch, visited
from live import Running, demo_job, running
from playwright.sync_api import sync_playwright

GOAL = 120.0
"""Milliseconds to the picture, and in the server: what is aimed at on a machine that does nothing else."""

SERVER = 30.0

LIMIT = 500.0
"""What must hold however busy the machine is."""

EDITS, ROUNDS = 50, 4

MEASURE = """async ({ key, values }) => {
  const { view, three } = { view: page.three.view, three: page.three };
  const gl = view.renderer.getContext();
  const [w, h] = [gl.drawingBufferWidth, gl.drawingBufferHeight];
  const pixels = () => {
    const data = new Uint8Array(w * h * 4);
    gl.readPixels(0, 0, w, h, gl.RGBA, gl.UNSIGNED_BYTE, data);
    return new Uint32Array(data.buffer);
  };
  const render = view.render.bind(view);
  let drawn = null;
  view.render = () => {
    render();
    if (drawn) drawn();
  };
  view.render();
  const input = document.querySelector(`[data-at="${key}"]`);
  input.focus();
  const found = [];
  performance.clearResourceTimings();
  for (const value of values) {
    const before = pixels();
    const begun = performance.now();
    const done = new Promise(resolve => {
      drawn = () => {
        const now = pixels();
        if (now.some((colour, i) => colour !== before[i])) resolve(performance.now() - begun);
      };
    });
    input.value = value;
    input.dispatchEvent(new Event('input', { bubbles: true }));
    found.push(await done);
    drawn = null;
    while (page.store.busy || three.busy) await new Promise(next => setTimeout(next, 5));
    await new Promise(next => setTimeout(next, 250));
    view.render();
  }
  view.render = render;
  const edits = performance.getEntriesByType('resource').filter(one => one.name.endsWith('/api/edit'));
  const server = edits.map(one => one.serverTiming.find(({ name }) => name === 'all').duration);
  return { found, server, answer: edits.map(one => one.responseStart - one.requestStart) };
}"""


@pytest.fixture(scope="module")
def hauler(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Running]:
    with running(demo_job(tmp_path_factory.mktemp("hauler"))) as served:
        served.until(lambda state: state["checks"]["stage"] == "done")
        yield served


def test_the_picture_follows_an_edit(hauler: Running, record_property: Callable[[str, object], None]) -> None:
    rounds: list[dict[str, Any]] = []
    values = [f"{24 + (i % 8) / 16:g}" for i in range(1, EDITS + 1)]
    with sync_playwright() as playwright:
        browser = launch(playwright)
        with visited(browser, hauler.address) as (shown,):
            shown.until("page.three.changed > 0 && page.store.state.checks.stage === 'done'")
            while not rounds or (len(rounds) < ROUNDS and not quick(rounds)):
                given = {"key": "parts/0/points/1/at/2", "values": values}
                rounds.append(shown.page.evaluate(MEASURE, given))
            assert shown.said == []
        browser.close()
    record_property("rounds", len(rounds))
    record_property("ms to the picture, median", share(rounds, "found", 50))
    record_property("ms to the picture, p95", share(rounds, "found", 95))
    record_property("ms to the answer, p95", share(rounds, "answer", 95))
    record_property("ms in the server, p95", share(rounds, "server", 95))
    assert len(rounds[0]["found"]) == EDITS
    record_property("goal met", quick(rounds))
    assert share(rounds, "found", 95) < LIMIT


def quick(rounds: list[dict[str, Any]]) -> bool:
    """Whether the picture came soon enough, and the server had its share of that."""
    return share(rounds, "found", 95) < GOAL and share(rounds, "server", 95) < SERVER


def share(rounds: list[dict[str, Any]], what: str, percent: float) -> float:
    """A percentile over edits of their quickest times, milliseconds."""
    return float(np.percentile(np.min([one[what][:EDITS] for one in rounds], axis=0), percent))


def test_the_scripts_of_the_page_are_small(record_property: Callable[[str, object], None]) -> None:
    """As written, with the panels of the bench and of the record: under a third of the viewer they come with."""
    static = Path(__file__).resolve().parents[2] / "railmodel" / "app" / "page" / "static"
    size = sum(path.stat().st_size for path in static.iterdir())
    record_property("kB of scripts and style", size / 1000)
    assert size < 200_000
