"""Entries put in, taken out and moved: what the file then says, and that no other line has changed."""

from difflib import ndiff
from pathlib import Path

import pytest

from railmodel.errors import InputError
from railmodel.job.edit_lists import Written, insert_item, move_item, remove_entry
from railmodel.job.reader import job_from
from railmodel.job.yaml_tree import Loc, Node, Tree, read_tree

DEMO = Path(__file__).resolve().parents[2] / "demo_jobs"
JOBS = sorted(DEMO.glob("*/*.yaml"))
FILE = """\
# head
a:            # of a
  - {x: 1}    # first
  # between
  - y: 2      # second
    z: [1, 2, 3]   # of z
  - 3
b: {p: 1, q: 2}   # of b
c:
  k: 1   # of k
  l: 2
d: []
"""


def tree_of(text: str) -> Tree:
    return read_tree(text.encode(), "f")


def diff(old: str, new: str) -> list[str]:
    return [line for line in ndiff(old.splitlines(), new.splitlines()) if line[0] in "+-"]


@pytest.mark.parametrize(
    ("place", "index", "value", "wanted"),
    [
        (("a",), 0, {"x": 0}, ["+   - {x: 0}"]),
        (("a",), None, {"n": Written("4 1/2")}, ["+   - {n: 4 1/2}"]),
        (("a",), 1, 7, ["+   - 7"]),
        (("a", 1, "z"), 1, Written("1/2"), ["-     z: [1, 2, 3]   # of z", "+     z: [1, 1/2, 2, 3]   # of z"]),
        (("a", 1, "z"), 3, 4, ["-     z: [1, 2, 3]   # of z", "+     z: [1, 2, 3, 4]   # of z"]),
        (("d",), None, 1, ["- d: []", "+ d: [1]"]),
        (("e",), None, {"x": 1}, ["+ ", "+ e:", "+   - {x: 1}"]),
        (("b", "r"), None, 1, ["- b: {p: 1, q: 2}   # of b", "+ b: {p: 1, q: 2, r: [1]}   # of b"]),
    ],
)
def test_an_item_goes_in_and_nothing_else_changes(
    place: Loc, index: int | None, value: object, wanted: list[str]
) -> None:
    found = insert_item(tree_of(FILE), place, index, value)
    assert diff(FILE, found.text) == wanted


@pytest.mark.parametrize(
    ("place", "gone"),
    [
        (("a", 0), ["-   - {x: 1}    # first"]),
        (("a", 1), ["-   - y: 2      # second", "-     z: [1, 2, 3]   # of z"]),
        (("a", 2), ["-   - 3"]),
        (("a", 1, "y"), ["-   - y: 2      # second", "-     z: [1, 2, 3]   # of z", "+   - z: [1, 2, 3]   # of z"]),
        (("a", 1, "z", 2), ["-     z: [1, 2, 3]   # of z", "+     z: [1, 2]   # of z"]),
        (("a", 1, "z", 0), ["-     z: [1, 2, 3]   # of z", "+     z: [2, 3]   # of z"]),
        (("b", "p"), ["- b: {p: 1, q: 2}   # of b", "+ b: {q: 2}   # of b"]),
        (("c", "k"), ["-   k: 1   # of k"]),
        (("c",), ["- c:", "-   k: 1   # of k", "-   l: 2"]),
        (("d",), ["- d: []"]),
    ],
)
def test_an_entry_goes_out_and_nothing_else_changes(place: Loc, gone: list[str]) -> None:
    assert sorted(diff(FILE, remove_entry(tree_of(FILE), place).text)) == sorted(gone)


def test_a_list_left_empty_goes_with_its_last_item() -> None:
    assert remove_entry(tree_of("a: 1\nb:\n  - x: 1\n"), ("b", 0)).root.data == {"a": 1}


def test_items_change_places() -> None:
    assert move_item(tree_of(FILE), ("a", 1, "z", 0), 2).root.data["a"][1]["z"] == [2, 3, 1]
    assert move_item(tree_of(FILE), ("a", 2), 0).root.data["a"] == [3, {"x": 1}, {"y": 2, "z": [1, 2, 3]}]


@pytest.mark.parametrize("place", [("a", 9), ("x", "y"), ("b", "z"), ()])
def test_what_is_not_there_is_a_sentence(place: Loc) -> None:
    with pytest.raises(InputError, match="no such place"):
        remove_entry(tree_of(FILE), place)


def items(node: Node, loc: Loc = ()) -> list[Loc]:
    own = [(*loc, step) for step in node.items]
    return own + [found for step, child in node.items.items() for found in items(child, (*loc, step))]


@pytest.mark.parametrize("path", JOBS, ids=lambda path: path.stem)
def test_every_entry_of_a_real_job_goes_out_or_is_a_sentence(path: Path) -> None:
    tree = read_tree(path.read_bytes(), path.name)
    done, refused = 0, []
    for loc in items(tree.root)[::17]:
        try:
            found = remove_entry(tree, loc)
        except InputError as error:
            refused.append(str(error))
            continue
        done += 1
        added = [line for line in diff(tree.text, found.text) if line[0] == "+"]
        assert len(added) <= 1
    assert done
    assert [said for said in refused if "by hand" not in said and "only value" not in said] == []


def test_a_new_part_is_written_as_people_write_one() -> None:
    path = DEMO / "hillside_hauler" / "hauler.yaml"
    value = {"name": "brace", "tube": "main", "points": [[0, 0, 10], [30, 0, Written("10 1/2")]]}
    found = insert_item(read_tree(path.read_bytes(), path.name), ("parts",), None, value)
    assert "  - name: brace\n    tube: main\n    points:\n      - [0, 0, 10]\n      - [30, 0, 10 1/2]\n" in found.text
    assert [part.name for part in job_from(found.text.encode(), path).job.parts][-1] == "brace"
