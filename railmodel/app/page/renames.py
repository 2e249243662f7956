"""A new name for a part, a tube or a motion, in every place of the job that names it."""

from collections.abc import Iterator
from typing import Any

from railmodel.errors import InputError
from railmodel.job.edit import changed, spliced, yaml_text
from railmodel.job.fields import not_among
from railmodel.job.references import find
from railmodel.job.yaml_tree import Loc, Tree

_NAMES: dict[str, tuple[Loc, ...]] = {
    "tube": (("parts", "*", "tube"), ("crossmembers", "*", "tube")),
    "motion": (("keep_clear", "*", "motion"),),
    "part": (
        ("parts", "*", "name"), ("fit_points", "*", "to", "part"), ("plumb", "*", "part"),
        ("joints", "*", "between", "*", "part"), ("plates", "*", "gusset", "between", "*", "part"),
    ),
}  # fmt: skip
_LABELS: tuple[Loc, ...] = (("crossmembers", "*", "between", "*"),)
_ENDS: tuple[tuple[Loc, str], ...] = (
    (("joints", "*", "between", "*"), "."), (("plates", "*", "gusset", "between", "*"), " "),
)  # fmt: skip
_HANDS = ("", " right", " left")


def rename(tree: Tree, what: str, old: str, new: str) -> Tree:
    """The job file with a new name.

    Args:
        tree: the job file.
        what: part, tube or motion.
        old: the name there is.
        new: the name there is to be.

    Raises:
        InputError: nothing of that name, or one of the new name already.
    """
    if what not in _NAMES:
        raise InputError(f"what: {not_among(what, list(_NAMES))}")
    data = tree.root.data
    section = {"part": "parts", "tube": "tubes", "motion": "motions"}[what]
    held = data.get(section)
    names = list(held) if isinstance(held, dict) else [_word(name) for _, name in find(data, ("parts", "*", "name"))]
    if old not in names:
        raise InputError(f"from: {not_among(old, names)}")
    if new in names and new != old:
        raise InputError(f'to: found "{new}", which there is already; choose another name')
    renamed = changed(tree, {loc: yaml_text(text) for loc, text in _mentions(data, what, old, new)})
    return renamed if what == "part" else _key(renamed, section, old, new)


def _mentions(data: Any, what: str, old: str, new: str) -> Iterator[tuple[Loc, str]]:
    """Every value that names it, and what it is to be."""
    for pattern in _NAMES[what]:
        for loc, value in find(data, pattern):
            if _word(value) == old:
                yield loc, new
    if what != "part":
        return
    for pattern in _LABELS:
        for loc, value in find(data, pattern):
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
