"""Places in a job file that an edit names: read from what a browser sends, and values set there."""

from collections.abc import Mapping
from typing import Any

from railmodel.app.page.typed import nothing, typed
from railmodel.errors import InputError
from railmodel.job.edit import changed, in_file, said
from railmodel.job.edit_lists import Written, flow_text, insert_item, remove_entry
from railmodel.job.yaml_tree import Loc, Tree

LONGEST = 16
"""Steps of a place."""


def place_of(at: Any) -> Loc:
    """Keys and indexes from JSON.

    Raises:
        InputError: anything else.
    """
    if not isinstance(at, list) or not 1 <= len(at) <= LONGEST:
        raise InputError('at: found no place; allowed: a list of keys and indexes such as ["parts", 0, "tube"]')
    for step in at:
        if isinstance(step, bool) or not isinstance(step, str | int) or (isinstance(step, int) and not 0 <= step < 1e6):
            raise InputError("at: found a step that is neither a key nor an index from 0")
    return tuple(at)


def set_at(tree: Tree, changes: Mapping[Loc, Any]) -> Tree:
    """The file with values set, added, or taken out where nothing is given.

    Args:
        tree: the file.
        changes: from places to values as they came from the browser.

    Raises:
        InputError: a place that there is not, or that must be changed by hand.
    """
    plain: dict[Loc, str] = {}
    rest: list[tuple[Loc, Any]] = []
    for loc, value in changes.items():
        if nothing(value) and isinstance(loc[-1], int):
            raise InputError("found nothing; a value belongs here", [(loc, "found nothing; a value belongs here")])
        if not nothing(value) and _whole(tree, loc):
            plain[loc] = flow_text(typed(value))
        else:
            rest.append((loc, value))
    tree = changed(tree, plain) if plain else tree
    for loc, value in sorted(rest, key=lambda change: [str(step) for step in change[0]], reverse=True):
        tree = unset_at(tree, loc) if nothing(value) else _made(tree, loc, typed(value))
    return tree


def unset_at(tree: Tree, place: Loc) -> Tree:
    """The file without a value; as it is where there is none."""
    loc = in_file(tree.root, place)
    return remove_entry(tree, loc) if tree.node(loc)[1] else tree


def _whole(tree: Tree, place: Loc) -> bool:
    """Whether a value can be put there as one piece: it is on one line now, or a key of a mapping that is there."""
    loc = in_file(tree.root, place)
    node, exact = tree.node(loc)
    if exact:
        return node.flow or not isinstance(node.data, dict | list)
    around, there = tree.node(loc[:-1])
    return there and isinstance(around.data, dict) and isinstance(loc[-1], str)


def _made(tree: Tree, place: Loc, value: Any) -> Tree:
    """A value where its surroundings are not there yet, or where lines give way to one.

    Raises:
        InputError: an index that is not there.
    """
    loc = in_file(tree.root, place)
    node, exact = tree.node(loc)
    if exact:
        out = remove_entry(tree, loc)
        if isinstance(loc[-1], int):
            return insert_item(out, loc[:-1], loc[-1], value)
        return changed(out, {loc: flow_text(value)})
    depth = max(k for k in range(len(loc)) if tree.node(loc[:k])[1])
    node, step = tree.node(loc[:depth])[0], loc[depth]
    if isinstance(node.data, list) and node.flow and step in ("die", "radius", "free") and depth == len(loc) - 1:
        short = Written(tree.text[node.start : node.end])  # a point that is only its place
        return changed(tree, {loc[:depth]: flow_text({"at": short, step: value})})
    for inner in reversed(loc[depth + 1 :]):
        if not isinstance(inner, str):
            raise InputError(f"{said(loc)}: no such place in the file; nothing was changed")
        value = {inner: value}
    if node.data is None and depth:
        return changed(tree, {loc[:depth]: flow_text({step: value})})
    return changed(tree, {loc[: depth + 1]: flow_text(value)})
