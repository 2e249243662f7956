"""The shop's spread from its inspection records: simulated shops whose spread is known."""

from pathlib import Path

import numpy as np
import pytest
from commands import DEMOS, HAULER, run
from measured_rails import MARK, drawn, frame_rail, read

from railmodel.app.sure_command import how_sure
from railmodel.as_bent.choose import candidates
from railmodel.as_bent.estimate import sift
from railmodel.as_bent.shop_spread import ENOUGH, Told, components, recorded_spread
from railmodel.frame import build_frame
from railmodel.job.reader import read_job

EXAMPLE = DEMOS / "hillside_hauler" / "measured" / "right_rail.yaml"


def never(*_: object) -> bool:
    return False


def shop(seed: int, pieces: int, size: float) -> list[Told]:
    """What pieces tell of a shop whose marks are so many times as far off as it thinks."""
    rng, told = np.random.default_rng(seed), []
    for _ in range(pieces):
        rail = frame_rail(rng, 3)
        off = drawn(rail, rng)
        off[rail.columns.block("distance")] *= size
        off[rail.columns.tail] *= size
        told.append(Told.of(sift(rail, read(rail, off, candidates(rail), rng), never), rail))
    return told


@pytest.mark.parametrize("size", [0.4, 1.0, 2.0])
def test_a_spread_is_found_whatever_the_shop_thought_of_it(size: float) -> None:
    value, freedom = components(shop(7, 20, size))["distance"]
    # how well a variance is found with so many degrees of freedom, from the chi-square distribution
    assert (value / (MARK * size)) ** 2 == pytest.approx(1.0, abs=3 * float(np.sqrt(2 / freedom)))
    assert freedom > ENOUGH


def copies(folder: Path, count: int) -> Path:
    """The demo with so many records beside it, each of a piece of its own."""
    for name in ("shop.yaml", "test_bends.csv", "controller.yaml"):
        (folder / name).write_bytes((DEMOS / name).read_bytes())
    job = folder / "job" / "hauler.yaml"
    (job.parent / "measured").mkdir(parents=True)
    job.write_text(HAULER.read_text())
    text, rng = EXAMPLE.read_text(), np.random.default_rng(2)
    for i in range(count):
        own = text
        for written, plan in (("reads: 37}", 37.0), ("reads: 16 13/16}", 16.73), ("reads: 40}", 40.0),
                              ("reads: 14 9/16}", 14.5)):  # fmt: skip
            own = own.replace(written, f"reads: {plan + rng.normal() / 16:.3f}}}")
        own = own[: own.index("distances:")]
        (job.parent / "measured" / f"rail_{i}.yaml").write_text(own)
    return job


def test_records_beside_the_job_count_and_are_named(tmp_path: Path) -> None:
    job = copies(tmp_path, 6)
    frame = build_frame(read_job(job))
    found = recorded_spread(frame)
    assert found.fields["distance"].source == "from 6 inspection records"
    assert found.fields["distance"].dof >= ENOUGH
    sure = how_sure(frame, samples=1000)
    assert {cause.sigma for cause in sure.spread.causes if cause.field == "distance"} == {found.fields["distance"]}
    ran = run("sure", job, "--samples", "1000")
    assert ", from 6 inspection records" in next(line for line in ran.out.splitlines() if line.startswith("  mark: "))
    assert "the shop's own setting, not measured" in ran.out  # what they do not tell


def test_one_record_tells_too_little_and_that_is_said() -> None:
    ran = run("sure", HAULER, "--samples", "1000")
    assert "1 inspection record tells too little of" in ran.out
    assert "mark: 0.031 in, the shop's own setting, not measured" in ran.out


def test_records_of_something_else_are_passed_over_in_a_sentence(tmp_path: Path) -> None:
    job = copies(tmp_path, 1)
    folder = job.parent / "measured"
    text = EXAMPLE.read_text()
    (folder / "a_other.yaml").write_text(text.replace("of_job: Hillside hauler", "of_job: Lake trailer"))
    (folder / "b_units.yaml").write_text(text.replace("units: in", "units: mm"))
    (folder / "c_broken.yaml").write_text("angels: [")
    (folder / "notes.txt").write_text("not a record")
    found = recorded_spread(build_frame(read_job(job)))
    passed = [note for note in found.notes if "is passed over: " in note]
    assert len(passed) == 3
    assert 'measured/a_other.yaml is passed over: a_other.yaml: is of the job "Lake trailer"' in passed[0]
    assert "the lengths are 25.4 times too small" in passed[1]
    assert passed[2].startswith("measured/c_broken.yaml is passed over: ")
    assert not any("\n" in note for note in found.notes)


def test_a_job_without_records_has_none(tmp_path: Path) -> None:
    job = copies(tmp_path, 0)
    found = recorded_spread(build_frame(read_job(job)))
    assert (found.fields, found.notes) == ({}, ())
