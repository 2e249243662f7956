"""Measurements of a bent piece through the server: what they tell is what the command line says of the saved record."""

import csv
import json
from base64 import b64decode
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from commands import run
from hypothesis import given, settings
from hypothesis import strategies as st
from live import Page, demo_job, page, small_job
from nested import assert_alike

import railmodel.app.noted
from railmodel.app.page.guard import Lan
from railmodel.app.page.room import Room
from railmodel.errors import InputError
from railmodel.job.record import Entry, read_record, record_beside

WHO = {"part": "side rail", "hand": "right"}
DRAFT: dict[str, Any] = {
    **WHO, "heat": "12", "date": "2026-05-11", "tools": {"tape": "1/32", "protractor": ""}, "set": "as planned",
    "angles": [{"bend": "1", "reads": "15.0; 15.1"}, {"bend": "2", "reads": "14.7", "sure_to": "0.4"},
               {"bend": "3", "reads": " "}],
    "legs": [{"straight": "0", "between": "tangents", "reads": "37"},
             {"straight": "1", "between": "apexes", "reads": "18 11/16"},
             {"straight": "2", "between": "tangents", "reads": "3' 4\""}],
    "turns": [{"bend": "2", "reads": "179.5"}],
    "distances": [{"from": "front end", "to": "apex 3, top", "reads": "2610 mm", "sure_to": "1/16"},
                  {"from": "front end", "to": "rear end", "reads": "158 1/8"}],
    "table": [{"place": "front end", "at": ["0", "0", "1 1/2"]}, {"place": "start of bend 1", "at": ["37", "0", ""]}],
}  # fmt: skip


@pytest.fixture
def live(tmp_path: Path) -> Iterator[Page]:
    with page(demo_job(tmp_path)) as found:
        yield found


def told(live: Page, draft: dict[str, Any], **more: Any) -> dict[str, Any]:
    reply = live.post("/api/as_bent/look", {"draft": draft, **more})
    assert reply.status_code == 200, reply.text
    found: dict[str, Any] = reply.json()
    return found


def saved(live: Page, draft: dict[str, Any], name: str = "rail", stamp: str | None = None) -> dict[str, Any]:
    reply = live.post("/api/as_bent/save", {"draft": draft, "name": name, "stamp": stamp})
    assert reply.status_code == 200, reply.text
    found: dict[str, Any] = reply.json()
    return found


def folder(live: Page) -> Path:
    found: Path = live.desk.path.parent / "measured"
    return found


@pytest.mark.parametrize("bent", ["", "2"])
def test_what_is_shown_is_what_the_command_line_says_of_the_saved_record(live: Page, bent: str) -> None:
    draft = DRAFT if not bent else {**DRAFT, "bent": bent, "distances": [], "legs": DRAFT["legs"][:2], "turns": []}
    kept = saved(live, draft)
    assert kept["name"] == "rail.yaml"
    path = folder(live) / "rail.yaml"
    shown = told(live, draft, name="rail.yaml", stamp=kept["stamp"])
    assert shown["problems"] == []
    for command in ("measured", "correct"):
        ran = run(command, live.desk.path, path, "--format", "json")
        assert ran.status in (0, 1)
        assert_alike(shown["correct" if command == "correct" else "measured"], json.loads(ran.out))
    assert (shown["correct"]["this_piece"] is not None) == bool(bent)
    assert (shown["correct"]["next_piece"] is None) == bool(bent)
    assert shown["said"]["corrections"]["title"].startswith("What is left to do" if bent else "For the next")
    text = run("correct", live.desk.path, path).out.split()
    for row in shown["said"]["corrections"]["rows"]:
        assert set(" ".join(row).split()) <= set(text)


def test_a_record_is_opened_as_it_was_typed_and_saving_it_keeps_what_else_stands_in_it(live: Page) -> None:
    path = folder(live) / "right_rail.yaml"
    before = path.read_text()
    got = live.get("/api/as_bent/record", params={"name": "right_rail.yaml"}).json()
    assert got["draft"]["angles"][2] == {"bend": "3", "reads": "19.5; 19.9"}
    assert got["look"]["measured"] == told(live, got["draft"], name=got["name"], stamp=got["stamp"])["measured"]
    assert saved(live, got["draft"], got["name"], got["stamp"])["stamp"] == got["stamp"]
    assert path.read_text() == before
    got["draft"]["legs"][1]["reads"] = "16 7/8"
    got["draft"]["turns"] = [{"bend": "2", "reads": "180.5"}]
    saved(live, got["draft"], got["name"], got["stamp"])
    wanted = before.replace("reads: 16 13/16}", "reads: 16 7/8}")
    assert path.read_text() == f"{wanted}\nturns:\n  - {{bend: 2, reads: 180.5}}\n"


def test_a_record_that_another_program_changed_is_never_written_over(live: Page) -> None:
    kept = saved(live, DRAFT)
    path = folder(live) / "rail.yaml"
    theirs = path.read_text().replace("15.0", "15.2")
    path.write_text(theirs)
    again = {"draft": DRAFT, "name": "rail.yaml", "stamp": kept["stamp"]}
    assert live.post("/api/as_bent/save", again).status_code == 409
    assert live.post("/api/as_bent/log", {"name": "rail.yaml", "stamp": kept["stamp"]}).status_code == 409
    fresh = live.post("/api/as_bent/save", {**again, "stamp": None})
    assert (fresh.status_code, fresh.json()["problems"][0]["at"]) == (422, ["name"])
    path.unlink()
    assert live.post("/api/as_bent/save", again).status_code == 409
    path.write_text(theirs)
    assert path.read_text() == theirs
    assert saved(live, DRAFT, "Rail, the second")["name"] == "rail_the_second.yaml"


def test_what_cannot_be_read_is_named_where_it_stands_and_the_rest_counts(live: Page) -> None:
    draft = json.loads(json.dumps(DRAFT))
    draft["angles"][0]["reads"] = "abc"
    draft["legs"][2]["reads"] = "3' 4x"
    draft["distances"][0]["to"] = "nowhere"
    draft["table"][1]["at"][0] = "?"
    draft["tools"]["tape"] = "fine"
    draft["bent"] = "9"
    shown = told(live, draft)
    assert {tuple(one["at"]) for one in shown["problems"]} == {
        ("angles", 0, "reads"), ("legs", 2, "reads"), ("distances", 0, "to"), ("table", 1, "at"), ("tools", "tape"),
        ("bent",),
    }  # fmt: skip
    good = {**DRAFT, "tools": {}, "angles": DRAFT["angles"][1:], "legs": DRAFT["legs"][:2],
            "distances": DRAFT["distances"][1:], "table": DRAFT["table"][:1]}  # fmt: skip
    assert shown["measured"]["shape"] == told(live, good)["measured"]["shape"]
    refused = live.post("/api/as_bent/save", {"draft": draft, "name": "bad"})
    assert refused.status_code == 422
    assert ["angles", 0, "reads"] in [one["at"] for one in refused.json()["problems"]]
    assert not (folder(live) / "bad.yaml").exists()


def test_a_reading_that_is_left_out_is_marked_in_its_field(live: Page) -> None:
    got = live.get("/api/as_bent/record", params={"name": "right_rail.yaml"}).json()
    got["draft"]["angles"][1]["reads"] = "41.7"  # 14.7 with two digits swapped
    shown = told(live, got["draft"])
    assert shown["said"]["left_out"] == [["angles", 1]]
    assert any("two digits swapped" in one["says"] and ".yaml" not in one["says"] for one in shown["said"]["findings"])


def test_what_tells_the_most_is_named_with_its_line_in_the_record(live: Page) -> None:
    first = told(live, WHO)
    assert (first["empty"], first["problem"]) == (True, None)
    assert len(first["first"]) == 6
    draft: dict[str, Any] = {**WHO, "angles": [], "legs": [], "distances": []}
    for one in first["first"]:
        planned = one["planned"].split(" ")[0].removesuffix("°")
        draft[one["section"]].append({**one["line"], "reads": planned})
    found = told(live, draft)
    assert found["problems"] == []
    assert all(one["counts"] for one in found["measured"]["readings"])
    assert len(found["measured"]["readings"]) == 6
    rear = told(live, {**WHO, "numbered_from": "rear"})["first"]
    swap = {"0": "4", "1": "3", "2": "2", "3": "1", "4": "0"}
    for a, b in zip(first["first"], rear, strict=True):
        if a["section"] == "legs":
            assert b["line"]["straight"] == swap[a["line"]["straight"]]
    half = told(live, {**WHO, "bent": "2"})["first"]
    assert all("rear end" not in one["line"].values() and "3" not in one["what"] for one in half)


def test_the_piece_is_drawn_as_it_was_bent(live: Page) -> None:
    reads = [{"from": "front end", "to": "rear end", "reads": "158 1/2", "sure_to": "1/64"}]  # the plan says 158
    for times in (1, 10):
        mesh = told(live, {**WHO, "distances": reads}, times=times)["mesh"]
        points = np.frombuffer(b64decode(mesh["points"]), "<f4").reshape(-1, 3)
        assert len(points) == mesh["vertices"]
        assert len(b64decode(mesh["triangles"])) >= 2 * 3 * mesh["count"]
        ends = [points[points[:, 0] < points[:, 0].min() + 5].mean(axis=0),
                points[points[:, 0] > points[:, 0].max() - 5].mean(axis=0)]  # fmt: skip
        off = float(np.linalg.norm(ends[1] - ends[0])) / 25.4 - 158.003
        assert off == pytest.approx(0.5 * times, abs=0.08 * times)
        assert (mesh["times"], mesh["laid_on"]) == (times, "as well as it fits")


def test_bends_go_into_the_record_of_test_bends_as_the_command_line_puts_them(live: Page, tmp_path: Path) -> None:
    other = demo_job(tmp_path / "other")
    record = other.parent / "measured" / "right_rail.yaml"
    stamp = live.get("/api/as_bent/record", params={"name": record.name}).json()["stamp"]
    assert live.get("/api/as_bent").json()["log"] == "test_bends.csv"
    done = live.post("/api/as_bent/log", {"name": record.name, "stamp": stamp})
    assert (done.status_code, done.json()["says"]) == (200, ["4 bends added to test_bends.csv."])
    assert run("correct", other, record, "--log").status == 0
    logs = [(one / "test_bends.csv").read_text() for one in (live.desk.path.parents[1], other.parents[1])]
    assert logs[0] == logs[1]
    assert sum("record " in line["note"] for line in csv.DictReader(logs[0].splitlines())) == 4
    twice = live.post("/api/as_bent/log", {"name": record.name, "stamp": stamp})
    assert (twice.status_code, "already" in twice.json()["error"]) == (422, True)
    answer = json.loads(run("measured", other, record, "--format", "json").out)  # with the bends just added
    shown = live.get("/api/as_bent/record", params={"name": record.name}).json()["look"]
    assert shown["measured"] == answer


def test_saving_and_adding_to_the_test_bends_note_themselves_as_the_command_line_does(
    live: Page, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    kept = saved(live, DRAFT)
    assert kept["said"] == []
    saved(live, DRAFT, "rail.yaml", kept["stamp"])  # the same again is no news
    assert live.post("/api/as_bent/log", {"name": "rail.yaml", "stamp": kept["stamp"]}).status_code == 200
    other = demo_job(tmp_path / "other")
    (other.parent / "measured" / "rail.yaml").write_bytes((folder(live) / "rail.yaml").read_bytes())
    for words in (("measured",), ("correct", "--log")):
        assert run(words[0], other, other.parent / "measured" / "rail.yaml", *words[1:]).status in (0, 1)
    own, theirs = (read_record(record_beside(job)) for job in (live.desk.path, other))
    assert [one.kind for one in own.entries] == ["measured", "corrected"]
    assert [replace(one, at="") for one in own.entries] == [replace(one, at="") for one in theirs.entries]
    shown = live.get("/api/record").json()["entries"]
    assert [(one["kind"], one["part"]) for one in shown] == [
        ("corrected", "side rail right"), ("measured", "side rail right"),
    ]  # fmt: skip

    def refuse(path: Path, entry: Entry) -> bool:
        raise InputError(f"{path}: nothing was recorded (read-only file system); make room or check the folder")

    monkeypatch.setattr(railmodel.app.noted, "append_news", refuse)
    again = saved(live, {**DRAFT, "heat": "13"}, "second")
    assert (folder(live) / "second.yaml").is_file()
    (says,) = again["said"]
    assert "nothing was recorded" in says
    assert "--no-record" not in says


def test_no_name_leads_out_of_the_folder(live: Page, tmp_path: Path) -> None:
    for name in ("../hauler.yaml", "../../shop.yaml", "/etc/passwd", "", "nul\0.yaml", None, 7, ["right_rail.yaml"]):
        assert live.get("/api/as_bent/record", params={"name": str(name)}).status_code == 422
        assert live.post("/api/as_bent/log", {"name": name, "stamp": None}).status_code == 422
    job = live.desk.path.read_bytes()
    assert saved(live, DRAFT, "../hauler.yaml")["name"] == "hauler.yaml"
    assert live.desk.path.read_bytes() == job
    secret = tmp_path / "secret.yaml"
    secret.write_text("part: side rail\nhand: right\nangles: [{bend: 1, reads: 15}]\n")
    (folder(live) / "away.yaml").symlink_to(secret)
    assert live.get("/api/as_bent/record", params={"name": "away.yaml"}).status_code == 422
    assert live.post("/api/as_bent/save", {"draft": DRAFT, "name": "away"}).status_code == 422
    folder(live).rename(tmp_path / "moved")
    folder(live).symlink_to(tmp_path / "moved")
    assert live.get("/api/as_bent").json()["records"] == []
    assert live.post("/api/as_bent/save", {"draft": DRAFT, "name": "new"}).status_code == 422
    assert not (tmp_path / "moved" / "new.yaml").exists()


def test_records_that_do_not_read_are_listed_with_the_reason_and_sheets_are_opened_too(live: Page) -> None:
    (folder(live) / "broken.yaml").write_text("angles: [{bend: 1, reads: x}]\n")
    (folder(live) / "sheet.csv").write_text("what,at,to,reads\npart,,,side rail\nhand,,,right\nangle,bend 1,,15.1\n")
    listed = {one["name"]: one for one in live.get("/api/as_bent").json()["records"]}
    assert "broken.yaml:1:" in listed["broken.yaml"]["problem"]
    assert listed["sheet.csv"]["part"] == "side rail"
    got = live.get("/api/as_bent/record", params={"name": "sheet.csv"}).json()
    assert (got["name"], got["stamp"], got["draft"]["angles"]) == ("sheet.yaml", None, [{"bend": "1", "reads": "15.1"}])


def test_from_elsewhere_one_may_look_at_records_only(tmp_path: Path) -> None:
    with page(demo_job(tmp_path), lan=Lan(port=9001, code="123456"), base="http://192.0.2.7:9001") as live:
        assert live.get("/api/as_bent").status_code == 401
        live.post("/api/code", {"code": "123456"})
        assert live.get("/api/as_bent/record", params={"name": "right_rail.yaml"}).json()["look"]["empty"] is False
        for path in ("look", "save", "log"):
            assert live.post(f"/api/as_bent/{path}", {"draft": DRAFT, "name": "x"}).status_code == 423
    assert Room.__dataclass_fields__["bench"].default is None  # nothing is read before somebody asks


WORDS = st.one_of(
    st.sampled_from(
        ["rail", "right", "1", "-1", "1e308", "20 1/2", "15; 16", ";", "apex 1", "nan", "mm", "99999", "1/0", "*a", "{"]
    ),
    st.text(max_size=8),
)  # fmt: skip
LENGTHS = st.sampled_from(["0", "10", "26 1/2", "28", "4000 ft", "300 ft", "700 mm", "92", "5/0", "28; 27 7/8", "-3"])
ANGLES = st.sampled_from(["0", "7.6", "7.5; 7.8", "15", "180", "360", "361", "-7", "170°"])
SURE = st.sampled_from(["", "", "1/16", "0.3", "1e-9", "1000"])
PLACES = st.sampled_from(["front end", "rear end", "apex 1", "apex 2, top", "end of bend 2", "foot of hanger", "hole"])
NUMBERS = st.sampled_from(["0", "1", "2", "3"])
GOOD = st.fixed_dictionaries(
    {"part": st.just("rail"), "hand": st.sampled_from(["right", "left"])},
    optional={
        "angles": st.lists(st.fixed_dictionaries({"bend": NUMBERS, "reads": ANGLES, "sure_to": SURE}), max_size=3),
        "turns": st.lists(st.fixed_dictionaries({"bend": NUMBERS, "reads": ANGLES, "sure_to": SURE}), max_size=2),
        "legs": st.lists(st.fixed_dictionaries({
            "straight": NUMBERS, "between": st.sampled_from(["", "tangents", "apexes"]), "reads": LENGTHS,
            "sure_to": SURE,
        }), max_size=3),
        "distances": st.lists(st.fixed_dictionaries({"from": PLACES, "to": PLACES, "reads": LENGTHS}), max_size=3),
        "table": st.lists(st.fixed_dictionaries({
            "place": PLACES, "at": st.lists(LENGTHS | st.just(""), min_size=3, max_size=3),
        }), max_size=3),
        "bent": st.sampled_from(["", "0", "1", "2", "3"]), "set": st.sampled_from(["", "as planned", "17"]),
        "numbered_from": st.sampled_from(["", "front", "rear"]), "units": st.sampled_from(["", "in", "mm"]),
    },
)  # fmt: skip
KEYS = st.sampled_from(["part", "bent", "legs", "angles", "table", "set", "tools", "weights", "at", "reads", "hanger"])
WILD = st.recursive(
    WORDS | st.none() | st.integers(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(KEYS, inner, max_size=4),
    max_leaves=8,
)


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Page]:
    with page(small_job(tmp_path_factory.mktemp("bench"))) as found:
        yield found


@settings(max_examples=30)
@given(draft=GOOD | WILD)
def test_any_draft_is_answered_and_one_that_is_kept_reads(small: Page, draft: Any) -> None:
    reply = small.post("/api/as_bent/look", {"draft": draft})
    assert reply.status_code in (200, 422)
    kept = small.post("/api/as_bent/save", {"draft": draft, "name": "any"})
    assert kept.status_code in (200, 422)
    if kept.status_code == 200:
        path = small.desk.path.parent / "measured" / "any.yaml"
        assert run("measured", small.desk.path, path).status in (0, 1)
        path.unlink()
    else:
        assert kept.json()["error"]
