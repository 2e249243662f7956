"""YAML text to plain data, every value with the place where it stands.

Built on the event stream of ruamel.yaml, which does the grammar; what is added here is the YAML 1.2 core schema for
scalars and the limits that make a hostile file harmless: size, length of a line, depth, number of values once aliases
are followed, no tags, no second document, no key twice. The worst file within the limits takes some seconds.
"""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

from railmodel.errors import InputError
from railmodel.job.source import decoded
from railmodel.units import quoted

MAX_BYTES: int = 1_000_000
MAX_DEPTH: int = 40
MAX_VALUES: int = 20_000
MAX_LINE: int = 10_000

Loc = tuple[str | int, ...]

_INT = re.compile(r"[-+]?[0-9]+|0o[0-7]+|0x[0-9a-fA-F]+")
_FLOAT = re.compile(r"[-+]?(?:\.[0-9]+|[0-9]+(?:\.[0-9]*)?)(?:[eE][-+]?[0-9]+)?")
_SPECIAL = re.compile(r"[-+]?\.(?:inf|Inf|INF)|\.(?:nan|NaN|NAN)")
_HALF = re.compile("[\ud800-\udfff]")
_WORDS: dict[str, bool | None] = {
    **dict.fromkeys(("", "~", "null", "Null", "NULL")),
    **dict.fromkeys(("true", "True", "TRUE"), True),
    **dict.fromkeys(("false", "False", "FALSE"), False),
}


class RawInt(int):
    """A whole number that remembers how it was written."""

    raw: str


class RawFloat(float):
    """A number that remembers how it was written: `revision: 1.10` is the text 1.10."""

    raw: str


@dataclass(slots=True)
class Node:
    """One value.

    Args:
        data: the plain value: dict, list, str, RawInt, RawFloat, bool or None.
        line: from 1.
        column: from 1.
        start: index of its first character in the text.
        end: index behind its last character (of a block collection: behind what follows it, too).
        style: quote or block sign of a scalar, "" when plain.
        flow: whether a collection is written in brackets.
        items: the values of a collection by key or index.
        keys: the keys of a mapping as values of their own.
        size: how many values it holds once aliases are followed, itself included.
        alias: whether it stands here only as an alias of a value elsewhere.
    """

    data: Any
    line: int
    column: int
    start: int
    end: int
    style: str = ""
    flow: bool = False
    items: dict[str | int, "Node"] = field(default_factory=dict)
    keys: dict[str | int, "Node"] = field(default_factory=dict)
    size: int = 1


@dataclass(frozen=True, slots=True)
class Tree:
    """A whole file.

    Args:
        name: how messages call the file.
        text: its text.
        root: its one value.
    """

    name: str
    text: str
    root: Node

    def node(self, loc: Sequence[str | int]) -> tuple[Node, bool]:
        """The value at a place, or the nearest one around it, and whether it is the very one.

        Parts of `loc` that stand nowhere in the file (such as the key a short form leaves out) are passed over.
        """
        node, exact = self.root, True
        for step in loc:
            exact = step in node.items
            if exact:
                node = node.items[step]
        return node, exact

    def place(self, loc: Sequence[str | int], *, key: bool = False) -> tuple[int, int]:
        """Line and column, from 1, of a value or of its key."""
        if key and loc:
            around, _ = self.node(loc[:-1])
            node = around.keys.get(loc[-1])
            if node is not None:
                return node.line, node.column
        node, _ = self.node(loc)
        return node.line, node.column


def read_tree(data: bytes, name: str) -> Tree:
    """Read a YAML file.

    Args:
        data: its bytes.
        name: how messages call it.

    Raises:
        InputError: anything that is not one plain YAML document within the limits.
    """
    if len(data) > MAX_BYTES:
        raise InputError(f"{name}: found {len(data):,} bytes; allowed: up to {MAX_BYTES:,}")
    text = decoded(data, name)
    for number, line in enumerate(text.split("\n"), start=1):
        if len(line) > MAX_LINE:
            raise InputError(f"{name}:{number}:1: found {len(line):,} characters on one line; allowed: {MAX_LINE:,}")
    return Tree(name, text, _Builder(name, text).build())


def scalar(text: str) -> str | int | float | bool | None:
    """A plain scalar by the YAML 1.2 core schema (YAML 1.2.2, section 10.3.2)."""
    if text in _WORDS:
        return _WORDS[text]
    number: RawInt | RawFloat
    if _INT.fullmatch(text) and len(text) <= 18:
        number = RawInt(int(text, 0) if text[:2] in {"0o", "0x"} else int(text))
    elif _FLOAT.fullmatch(text):
        number = RawFloat(float(text))
    elif _SPECIAL.fullmatch(text):
        number = RawFloat(float(text.replace(".", "")))
    else:
        return text
    number.raw = text
    return number


class _Builder:
    """Turns the events of one file into nodes."""

    def __init__(self, name: str, text: str) -> None:
        self.name, self.text = name, text
        self.anchors: dict[str, Node | None] = {}
        self.count = 0
        self.problems: list[str] = []

    def build(self) -> Node:
        from ruamel.yaml import YAML
        from ruamel.yaml.error import MarkedYAMLError, YAMLError

        try:
            events = YAML(typ="safe", pure=True).parse(self.text)
            root = self._document(events)
        except MarkedYAMLError as error:
            mark = error.problem_mark or error.context_mark
            place = f":{mark.line + 1}:{mark.column + 1}" if mark else ""
            raise InputError(f"{self.name}{place}: {_syntax(error.problem or error.context or '')}") from None
        except YAMLError as error:
            raise InputError(f"{self.name}{self._place_of(error)}: {_syntax(getattr(error, 'reason', ''))}") from None
        except (ValueError, OverflowError):  # the scanner's own, on an escape beyond the last character there is
            raise InputError(f"{self.name}: not readable as YAML; look for broken escapes (\\) in quotes") from None
        if self.problems:
            raise InputError(self.problems)
        return root

    def _document(self, events: Iterator[Any]) -> Node:
        root: Node | None = None
        for event in events:
            kind = type(event).__name__
            if kind == "DocumentStartEvent":
                if root is not None:
                    raise self._refused(event, "found a second document; allowed: one; take out this --- line")
                root = self._node(next(events), events, 1)
        if root is None or (root.data is None and not root.style):
            starts = "a job file starts with job:, a shop file with shop:, a layout file with layout:"
            raise InputError(f"{self.name}: the file is empty; {starts}")
        return root

    def _node(self, event: Any, events: Iterator[Any], depth: int) -> Node:
        kind = type(event).__name__
        mark = event.start_mark
        if kind == "AliasEvent":
            return self._alias(event)
        if event.tag is not None:
            raise self._refused(event, f"found the tag {quoted(str(event.tag))}; allowed: plain values; take it out")
        self._more(event, 1)
        node = Node(None, mark.line + 1, mark.column + 1, mark.index, event.end_mark.index)
        if event.anchor is not None:
            self.anchors[event.anchor] = None  # not finished: an alias inside itself is refused
        if kind == "ScalarEvent":
            node.style = event.style or ""
            node.data = event.value if node.style else scalar(event.value)
            if _HALF.search(event.value):
                raise self._refused(event, "found half a character (an escape such as \\ud800); write it out")
        else:
            if depth > MAX_DEPTH:
                raise self._refused(event, f"found values nested {depth} deep; allowed: up to {MAX_DEPTH}")
            node.flow = bool(event.flow_style)
            fill = self._mapping if kind == "MappingStartEvent" else self._sequence
            fill(node, events, depth)
        if event.anchor is not None:
            self.anchors[event.anchor] = node
        return node

    def _mapping(self, node: Node, events: Iterator[Any], depth: int) -> None:
        node.data = {}
        while type(event := next(events)).__name__ != "MappingEndEvent":
            key = self._node(event, events, depth + 1)
            name = key.data
            if not isinstance(name, str):
                what = quoted(name) if isinstance(name, int | float) else "a list, a mapping or nothing"
                raise self._refused(event, f"found {what} as a key; allowed: a word; put it in quotes")
            value = self._node(next(events), events, depth + 1)
            if key.end <= value.start == value.end:
                self._empty(key, value)
            if name in node.items:
                first = node.keys[name]
                self.problems.append(
                    f"{self.name}:{key.line}:{key.column}: found the key {quoted(name)} a second time; it stands "
                    f"already at {first.line}:{first.column}; take one of the two out"
                )
                continue
            node.keys[name], node.items[name], node.data[name] = key, value, value.data
            node.size += 1 + value.size
        node.end = event.end_mark.index

    def _empty(self, key: Node, value: Node) -> None:
        """An empty value stands behind its key's colon, not where the next value begins."""
        colon = self.text.find(":", key.end, value.start)
        if colon >= 0:
            value.start = value.end = colon + 1
            value.line, value.column = key.line, key.column + colon + 1 - key.start

    def _sequence(self, node: Node, events: Iterator[Any], depth: int) -> None:
        node.data = []
        while type(event := next(events)).__name__ != "SequenceEndEvent":
            value = self._node(event, events, depth + 1)
            node.items[len(node.data)] = value
            node.data.append(value.data)
            node.size += value.size
        node.end = event.end_mark.index

    def _alias(self, event: Any) -> Node:
        target = self.anchors.get(event.anchor)
        if target is None:
            state = "stands inside its own anchor" if event.anchor in self.anchors else "has no anchor above it"
            raise self._refused(event, f"found the alias *{quoted(event.anchor)[1:-1]}, which {state}; write it out")
        self._more(event, target.size)
        return target

    def _more(self, event: Any, count: int) -> None:
        self.count += count
        if self.count > MAX_VALUES:
            raise self._refused(event, f"found more than {MAX_VALUES:,} values, with aliases; allowed: {MAX_VALUES:,}")

    def _refused(self, event: Any, says: str) -> InputError:
        return InputError(f"{self.name}:{event.start_mark.line + 1}:{event.start_mark.column + 1}: {says}")

    def _place_of(self, error: Exception) -> str:
        position = getattr(error, "position", None)
        if not isinstance(position, int):
            return ""
        before = self.text[:position]
        return f":{before.count(chr(10)) + 1}:{position - (before.rfind(chr(10)) + 1) + 1}"


def _syntax(problem: str) -> str:
    said = " ".join(problem.split())
    if "\\t" in said or "\t" in problem:
        return "a tab stands where blanks must; indent with blanks"
    if "special characters" in said:
        return "a control character stands here; take it out"
    return f"not readable as YAML: {said or 'broken text'}; look at the indents, colons, quotes and brackets here"
