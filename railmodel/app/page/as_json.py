"""JSON that every browser reads."""

import json
from typing import Any


def dumps(value: Any) -> bytes:
    """JSON; a number that is none is null."""
    try:
        return json.dumps(value, separators=(",", ":"), allow_nan=False).encode()
    except ValueError:
        return json.dumps(_finite(value), separators=(",", ":"), allow_nan=False).encode()


def _finite(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _finite(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(item) for item in value]
    return None if isinstance(value, float) and not abs(value) < float("inf") else value
