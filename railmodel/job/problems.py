"""Validation errors as sentences: file, line, column, place, what was found, what is allowed, what to do."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, get_args

from pydantic import BaseModel, ValidationError

from railmodel.errors import InputError
from railmodel.job.fields import not_among, shown
from railmodel.job.yaml_tree import Loc, Tree
from railmodel.units import quoted

SHOWN: int = 20
"""Problems printed before "and N more"."""


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that is wrong with a file.

    Args:
        loc: keys and indexes to the value.
        says: the tail of the sentence, from "found" on.
        key: whether the last step of `loc` is a key that itself is wrong.
    """

    loc: Loc
    says: str
    key: bool = False


def raise_problems(tree: Tree, problems: Iterable[Problem], others: Sequence[str] = ()) -> None:
    """Raise all problems of a file, in the order they stand in it, then those of the files it names.

    Raises:
        InputError: there is at least one.
    """
    placed = [(tree.place(problem.loc, key=problem.key), problem) for problem in problems]
    placed.sort(key=lambda found: found[0])
    lines = dict.fromkeys(f"{tree.name}:{line}:{column}: {_words(tree, found)}" for (line, column), found in placed)
    said = [*lines, *others]
    if len(said) > SHOWN:
        said = [*said[:SHOWN], f"{tree.name}: and {len(said) - SHOWN} more problems"]
    if said:
        raise InputError(said, [(problem.loc, problem.says) for _, problem in placed[:SHOWN]])


def _words(tree: Tree, problem: Problem) -> str:
    return label(tree.root.data, problem.loc[:-1] if problem.key else problem.loc) + problem.says


def label(data: Any, loc: Sequence[str | int]) -> str:
    """Where a value stands, in words: `parts[0] "side rail" points[2] die: `."""
    words: list[str] = []
    for step in loc:
        if isinstance(step, int):
            words.append(f"{words.pop() if words else ''}[{step}]")
        else:
            words.append(step if step.isprintable() and len(step) <= 60 else quoted(step))
        data = _inside(data, step)
        name = data.get("name") if isinstance(data, Mapping) and isinstance(step, int) else None
        if isinstance(name, str):
            words.append(quoted(name))
    return " ".join(words) + ": " if words else ""


def _inside(data: Any, step: str | int) -> Any:
    if isinstance(data, Mapping):
        return data.get(step)
    if isinstance(data, list) and isinstance(step, int) and step < len(data):
        return data[step]
    return None


def from_validation(error: ValidationError, root: type[BaseModel]) -> list[Problem]:
    """Problems of a validation error; those that only follow from others are left out."""
    details = error.errors(include_url=False)
    places = [tuple(step for step in detail["loc"] if step != "[key]") for detail in details]
    problems = []
    for place, detail in zip(places, details, strict=True):
        follows = detail["type"] in {"too_short", "too_long"} and any(
            len(other) > len(place) and other[: len(place)] == place for other in places
        )
        if not follows:
            problems.append(_problem(place, detail, root))
    return problems


_KINDS = {
    "tuple_type": "a list", "list_type": "a list", "dict_type": "a mapping of names", "model_type": "a mapping of keys",
    "model_attributes_type": "a mapping of keys", "bool_type": "true, false", "bool_parsing": "true, false",
    "int_type": "a whole number", "int_parsing": "a whole number", "int_from_float": "a whole number",
}  # fmt: skip


def _problem(loc: Loc, detail: Any, root: type[BaseModel]) -> Problem:
    kind, value, context = detail["type"], detail["input"], detail.get("ctx", {})
    if kind == "value_error":
        return Problem(loc, str(context["error"]))
    if kind == "missing":
        return Problem(loc[:-1], f"{loc[-1]} is missing; it is required")
    if kind == "extra_forbidden":
        near = not_among(loc[-1], keys_at(root, loc[:-1])).removeprefix("found ")
        return Problem(loc, f"unknown key {near}", key=True)
    if kind == "too_short":
        return Problem(loc, f"found {context['actual_length']} of them; allowed: {context['min_length']} or more")
    if kind == "too_long":
        return Problem(loc, f"found {len(value)} of them; allowed: up to {context['max_length']}")
    allowed = f"allowed: {_KINDS[kind]}" if kind in _KINDS else detail["msg"]
    return Problem(loc, f"found {shown(value)}; {allowed}")


def keys_at(root: type[BaseModel], loc: Sequence[str | int]) -> list[str]:
    """The keys that a mapping at a place may have."""
    model: Any = root
    for step in loc:
        fields = {field.alias or name: field for name, field in model.model_fields.items()} if _is_model(model) else {}
        if step in fields:  # else an index, or the name of an entry
            model = _model_in(fields[str(step)].annotation)
    return [field.alias or name for name, field in model.model_fields.items()] if _is_model(model) else []


def _is_model(annotation: Any) -> bool:
    return isinstance(annotation, type) and issubclass(annotation, BaseModel)


def _model_in(annotation: Any) -> Any:
    """The first model named anywhere in an annotation."""
    if _is_model(annotation):
        return annotation
    for part in get_args(annotation):
        found = _model_in(part)
        if found is not None:
            return found
    return None
