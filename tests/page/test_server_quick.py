"""Edits are made without reading the whole job again; what comes of them is what a whole reading gives."""

from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from live import Page, demo_job, page

from railmodel.app.page.mesh_bank import part_key
from railmodel.app.page.scene import rails_only
from railmodel.frame import build_frame
from railmodel.job.reader import job_from
from railmodel.job.yaml_tree import Loc, Node

TYPED = st.sampled_from(
    ["20 1/2", "19", "24.50", "3/16", "8", "0", "-3", "1e3", "15 mm", "2' 1\"", "main", "cross", "hard 10", "top",
     "pair", "single", "rear", "a: b", "#", "", "30", "abc", "true", "inboard"]
)  # fmt: skip


def leaves(node: Node, loc: Loc = ()) -> list[Loc]:
    if not node.items:
        return [] if isinstance(node.data, dict | list) else [loc]
    return [found for step, child in node.items.items() for found in leaves(child, (*loc, step))]


@pytest.fixture(scope="module")
def live(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Page]:
    with page(demo_job(tmp_path_factory.mktemp("quick"))) as found:
        yield found


@given(edits=st.lists(st.tuples(st.integers(0, 10**6), TYPED), min_size=1, max_size=3))
def test_after_any_edits_the_job_is_what_its_text_says(live: Page, edits: list[tuple[int, str]]) -> None:
    store = live.desk.store
    while store.undoes:
        store.undo(store.rev)
    for number, value in edits:
        places = leaves(store.source.tree.root)
        op: dict[str, Any] = {"op": "set", "at": list(places[number % len(places)]), "value": value}
        assert live.edit(op).status_code in (200, 422)
    whole = job_from(store.data, store.path)
    assert whole.job == store.source.job
    assert (whole.digest, whole.tree.root) == (store.source.digest, store.source.tree.root)
    parts = build_frame(rails_only(whole)).parts
    assert [part_key(part) for part in parts] == store.view.keys
