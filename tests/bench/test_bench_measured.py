"""How long it takes to say how a measured piece came out, beyond reading the job and loading the program.

The bound is 0.3 seconds on a computer that adds up a million squares in a twelfth of a second; one that takes longer
for that, or is busy, gets as much more.
"""

from collections.abc import Callable
from pathlib import Path
from time import process_time

import pytest

from railmodel.as_bent.piece import Piece, read_piece
from railmodel.frame import build_frame
from railmodel.job.reader import read_job
from railmodel.sureness.datum import Datum

DEMO = Path(__file__).resolve().parents[2] / "demo_jobs" / "hillside_hauler"


def yardstick() -> float:
    """Seconds of a million squares."""
    start = process_time()
    sum(i * i for i in range(1_000_000))
    return process_time() - start


EXAMPLE = (DEMO / "measured" / "right_rail.yaml").read_text()
RECORDS = {
    "ordinary": EXAMPLE,
    "few": EXAMPLE[: EXAMPLE.index("distances:")].replace("  - {bend: 2, reads: [14.7, 14.7]}\n", ""),
    "twice": EXAMPLE.replace("legs: ", "legs:\n  - {straight: 0, between: tangents, reads: 37}\n# "),
    "contradictory": EXAMPLE.replace("angles: ", "angles:\n  - {bend: 1, reads: 51.0}\n  - {bend: 2, reads: 41.7}\n# ")
    .replace("legs: ", "legs:\n  - {straight: 1, reads: 61}\n  - {straight: 2, reads: 4}\n# "),
    "wrong units": EXAMPLE.replace("units: in", "units: mm"),
    "other hand": EXAMPLE.replace("hand: right", "hand: left"),
}  # fmt: skip


def seconds(record: Path) -> float:
    """Seconds from the record to the shape and how far off it is, the job new each time."""
    frame = build_frame(read_job(DEMO / "hauler.yaml"))
    start = process_time()
    piece: Piece = read_piece(frame, record)
    assert bool(piece.shape) == (len(piece.layings([Datum("front"), Datum("main")])) == 3)
    return process_time() - start


@pytest.mark.parametrize("kind", RECORDS)
def test_a_piece_is_told_of_in_three_tenths_of_a_second(
    kind: str, tmp_path: Path, record_property: Callable[[str, object], None]
) -> None:
    record = tmp_path / "rail.yaml"
    record.write_text(RECORDS[kind])
    seconds(record)  # loads what is loaded once
    turns = [(seconds(record), yardstick()) for _ in range(3)]
    took, loop = (min(times) for times in zip(*turns, strict=True))
    record_property("a measured piece, s", took)
    record_property("million squares, s", loop)
    assert took <= max(0.3, 3.6 * loop)
