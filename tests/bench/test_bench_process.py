"""What a whole `railmodel table`, `carry` or `weigh` costs, against an interpreter that only imports its libraries.

Processor time of whole child processes, by turns in one run; the least of each counts.
"""

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from resource import RUSAGE_CHILDREN, getrusage

import pytest

ROOT = Path(__file__).resolve().parents[2]
TABLE = ["-m", "railmodel", "table", "demo_jobs/hillside_hauler/hauler.yaml"]
CARRY = ["-m", "railmodel", "carry", "demo_jobs/hillside_hauler/hauler.yaml"]
WEIGH = ["-m", "railmodel", "weigh", "demo_jobs/hillside_hauler/hauler.yaml"]
SOLVERS = ["-c", "import numpy, pydantic, typer, scipy.sparse.linalg, scipy.spatial"]
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


@pytest.mark.parametrize(("name", "words", "times"), [("carry", CARRY, 3), ("weigh", WEIGH, 3)])
def test_screening_and_packing_with_all_their_imports(
    name: str, words: list[str], times: int, record_property: Callable[[str, object], None]
) -> None:
    """Six load cases in 2 s and boxes in half a second more than reading, on a computer that is not busy."""
    turns = [(processor_time(words), processor_time(SOLVERS)) for _ in range(4)]
    whole, imports = (min(times) for times in zip(*turns, strict=True))
    record_property(f"seconds for {name}", whole)
    record_property(f"{name}, times its imports", whole / imports)
    assert whole <= times * imports


def test_screening_brings_no_plotting_library() -> None:
    """PyNite's shear walls would; what is left out of its package is there again for whoever asks for it."""
    words = (
        "import sys; from pathlib import Path; from railmodel.frame import build_frame; from railmodel.job.reader "
        "import read_job; from railmodel.loading.carry import carry; "
        "carry(build_frame(read_job(Path('demo_jobs/hillside_hauler/hauler.yaml')))); "
        "assert 'matplotlib' not in sys.modules and 'trimesh' not in sys.modules, 'brought'; "
        "from Pynite.ShearWall import ShearWall; assert ShearWall is not object"
    )
    subprocess.run([sys.executable, "-c", words], cwd=ROOT, check=True)
