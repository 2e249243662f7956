"""What a whole `railmodel table` costs, against an interpreter that only imports the libraries it cannot do without.

Processor time of whole child processes, by turns in one run; the least of each counts.
"""

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from resource import RUSAGE_CHILDREN, getrusage

ROOT = Path(__file__).resolve().parents[2]
TABLE = ["-m", "railmodel", "table", "demo_jobs/hillside_hauler/hauler.yaml"]
IMPORTS = ["-c", "import numpy, pydantic, typer"]


def processor_time(arguments: list[str]) -> float:
    """User and system seconds of one Python process that must end well."""
    before = getrusage(RUSAGE_CHILDREN)
    subprocess.run([sys.executable, *arguments], cwd=ROOT, check=True, stdout=subprocess.DEVNULL)
    after = getrusage(RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def test_the_table_command_costs_at_most_three_times_its_imports(
    record_property: Callable[[str, object], None],
) -> None:
    turns = [(processor_time(TABLE), processor_time(IMPORTS)) for _ in range(7)]
    table, imports = (min(times) for times in zip(*turns, strict=True))
    record_property("seconds for the table", table)
    record_property("times its imports", table / imports)
    assert table <= 3 * imports
