"""What an edit of the hauler costs the page's server, in processor time, against reading the job from its file.

The ratio holds on any machine; the milliseconds are recorded beside it.
"""

import asyncio
from collections.abc import Callable
from pathlib import Path
from time import process_time

import numpy as np
from live import demo_job

from railmodel.app.page.as_json import dumps
from railmodel.app.page.desk import Desk
from railmodel.app.page.state import state_of
from railmodel.frame import build_frame
from railmodel.job.reader import job_from

EDITS = 50
LIMIT = 0.5
"""An edit costs at most this part of reading the job and building its frame."""


def edits(path: Path) -> list[float]:
    """Seconds of each edit, from the request's words to the reply's bytes, meshes with it."""

    async def made() -> list[float]:
        desk = Desk(path)
        desk._think = lambda: None  # type: ignore[method-assign]
        found = []
        for number in range(-5, EDITS):
            at = ["parts", 0, "points", 1 + number % 4, "at", 2]
            op = {"op": "set", "at": at, "value": f"{19 + number % 5} {1 + number % 15}/16"}
            began = process_time()
            desk.change(lambda op=op: desk.store.apply(desk.store.rev, op))  # type: ignore[misc]
            dumps(state_of(desk, readonly=False))
            desk.bank.reply(desk.store.rev, desk.meshes, set())
            if number >= 0:
                found.append(process_time() - began)
        return found

    return asyncio.run(made())


def reading(path: Path) -> float:
    data = path.read_bytes()
    took = []
    for _ in range(5):
        began = process_time()
        build_frame(job_from(data, path))
        took.append(process_time() - began)
    return min(took)


def test_an_edit_costs_less_than_half_of_a_reading(
    tmp_path: Path, record_property: Callable[[str, object], None]
) -> None:
    path = demo_job(tmp_path)
    found = edits(path)
    whole = reading(path)
    record_property("ms an edit, median", float(np.median(found)) * 1e3)
    record_property("ms an edit, p95", float(np.percentile(found, 95)) * 1e3)
    record_property("ms a reading of the job", whole * 1e3)
    assert float(np.median(found)) < LIMIT * whole
