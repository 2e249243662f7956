"""How long it takes to say how a measured piece came out, beyond reading the job and loading the program.

The bound is 0.3 seconds on a computer that adds up a million squares in a twelfth of a second; one that takes longer
for that, or is busy, gets as much more.
"""

import random
from collections.abc import Callable
from itertools import combinations
from pathlib import Path
from time import process_time

import numpy as np
import pytest

from railmodel.as_bent.piece import Piece, read_piece
from railmodel.as_bent.spots import find_spot, where
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


PLACES = [f"{word} of bend {bend}" for word in ("start", "end") for bend in (1, 2, 3, 4)]
ANGLES = {1: 14.98, 2: 14.98, 3: 20.02, 4: 20.02}


def all_over(wrong: int) -> str:
    """A record of 63 readings, so many of which were drawn by lot and are nonsense."""
    rng = random.Random(wrong)
    part = next(one for one in build_frame(read_job(DEMO / "hauler.yaml")).parts if one.label == "side rail right")
    spots = [find_spot(name, part.read, {}, "front") for name in PLACES]
    at = where(part.read.line, spots) / 25.4
    bad = set(rng.sample(range(63), wrong))
    lines: dict[str, list[str]] = {"angles": [], "distances": [], "table": []}
    count = 0

    def reads(value: float) -> str:
        nonlocal count
        count += 1
        off = rng.choice([0.5, 0.7, 0.85, 1.15, 1.3, 2.0]) if count - 1 in bad else 1.0
        return f"{abs(value * off + rng.gauss(0, 0.01)):.3f}"

    for bend, angle in ANGLES.items():
        lines["angles"] += [f"{{bend: {bend}, reads: {reads(angle)}}}" for _ in range(3)]
    for i, k in list(combinations(range(8), 2))[1:]:
        apart = float(np.linalg.norm(at[k] - at[i]))
        lines["distances"].append(f"{{from: {PLACES[i]}, to: {PLACES[k]}, reads: {reads(apart)}}}")
    for i in range(8):
        x, y, z = (reads(100 + value) for value in at[i])
        lines["table"].append(f"{{place: {PLACES[i]}, at: [{x}, {y}, {z}]}}")
    text = "".join(f"{key}:\n" + "".join(f"  - {one}\n" for one in own) for key, own in lines.items())
    assert count == 63
    return f"part: side rail\nhand: right\n{text}"


RECORDS |= {f"{wrong} of 63 wrong": all_over(wrong) for wrong in (0, 8, 14, 22, 40, 63)}


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
