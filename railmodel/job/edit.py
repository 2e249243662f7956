"""Writing values back into a job or shop file: only the bytes of the values change, comments and order stay."""

import hashlib
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from railmodel.errors import InputError
from railmodel.files import write_whole
from railmodel.job.source import decoded, printable, read_bytes
from railmodel.job.swap import Swap, swapped
from railmodel.job.yaml_tree import MAX_BYTES, Loc, Node, Tree, read_tree, scalar

Splice = tuple[int, int, str]
"""Start and end of a piece of text, and what is to stand there instead."""

_BOM = b"\xef\xbb\xbf"
_PLAIN_WORD = re.compile(r"[A-Za-z_][A-Za-z0-9_./()-]*(?: [A-Za-z0-9_./()-]+)*")


def yaml_text(value: str | int | float | bool | None) -> str:
    r"""A value as it is written in a file: plain where that reads back the same, else in quotes.

    >>> yaml_text("hard 7"), yaml_text("12"), yaml_text('3/16"'), yaml_text(25.5), yaml_text(True)
    ('hard 7', '"12"', '"3/16\\""', '25.5', 'true')
    """
    if value is None:
        return "null"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        plain = _PLAIN_WORD.fullmatch(value) and isinstance(scalar(value), str)
        return value if plain else '"' + "".join(map(_escaped, value)) + '"'
    return repr(value)


def _escaped(character: str) -> str:
    if character in '"\\':
        return f"\\{character}"
    return character if character.isprintable() else f"\\U{ord(character):08x}"


def set_values(text: str, changes: Mapping[Loc, str]) -> str:
    """The text of a YAML file with some of its values replaced, everything else byte for byte as it was.

    Args:
        text: the file.
        changes: from the place of a value (keys and indexes) to what is to stand there, as YAML on one line
            (`yaml_text` writes one). A key that its mapping does not have yet is added at the mapping's end. The
            `at` of a point that is written as a bare list may be named or not.

    Raises:
        InputError: a change that has no place in the file, or whose result would not read back as meant.
    """
    return changed(read_tree(text.encode(), "the file"), changes).text


def changed(tree: Tree, changes: Mapping[Loc, str]) -> Tree:
    """A file that is read already, with some of its values replaced; see `set_values`.

    Raises:
        InputError: a change that has no place in the file, or whose result would not read back as meant.
    """
    data = tree.root.data
    splices = []
    swaps = []
    for place, new in changes.items():
        loc = in_file(tree.root, place)
        if "\n" in new or "\r" in new:
            raise InputError(f"{said(loc)}: found a new value of several lines; allowed: one; nothing was changed")
        value = read_tree(f"- {new}".encode(), f"the new value of {said(loc)}").root.items[0]
        try:
            data = with_value(data, loc, value.data)
        except LookupError:
            raise InputError(f"{said(loc)}: no such place in the file; nothing was changed") from None
        splices.append(_splice(tree.text, tree.root, loc, new))
        swaps.append(Swap(*tree.node(loc), value, new))
    quick = swapped(tree, swaps)
    return quick if quick is not None and quick.root.data == data else spliced(tree, splices, data, changes)


def spliced(tree: Tree, splices: Iterable[Splice], data: Any, places: Iterable[Loc]) -> Tree:
    """A file with pieces of its text replaced, read back.

    Args:
        tree: the file.
        splices: start, end and new text of each piece; none overlap.
        data: what it must then hold.
        places: what is being changed, for messages.

    Raises:
        InputError: it does not read back as that.
    """
    result = tree.text
    for start, end, new in sorted(splices, key=lambda splice: splice[:2], reverse=True):
        result = result[:start] + new + result[end:]
    try:
        found = read_tree(result.encode(), tree.name)
        if found.root.data == data:
            return found
    except InputError:
        pass
    raise InputError(
        f"{', '.join(said(loc) for loc in places)}: cannot be changed without touching other values (an alias, or two "
        "changes in one place); nothing was changed; edit the file by hand"
    )


def write_changes(path: Path, digest: str, changes: Mapping[Loc, str], check: Callable[[bytes], object]) -> bytes:
    """Write values into a file on disk, whole or not at all.

    Args:
        path: the file.
        digest: SHA-256 of the bytes that were read, in hexadecimal.
        changes: see `set_values`.
        check: reads the new bytes and raises InputError when they are not valid; the file then stays as it was.

    Returns:
        The bytes written.

    Raises:
        InputError: the file has changed since it was read, or the changes do not fit.
    """
    old = read_bytes(path, MAX_BYTES)
    name = printable(path.name)
    if hashlib.sha256(old).hexdigest() != digest:
        raise InputError(f"{name}: the file has changed since it was read; nothing was written; read it again first")
    new = set_values(decoded(old, name), changes).encode()
    if old.startswith(_BOM):
        new = _BOM + new
    check(new)
    write_whole(path, new)
    return new


def said(loc: Sequence[str | int]) -> str:
    """A place in words."""
    return "".join(f"[{step}]" if isinstance(step, int) else f" {step}" for step in loc).strip() or "the file"


def in_file(root: Node, loc: Loc) -> Loc:
    """The place without an `at` that the short form of a point leaves out."""
    node: Node | None = root
    found: list[str | int] = []
    for step in loc:
        if not (step == "at" and node is not None and isinstance(node.data, list)):
            found.append(step)
            node = None if node is None else node.items.get(step)
    return tuple(found)


def with_value(data: Any, loc: Loc, value: Any) -> Any:
    """Plain data with one value replaced or added; nothing is changed in place.

    Raises:
        LookupError: there is no such place.
    """
    if not loc:
        return value
    step, rest = loc[0], loc[1:]
    if isinstance(data, dict) and isinstance(step, str) and (step in data or not rest):
        return {**data, step: with_value(data.get(step), rest, value)}
    if isinstance(data, list) and isinstance(step, int) and 0 <= step < len(data):
        return [*data[:step], with_value(data[step], rest, value), *data[step + 1 :]]
    raise LookupError(loc)


def _splice(text: str, root: Node, loc: Loc, new: str) -> Splice:
    """Start, end and new text of one change; `loc` is known to have a place.

    Raises:
        InputError: what stands there is more than one line.
    """
    node, around = root, root
    for step in loc[:-1]:
        node = around = node.items[step]
    if loc and loc[-1] not in around.items:
        return _added(text, around, str(loc[-1]), new)
    node = around.items[loc[-1]] if loc else root
    if isinstance(node.data, dict | list) and not node.flow:
        raise InputError(f"{said(loc)}: found a block of lines; allowed: a single value or one in brackets")
    if node.style in {"|", ">"}:
        raise InputError(f"{said(loc)}: found text of several lines; allowed: a value on one line")
    if node.start == node.end:  # an empty value: its place is behind the colon or the dash
        return node.start, node.end, new if text[node.start - 1 : node.start].isspace() else f" {new}"
    return node.start, node.end, new


def _added(text: str, around: Node, key: str, new: str) -> Splice:
    """A new entry at the end of a mapping."""
    entry = f"{yaml_text(key)}: {new}"
    last = next(reversed(around.items), None)
    if around.flow:
        if last is None:
            return around.start + 1, around.start + 1, entry
        end = end_of(around)
        return end, end, f", {entry}"
    newline = "\r\n" if "\r\n" in text else "\n"
    first = next(iter(around.keys.values()))
    indent = " " * (first.column - 1)
    end = end_of(around)
    if not text[:end].endswith("\n"):
        line_end = text.find("\n", end)
        if line_end < 0:
            return len(text), len(text), f"{newline}{indent}{entry}"
        end = line_end + 1
    return end, end, f"{indent}{entry}{newline}"


def end_of(node: Node) -> int:
    """Index behind the last character of a value, without what follows a block.

    Raises:
        InputError: the value ends in an alias.
    """
    last = next(reversed(node.items), None)
    if last is None or (node.flow and isinstance(node.data, list)):
        return node.end
    child = node.items[last]
    key = node.keys.get(last)
    if key is not None and child.start < key.start:
        raise InputError(f"{last}: stands as an alias at the end of its mapping; nothing was changed; edit it by hand")
    return child.end if child.flow else end_of(child)
