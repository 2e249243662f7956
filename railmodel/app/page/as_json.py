"""JSON that every browser reads; what was written once is not written again."""

import json
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class Ready:
    """A value that is JSON already."""

    text: bytes


class Mixed(dict[str, Any]):
    """A mapping some of whose values are `Ready` or `Mixed`."""


def dumps(value: Any) -> bytes:
    """JSON; a number that is none is null."""
    if isinstance(value, Ready):
        return value.text
    if isinstance(value, Mixed):
        return b"{" + b",".join(json.dumps(key).encode() + b":" + dumps(item) for key, item in value.items()) + b"}"
    try:
        return json.dumps(value, separators=(",", ":"), allow_nan=False).encode()
    except ValueError:
        return json.dumps(_finite(value), separators=(",", ":"), allow_nan=False).encode()


def ready(value: Any) -> Ready:
    """A value written now, for as long as it is kept."""
    return Ready(dumps(value))


def listed(items: Iterable[Ready]) -> Ready:
    """A list of values that are written already."""
    return Ready(b"[" + b",".join(item.text for item in items) + b"]")


def _finite(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _finite(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(item) for item in value]
    return None if isinstance(value, float) and not abs(value) < float("inf") else value
