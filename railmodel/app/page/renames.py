"""A new name for a part, a tube or what else is named, in every place of the job that names it."""

from collections.abc import Iterator
from typing import Any

from railmodel.errors import InputError
from railmodel.job.edit import changed, spliced, yaml_text
from railmodel.job.fields import not_among
from railmodel.job.references import find
from railmodel.job.yaml_tree import Loc, Tree
from railmodel.units import quoted

_MASSES: Loc = ("loads", "masses", "*", "on", "*")
_TUBES: tuple[Loc, ...] = (
    ("fit_points", "*", "to", "part"), ("plumb", "*", "part"),
    ("joints", "*", "between", "*", "part"), ("plates", "*", "gusset", "between", "*", "part"),
)  # fmt: skip
_NAMES: dict[str, tuple[Loc, ...]] = {
    "tube": (("parts", "*", "tube"), ("crossmembers", "*", "tube")),
    "motion": (("keep_clear", "*", "motion"),),
    "part": _TUBES,
    "crossmember": _TUBES,
    "fit point": (("loads", "supports", "*", "at", "*"), _MASSES),
}
_SECTIONS = {
    "part": "parts", "crossmember": "crossmembers", "fit point": "fit_points", "tube": "tubes", "motion": "motions",
}  # fmt: skip
_CALLED = {"joints": "joint", "plumb": "plumb place", "plates": "plate", "keep_clear": "shape"}
_LABELS: tuple[Loc, ...] = (("crossmembers", "*", "between", "*"), ("loads", "payload", "*", "on", "*"), _MASSES)
_ENDS: tuple[tuple[Loc, str], ...] = (
    (("joints", "*", "between", "*"), "."), (("plates", "*", "gusset", "between", "*"), " "),
)  # fmt: skip
_HANDS = ("", " right", " left")
_MOST = 4


def rename(tree: Tree, what: str, old: str, new: str) -> Tree:
    """The job file with a new name.

    Args:
        tree: the job file.
        what: part, crossmember, fit point, tube or motion.
        old: the name there is.
        new: the name there is to be.

    Raises:
        InputError: nothing of that name, or one of the new name already.
    """
    if what not in _NAMES:
        raise InputError(f"what: {not_among(what, list(_NAMES))}")
    data = tree.root.data
    section = _SECTIONS[what]
    held = data.get(section)
    names = list(held) if isinstance(held, dict) else [_word(name) for _, name in find(data, (section, "*", "name"))]
    if old not in names:
        raise InputError(f"from: {not_among(old, names)}")
    if new in names and new != old:
        raise InputError(f'to: found "{new}", which there is already; choose another name')
    renamed = changed(tree, {loc: yaml_text(text) for loc, text in _mentions(data, what, old, new)})
    if isinstance(held, dict):
        return _key(renamed, section, old, new)
    own = {loc: yaml_text(new) for loc, name in find(data, (section, "*", "name")) if _word(name) == old}
    return changed(renamed, own)


def refuse_if_named(data: Any, loc: Loc) -> None:
    """An entry that others name stays.

    Raises:
        InputError: who names it.
    """
    what = next((what for what, section in _SECTIONS.items() if len(loc) == 2 and loc[0] == section), None)
    if what is None:
        return
    found = next((item for place, item in find(data, (loc[0], "*")) if place == loc), None)
    name = str(loc[1]) if isinstance(loc[1], str) else _word(found.get("name")) if isinstance(found, dict) else ""
    around = list(dict.fromkeys(_said(data, place) for place, _ in _mentions(data, what, name, name)))
    if name and around:
        more = f" and {len(around) - _MOST} more" if len(around) > _MOST else ""
        cure = f"take {'that' if len(around) == 1 else 'those'} out first, or name another there"
        raise InputError(f"{quoted(name)} is still named by {', '.join(around[:_MOST])}{more}; {cure}")


def _said(data: Any, loc: Loc) -> str:
    """What stands around a place, in words: `fit point "hanger"`, `joint 2`."""
    section, index = loc[0], loc[1]
    if section == "loads":
        return "the loads"
    called = _CALLED.get(str(section)) or next(what for what, own in _SECTIONS.items() if own == section)
    name = data[section][index].get("name")
    return f"{called} {quoted(_word(name))}" if name is not None else f"{called} {int(index) + 1}"


def _mentions(data: Any, what: str, old: str, new: str) -> Iterator[tuple[Loc, str]]:
    """Every value that names it, and what it is to be."""
    for pattern in _NAMES[what]:
        for loc, value in find(data, pattern):
            if _word(value) == old:
                yield loc, new
    if what not in ("part", "crossmember"):
        return
    points = {_word(name) for _, name in find(data, ("fit_points", "*", "name"))}  # in the loads they come before tubes
    for pattern in _LABELS:
        for loc, value in find(data, pattern):
            if pattern == _MASSES and _word(value) in points:
                continue
            for hand in _HANDS:
                if _word(value) == old + hand:
                    yield loc, new + hand
    for pattern, sign in _ENDS:
        for loc, value in find(data, pattern):
            if isinstance(value, str):
                stem, _, end = value.strip().rpartition(sign)
                for hand in _HANDS:
                    if stem.strip() == old + hand:
                        yield loc, f"{new}{hand}{sign}{end}"


def _key(tree: Tree, section: str, old: str, new: str) -> Tree:
    around = tree.root.items[section]
    key = around.keys[old]
    data = {**tree.root.data, section: {(new if one == old else one): value for one, value in around.data.items()}}
    return spliced(tree, [(key.start, key.end, yaml_text(new))], data, [(section, old)])


def _word(value: Any) -> str:
    return str(getattr(value, "raw", value)).strip() if not isinstance(value, dict | list) else ""
