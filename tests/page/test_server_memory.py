"""Many edits leave the server as large as it was."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from live import ROOT, demo_job, small_job

FULL = os.environ.get("CI") == "true"
EDITS = """
import asyncio
import gc
import sys
from pathlib import Path
from railmodel.app.page.as_json import dumps
from railmodel.app.page.desk import Desk
from railmodel.app.page.state import state_of

def size():
    gc.collect()
    return int(Path("/proc/self/statm").read_text().split()[1]) * 4096 / 1e6

async def main():
    desk = Desk(Path(sys.argv[1]))
    desk._think = lambda: None
    place = ["parts", 0, "points", 1, "at", 2]
    for number in range(-150, 500):
        if number == 0:
            before = size()
        value = f"{20 + number % 7} {1 + number % 15}/16"
        op = {"op": "set", "at": place, "value": value}
        desk.change(lambda: desk.store.apply(desk.store.rev, op))
        dumps(state_of(desk, readonly=False))
        desk.bank.reply(desk.store.rev, desk.meshes, set())
    print(desk.store.rev, size() - before)

asyncio.run(main())
"""


@pytest.mark.long
def test_five_hundred_edits_leave_the_server_within_twenty_megabytes(tmp_path: Path) -> None:
    path = demo_job(tmp_path) if FULL else small_job(tmp_path)
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    ran = subprocess.run([sys.executable, "-c", EDITS, str(path)], capture_output=True, text=True, env=env, check=True)
    edits, grown = ran.stdout.split()
    assert int(edits) > 600
    assert float(grown) < 20
