"""Files written, the solver asked, a file that another program changed: long work and choices through the server."""

import asyncio
import json
import os
import time
from pathlib import Path
from typing import Any

import ezdxf
import pytest
from live import Running, Z, page, running, small_job

from railmodel.app.page.saver import Saver
from railmodel.job.reader import read_job


def until_done(live: Running) -> dict[str, Any]:
    return live.until(lambda state: state["work"] is not None and state["work"]["state"] != "running")


def test_files_are_written_from_the_job_as_it_stands_in_the_page(tmp_path: Path) -> None:
    path = small_job(tmp_path)
    with running(path) as live:
        live.http.post("api/edit", json={"rev": 0, "op": {"op": "set", "at": ["job"], "value": "Big cart"}})
        kinds = {kind["kind"]: kind for kind in live.http.get("api/kinds").json()["kinds"]}
        assert live.http.post("api/write", json={"rev": 0, "kinds": ["table"]}).status_code == 409
        assert live.http.post("api/write", json={"rev": 1, "kinds": ["gold"]}).status_code == 422
        started = live.http.post("api/write", json={"rev": 1, "kinds": ["table", "dxf"]})
        assert (started.status_code, started.json()["work"]["state"]) == (202, "running")
        assert live.http.post("api/solve", json={"rev": 1}).status_code == 409
        state = until_done(live)
        assert (state["work"]["state"], state["files_rev"]) == ("done", 1)
        wanted = {file["path"] for kind in ("table", "dxf") for file in kinds[kind]["files"]}
        files = {file["path"]: file for file in state["files"]}
        assert set(files) == wanted
        out = tmp_path / "cart_files"
        assert {found.relative_to(out).as_posix() for found in out.rglob("*.*")} == wanted
        table = live.http.get(files["cnc/rail_right_bend_table.json"]["url"].lstrip("/"))
        assert json.loads(table.content)["job"] == "Big cart"
        assert len(table.content) == files["cnc/rail_right_bend_table.json"]["bytes"]
        drawn = tmp_path / "got.dxf"
        drawn.write_bytes(live.http.get(files["floor/rail_right_flat_in.dxf"]["url"].lstrip("/")).content)
        assert len(ezdxf.readfile(drawn).modelspace())  # type: ignore[attr-defined]
        assert live.http.get("files/1/../cart.yaml").status_code == 404
        assert live.http.get("files/0/cnc/rail_right_bend_table.json").status_code == 404


def test_work_can_be_stopped(tmp_path: Path) -> None:
    with running(small_job(tmp_path)) as live:
        live.http.post("api/write", json={"rev": 0, "kinds": "all"})
        stopped = live.http.post("api/write/stop", json={}).json()
        assert stopped["work"]["state"] == "stopped"
        assert live.http.post("api/write", json={"rev": 0, "kinds": ["table"]}).status_code == 202
        assert until_done(live)["work"]["state"] == "done"


def test_the_solver_is_asked_and_its_answer_taken_as_one_change(tmp_path: Path) -> None:
    path = small_job(tmp_path)
    path.write_text(path.read_text().replace("at: [10, 15, 16 1/2]", "at: [10, 15, 15 1/8]"))
    with running(path) as live:
        assert live.http.post("api/solve/accept", json={"rev": 0}).status_code == 422
        assert live.http.post("api/solve", json={"rev": 0}).status_code == 202
        state = until_done(live)
        assert state["work"]["state"] == "solved", state["work"]["says"]
        assert state["solve"]["answer"]["values"][0]["part"] == "rail"
        ids = [mesh["id"] for mesh in state["meshes"]]
        assert {"solved rail right", "solved rail left"} <= set(ids)
        live.http.post("api/edit", json={"rev": 0, "op": {"op": "set", "at": ["revision"], "value": "B"}})
        assert live.state()["solve"]["stale"] is True
        assert live.http.post("api/solve/accept", json={"rev": 1}).status_code == 409
        assert live.http.post("api/undo", json={"rev": 1}).json()["rev"] == 2
        assert live.http.post("api/solve", json={"rev": 2}).json()["work"]["state"] == "running"
        state = until_done(live)
        assert state["work"]["state"] == "solved", state["work"]["says"]
        changes = state["solve"]["changes"]
        accepted = live.http.post("api/solve/accept", json={"rev": 2}).json()
        assert (accepted["rev"], accepted["solve"], accepted["undo"]) == (3, None, "accept the solved values")
        for change in changes:
            value: Any = accepted["written"]
            for step in change["at"]:
                value = value["at"][step] if isinstance(value, dict) and step not in value else value[step]
            assert value == change["to"].strip('"')


def touched(path: Path, text: str) -> None:
    """As another program saves a file, a moment later."""
    path.write_text(text, encoding="utf-8")
    later = time.time() + 5
    os.utime(path, (later, later))


@pytest.mark.parametrize("keep", ["mine", "theirs"])
def test_a_file_changed_outside_is_never_written_over_unasked(tmp_path: Path, keep: str) -> None:
    path = small_job(tmp_path)
    with page(path) as live:
        live.set(Z, "21")
        theirs = path.read_text(encoding="utf-8").replace("Small cart", "Their cart")
        touched(path, theirs)
        live.desk.saver.save(live.desk.store.data)
        assert path.read_text(encoding="utf-8") == theirs
        assert live.state()["saved"]["state"] == "outside"
        live.set(Z, "22")
        live.desk.saver.save(live.desk.store.data)
        assert path.read_text(encoding="utf-8") == theirs
        seen = live.get("/api/outside").json()["theirs"]
        assert seen["reads"] is True
        assert {"mark": "+", "text": "job: Their cart"} in seen["lines"]
        state = live.post("/api/outside", {"keep": keep}).json()
        assert state["saved"]["state"] == "saved"
        if keep == "mine":
            assert path.read_bytes() == live.desk.store.data
            assert "[30, 15, 22]" not in theirs
            assert (tmp_path / "cart.yaml.bak").read_text(encoding="utf-8") == theirs
        else:
            assert (state["written"]["job"], state["undo"]) == ("Their cart", "take in what another program wrote")
            assert path.read_text(encoding="utf-8") == theirs
            live.post("/api/undo", {"rev": state["rev"]})
            assert live.state()["written"]["job"] == "Small cart"
        assert live.post("/api/outside", {"keep": keep}).status_code == 422


def test_what_does_not_read_is_not_taken_in(tmp_path: Path) -> None:
    path = small_job(tmp_path)
    with page(path) as live:
        touched(path, "job: [\n")
        live.desk.saver.look()
        assert live.get("/api/outside").json()["theirs"]["reads"] is False
        assert live.post("/api/outside", {"keep": "theirs"}).status_code == 422
        assert live.state()["written"]["job"] == "Small cart"
        assert live.post("/api/outside", {"keep": "mine"}).status_code == 200
        assert read_job(path).job.job == "Small cart"


def test_what_is_written_while_theirs_is_taken_in_is_not_written_over(tmp_path: Path) -> None:
    path = small_job(tmp_path)
    ours = path.read_bytes()
    saver = Saver(path, ours)
    touched(path, "job: theirs\n")
    assert saver.look()
    found = saver.theirs()
    path.write_text("job: theirs once more\n")
    saver.settle(found, write=False)
    saver.save(ours)
    assert saver.state == "outside"
    assert path.read_text() == "job: theirs once more\n"


def test_a_choice_that_cannot_be_carried_out_is_said_and_nothing_is_lost(tmp_path: Path) -> None:
    path = small_job(tmp_path)
    (tmp_path / "cart.yaml.bak").mkdir()  # where theirs would be kept
    with page(path) as live:
        theirs = path.read_text(encoding="utf-8").replace("Small cart", "Their cart")
        touched(path, theirs)
        assert live.desk.saver.look()
        reply = live.post("/api/outside", {"keep": "mine"})
        assert reply.status_code == 200
        assert reply.json()["saved"]["state"] == "failed"
        assert path.read_text(encoding="utf-8") == theirs
        (tmp_path / "cart.yaml.bak").rmdir()


def test_the_page_does_not_take_its_own_writing_for_another_programs(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import railmodel.app.page.desk as module

    monkeypatch.setattr(module, "LOOK", 0.01)
    with page(small_job(tmp_path)) as live:
        looks: list[bool] = []
        look = live.desk.saver.look
        monkeypatch.setattr(live.desk.saver, "look", lambda: looks.append(live.desk.saving) or look())
        live.desk.saving = True
        live.portal.call(asyncio.sleep, 0.3)
        assert True not in looks
        live.desk.saving = False
        live.portal.call(asyncio.sleep, 0.3)
        assert looks


def test_a_file_taken_away_is_said_and_can_be_written_again(tmp_path: Path) -> None:
    path = small_job(tmp_path)
    with page(path) as live:
        path.unlink()
        assert live.desk.saver.look()
        assert "taken away" in live.state()["saved"]["says"]
        assert live.get("/api/outside").json()["theirs"]["reads"] is False
        live.post("/api/outside", {"keep": "mine"})
        assert read_job(path).job.job == "Small cart"


def test_what_was_changed_back_is_saved_without_writing(tmp_path: Path) -> None:
    path = small_job(tmp_path)
    with page(path) as live:
        written = path.stat().st_mtime_ns
        live.set(Z, "21")
        live.post("/api/undo", {"rev": 1})
        live.portal.call(asyncio.sleep, 1.2)
        assert live.state()["saved"]["state"] == "saved"
        assert path.stat().st_mtime_ns == written


def test_halves_of_files_left_by_a_killed_page_are_taken_away(tmp_path: Path) -> None:
    path = small_job(tmp_path)
    old, fresh, other = (tmp_path / name for name in (".cart.yaml.a1.part", ".cart.yaml.b2.part", ".hut.yaml.c3.part"))
    for half in (old, fresh, other):
        half.write_text("half")
    for half in (old, other):
        os.utime(half, (time.time() - 100, time.time() - 100))
    with page(path):
        assert [half.exists() for half in (old, fresh, other)] == [False, True, True]


def test_the_same_bytes_saved_again_by_another_program_are_no_change(tmp_path: Path) -> None:
    path = small_job(tmp_path)
    saver = Saver(path, path.read_bytes())
    touched(path, path.read_text(encoding="utf-8"))
    assert not saver.look()


def test_a_folder_that_cannot_be_written_to_is_said_and_nothing_is_lost(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import railmodel.app.page.saver as module

    def full(path: Path, content: bytes) -> None:
        raise OSError(28, "No space left on device")

    with page(small_job(tmp_path)) as live:
        live.set(Z, "21")
        with monkeypatch.context() as patch:
            patch.setattr(module, "write_whole", full)
            live.desk.saver.save(live.desk.store.data)
        saved = live.state()["saved"]
        assert saved["state"] == "failed"
        assert "no space left" in saved["says"]
        live.set(Z, "22")
        live.desk.saver.save(live.desk.store.data)
        assert live.state()["saved"]["state"] == "saved"


def test_a_shop_file_changed_outside_counts_at_once(tmp_path: Path) -> None:
    from railmodel.app.page.desk import reread

    with page(small_job(tmp_path)) as live:
        assert live.state()["parts"][0]["bends"][0]["radius"] == pytest.approx(7)
        shop = tmp_path / "shop.yaml"
        touched(shop, shop.read_text().replace("radius: 7", "radius: 8"))
        live.portal.call(reread, live.desk)
        state = live.state()
        assert (state["rev"], state["parts"][0]["bends"][0]["radius"]) == (1, pytest.approx(8))
