"""The demo jobs run as they are: what they build, what they are said to show, and nothing of them left unsaid."""

import json
from pathlib import Path

import numpy as np
import pytest
from commands import CANNOT_BEND, DEMOS, HAULER, TRAILER, run

from railmodel.checks import run_checks
from railmodel.findings import Finding
from railmodel.frame import Frame, build_frame
from railmodel.job.reader import read_job
from railmodel.part import RailPart

JOBS = sorted(path for path in DEMOS.glob("*/*.yaml"))
GOOD = [path for path in JOBS if path != CANNOT_BEND]


def frame_of(path: Path) -> Frame:
    return build_frame(read_job(path))


def part_of(frame: Frame, label: str) -> RailPart:
    return next(part for part in frame.parts if part.label == label)


def stops(path: Path) -> list[Finding]:
    return [finding for finding in run_checks(frame_of(path)) if finding.level == "stop"]


def test_the_demo_jobs_of_the_plan_are_there() -> None:
    assert {HAULER, TRAILER, CANNOT_BEND} <= set(JOBS)


@pytest.mark.parametrize("path", GOOD, ids=lambda path: path.stem)
def test_a_demo_job_builds_its_frame_and_nothing_stops_it(path: Path) -> None:
    frame = frame_of(path)
    assert frame.faults == ()
    names = {part.name for part in frame.parts}
    assert names == {part.name for part in (*frame.job.parts, *frame.job.crossmembers)}
    assert stops(path) == []


@pytest.mark.parametrize("path", GOOD, ids=lambda path: path.stem)
def test_pairs_are_mirror_images(path: Path) -> None:
    frame = frame_of(path)
    for right in (part for part in frame.parts if part.hand == "right"):
        left = part_of(frame, f"{right.name} left")
        assert np.abs(left.line.points - right.line.points * [1, -1, 1]).max() < 1e-9
        assert right.line.points[:, 1].min() > 0


def test_the_hauler_is_the_truck_it_says_it_is() -> None:
    frame = frame_of(HAULER)
    right, left = part_of(frame, "side rail right"), part_of(frame, "side rail left")
    assert [bend.way for bend in right.read.bends] == ["hard"] * 4  # a front step and a rear kick-up, hard way
    assert [bend.toward for bend in right.read.bends] == ["bottom", "top", "top", "bottom"]
    cap = part_of(frame, "rear cap")
    assert [bend.way for bend in cap.read.bends] == ["easy"] * 2
    ends = {right.label: right.line.end.at, left.label: left.line.end.at}
    for ours, label in ((cap.line.start.at, right.label), (cap.line.end.at, left.label)):
        assert np.abs(ours - ends[label]).max() < 1e-9  # the U joins both rail ends
    straight = [part.name for part in frame.parts if part.line.rows.count == 0]
    assert len(straight) == 2  # two straight crossmembers
    assert frame.unit == "in"


def test_the_trailer_is_in_millimetres_with_an_easy_way_drawbar() -> None:
    frame = frame_of(TRAILER)
    rail = part_of(frame, "drawbar rail right")
    section = rail.section
    assert (section.height, section.width, section.wall) == (80, 40, 3)
    assert {bend.way for bend in rail.read.bends} == {"easy"}
    assert frame.unit == "mm"


def test_the_wrong_job_shows_at_least_six_rules_and_explains_each() -> None:
    found = stops(CANNOT_BEND)
    assert len({finding.rule for finding in found}) >= 6
    for finding in found:
        assert finding.part is not None
        assert finding.part in finding.says  # where
        assert ";" in finding.says, finding.says  # what to do comes behind it
        assert finding.says.rsplit(";", 1)[1].strip()


REMEDY = {
    "short kick": ("lengthen the leg by that much, or use a radius of at most",),
    "up and in at once": ("a die holds flat faces only", "move point", "or turn the whole tube with top: ["),
    "tight corner": ("use a radius well above that",),
    "small offset": ("is at least 1.312 in", "use a larger by, a smaller angle or a smaller radius"),
    "steep offset": ("lengthen over to at least",),
    "doubled point": ("take one out or move it",),
    "no turn": ("take it out or move it",),
    "doubles back": ("use two points, or write the part as a path",),
    "wrong side": ("give Y values of 0 and above, or write it as hand: single",),
    "seam where none is": ("choose top or bottom, or order tube with its seam on a wide face",),
    "rolled at the end": ("plan a wedge for brackets and crossmembers there",),
}


@pytest.mark.parametrize("part", REMEDY)
def test_every_mistake_of_the_wrong_job_is_named_with_its_remedy(part: str) -> None:
    said = " ".join(finding.says for finding in run_checks(frame_of(CANNOT_BEND)) if finding.part == part)
    for words in REMEDY[part]:
        assert words in said


def test_every_part_of_the_wrong_job_is_wrong() -> None:
    frame = frame_of(CANNOT_BEND)
    said = {finding.part for finding in run_checks(frame) if finding.level in ("stop", "warn")}
    assert said >= {part.name for part in frame.job.parts}
    assert set(REMEDY) == {part.name for part in frame.job.parts}


@pytest.mark.parametrize("path", JOBS, ids=lambda path: path.stem)
def test_a_demo_job_can_be_checked_and_tabled_from_the_command_line(path: Path) -> None:
    checked, tabled = run("check", path, "--json"), run("table", path)
    status = 0 if path in GOOD else 1
    assert (checked.status, tabled.status) == (status, status)
    assert json.loads(checked.out)["ok"] is (path in GOOD)
    assert len(json.loads(tabled.out)) == len(frame_of(path).parts)
