"""The job's record through the server: the very file that `railmodel log` keeps, for the job as the page has it."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from commands import run
from live import Page, Z, page, small_job

from railmodel.app.page.guard import Lan


@pytest.fixture
def live(tmp_path: Path) -> Iterator[Page]:
    with page(small_job(tmp_path)) as found:
        yield found


def note(live: Page, kind: str, **more: Any) -> dict[str, Any]:
    reply = live.post("/api/record", {"rev": live.desk.store.rev, "kind": kind, "by": "the office", **more})
    assert reply.status_code == 200, reply.text
    found: dict[str, Any] = reply.json()
    return found


def test_what_is_noted_is_what_the_command_line_shows_and_the_other_way_round(live: Page) -> None:
    assert live.get("/api/record").json()["entries"] == []
    note(live, "sent", note="by post")
    assert run("log", live.desk.path, "--add", "measured", "--part", "rail right").status == 0
    shown = note(live, "approved")
    assert [one["kind"] for one in shown["entries"]] == ["approved", "measured", "sent"]
    assert (shown["said"], shown["stands"], shown["not_read"]) == ([], True, [])
    told = json.loads(run("log", live.desk.path, "--format", "json").out)
    for one, other in zip(told["entries"][::-1], shown["entries"], strict=True):
        assert other == {key: value for key, value in one.items() if key != "files"} | {"short": other["short"]}
        assert other["short"] == one["fingerprint"][:12]
    assert told["fingerprint"] == shown["fingerprint"]
    assert (shown["entries"][2]["by"], shown["entries"][2]["note"]) == ("the office", "by post")
    assert all(one["as_it_stands"] for one in shown["entries"])


def test_after_a_change_what_was_recorded_is_of_an_older_job_until_it_is_taken_back(live: Page) -> None:
    note(live, "approved")
    live.set(Z, "21")
    changed = live.get("/api/record").json()
    assert (changed["stands"], changed["entries"][0]["as_it_stands"]) == (False, False)
    assert changed["short"] != changed["entries"][0]["short"]
    live.post("/api/undo", {"rev": live.desk.store.rev})
    assert live.get("/api/record").json()["stands"] is True


def test_an_older_state_can_be_approved_and_that_is_said(live: Page) -> None:
    older = live.get("/api/record").json()["short"]
    live.set(Z, "21")
    found = note(live, "approved", fingerprint=f" {older.upper()} ")
    assert "send it again" in found["said"][0]
    assert (found["stands"], found["entries"][0]["as_it_stands"]) == (False, False)


@pytest.mark.parametrize(
    ("body", "status", "at"),
    [
        ({"kind": "built"}, 422, None), ({"kind": "sent", "by": " "}, 422, ["by"]),
        ({"kind": "sent", "rev": 7}, 409, None),
        ({"kind": "sent", "by": 3}, 422, ["by"]), ({"kind": "approved", "fingerprint": "123"}, 422, ["fingerprint"]),
        ({"kind": "sent", "fingerprint": "1" * 12}, 422, ["fingerprint"]),
        ({"kind": "sent", "note": "a\nb"}, 422, None),
        ({"kind": "sent", "note": "x" * 600}, 422, None), ({}, 422, None),
    ],
)  # fmt: skip
def test_what_does_not_fit_is_refused_and_nothing_is_recorded(
    live: Page, body: dict[str, Any], status: int, at: list[str] | None
) -> None:
    reply = live.post("/api/record", {"rev": 0, "by": "me", **body})
    assert reply.status_code == status
    assert reply.json()["problems"][0]["at"] == at
    assert "nothing was recorded" in reply.json()["error"]
    assert not live.desk.path.with_name("cart.record.jsonl").exists()


def test_nothing_is_noted_while_another_program_has_changed_the_job(live: Page) -> None:
    live.desk.path.write_text(live.desk.path.read_text() + "# more\n")
    assert live.desk.saver.look()
    reply = live.post("/api/record", {"rev": 0, "kind": "sent", "by": "me"})
    assert (reply.status_code, "changed by another program" in reply.json()["error"]) == (409, True)


def test_a_torn_line_is_passed_over_and_told(live: Page) -> None:
    note(live, "sent")
    path = live.desk.path.with_name("cart.record.jsonl")
    path.write_bytes(path.read_bytes() + b'{"record": 1, "at')
    found = live.get("/api/record").json()
    assert (len(found["entries"]), len(found["not_read"])) == (1, 1)
    assert [one["kind"] for one in note(live, "approved")["entries"]] == ["approved", "sent"]


def test_from_elsewhere_the_record_is_only_looked_at(tmp_path: Path) -> None:
    with page(small_job(tmp_path), lan=Lan(port=9001, code="123456"), base="http://192.0.2.7:9001") as live:
        assert live.get("/api/record").status_code == 401
        live.post("/api/code", {"code": "123456"})
        assert live.get("/api/record").json()["readonly"] is True
        assert live.post("/api/record", {"rev": 0, "kind": "sent", "by": "me"}).status_code == 423
