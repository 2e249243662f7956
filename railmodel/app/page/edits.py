"""Edits of a job, typed: what a browser may ask for, and the job file that comes of it."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from math import isfinite
from typing import Any

from railmodel.app.page import additions
from railmodel.app.page.marks import as_marked
from railmodel.app.page.places import place_of, set_at, unset_at
from railmodel.app.page.renames import refuse_if_named, rename
from railmodel.app.page.typed import nothing, typed
from railmodel.errors import InputError
from railmodel.job.edit import changed
from railmodel.job.edit_lists import insert_item, move_item, remove_entry
from railmodel.job.problems import label
from railmodel.job.reader import JobFile
from railmodel.job.yaml_tree import Loc, Tree
from railmodel.units import LIMIT, from_unit, quoted

MOST = 200
"""Values set in one edit."""

Op = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Edited:
    """An edit made.

    Args:
        tree: the job file after it.
        says: what it did, a few words.
    """

    tree: Tree
    says: str


def edited(source: JobFile, op: Any) -> Edited:
    """The job file after an edit; whether the job is then valid is for its reader to say.

    Raises:
        InputError: an edit that is none of those there are, or has no place in this file.
    """
    if not isinstance(op, dict) or not isinstance(op.get("op"), str) or op["op"] not in _OPS:
        raise InputError(f"op: found no edit of a known kind; allowed: {', '.join(_OPS)}")
    return _OPS[op["op"]](source, op)


def _set(source: JobFile, op: Op) -> Edited:
    loc = place_of(op.get("at"))
    return Edited(set_at(source.tree, {loc: op.get("value")}), f"set {_where(source, loc)}")


def _set_many(source: JobFile, op: Op) -> Edited:
    given = op.get("changes")
    if not isinstance(given, list) or not 1 <= len(given) <= MOST or not all(isinstance(one, dict) for one in given):
        raise InputError(f"changes: allowed: a list of 1 to {MOST} places with their values")
    changes = {place_of(one.get("at")): one.get("value") for one in given}
    first = next(iter(changes))
    more = f" and {len(changes) - 1} more" if len(changes) > 1 else ""
    return Edited(set_at(source.tree, changes), f"set {_where(source, first)}{more}")


def _unset(source: JobFile, op: Op) -> Edited:
    loc = place_of(op.get("at"))
    return Edited(unset_at(source.tree, loc), f"take out {_where(source, loc)}")


def _insert(source: JobFile, op: Op) -> Edited:
    loc, index = place_of(op.get("at")), op.get("index")
    if index is not None:
        index = whole_number("index", index)
    if nothing(op.get("value")):
        raise InputError("value: found nothing to put in; nothing was changed")
    return Edited(insert_item(source.tree, loc, index, typed(op["value"])), f"add to {_where(source, loc)}")


def _remove(source: JobFile, op: Op) -> Edited:
    loc = place_of(op.get("at"))
    refuse_if_named(source.tree.root.data, loc)
    return Edited(remove_entry(source.tree, loc), f"remove {_where(source, loc)}")


def _move(source: JobFile, op: Op) -> Edited:
    loc = place_of(op.get("at"))
    return Edited(move_item(source.tree, loc, whole_number("to", op.get("to"))), f"move {_where(source, loc)}")


def _rename(source: JobFile, op: Op) -> Edited:
    what, old, new = (word(name, op.get(name)) for name in ("what", "from", "to"))
    return Edited(rename(source.tree, what, old, new), f"rename {old}")


def _add_tube(source: JobFile, op: Op) -> Edited:
    name = word("name", op.get("name"))
    if name in source.job.tubes:
        raise InputError(f"name: found {quoted(name)}, which there is already; choose another name", [(("tubes",), "")])
    keys = ("height", "width", "diameter", "wall", "corner", "grade", "seam_on")
    return Edited(set_at(source.tree, {("tubes", name): {key: op.get(key) for key in keys}}), f"add tube {name}")


def _add_part(source: JobFile, op: Op) -> Edited:
    name, tube = word("name", op.get("name")), word("tube", op.get("tube"))
    hand, way = word("hand", op.get("hand", "single")), word("way", op.get("way", "points"))
    part = additions.new_part(source, name, tube, hand, way)
    return Edited(insert_item(source.tree, ("parts",), None, typed(part)), f"add part {name}")


def _add_point(source: JobFile, op: Op) -> Edited:
    part, after = whole_number("part", op.get("part")), whole_number("after", op.get("after"))
    value = additions.new_point(source, part, after)
    tree = insert_item(source.tree, ("parts", part, "points"), after + 1, typed(value))
    return Edited(tree, f"add a point to {source.job.parts[part].name}")


def _drag(source: JobFile, op: Op) -> Edited:
    """A point taken elsewhere, to the nearest marks of the shop's tape.

    Raises:
        InputError: there is no such point, or no such place.
    """
    part, point = whole_number("part", op.get("part")), whole_number("point", op.get("point"))
    to = op.get("to")
    if not isinstance(to, list) or len(to) != 3:
        raise InputError("to: found no place; allowed: [x, y, z], null for what stays")
    if part >= len(source.job.parts) or point >= len(source.job.parts[part].points or ()):
        raise InputError("there is no such point to drag; nothing was changed")
    changes: dict[Loc, str] = {
        ("parts", part, "points", point, "at", axis): as_marked(from_unit(_finite(value), source.job.units), source)
        for axis, value in enumerate(to)
        if value is not None
    }
    says = f"drag point {point + 1} of {source.job.parts[part].name}"
    return Edited(changed(source.tree, changes) if changes else source.tree, says)


def _shop(source: JobFile, op: Op) -> Edited:
    file = op.get("file")
    if nothing(file):
        return Edited(unset_at(source.tree, ("shop",)), "take out the shop")
    return Edited(set_at(source.tree, {("shop",): word("file", file)}), "choose the shop")


_OPS: dict[str, Callable[[JobFile, Op], Edited]] = {
    "set": _set, "set_many": _set_many, "unset": _unset, "insert": _insert, "remove": _remove, "move": _move,
    "rename": _rename, "add_tube": _add_tube, "add_part": _add_part, "add_point": _add_point, "drag": _drag,
    "shop": _shop,
}  # fmt: skip


def _where(source: JobFile, loc: Loc) -> str:
    return label(source.tree.root.data, loc).removesuffix(": ")[:120]


def word(name: str, value: Any) -> str:
    """A word of an edit.

    Raises:
        InputError: it is no text, or an empty one.
    """
    if not isinstance(value, str) or not value.strip() or len(value) > 1000:
        raise InputError(f"{name}: found no text; allowed: 1 to 1000 characters")
    return value.strip()


def whole_number(name: str, value: Any) -> int:
    """A number of an edit.

    Raises:
        InputError: it is no whole number from 0.
    """
    if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value < 1_000_000:
        raise InputError(f"{name}: found no number; allowed: a whole number from 0")
    return value


def _finite(value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not isfinite(value) or abs(value) > LIMIT:
        raise InputError("to: found no length; allowed: numbers in the job's unit")
    return float(value)
