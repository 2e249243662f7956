"""A value swapped into a file that is read already gives what reading the changed file gives, place for place."""

from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from railmodel.job.edit import changed, yaml_text
from railmodel.job.swap import Swap, swapped
from railmodel.job.yaml_tree import Loc, Node, Tree, read_tree

HAULER = (Path(__file__).resolve().parents[2] / "demo_jobs/hillside_hauler/hauler.yaml").read_bytes()
TREE = read_tree(HAULER, "hauler.yaml")


def leaves(node: Node, loc: Loc = ()) -> list[Loc]:
    if not node.items:
        return [loc] if not isinstance(node.data, dict | list) else []
    return [found for step, child in node.items.items() for found in leaves(child, (*loc, step))]


PLACES = leaves(TREE.root)
VALUES = st.one_of(
    st.sampled_from(["25 1/2", "0", "-4.50", "true", "3' 6 1/2\"", "a: b", "x # y", "[", "é", "12 mm", "*v", "- 1"]),
    st.integers(-10**6, 10**6).map(str),
    st.text(max_size=12),
)


def same(one: Node, other: Node, at: Loc = ()) -> None:
    shape = ("line", "column", "start", "end", "style", "flow", "size", "data")
    assert [getattr(one, name) for name in shape] == [getattr(other, name) for name in shape], at
    assert list(one.items) == list(other.items)
    for step, child in one.items.items():
        same(child, other.items[step], (*at, step))
    for step, key in one.keys.items():
        same(key, other.keys[step], (*at, step))


@given(st.dictionaries(st.sampled_from(PLACES), VALUES, min_size=1, max_size=4))
def test_every_value_stands_where_a_full_reading_finds_it(values: dict[Loc, str]) -> None:
    changes = {loc: yaml_text(value) for loc, value in values.items()}
    found = changed(TREE, changes)
    read = read_tree(found.text.encode(), "hauler.yaml")
    same(found.root, read.root)


def swap_of(tree: Tree, loc: Loc, text: str) -> Swap:
    return Swap(*tree.node(loc), read_tree(f"- {text}".encode(), "new").root.items[0], text)


@pytest.mark.parametrize(
    ("text", "loc", "new"),
    [
        ("a: &v 1\nb: *v\n", ("a",), "2"),
        ("a: {x: 1}\n", ("a", "x"), "b, c"),
        ("a: |\n  x\n", ("a",), "2"),
        ("a:\nb: 1\n", ("a",), "2"),
        ("a: [1, 2]\n", ("a",), "2"),
        ("a: 1\n", ("a",), "[2]"),
        ("a: b\n  c\n", ("a",), "2"),
    ],
)
def test_what_takes_a_full_reading_is_left_to_one(text: str, loc: Loc, new: str) -> None:
    tree = read_tree(text.encode(), "f")
    assert swapped(tree, [swap_of(tree, loc, new)]) is None


def test_a_swap_reads_nothing_but_the_new_value(monkeypatch: pytest.MonkeyPatch) -> None:
    import railmodel.job.edit as edit

    sizes: list[int] = []

    def counting(data: bytes, name: str) -> Any:
        sizes.append(len(data))
        return read_tree(data, name)

    monkeypatch.setattr(edit, "read_tree", counting)
    changed(TREE, {("parts", 0, "points", 1, "at", 2): "25.5"})
    assert sizes == [len("- 25.5")]
