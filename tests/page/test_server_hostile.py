"""Whatever comes in, the server answers with a job that is still good, or with a sentence and no change."""

import json
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from live import BASE, PORT, Page, Z, page, small_job

from railmodel.app.page.guard import Lan
from railmodel.job.reader import job_from

BODIES = 10_000 if os.environ.get("CI") == "true" else 300


@pytest.fixture(scope="module")
def live(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Page]:
    with page(small_job(tmp_path_factory.mktemp("hostile"))) as found:
        yield found


WORDS = st.sampled_from([
    "parts", "points", "at", "tubes", "main", "wall", "rail", "keep_clear", "shape", "moves", "fit_points", "gap",
    "want", "units", "shop", "free", "z", "die", "radius", "corner", "name", "hand", "cylinder", "from", "to", "axle",
])  # fmt: skip
STEPS = st.one_of(WORDS, st.integers(-2, 5), st.text(max_size=4), st.none(), st.floats())
PLACES = st.one_of(
    st.lists(STEPS, max_size=7),
    st.sampled_from([
        Z, ["parts", 0, "points", 1], ["parts", 0, "points"], ["tubes", "main"], ["parts", 0], ["units"],
        ["keep_clear", 0, "moves"], ["fit_points", 0, "gap"], ["parts", 0, "hand"], ["parts", 0, "points", 1, "free"],
        ["keep_clear", 0, "shape"],
    ]),
)  # fmt: skip
TYPED = st.one_of(
    st.sampled_from(["1e308", "99999", "-0", "1/0", "nan", "-20", "0", "20 1/2", "100 m", "pair", "*a", "&a"]),
    st.text(max_size=12),
)  # fmt: skip
VALUES = st.recursive(
    st.one_of(TYPED, st.booleans(), st.none(), st.integers(), st.floats()),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(WORDS | st.text(max_size=5), inner, max_size=4),
    max_leaves=8,
)  # fmt: skip
KINDS = [
    "set", "set_many", "unset", "insert", "remove", "move", "rename", "add_tube", "add_part", "add_point", "drag",
    "shop",
]  # fmt: skip
OPS = st.fixed_dictionaries(
    {"op": st.one_of(st.sampled_from(KINDS), st.text(max_size=3))},
    optional={
        "at": PLACES, "value": VALUES, "index": VALUES, "part": st.integers(-1, 2), "point": st.integers(-1, 5),
        "to": st.one_of(VALUES, st.lists(st.floats(), min_size=3, max_size=3)), "after": st.integers(-1, 5),
        "name": TYPED, "tube": WORDS, "height": TYPED, "width": TYPED,
        "what": WORDS, "from": TYPED, "hand": TYPED, "way": TYPED, "file": TYPED,
        "wall": TYPED, "changes": st.lists(st.fixed_dictionaries({"at": PLACES, "value": VALUES}), max_size=3),
    },
)  # fmt: skip


def good(live: Page, status: int, body: dict[str, Any]) -> None:
    """The job is one that reads, or it was refused with a sentence."""
    if status == 200:
        job_from(live.desk.store.data, live.desk.path)
        assert body["rev"] == live.desk.store.rev
    else:
        assert 400 <= status < 500
        assert body["error"]


@pytest.mark.long
@settings(max_examples=BODIES)
@given(op=OPS)
def test_any_edit_is_made_or_refused_with_a_sentence(live: Page, op: dict[str, Any]) -> None:
    before = live.desk.store.data
    content = json.dumps({"rev": live.desk.store.rev, "op": op})
    reply = live.ask("POST", "/api/edit", content=content, headers={"content-type": "application/json"})
    good(live, reply.status_code, reply.json())
    if reply.status_code != 200:
        assert live.desk.store.data == before
    elif live.desk.store.rev % 5 == 0:
        while live.desk.store.undoes:
            assert live.post("/api/undo", {"rev": live.desk.store.rev}).status_code == 200


@settings(max_examples=60)
@given(body=st.one_of(st.binary(max_size=60), VALUES.map(lambda value: json.dumps(value).encode())))
@pytest.mark.parametrize(
    "path",
    [
        "/api/edit", "/api/undo", "/api/outside", "/api/write", "/api/solve/accept", "/api/as_bent/look",
        "/api/as_bent/save", "/api/as_bent/log", "/api/record",
    ],
)  # fmt: skip
def test_any_body_is_answered_with_a_sentence(live: Page, path: str, body: bytes) -> None:
    reply = live.ask("POST", path, content=body, headers={"content-type": "application/json"})
    assert 400 <= reply.status_code < 500
    assert reply.json()["error"]


@pytest.mark.parametrize(
    ("body", "status"),
    [
        (b"[" * 100_000, 400), (b'{"a":' * 50_000, 400), (b'"' + b"x" * 500_000 + b'"', 413), (b"\xff\xfe", 400),
        (b"", 400),
    ],
)
def test_bodies_made_to_hurt_are_refused(live: Page, body: bytes, status: int) -> None:
    reply = live.ask("POST", "/api/edit", content=body, headers={"content-type": "application/json"})
    assert reply.status_code == status


@given(query=st.fixed_dictionaries({}, optional={
    "part": st.text(max_size=6), "hand": st.sampled_from(["left", "x"]), "end": st.text(max_size=3),
    "have": st.text(max_size=9),
    "shape": st.integers(-1, 3).map(str) | st.text(max_size=3), "at": st.text(max_size=8), "track": st.text(max_size=3),
    "name": st.text(max_size=8),
}))  # fmt: skip
@pytest.mark.parametrize(
    "path", ["/api/rehearsal", "/api/travel", "/api/mesh", "/api/state", "/api/as_bent/record", "/api/record"]
)
def test_any_question_is_answered(live: Page, path: str, query: dict[str, str]) -> None:
    assert live.get(path, params=query).status_code < 500


@pytest.mark.parametrize(
    "path",
    [
        "/static/../desk.py", "/static/%2e%2e/desk.py", "/static/..%2fdesk.py", "/static/viewer/%2e%2e/mesh.py",
        "/files/0/../cart.yaml", "/files/0/%2e%2e%2fcart.yaml", "/files/0//etc/passwd", "/files/0/cart.yaml",
        "/static//etc/passwd", "/static/%5c..%5cdesk.py", "/../../etc/passwd", "/files/999999999999999999999/x",
        "/static/", "/api", "/%00",
    ],
)  # fmt: skip
def test_no_path_leads_out(live: Page, path: str) -> None:
    reply = live.get(path)
    assert reply.status_code in (404, 405)
    assert reply.json()["error"]


OWN = {"host": f"127.0.0.1:{PORT}"}


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({"host": "evil.example"}, 403),
        ({"host": f"evil.example:{PORT}"}, 403),
        ({"host": "127.0.0.1:1"}, 403),
        ({"host": "127.0.0.1"}, 403),
        ({"host": "["}, 403),
        ({"origin": "http://evil.example"}, 403),
        ({"origin": "null"}, 403),
        ({"origin": f"https://127.0.0.1:{PORT}"}, 403),
        ({"origin": "http://127.0.0.1:1"}, 403),
        ({"sec-fetch-site": "cross-site"}, 403),
        ({"sec-fetch-site": "same-site"}, 403),
        ({"sec-fetch-site": "cross-site", "sec-fetch-mode": "navigate"}, 403),
        ({"content-type": "text/plain"}, 415),
        ({"content-type": "application/x-www-form-urlencoded"}, 415),
        ({"content-type": "multipart/form-data; boundary=x"}, 415),
        ({"content-type": "text/plain; application/json"}, 415),
        ({"content-type": ""}, 415),
    ],
)
def test_other_sites_change_nothing(live: Page, headers: dict[str, str], status: int) -> None:
    before = live.desk.key
    content = json.dumps({"rev": live.desk.store.rev, "op": {"op": "set", "at": Z, "value": "19"}})
    reply = live.ask("POST", "/api/edit", content=content, headers={"content-type": "application/json", **headers})
    assert reply.status_code == status
    assert reply.json()["error"]
    assert live.desk.key == before


@pytest.mark.parametrize("path", ["/api/state", "/api/mesh", "/events", "/files/0/x", "/api/here", "/static/page.css"])
@pytest.mark.parametrize(
    "headers", [{"host": "evil.example"}, {"sec-fetch-site": "cross-site"}, {"origin": "http://evil.example"}]
)
def test_other_sites_read_nothing(live: Page, path: str, headers: dict[str, str]) -> None:
    assert live.get(path, headers=headers).status_code == 403


def test_the_page_may_be_visited_from_anywhere_but_not_held_in_a_frame(live: Page) -> None:
    visit = {"sec-fetch-site": "cross-site", "sec-fetch-mode": "navigate", "sec-fetch-dest": "document"}
    reply = live.get("/", headers=visit)
    assert reply.status_code == 200
    assert "frame-ancestors 'none'" in reply.headers["content-security-policy"]
    assert "unsafe" not in reply.headers["content-security-policy"]
    assert live.get("/api/state", headers={**OWN, "origin": BASE, "sec-fetch-site": "same-origin"}).status_code == 200


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "OPTIONS", "TRACE"])
def test_other_kinds_of_requests_are_refused(live: Page, method: str) -> None:
    assert live.ask(method, "/api/state").status_code in (405, 415)


def test_from_elsewhere_one_may_look_with_the_code_and_only_look(tmp_path: Path) -> None:
    lan = Lan(port=9001, code="123456")
    far = "http://192.0.2.7:9001"
    with page(small_job(tmp_path), lan=lan, base=far) as live:
        assert live.get("/api/state").status_code == 401
        assert live.get("/api/here").status_code == 404
        assert live.get("/").headers["location"] == "/code"
        assert live.get("/code").status_code == 200
        assert live.post("/api/code", {"code": "000000"}).status_code == 403
        assert live.post("/api/code", {"code": "123456"}).status_code == 200
        state = live.state()
        assert (state["readonly"], state["job"]["folder"]) == (True, "")
        assert live.get("/api/mesh").status_code == 200
        assert live.set(Z, "21").status_code == 423
        for path in ("/api/undo", "/api/solve", "/api/write", "/api/outside", "/api/open", "/api/record"):
            assert live.post(path, {}).status_code == 423
        assert live.get("/api/state", headers={"host": "name.example:9001"}).status_code == 403
        assert live.desk.store.rev == 0


def test_after_ten_wrong_codes_none_is_taken(tmp_path: Path) -> None:
    lan = Lan(port=9001, code="123456")
    with page(small_job(tmp_path), lan=lan, base="http://192.0.2.7:9001") as live:
        said = [live.post("/api/code", {"code": code}).status_code for code in [*map(str, range(9)), None, "123456"]]
        assert said == [*[403] * 9, 429, 429]
        assert live.get("/api/state").status_code == 401
