"""Answers of lists and tables compared number by number."""

from typing import Any

import pytest


def assert_alike(found: Any, expected: Any, where: str = "answer") -> None:
    """The same keys, words and counts; numbers but for the last bits, in which two processes may differ."""
    if isinstance(expected, dict):
        assert isinstance(found, dict), where
        assert found.keys() == expected.keys(), where
        for key, value in expected.items():
            assert_alike(found[key], value, f"{where}.{key}")
    elif isinstance(expected, list):
        assert isinstance(found, list), where
        assert len(found) == len(expected), where
        for i, value in enumerate(expected):
            assert_alike(found[i], value, f"{where}[{i}]")
    elif isinstance(expected, int | float) and not isinstance(expected, bool):
        assert found == pytest.approx(expected, rel=1e-9, abs=1e-12), where
    else:
        assert found == expected, where
