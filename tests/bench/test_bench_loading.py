"""How long screening, packing and quoting take: processor time beside a plain loop of the same run.

The bounds are 2 s for the hauler under six load cases, 10 s for a frame of 40 tubes cut into 1,000 pieces, half a
second for packing, on a computer that adds up a million squares in a twelfth of a second; one that takes longer for
that, or is busy, gets as much more.
"""

from collections.abc import Callable
from pathlib import Path
from time import process_time

from commands import HAULER
from ladders import LADDER, LOADS, ladder

from railmodel.frame import build_frame
from railmodel.job.reader import read_job
from railmodel.loading.carry import FINE, carry
from railmodel.loading.packing import pack
from railmodel.loading.skeleton import Mesh

SIX = "  cases: {dynamic: 2, braking: 0.8, cornering: 0.5, one_wheel_up: front axle, torsion: 1000 N m}\n"

Record = Callable[[str, object], None]


def took(work: Callable[[], object]) -> float:
    start = process_time()
    work()
    return process_time() - start


def yardstick() -> float:
    """Seconds of a million squares, the least of three."""
    return min(took(lambda: sum(i * i for i in range(1_000_000))) for _ in range(3))


def test_the_hauler_under_six_cases(record_property: Record) -> None:
    frame = build_frame(read_job(HAULER))
    first = took(lambda: carry(frame))  # the solver is loaded here
    again = min(took(lambda: carry(frame)) for _ in range(3))
    loop = yardstick()
    record_property("carry of the hauler with the solver's import, s", first)
    record_property("carry of the hauler, s", again)
    record_property("carry, million squares", again / loop)
    assert again <= 24 * loop


def test_forty_tubes_in_a_thousand_pieces(tmp_path: Path, record_property: Record) -> None:
    places = [100 + 2800 * i / 37 for i in range(38)]
    ties = "".join(f"  - {{name: tie {i}, tube: cross, between: [rail], x: {x:.3f}}}\n" for i, x in enumerate(places))
    begin, end = LADDER.index("  - {name: front cross"), LADDER.index("fit_points:")
    frame = ladder(tmp_path, LOADS + SIX, LADDER[:begin] + ties + LADDER[end:])
    assert len(frame.parts) == 40
    screenings = []
    spent = took(lambda: screenings.append(carry(frame, Mesh(FINE.turn, 38.0))))
    loop = yardstick()
    record_property("pieces", screenings[0].convergence.pieces)
    record_property("carry of forty tubes, s", spent)
    record_property("carry, million squares", spent / loop)
    assert 1000 <= screenings[0].convergence.pieces < 1300
    assert spent <= 120 * loop


def test_the_packed_size_of_the_hauler(record_property: Record) -> None:
    frames = [build_frame(read_job(HAULER)) for _ in range(3)]
    first = took(lambda: pack(frames[0]))
    again = min(took(lambda frame=frame: pack(frame)) for frame in frames[1:])  # type: ignore[misc]
    loop = yardstick()
    record_property("packing with the libraries' import, s", first)
    record_property("packing, s", again)
    record_property("packing, million squares", again / loop)
    assert again <= 6 * loop
