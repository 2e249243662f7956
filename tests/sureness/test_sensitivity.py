"""Derivatives of a job's fit points, joints and clearances, held against differences of the job built anew."""

from pathlib import Path

import numpy as np
import pytest
from jobfiles import HEAD, job_file
from sure_jobs import LADDER, pair_job, rows_text

from railmodel.errors import InputError
from railmodel.fitting.joint import meeting, outward
from railmodel.frame import Frame, build_frame
from railmodel.geometry.centreline import Centreline
from railmodel.job.reader import read_job
from railmodel.sureness.datum import Datum, parse_datum
from railmodel.sureness.exact import laid_lines
from railmodel.sureness.march import columns_off, rails_off
from railmodel.sureness.screws import FIELDS, Columns, Working
from railmodel.sureness.sensitivity import Bent, sensitivity

STEP = 1e-4

JOINED = """\
  - name: tie
    tube: main
    start: {at: [-60, 400, 480], heading: [-1, 0.1, 0], top: [0, 0.02, 1]}
    rows:
      - {distance: 200, rotation: 0, angle: 20, radius: 180}
      - {distance: 150, rotation: 90, angle: 15, radius: 180}
    tail: 220
joints:
  - {between: [rail right.front, tie.front], gap: 100, offset: 100, angle: 20, roll: 20}
"""
"""Two ends that look at each other from nearby, a little askew."""


def steps(bent: Bent, working: Working, column: int) -> tuple[Centreline, Centreline]:
    """The part with one value of its bend table off by STEP one way and the other, laid against its datum."""
    rails = rails_off(bent, working, columns_off(bent.columns, [(column, np.array([STEP, -STEP]))]))
    first, second = laid_lines(bent, rails, 2)
    return first, second


def front(line: Centreline, bent: Bent) -> Centreline:
    return line if bent.part.leading_end == "front" else line.reversed()


@pytest.mark.parametrize("working", ["marks fixed", "straights held"])
@pytest.mark.parametrize("datum", ["main", "rear"])
def test_joints(tmp_path: Path, working: Working, datum: str) -> None:
    text = f"{HEAD}parts:\n{rows_text(LADDER[:3], 300, '    leading_end: rear')}{JOINED}"
    frame = build_frame(read_job(job_file(tmp_path, text)))
    found = sensitivity(frame, [Datum(datum)], working)
    numbers = {measure.what: measure for measure in found.measures if measure.kind == "joint"}
    assert set(numbers) == {"gap", "aside", "up", "tilt aside", "tilt up", "roll"}
    ends = {"rail right": "front", "tie": "front"}
    for label in ends:
        bent = found.bent[label]
        for column in range(bent.columns.count):
            met = []
            for line in steps(bent, working, column):
                lines = {other: found.bent[other].part.line for other in ends} | {label: front(line, bent)}
                one, other = (outward(lines[which], ends[which]) for which in ends)  # type: ignore[arg-type]
                apart = other.at - one.at
                met.append([
                    apart @ one.t, apart @ one.s, apart @ one.u, -other.t @ one.s, -other.t @ one.u,
                    meeting(one, other).roll,
                ])  # fmt: skip
            slopes = (np.array(met[0]) - met[1]) / (2 * STEP)
            slopes[5] *= np.sign(numbers["roll"].value)  # the joint's roll has no sign
            ours = [numbers[what].slopes[label][column] for what in numbers]
            assert ours == pytest.approx(slopes, rel=1e-6, abs=1e-6)


def test_clearances_are_those_of_the_gap_measured_anew(tmp_path: Path) -> None:
    # a ball beside a straight and one above a bend: the gap to a ball is a distance of points, so that differences of
    # the exact gap are good to the search's own tolerance (0.02 mm) over the step
    balls = (
        "keep_clear:\n  - {name: low ball, shape: {sphere: {at: [330, 400, 300], diameter: 100}}, gap: 10}\n"
        "  - {name: far ball, shape: {sphere: {at: [900, 430, 900], diameter: 120}}, gap: 10}\n"
    )
    frame = frame_with(tmp_path, balls)
    found = sensitivity(frame, [], "marks fixed")
    from railmodel.fitting.bodies import rail_body
    from railmodel.fitting.clearance import gaps
    from railmodel.fitting.keep_clear import shapes_of

    shapes = {shape.name: shape for shape, _ in shapes_of(frame.source)}
    bent = found.bent["rail right"]
    size = {field: 0.02 if field in ("angle", "rotation", "roll") else 5.0 for field in FIELDS}
    for measure in found.measures:
        if measure.kind != "clearance" or measure.on != "rail right":
            continue
        for field in FIELDS:
            column = bent.columns.of(field, 2)
            by = np.array([size[field], -size[field]])
            lines = laid_lines(bent, rails_off(bent, "marks fixed", columns_off(bent.columns, [(column, by)])), 2)
            one, other = (
                gaps([rail_body("rail", line, bent.part.section)], [shapes[measure.name]])[0].gap for line in lines
            )
            difference = (one - other) / (2 * size[field])
            # second-order terms fall out of the difference; what is left is the search's tolerance
            assert measure.slopes["rail right"][column] == pytest.approx(difference, rel=0.02, abs=0.04 / size[field])


def frame_with(folder: Path, rest: str) -> Frame:
    return build_frame(read_job(pair_job(folder, LADDER[:4], 300.0, [0.1, 0.9], rest=rest)))


def test_both_hands_are_mirror_images(tmp_path: Path) -> None:
    frame = frame_with(tmp_path, "")
    found = sensitivity(frame)
    columns = Columns(4)
    turned = np.ones(columns.count)
    turned[columns.block("rotation")] = turned[columns.block("roll")] = -1  # the mirror image turns the other way
    by_hand = {(one.name, one.on): next(iter(one.slopes.values())) for one in found.measures}
    for name, on in by_hand:
        if on == "rail right":
            assert by_hand[(name, "rail left")] == pytest.approx(by_hand[(name, on)] * turned, abs=1e-9)


@pytest.mark.parametrize(
    ("text", "where", "part"),
    [("main", "main", None), (" Front ", "front", None), ("straight  02", "straight 2", None),
     ("side rail. straight 3", "straight 3", "side rail"), ("no. 2 rail.rear", "rear", "no. 2 rail")],
)  # fmt: skip
def test_datums_as_people_write_them(text: str, where: str, part: str | None) -> None:
    assert parse_datum(text, ["side rail", "no. 2 rail"]) == Datum(where, part)


@pytest.mark.parametrize(
    ("text", "says"),
    [("middle", 'found "middle"; allowed: main'), ("straight", "allowed: main"), ("straight -1", "allowed: main"),
     ("straight ²", "allowed: main"), ("rali.front", 'did you mean "rail"?')],
)  # fmt: skip
def test_a_datum_that_is_none_is_one_sentence(text: str, says: str) -> None:
    with pytest.raises(InputError, match="--datum") as caught:
        parse_datum(text, ["rail"])
    assert says in str(caught.value)
    assert len(caught.value.problems) == 1


def test_a_straight_that_the_part_does_not_have(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="rail has no straight 5; allowed: straight 0 to straight 4"):
        sensitivity(frame_with(tmp_path, ""), [Datum("straight 5")])


def test_the_datum_itself_does_not_move(tmp_path: Path) -> None:
    frame = frame_with(tmp_path, "")
    for where, number in (("straight 0", 0), ("straight 4", 1)):
        found = sensitivity(frame, [Datum(where)])
        (own,) = (one for one in found.measures if one.name == f"point {number + 1}" and one.on == "rail right")
        assert np.abs(own.slopes["rail right"]).max() < 1e-9
