"""A record of measurements as a person types it in the page, and as the text of its file.

What is typed is text through and through, as in the file: `{"legs": [{"straight": "1", "reads": "15 3/16; 15 1/4"}]}`.
Several readings of one thing stand in one field with semicolons between; a line without a reading was not measured.
"""

from collections.abc import Collection, Mapping
from typing import Any, Final

from railmodel.app.page.state import as_written
from railmodel.app.page.typed import as_typed
from railmodel.errors import InputError, Loc
from railmodel.job.edit import changed
from railmodel.job.edit_lists import flow_text, insert_item, remove_entry
from railmodel.job.yaml_tree import Tree, read_tree

Draft = Mapping[str, Any]
Data = dict[str, Any]

HEADS: Final = ("of_job", "part", "hand", "numbered_from", "units", "date", "heat", "measured_by", "note")
"""Keys that hold words."""

TOOLS: Final = ("tape", "protractor", "level", "grid")

ENTRIES: Final[Mapping[str, tuple[str, ...]]] = {
    "legs": ("straight", "between", "reads", "sure_to"),
    "angles": ("bend", "reads", "sure_to"),
    "turns": ("bend", "reads", "sure_to"),
    "distances": ("from", "to", "reads", "sure_to"),
    "table": ("place", "at", "sure_to"),
}
"""Lists of what was measured, and the keys of each entry."""

KEYS: Final = (*HEADS, "bent", "tools", *ENTRIES, "set", "weights")

_WORDS: Final = frozenset(("between", "from", "to", "place"))
_TITLE: Final = "# What was measured on a bent tube; railmodel measured and railmodel correct read it."

MOST: Final = 300
"""Entries of one list."""

LONGEST: Final = 500
"""Characters of one field."""

Entries = dict[Loc, Loc]
"""From the place of an entry in the file to its place in what was typed."""


def data_of(draft: Draft, without: Collection[Loc] = ()) -> tuple[Data, Entries]:
    """What is to stand in the file, and which line of the draft each entry is.

    Args:
        draft: as typed.
        without: places of the draft that are left out.

    Raises:
        InputError: it is not of the shape of a draft.
    """
    found: Data = {}
    entries: Entries = {}
    for key in HEADS:
        if text := _text(draft, key, without):
            found[key] = text
    if text := _text(draft, "bent", without):
        found["bent"] = as_typed(text)
    tools = _mapping(draft, "tools")
    given = {key: as_typed(text) for key in TOOLS if (text := _text(tools, key, without, ("tools",)))}
    if given:
        found["tools"] = given
    for section in ENTRIES:
        kept: list[Data] = []
        for i, one in enumerate(_list(draft, section)):
            if (section, i) in without or not (entry := _entry(section, one, (section, i))):
                continue
            entries[section, len(kept)] = (section, i)
            kept.append(entry)
        if kept:
            found[section] = kept
    if chosen := _set(draft, without, entries):
        found["set"] = chosen
    weights = _mapping(draft, "weights")
    if weights and ("weights",) not in without:
        found["weights"] = {key: as_typed(_text(weights, key, (), ("weights",))) for key in weights}
    return found, entries


def draft_of(tree: Tree) -> Data:
    """What a file holds, as a person would type it.

    Raises:
        InputError: it holds no keys with values.
    """
    written = as_written(tree.root.data)
    if not isinstance(written, dict):
        raise InputError(f"{tree.name}: found no keys with values; allowed: part:, hand:, legs:, angles: ...")
    found: Data = {key: _shown(written[key]) for key in (*HEADS, "bent") if written.get(key) is not None}
    for key in ("tools", "weights"):
        if isinstance(written.get(key), dict):
            found[key] = {name: _shown(value) for name, value in written[key].items()}
    for section in ENTRIES:
        if isinstance(written.get(section), list):
            found[section] = [_line(section, one) for one in written[section] if isinstance(one, dict)]
    chosen = written.get("set")
    if isinstance(chosen, list):
        found["set"] = [{key: _shown(value) for key, value in one.items()} for one in chosen if isinstance(one, dict)]
    elif chosen is not None:
        found["set"] = _shown(chosen)
    return found


def tree_of(data: Data, name: str, base: Tree | None = None) -> Tree:
    """The file that holds this, every entry on a line of its own.

    Args:
        data: what is to stand in it.
        name: of the file.
        base: the file as it is, whose comments and order stay.

    Raises:
        InputError: the file as it is must be changed by hand.
    """
    if base is None:
        lines = [_TITLE]
        for key, value in data.items():
            if isinstance(value, list):
                lines += [f"{key}:", *(f"  - {flow_text(one)}" for one in value)]
            else:
                lines.append(f"{key}: {flow_text(value)}")
        return read_tree(("\n".join(lines) + "\n").encode(), name)
    for key in KEYS:
        base = _with(base, key, data.get(key))
    return base


def _with(tree: Tree, key: str, value: Any) -> Tree:
    """A file with one key as it is to be; nothing is touched where it is so already."""
    node, there = tree.node((key,))
    now = as_written(node.data) if there else None
    if value is None:
        return remove_entry(tree, (key,)) if there else tree
    if now == _plain(value):
        return tree
    if isinstance(value, list):
        if not isinstance(now, list):
            tree, now = (remove_entry(tree, (key,)) if there else tree), []
        return _with_list(tree, key, now, value)
    if there and not node.flow and isinstance(node.data, dict | list):
        tree = remove_entry(tree, (key,))
    return changed(tree, {(key,): flow_text(value)})


def _with_list(tree: Tree, key: str, now: list[Any], wanted: list[Any]) -> Tree:
    for i, value in enumerate(wanted[: len(now)]):
        if now[i] == _plain(value):
            continue
        if tree.node((key, i))[0].flow:
            tree = changed(tree, {(key, i): flow_text(value)})
        else:
            tree = remove_entry(insert_item(tree, (key,), i, value), (key, i + 1))
    for value in wanted[len(now) :]:
        tree = insert_item(tree, (key,), None, value)
    for i in reversed(range(len(wanted), len(now))):
        tree = remove_entry(tree, (key, i))
    return tree


def _plain(value: Any) -> Any:
    """A value with its text as `as_written` gives it."""
    if isinstance(value, dict):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, list):
        return [_plain(item) for item in value]
    return None if value is None else str(value)


def _entry(section: str, one: Any, at: Loc) -> Data | None:
    """An entry of the file; None where nothing is read there.

    Raises:
        InputError: it is no entry.
    """
    if not isinstance(one, Mapping):
        raise InputError(f"{section}: found an entry that is none; allowed: a mapping", [(at, "found no entry")])
    found: Data = {}
    read = False
    for key in ENTRIES[section]:
        if key == "at":
            axes = [text.strip() for text in _texts(one, "at", at)]
            read = any(axes)
            found[key] = [as_typed(text) if text else None for text in (axes if len(axes) < 3 or axes[2] else axes[:2])]
        elif text := _text(one, key, (), at):
            if key == "reads":
                read = True
                several = [as_typed(part) for part in text.split(";") if part.strip()]
                found[key] = several[0] if len(several) == 1 else several
            else:
                found[key] = text if key in _WORDS else as_typed(text)
    return found if read else None


def _set(draft: Draft, without: Collection[Loc], entries: Entries) -> Any:
    """What the bender was set to: words, a list of bends, or nothing.

    Raises:
        InputError: it is none of them.
    """
    given = draft.get("set")
    if not given or ("set",) in without:
        return None
    if isinstance(given, str):
        return _text(draft, "set", ())
    kept: list[Data] = []
    for i, one in enumerate(_list(draft, "set")):
        if not isinstance(one, Mapping):
            raise InputError("set: found an entry that is none", [(("set", i), "found no entry")])
        bend, angle = (_text(one, key, (), ("set", i)) for key in ("bend", "angle"))
        if angle and ("set", i) not in without:
            entries["set", len(kept)] = ("set", i)
            kept.append({"bend": as_typed(bend), "angle": as_typed(angle)})
    return kept or None


def _line(section: str, one: Mapping[str, Any]) -> Data:
    found: Data = {key: _shown(one[key]) for key in ENTRIES[section] if key != "at" and one.get(key) is not None}
    if section == "table":
        at = one.get("at")
        axes = [_shown(value) for value in at] if isinstance(at, list) else []
        found["at"] = [*axes, "", "", ""][:3]
    return found


def _shown(value: Any) -> str:
    """A value as it stands in one field."""
    if isinstance(value, list):
        return "; ".join(map(_shown, value))
    return "" if value is None else str(value)


def _text(given: Mapping[str, Any], key: str, without: Collection[Loc], at: Loc = ()) -> str:
    value = given.get(key)
    if value is None or (*at, key) in without:
        return ""
    if not isinstance(value, str) or len(value) > LONGEST:
        said = "found no text" if not isinstance(value, str) else f"found more than {LONGEST} letters"
        raise InputError(f"{key}: {said}", [((*at, key), said)])
    return value.strip()


def _texts(given: Mapping[str, Any], key: str, at: Loc) -> list[str]:
    value = given.get(key) or []
    if not isinstance(value, list) or len(value) > 3 or not all(isinstance(one, str | None) for one in value):
        raise InputError(f"{key}: found no list of up to three lengths", [((*at, key), "found no lengths")])
    return [(one or "")[:LONGEST] for one in value]


def _mapping(draft: Draft, key: str) -> Mapping[str, Any]:
    value = draft.get(key) or {}
    if not isinstance(value, Mapping) or len(value) > MOST:
        raise InputError(f"{key}: found no mapping", [((key,), "found no mapping")])
    return value


def _list(draft: Draft, key: str) -> list[Any]:
    value = draft.get(key) or []
    if not isinstance(value, list) or len(value) > MOST:
        raise InputError(f"{key}: found no list of up to {MOST} entries", [((key,), "found no list")])
    return value
