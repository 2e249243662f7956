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


def test_two_bends_made_each_at_the_other_ones_angle_are_no_record_from_the_other_end() -> None:
    data = off_plan(THINGS)
    first, *_, last = data["angles"]
    first["reads"], last["reads"] = last["reads"], first["reads"]
    assert not [one for one in piece(hauler(), data).findings if one.level == "stop"]
