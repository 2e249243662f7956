"""Hypothesis profiles: few examples at the desk, the full count where CI is set; both without a deadline.

Nothing that tests use is compiled as they run. The longest tests come first, so that no worker is left with one of
them when the other has nothing left to do.
"""

import os

import pytest
from hypothesis import HealthCheck, settings

_COMMON = {"deadline": None, "suppress_health_check": [HealthCheck.too_slow]}
settings.register_profile("local", max_examples=25, **_COMMON)
settings.register_profile("ci", max_examples=100, derandomize=True, print_blob=True, **_COMMON)
# the finite elements of a section take a second as plain Python, and half a minute where they are compiled first
os.environ.setdefault("NUMBA_DISABLE_JIT", "1")
settings.load_profile("ci" if os.environ.get("CI") == "true" else "local")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put the tests marked `long` before all others."""
    items.sort(key=lambda item: item.get_closest_marker("long") is None)
