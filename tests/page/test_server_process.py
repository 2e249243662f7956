"""The server as a process: killed at any moment, started twice, stopped, looked at from elsewhere."""

import json
import os
import random
import signal
import socket
import subprocess
import sys
import threading
import time
from pathlib import Path

import httpx
import pytest
from commands import run
from live import ROOT, Z, running, small_job
from nested import assert_alike

KILLS = 50 if os.environ.get("CI") == "true" else 6

SAVES = """
import sys
from pathlib import Path
from railmodel.app.page.saver import Saver
from railmodel.app.page.store import Store
store = Store(Path(sys.argv[1]), lambda source: None)
saver = Saver(store.path, store.data)
print("ready", flush=True)
for number in range(100_000):
    store.apply(store.rev, {"op": "set", "at": ["parts", 0, "points", 1, "at", 2], "value": str(number)})
    saver.save(store.data)
    assert saver.state == "saved", saver.says
"""


@pytest.mark.long
def test_killed_while_it_saves_the_job_is_always_the_old_one_or_the_new_one(tmp_path: Path) -> None:
    path = small_job(tmp_path)
    head, tail = path.read_text(encoding="utf-8").split("[30, 15, 20]")
    rng = random.Random(4)
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    found = set()
    for _ in range(KILLS):
        command = [sys.executable, "-c", SAVES, str(path)]
        with subprocess.Popen(command, stdout=subprocess.PIPE, env=env) as process:
            assert process.stdout is not None
            process.stdout.readline()
            time.sleep(rng.uniform(0.0, 0.25))
            process.kill()
        text = path.read_text(encoding="utf-8")
        assert text.startswith(f"{head}[30, 15, ")
        assert text.endswith(f"]{tail}")
        found.add(text)
    assert len(found) > 1


def test_an_edit_is_on_the_disk_a_moment_later_and_the_old_file_beside_it(tmp_path: Path) -> None:
    path = small_job(tmp_path)
    before = path.read_bytes()
    with running(path) as live:
        body = {"rev": 0, "op": {"op": "set", "at": Z, "value": "20 1/4"}}
        state = live.http.post("api/edit", json=body).json()
        assert (state["rev"], state["saved"]["state"]) == (1, "waiting")
        live.until(lambda state: state["saved"]["state"] == "saved", 10)
        assert path.read_bytes() == before.replace(b"[30, 15, 20]", b"[30, 15, 20 1/4]")
        assert (tmp_path / "cart.yaml.bak").read_bytes() == before


def test_a_second_start_finds_the_first_and_a_stale_lock_is_no_hindrance(tmp_path: Path) -> None:
    path = small_job(tmp_path)
    lock = tmp_path / ".cart.yaml.open"
    lock.write_text('{"port": 1, "pid": 1}')
    with running(path) as live:
        command = [sys.executable, "-m", "railmodel", "open", str(path), "--no-browser"]
        env = {**os.environ, "PYTHONPATH": str(ROOT)}
        second = subprocess.run(command, capture_output=True, text=True, env=env, timeout=60, check=True)
        assert second.stdout == f"cart.yaml is open already at {live.address}\n"
        assert json.loads(lock.read_text())["pid"] == live.process.pid
        live.process.send_signal(signal.SIGINT)
        live.process.wait(10)
    assert not lock.exists()


def test_ctrl_c_ends_it_soon_with_browsers_listening_and_saves_first(tmp_path: Path) -> None:
    path = small_job(tmp_path)
    with running(path) as live:
        heard: list[str] = []
        begun = threading.Event()

        def listen() -> None:
            with httpx.stream("GET", f"{live.address}events", timeout=30, trust_env=False) as stream:
                for line in stream.iter_lines():
                    heard.append(line)
                    begun.set()

        threads = [threading.Thread(target=listen) for _ in range(3)]
        for thread in threads:
            thread.start()
        assert begun.wait(10)
        live.http.post("api/edit", json={"rev": 0, "op": {"op": "set", "at": Z, "value": "19"}})
        began = time.monotonic()
        live.process.send_signal(signal.SIGINT)
        live.process.wait(10)
        took = time.monotonic() - began
        for thread in threads:
            thread.join(10)
        assert "event: bye" in heard
        assert b"[30, 15, 19]" in path.read_bytes()
        assert took < 5  # 1.5 s where nothing else runs; see the benches


def test_a_signal_to_end_puts_everything_away(tmp_path: Path) -> None:
    path = small_job(tmp_path)
    with running(path) as live:
        live.http.post("api/edit", json={"rev": 0, "op": {"op": "set", "at": Z, "value": "19"}})
        live.process.terminate()
        assert live.process.wait(20) == 0
    assert b"[30, 15, 19]" in path.read_bytes()
    assert not (tmp_path / ".cart.yaml.open").exists()


def test_what_takes_longer_comes_by_itself_and_is_what_the_command_line_says(tmp_path: Path) -> None:
    path = small_job(tmp_path)
    with running(path) as live:
        state = live.until(lambda state: state["checks"]["stage"] in ("done", "failed"))
        for command, shown in (("check", state["checks"]["answer"]), ("plan", state["plan"]["answer"])):
            ran = subprocess.run(
                [sys.executable, "-m", "railmodel", command, str(path), "--json"],
                capture_output=True, text=True, env={**os.environ, "PYTHONPATH": str(ROOT)}, check=False, timeout=120,
            )  # fmt: skip
            assert_alike(shown, json.loads(ran.stdout))
        reply = live.http.get("api/rehearsal", params={"part": "rail", "hand": "right"})
        assert reply.status_code == 200
        assert [step["name"] for step in reply.json()["steps"]][:2] == ["load", "bend 1"]
        assert live.http.get("api/rehearsal", params={"part": "nothing", "hand": "right"}).status_code == 404
        state = live.http.post("api/edit", json={"rev": 0, "op": {"op": "set", "at": Z, "value": "19"}}).json()
        assert state["checks"]["busy"]
        assert state["checks"]["rev"] == 0
        live.until(lambda state: state["checks"]["rev"] == 1 and state["checks"]["stage"] == "done")


def test_from_elsewhere_through_a_door_of_its_own(tmp_path: Path) -> None:
    with running(small_job(tmp_path), "--lan") as live:
        words = live.lines[1].split()
        port, code = words[words.index("code") - 1].rstrip("/").rpartition(":")[2], words[-1]
        far = f"http://127.0.0.1:{port}"
        with httpx.Client(base_url=far, trust_env=False, timeout=30) as http:
            assert http.get("/api/state").status_code == 401
            assert http.post("/api/code", json={"code": code}).status_code == 200
            assert http.get("/api/state").json()["readonly"] is True
            body = {"rev": 0, "op": {"op": "set", "at": Z, "value": "1"}}
            assert http.post("/api/edit", json=body).status_code == 423
        assert live.state()["readonly"] is False


def test_started_without_a_job_it_offers_some_and_opens_one(tmp_path: Path) -> None:
    small_job(tmp_path)
    with running(None, cwd=tmp_path) as live:
        assert live.http.get("api/state").status_code == 404
        offered = live.http.get("api/jobs").json()
        assert offered["here"] == [{"file": "cart.yaml", "name": "cart"}]
        assert "hillside_hauler" in [demo["id"] for demo in offered["demos"]]
        wrong = [{"starter": "../x.yaml"}, {"starter": "/x.yaml"}, {"here": "../x"}, {"demo": "x"}, {"recent": 5}, {}]
        for bad in wrong:
            assert live.http.post("api/open", json=bad).status_code == 422
        assert live.http.post("api/open", json={"starter": "my_truck"}).json() == {"url": "/"}
        assert live.state()["job"]["file"] == "my_truck.yaml"
        assert (tmp_path / "my_truck.yaml").is_file()
        assert live.http.post("api/open", json={"here": "cart.yaml"}).status_code == 409
    with running(None, cwd=tmp_path) as live:
        assert live.http.get("api/jobs").json()["recent"][0]["path"] == str(tmp_path / "my_truck.yaml")
        assert live.http.post("api/open", json={"demo": "lake_trailer"}).status_code == 200
        assert live.state()["job"]["folder"] == str(tmp_path / "demo_jobs" / "lake_trailer")
        with running(None, cwd=tmp_path) as second:
            assert second.http.post("api/open", json={"demo": "lake_trailer"}).json() == {"url": live.address}


def test_a_job_that_does_not_read_is_a_sentence_and_no_page(tmp_path: Path) -> None:
    assert "no such file" in run("open", tmp_path / "none.yaml", "--no-browser").sentence
    (tmp_path / "bad.yaml").write_text("job: [\n")
    assert "not readable as YAML" in run("open", tmp_path / "bad.yaml", "--no-browser").sentence


def test_a_port_that_is_taken_is_a_sentence(tmp_path: Path) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = str(taken.getsockname()[1])
        said = run("open", small_job(tmp_path), "--no-browser", "--port", port).sentence
    assert said.startswith(f"--port: {port} cannot be had")
