"""Whole entries put into a job file, taken out and moved; every other line stays byte for byte as it was.

What is written is read back and held against what it should say before anybody sees it.
"""

from collections.abc import Mapping
from typing import Any

from railmodel.errors import InputError
from railmodel.job.edit import Splice, changed, end_of, in_file, said, spliced, with_value, yaml_text
from railmodel.job.yaml_tree import Loc, Node, Tree, read_tree

_WIDE = 96
"""A value longer than this is broken into lines of its own, characters."""


def flow_text(value: Any) -> str:
    """A value as it is written on one line; text that is a `Written` goes in as it is.

    >>> flow_text({"at": [1, Written("4 1/2")], "die": "hard 7"})
    '{at: [1, 4 1/2], die: hard 7}'
    """
    if isinstance(value, Written):
        return str(value)
    if (raw := getattr(value, "raw", None)) is not None:
        return str(raw)
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{yaml_text(key)}: {flow_text(item)}" for key, item in value.items()) + "}"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(map(flow_text, value)) + "]"
    return yaml_text(value)


class Written(str):
    """Text that is YAML already, such as `4 1/2` or `24.50`."""

    __slots__ = ()


def insert_item(tree: Tree, place: Loc, index: int | None, value: Any) -> Tree:
    """The file with an item put into a list; a list that is not there is made.

    Args:
        tree: the file.
        place: of the list.
        index: before which item; None or past the last = at the end.
        value: the item.

    Raises:
        InputError: there is no such place, or it is no list, or it must be done by hand.
    """
    loc = in_file(tree.root, place)
    around, exact = tree.node(loc)
    text = flow_text(value)
    if not exact or around.data is None:
        return _new_list(tree, loc, text)
    if not isinstance(around.data, list):
        raise InputError(f"{said(loc)}: found no list; nothing was changed")
    count = len(around.items)
    at = count if index is None else min(max(index, 0), count)
    data = with_value(tree.root.data, loc, [*around.data[:at], _read(text, loc), *around.data[at:]])
    if around.flow:
        if not count:
            splice = (around.end - 1, around.end - 1, text)
        elif at < count:
            splice = (around.items[at].start, around.items[at].start, f"{text}, ")
        else:
            splice = (around.items[count - 1].end, around.items[count - 1].end, f", {text}")
    else:
        splice = _line_in(tree, around, at, value)
    return spliced(tree, [splice], data, [loc])


def remove_entry(tree: Tree, place: Loc) -> Tree:
    """The file without an item of a list or a key of a mapping; a list left empty goes with its last item.

    Raises:
        InputError: there is no such place, or it must be done by hand.
    """
    loc = in_file(tree.root, place)
    node, exact = tree.node(loc)
    if not loc or not exact:
        raise InputError(f"{said(loc)}: no such place in the file; nothing was changed")
    around, _ = tree.node(loc[:-1])
    if len(around.items) == 1 and len(loc) > 1:
        if isinstance(loc[-2], str):
            return remove_entry(tree, loc[:-1])
        raise InputError(f"{said(loc)}: is the only value there; take out the entry around it")
    if isinstance(loc[-1], int):
        rest: Any = [item for i, item in enumerate(around.data) if i != loc[-1]]
    else:
        rest = {key: item for key, item in around.data.items() if key != loc[-1]}
    data = with_value(tree.root.data, loc[:-1], rest)
    first = around.keys.get(loc[-1], node)
    splice = _out_of_line(around, loc[-1], first, node) if around.flow else _lines_out(tree, around, loc[-1], first)
    return spliced(tree, [splice], data, [loc])


def move_item(tree: Tree, place: Loc, to: int) -> Tree:
    """The file with an item of a list in another place of that list; comments on its own lines go.

    Raises:
        InputError: there is no such item.
    """
    loc = in_file(tree.root, place)
    node, exact = tree.node(loc)
    if not exact or not loc or not isinstance(loc[-1], int):
        raise InputError(f"{said(loc)}: no such item in the file; nothing was changed")
    around, _ = tree.node(loc[:-1])
    to = min(max(to, 0), len(around.items) - 1)
    if to == loc[-1]:
        return tree
    if not around.flow or not all(item.flow or not item.items for item in around.items.values()):
        rest = remove_entry(tree, loc)
        return insert_item(rest, loc[:-1], to, node.data)
    order = [i for i in range(len(around.items)) if i != loc[-1]]
    order.insert(to, loc[-1])
    texts = [tree.text[around.items[i].start : around.items[i].end] for i in order]
    splices = [(around.items[i].start, around.items[i].end, texts[i]) for i in range(len(texts))]
    data = with_value(tree.root.data, loc[:-1], [around.data[i] for i in order])
    return spliced(tree, splices, data, [loc])


def _read(text: str, loc: Loc) -> Any:
    return read_tree(f"- {text}".encode(), f"the new value of {said(loc)}").root.data[0]


def _new_list(tree: Tree, loc: Loc, text: str) -> Tree:
    """A list that is not there yet, with one item."""
    if len(loc) == 1 and not tree.root.flow and loc[0] not in tree.root.items:
        newline = "\r\n" if "\r\n" in tree.text else "\n"
        before = "" if tree.text.endswith("\n") else newline
        entry = f"{before}{newline}{yaml_text(str(loc[0]))}:{newline}  - {text}{newline}"
        data = {**tree.root.data, loc[0]: [_read(text, loc)]}
        return spliced(tree, [(len(tree.text), len(tree.text), entry)], data, [loc])
    return changed(tree, {loc: f"[{text}]"})


def _line_in(tree: Tree, around: Node, at: int, value: Any) -> Splice:
    """An item on lines of its own, in a list written with dashes."""
    newline = "\r\n" if "\r\n" in tree.text else "\n"
    count = len(around.items)
    dash = _dash(tree, around.items[min(at, count - 1)])
    column = dash - (tree.text.rfind("\n", 0, dash) + 1)
    lines = newline.join(_block(value, " " * column))
    if at < count:
        start = tree.text.rfind("\n", 0, dash) + 1
        return start, start, lines + newline
    end = tree.text.find("\n", end_of(around.items[count - 1]))
    return (len(tree.text), len(tree.text), newline + lines) if end < 0 else (end + 1, end + 1, lines + newline)


def _block(value: Any, indent: str) -> list[str]:
    """An item of a list with dashes: on one line, or where that is long, a line for every key."""
    text = flow_text(value)
    if not isinstance(value, Mapping) or (len(text) <= _WIDE and not ("name" in value and _of_many(value))):
        return [f"{indent}- {text}"]
    lines: list[str] = []
    for key, item in value.items():
        lead = f"{indent}{'  ' if lines else '- '}{yaml_text(str(key))}:"
        if _nested(item):
            lines += [lead, *(f"{indent}    - {flow_text(one)}" for one in item)]
        else:
            lines.append(f"{lead} {flow_text(item)}")
    return lines


def _of_many(value: Mapping[str, Any]) -> bool:
    return any(map(_nested, value.values()))


def _nested(value: Any) -> bool:
    """Whether it is a list of lists or mappings, which people write a line each."""
    return isinstance(value, list) and any(isinstance(one, Mapping | list) for one in value)


def _dash(tree: Tree, item: Node) -> int:
    """Where the dash of an item stands.

    Raises:
        InputError: it is not right before it.
    """
    at = tree.text.rfind("-", 0, item.start)
    if at < 0 or tree.text[at + 1 : item.start].strip():
        raise InputError(f"line {item.line}: its dash stands apart from it; nothing was changed; edit the file by hand")
    return at


def _out_of_line(around: Node, step: str | int, first: Node, node: Node) -> Splice:
    """An entry taken out of brackets, with the comma before or behind it."""
    steps = list(around.items)
    place = steps.index(step)
    if place + 1 < len(steps):
        behind = steps[place + 1]
        return first.start, (around.keys.get(behind) or around.items[behind]).start, ""
    if place:
        return _close(around.items[steps[place - 1]]), _close(node), ""
    return first.start, _close(node), ""


def _close(node: Node) -> int:
    return node.end if node.flow or not node.items else end_of(node)


def _lines_out(tree: Tree, around: Node, step: str | int, first: Node) -> Splice:
    """An entry taken out of a block, with its lines and what stands behind it on its last one."""
    steps = list(around.items)
    place = steps.index(step)
    start = _dash(tree, first) if isinstance(step, int) else first.start
    line = tree.text.rfind("\n", 0, start) + 1
    end = tree.text.find("\n", _close(around.items[step]))
    end = len(tree.text) if end < 0 else end + 1
    if not tree.text[line:start].strip():
        return line, end, ""
    if place + 1 < len(steps):  # the first key stands behind the dash of its item: the next one takes its place
        behind = steps[place + 1]
        return start, (around.keys.get(behind) or around.items[behind]).start, ""
    return start, end, ""
