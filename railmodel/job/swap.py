"""Single values swapped in a file that is read already, without reading all of it again.

What is not certain to come out as a full reading would is left to one.
"""

from bisect import bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import accumulate, pairwise

from railmodel.job.yaml_tree import MAX_BYTES, MAX_LINE, Node, Tree

_MARKS = frozenset(",[]{}#:&*!|>%@`")
"""Signs that mean something else inside brackets, or at the start of a plain value."""

_LONGEST = 200
"""Longest text of a new value that is swapped in, characters."""


@dataclass(frozen=True, slots=True)
class Swap:
    """One value to be swapped.

    Args:
        node: what stands there.
        exact: whether that is the place itself and not the nearest one around it.
        value: the new value, as read from a line of its own.
        text: how it is written.
    """

    node: Node
    exact: bool
    value: Node
    text: str


class _Shared(Exception):
    """A value that stands in several places by an alias."""


def swapped(tree: Tree, swaps: Sequence[Swap]) -> Tree | None:
    """The file with single values swapped for single values; None where it takes a full reading to know.

    Args:
        tree: the file.
        swaps: the values, each in a place of its own.
    """
    if not swaps or not all(_simple(tree, swap) for swap in swaps):
        return None
    ordered = sorted(swaps, key=lambda swap: swap.node.start)
    if any(one.node.end > other.node.start for one, other in pairwise(ordered)):
        return None
    text, done = "", 0
    for swap in ordered:
        text += tree.text[done : swap.node.start] + swap.text
        done = swap.node.end
    text += tree.text[done:]
    if len(text) * 4 > MAX_BYTES or any(_line(text, swap) > MAX_LINE for swap in ordered):
        return None
    try:
        root = _Moving(ordered, tree.text).moved(tree.root)
    except _Shared:
        return None
    return Tree(tree.name, text, root)


def _simple(tree: Tree, swap: Swap) -> bool:
    old, new = swap.node, swap.value
    return (
        swap.exact
        and not (old.items or old.flow or new.items or new.flow or isinstance(old.data, dict | list))
        and old.style not in {"|", ">"}
        and old.start < old.end
        and "\n" not in tree.text[old.start : old.end]
        and 0 < len(swap.text) <= _LONGEST
        and not isinstance(new.data, dict | list)
        and swap.text.strip() == swap.text
        and new.end - new.start == len(swap.text)
        and (new.style in {"'", '"'} or not _MARKS & set(swap.text))
    )


def _line(text: str, swap: Swap) -> int:
    """No less than the length of the line on which a value stands."""
    begin = text.rfind("\n", 0, swap.node.start) + 1
    end = text.find("\n", swap.node.start)
    return (len(text) if end < 0 else end) - begin + _LONGEST


class _Moving:
    """Carries nodes to where they stand once values before them are longer or shorter."""

    def __init__(self, swaps: Sequence[Swap], text: str) -> None:
        self._swaps: Mapping[int, Swap] = {id(swap.node): swap for swap in swaps}
        self._ends = [swap.node.end for swap in swaps]
        grown = (len(swap.text) - (swap.node.end - swap.node.start) for swap in swaps)
        self._by = [0, *accumulate(grown)]
        self._first = swaps[0].node.start
        self._last = swaps[-1].node.line
        self._seen: set[int] | None = set() if "*" in text else None  # without an alias nothing stands twice

    def _shift(self, at: int) -> int:
        return self._by[bisect_right(self._ends, at)]

    def moved(self, node: Node) -> Node:
        """A node and all below it.

        Raises:
            _Shared: it stands in several places.
        """
        if node.end <= self._first and node.start < self._first:
            return node
        if node.line > self._last:
            return self._below(node)
        self._once(node)
        swap = self._swaps.get(id(node))
        if swap is not None:
            start = node.start + self._shift(node.start)
            return replace(
                swap.value, line=node.line, column=self._column(node), start=start, end=start + len(swap.text),
            )  # fmt: skip
        found = Node(
            node.data, node.line, self._column(node), node.start + self._shift(node.start),
            node.end + self._shift(node.end), node.style, node.flow, size=node.size,
        )  # fmt: skip
        if node.items:
            found.items = {step: self.moved(child) for step, child in node.items.items()}
            found.keys = {step: self.moved(key) for step, key in node.keys.items()}
            if isinstance(node.data, dict):
                found.data = {step: child.data for step, child in found.items.items()}
            else:
                found.data = [child.data for child in found.items.values()]
        return found

    def _below(self, node: Node) -> Node:
        """A node on a line below all swaps: it and all in it move by the same."""
        self._once(node)
        by = self._by[-1]
        found = Node(
            node.data, node.line, node.column, node.start + by, node.end + by, node.style, node.flow, size=node.size
        )
        if node.items:
            found.items = {step: self._below(child) for step, child in node.items.items()}
            found.keys = {step: self._below(key) for step, key in node.keys.items()}
        return found

    def _once(self, node: Node) -> None:
        if self._seen is not None:
            if id(node) in self._seen:
                raise _Shared
            self._seen.add(id(node))

    def _column(self, node: Node) -> int:
        return node.column + self._shift(node.start) - self._shift(node.start - node.column + 1)
