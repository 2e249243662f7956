"""What a browser sends, as values that go into a job file: text as a person typed it stays as it was typed."""

import re
from math import isfinite
from typing import Any

from railmodel.errors import InputError
from railmodel.job.edit_lists import Written
from railmodel.units import quoted

DEEPEST = 8
"""Values nested deeper than this are refused."""

_NUMBER = re.compile(r"[-+]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][-+]?[0-9]{1,3})?")
_TAPE = re.compile(r"-?[0-9]+(?:\.[0-9]+)?(?: [0-9]+/[0-9]+|/[0-9]+)?(?: ?(?:in|ft|mm|cm|m|min))?")


def typed(value: Any, depth: int = 0) -> Any:
    """A value for a job file.

    Args:
        value: as it came: text as typed, true or false, a number, or lists and mappings of them.
        depth: how deep it stands.

    Raises:
        InputError: it is nested too deep, or a number that is none.
    """
    if depth > DEEPEST:
        raise InputError(f"found values nested more than {DEEPEST} deep; nothing was changed")
    if isinstance(value, str):
        return as_typed(value)
    if isinstance(value, dict):
        return {str(key): typed(item, depth + 1) for key, item in value.items() if not nothing(item)}
    if isinstance(value, list):
        return [typed(item, depth + 1) for item in value]
    if isinstance(value, float) and not isfinite(value):
        raise InputError(f"found {quoted(value)}; allowed: a number")
    return value


def as_typed(text: str) -> str:
    """Text as a file holds it: numbers and lengths of a tape as they were typed, all else as a word.

    >>> type(as_typed("24.50")).__name__, type(as_typed("25 1/2")).__name__, type(as_typed("hard 7")).__name__
    ('Written', 'Written', 'str')
    """
    text = text.strip()
    if len(text) <= 40 and (_NUMBER.fullmatch(text) or _TAPE.fullmatch(text)):
        return Written(text)
    return text


def nothing(value: Any) -> bool:
    """Whether a value means that there is none: left empty, or null."""
    return value is None or (isinstance(value, str) and not value.strip())
