"""A table of what the benchmarks measured, after the run: one line for every property a test recorded.

Benchmarks run by themselves, one after another (`pytest tests/bench`), never beside other tests.
"""

import pytest


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    measured = [
        (report.nodeid.split("::")[-1], name, value)
        for outcome in ("passed", "failed")
        for report in terminalreporter.getreports(outcome)
        if report.when == "call"
        for name, value in report.user_properties
    ]
    if measured:
        terminalreporter.section("measured")
    for test, name, value in measured:
        shown = f"{value:.3g}" if isinstance(value, float) else str(value)
        terminalreporter.write_line(f"{shown:>10}  {name:<24} {test}")
