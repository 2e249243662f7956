"""Edits of every kind: what the job then says, that comments stay, and that a bad one changes nothing else."""

from difflib import ndiff
from pathlib import Path
from typing import Any

import pytest
from commands import run
from live import Page, Z, demo_job, page, small_job

from exporters.bend_table import table_of
from railmodel.frame import build_frame
from railmodel.job.reader import job_from, read_job

OPS: list[tuple[dict[str, Any], list[str]]] = [
    ({"op": "set", "at": Z, "value": "20 1/2"}, ["20 1/2"]),
    ({"op": "set", "at": ["parts", 0, "points", 0, "at", 1], "value": "15.50"}, ["15.50"]),
    ({"op": "set", "at": ["tubes", "main", "wall"], "value": "1/4"}, ["wall: 1/4"]),
    ({"op": "set", "at": ["parts", 0, "leading_end"], "value": "rear"}, ["leading_end: rear"]),
    ({"op": "set", "at": ["parts", 0, "points", 2, "die"], "value": ""}, ["{at: [50, 15, 24]}"]),
    ({"op": "unset", "at": ["tubes", "main", "corner"]}, ["{height: 3, width: 2, wall: 3/16}"]),
    ({"op": "set", "at": ["fit_points", 0, "gap", "want"], "value": "2 1/8"}, ["want: 2 1/8"]),
    ({"op": "set", "at": ["keep_clear", 0, "moves", "up"], "value": "3"}, ["up: 3"]),
    ({"op": "set", "at": ["keep_clear", 0, "mirror"], "value": True}, ["mirror: true"]),
    ({"op": "set", "at": ["joints"], "value": [{"between": ["rail.front", "rail.rear"], "gap": "1/16"}]},
     ["joints: [{between: [rail.front, rail.rear], gap: 1/16}]"]),
    ({"op": "insert", "at": ["crossmembers"], "value": {"name": "x", "tube": "main", "between": ["rail"], "x": "70"}},
     ["  - {name: x, tube: main, between: [rail], x: 70}"]),
    ({"op": "insert", "at": ["parts", 0, "points"], "index": 3, "value": {"at": ["70", "15", "26"]}},
     ["- {at: [70, 15, 26]}"]),
    ({"op": "remove", "at": ["parts", 0, "points", 1]}, []),
    ({"op": "move", "at": ["parts", 0, "points", 1], "to": 2}, []),
    ({"op": "rename", "what": "part", "from": "rail", "to": "main rail"}, ["name: main rail", "part: main rail"]),
    ({"op": "rename", "what": "tube", "from": "main", "to": "3 x 2"}, ['"3 x 2": {', 'tube: "3 x 2"']),
    ({"op": "add_tube", "name": "thin", "height": "2", "width": "2", "wall": "1/8", "corner": ""},
     ["thin: {height: 2, width: 2, wall: 1/8}"]),
    ({"op": "add_part", "name": "new", "tube": "main", "hand": "pair", "way": "points"}, ["- name: new"]),
    ({"op": "add_part", "name": "new", "tube": "main", "hand": "single", "way": "path"}, ["- {straight: 60}"]),
    ({"op": "add_part", "name": "new", "tube": "main", "hand": "single", "way": "rows"}, ["rows: []"]),
    ({"op": "add_point", "part": 0, "after": 2}, ["- {at: [70, 15, 28]}"]),
    ({"op": "drag", "part": 0, "point": 1, "to": [30.03, None, 19.47]}, ["[30, 15, 19 1/2]"]),
    ({"op": "set_many", "changes": [{"at": Z, "value": "21"}, {"at": ["revision"], "value": "B"}]},
     ["15, 21]", "revision: B"]),
]  # fmt: skip


@pytest.mark.parametrize(("op", "lines"), OPS, ids=lambda value: value["op"] if isinstance(value, dict) else "")
def test_an_edit_is_in_the_job_and_can_be_taken_back(tmp_path: Path, op: dict[str, Any], lines: list[str]) -> None:
    with page(small_job(tmp_path)) as live:
        before = live.desk.store.data
        reply = live.edit(op)
        assert reply.status_code == 200, reply.json()["error"]
        after = live.desk.store.data
        assert after != before
        assert (reply.json()["rev"], bool(reply.json()["undo"])) == (1, True)
        assert [line for line in lines if line not in after.decode()] == []
        job_from(after, live.desk.path)
        comments = [line.partition("#")[2] for line in before.decode().splitlines() if "#" in line]
        if op["op"] not in ("remove", "move"):
            assert [said for said in comments if said not in after.decode()] == []
        undone = live.post("/api/undo", {"rev": 1}).json()
        assert live.desk.store.data == before
        assert (undone["rev"], undone["undo"]) == (2, None)
        live.post("/api/redo", {"rev": 2})
        assert live.desk.store.data == after


BAD: list[tuple[dict[str, Any], list[Any] | None, str]] = [
    ({"op": "set", "at": Z, "value": "abc"}, ["parts", 0, "points", 1, "at"], 'found "abc"; allowed: a length'),
    ({"op": "set", "at": Z, "value": " "}, Z, "found nothing; a value belongs here"),
    ({"op": "remove", "at": ["parts", 0]}, None, '"rail" is still named by fit point "hanger"; take that out'),
    ({"op": "set", "at": ["parts", 0, "tube"], "value": "mian"}, ["parts", 0, "tube"], "allowed: main"),
    ({"op": "set", "at": ["tubes", "main", "wall"], "value": "-1"}, ["tubes", "main", "wall"], "above 0"),
    ({"op": "set", "at": ["parts", 0, "points", 0, "die"], "value": "hard 7"}, ["parts", 0, "points"], "end point"),
    ({"op": "set", "at": ["parts", 0, "colour"], "value": "red"}, ["parts", 0, "colour"], "unknown key"),
    ({"op": "set", "at": ["parts", 9, "tube"], "value": "main"}, None, "no such place"),
    ({"op": "unset", "at": ["units"]}, [], "units is missing"),
    ({"op": "remove", "at": ["tubes", "main"]}, None, '"main" is still named by part "rail"; take that out'),
    ({"op": "drag", "part": 0, "point": 9, "to": [1, 2, 3]}, None, "no such point"),
    ({"op": "drag", "part": 0, "point": 1, "to": ["1", 2, 3]}, None, "no length"),
    ({"op": "rename", "what": "part", "from": "rail", "to": ""}, None, "to: found no text"),
    ({"op": "fly"}, None, "no edit of a known kind"),
    ({"op": "shop", "file": "/etc/passwd"}, ["shop"], "outside the job's folder"),
    ({"op": "set", "at": ["shop"], "value": "../../shop.yaml"}, ["shop"], "outside the job's folder"),
    ({"op": "set", "at": ["keep_clear", 0, "shape"], "value": {"mesh": "/etc/hosts", "units": "mm"}},
     ["keep_clear", 0, "shape", "mesh"], "outside the job's folder"),
]  # fmt: skip


@pytest.mark.parametrize(("op", "at", "says"), BAD)
def test_a_bad_edit_says_why_beside_its_field_and_changes_nothing(
    tmp_path: Path, op: dict[str, Any], at: list[Any] | None, says: str
) -> None:
    with page(small_job(tmp_path)) as live:
        before, key = live.desk.store.data, live.desk.key
        reply = live.edit(op)
        assert reply.status_code == 422
        problem = reply.json()["problems"][0]
        assert problem["at"] == at
        assert says in problem["says"]
        assert (live.desk.store.data, live.desk.key, live.desk.store.undoes) == (before, key, [])


@pytest.mark.parametrize(
    ("what", "old", "new"),
    [
        ("part", "side rail", "long rail"), ("crossmember", "front crossmember", "nose tube"),
        ("fit point", "cab mount", "cab foot"), ("fit point", "rear axle centre", "rear hanger"),
    ],
)  # fmt: skip
def test_a_new_name_is_carried_into_the_loads(tmp_path: Path, what: str, old: str, new: str) -> None:
    path = demo_job(tmp_path)
    before = run("carry", path)
    with page(path) as live:
        assert live.edit({"op": "rename", "what": what, "from": old, "to": new}).status_code == 200
        path.write_bytes(live.desk.store.data)
    after = run("carry", path)
    assert (after.status, after.err) == (before.status, before.err) == (0, "")
    names = [line for line in path.read_text(encoding="utf-8").splitlines() if " on: [" in line or " at: [" in line]
    assert not any(f"[{old}" in line or f", {old}" in line for line in names)


def test_an_edit_on_an_older_job_is_refused_with_the_newest_one(tmp_path: Path) -> None:
    with page(small_job(tmp_path)) as live:
        live.set(Z, "21")
        reply = live.edit({"op": "set", "at": Z, "value": "22"}, rev=0)
        assert reply.status_code == 409
        assert reply.json()["state"]["rev"] == 1
        assert reply.json()["state"]["written"]["parts"][0]["points"][1]["at"][2] == "21"


def test_nothing_is_done_twice_or_counted_where_nothing_changes(tmp_path: Path) -> None:
    with page(small_job(tmp_path)) as live:
        assert live.set(Z, "20").json()["rev"] == 0
        assert live.post("/api/undo", {"rev": 0}).json()["rev"] == 0


def test_what_is_shown_is_what_the_command_line_prints(tmp_path: Path) -> None:
    with page(demo_job(tmp_path)) as live:
        live.set(["parts", 0, "points", 2, "at", 2], "18 3/8")
        state = live.state()
        live.desk.saver.save(live.desk.store.data)
        frame = build_frame(read_job(live.desk.path))
        wanted = {p.label: table_of(p, job=frame.job.job, revision=frame.job.revision, unit="in") for p in frame.parts}
        shown = {part["id"]: part["table"] for part in state["parts"]}
        assert shown == {label: wanted[label] for label in shown}
        assert set(shown) == {"side rail right", "side rail left", "rear cap"}


def test_a_number_of_edits_on_the_hauler_touches_their_lines_and_no_others(tmp_path: Path) -> None:
    path = demo_job(tmp_path)
    before = path.read_text(encoding="utf-8")
    with page(path) as live:
        live.set(["parts", 0, "points", 2, "at", 2], "18 3/8")
        live.set(["keep_clear", 3, "gap"], "1 1/4")
        live.edit({"op": "drag", "part": 0, "point": 3, "to": [71.3, None, None]})
        live.desk.saver.save(live.desk.store.data)
    lines = ndiff(before.splitlines(), path.read_text(encoding="utf-8").splitlines())
    assert [line[2:].strip()[:44] for line in lines if line[0] == "+"] == [
        "- {at: [30, 15, 18 3/8], die: hard 7}       ",
        "- {at: [71 5/16, 15, 19], die: hard 7}",
        "- {name: front axle beam, shape: {box: {at: ",
    ]


@pytest.mark.parametrize("name", ["lake_trailer/trailer", "hay_rack/hay_rack", "cannot_bend/cannot_bend"])
def test_every_demo_job_opens(tmp_path: Path, name: str) -> None:
    with page(demo_job(tmp_path, f"{name}.yaml")) as live:
        state = live.state()
        assert state["written"]["job"]
        assert live.set(["revision"], "Q").status_code == 200


def shown_points(live: Page) -> Any:
    return live.state()["parts"][0]["corners"]


def test_corners_that_can_be_dragged_are_the_points_as_written(tmp_path: Path) -> None:
    with page(small_job(tmp_path)) as live:
        assert shown_points(live) == [[0, 15, 20], [30, 15, 20], [50, 15, 24], [90, 15, 24]]
        assert [part["drag"] for part in live.state()["parts"]] == [True, False]


@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
@pytest.mark.parametrize("newline", [b"\n", b"\r\n"])
def test_line_ends_and_byte_order_mark_stay(tmp_path: Path, mark: bytes, newline: bytes) -> None:
    path = small_job(tmp_path)
    before = mark + path.read_bytes().replace(b"\n", newline)
    path.write_bytes(before)
    with page(path) as live:
        live.set(Z, "21")
        live.edit({"op": "insert", "at": ["plumb"], "value": {"part": "rail", "x": "10"}})
        assert live.edit({"op": "add_part", "name": "new", "tube": "main", "way": "points"}).status_code == 200
        live.desk.saver.save(live.desk.store.data)
        saved = path.read_bytes()
        assert saved.startswith(mark)
        assert saved.count(newline) == saved.count(b"\n")
        while live.desk.store.undoes:
            live.post("/api/undo", {"rev": live.desk.store.rev})
        assert live.desk.store.data == before
