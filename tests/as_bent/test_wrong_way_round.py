"""A piece that came out well off plan, written down from the wrong end or as the other hand: found all the same.

A shop writes a record down when a piece is off; what its bends are off by must not hide that the record is the wrong
way round. The pieces are made up: planned readings, with every bend off by five of the shop's own standard deviations.
"""

from typing import Any

from commands import HAULER
from written_records import THINGS, handed, hauler, piece, read_well

from railmodel.as_bent.piece import read_piece
from railmodel.frame import build_frame
from railmodel.job.reader import read_job

OFF = {1: 0.9, 2: -0.9, 3: -0.9, 4: 0.9, 5: -0.9}
"""Degrees, by bend."""


def off_plan(things: dict[str, Any], turned: bool = False) -> dict[str, Any]:
    data = read_well(hauler(turned), things)
    for entry in data["angles"]:
        entry["reads"] = round(entry["reads"] + OFF[entry["bend"]], 2)
    data.pop("distances")
    return data


def test_counted_from_the_other_end() -> None:
    data = off_plan(THINGS)
    assert not [one for one in piece(hauler(), data).findings if "counted" in one.says]
    (finding,) = piece(hauler(), data | {"numbered_from": "rear"}).findings
    assert finding.level == "stop"
    assert "counted from the other end; correct numbered_from:" in finding.says


def test_the_demo_record_counted_from_the_other_end(tmp_path: Any) -> None:
    text = (HAULER.parent / "measured" / "right_rail.yaml").read_text(encoding="utf-8")
    record = tmp_path / "right_rail.yaml"
    record.write_text(text.replace("numbered_from: front", "numbered_from: rear"), encoding="utf-8")
    (finding,) = read_piece(build_frame(read_job(HAULER)), record).findings
    assert "counted from the other end; correct numbered_from:" in finding.says


def test_of_the_other_hand() -> None:
    data, frame = off_plan(handed(), turned=True), hauler(turned=True)
    assert not [one for one in piece(frame, data).findings if one.level == "stop"]
    (finding,) = piece(frame, data, hand="left").findings
    assert finding.level == "stop"
    assert "fits the other hand: it is the record of a mirrored rail" in finding.says


def test_a_single_part_is_not_told_to_correct_a_hand_that_its_record_must_not_name(tmp_path: Any) -> None:
    job = tmp_path / "job.yaml"
    start = "    start: {at: [0, 0, 500]}\n    rows:\n"
    row = "      - {{distance: 300, rotation: {}, angle: {}, radius: 200}}\n"
    rows = "".join(row.format(turn, angle) for turn, angle in ((0, 20), (90, 30), (-90, 10)))
    tube = "tubes: {main: {height: 80, width: 80, wall: 4}}\n"
    part = f"parts:\n  - name: snake\n    tube: main\n{start}{rows}    tail: 300\n"
    job.write_text(f"job: Snake\nunits: mm\nshop: shop.yaml\n{tube}{part}")
    (tmp_path / "shop.yaml").write_text("shop: Test\nunits: mm\nspread: {angle: 0.3, distance: 1, roll: 0.3}\n")
    record = tmp_path / "snake.yaml"
    turns = "turns: [{bend: 2, reads: -90}, {bend: 3, reads: 90}]\n"
    record.write_text(turns + "angles: [{bend: 1, reads: 20}, {bend: 2, reads: 30}, {bend: 3, reads: 10}]\n")
    (finding,) = read_piece(build_frame(read_job(job)), record).findings
    assert finding.says.endswith("; the part is a single one: correct turns: or reject the piece")


def test_two_bends_made_each_at_the_other_ones_angle_are_no_record_from_the_other_end() -> None:
    data = off_plan(THINGS)
    first, *_, last = data["angles"]
    first["reads"], last["reads"] = last["reads"], first["reads"]
    assert not [one for one in piece(hauler(), data).findings if one.level == "stop"]
