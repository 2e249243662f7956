"""Several records of a real job: what every piece shows is corrected, what pieces contradict each other in is not."""

from functools import cache
from pathlib import Path

import numpy as np
import pytest
from commands import DEMOS, HAULER

from railmodel.as_bent.correct import NextPiece
from railmodel.as_bent.piece import Piece, read_piece
from railmodel.as_bent.to_bender import next_for
from railmodel.errors import InputError
from railmodel.frame import Frame, build_frame
from railmodel.job.reader import read_job

EXAMPLE = (DEMOS / "hillside_hauler" / "measured" / "right_rail.yaml").read_text()
TURNED = "turns:\n" + "".join(
    f"  - {{bend: {bend}, reads: [{reads}], sure_to: 0.2}}\n" for bend, reads in ((2, 180), (3, 3), (4, 177))
)
"""The plane of bend 3 is off by 3 degrees, which shows in two turns."""

ODD = (
    ("reads: [15.0, 15.0]", "reads: [9, 9]"), ("reads: [14.7, 14.7]", "reads: [9, 9]"),
    ("reads: [19.5, 19.9]", "reads: [27, 27]"), ("reads: [19.5, 19.7]", "reads: [27, 27]"),
    ("straight: 1, between: tangents, reads: 16 13/16", "straight: 1, between: tangents, reads: 13"),
    ("straight: 2, between: tangents, reads: 40", "straight: 2, between: tangents, reads: 45"),
    ("straight: 3, between: tangents, reads: 14 9/16", "straight: 3, between: tangents, reads: 10"),
)  # fmt: skip
"""What one piece reads elsewhere than the example, near neither end's count."""

TAPED = """\
part: side rail
hand: right
units: in
date: DATE
tools: {tape: 1/32, protractor: 0.3}
angles: [{bend: 1, reads: [15, 15]}, {bend: 2, reads: [15, 15]}, {bend: 3, reads: [20.5, 20.5]},
  {bend: 4, reads: [20.5, 20.5]}]
distances:
  - {from: front end, to: end of bend 2, reads: 57 1/2}
  - {from: end of bend 2, to: rear end, reads: 101 1/2}
set: as planned
"""
"""Marks and cut length show in distances only, each a sum of several."""


@cache
def hauler() -> Frame:
    return build_frame(read_job(HAULER))


def pieces(folder: Path, *texts: str) -> list[Piece]:
    found = []
    for i, text in enumerate(texts):
        path = folder / f"p{i + 1}.yaml"
        path.write_text(text.replace("DATE", f"2026-05-1{i}").replace("2026-05-11", f"2026-05-1{i}"))
        found.append(read_piece(hauler(), path))
    return found


def following(folder: Path, *texts: str) -> NextPiece:
    return next_for(*pieces(folder, *texts))


LEFT = EXAMPLE.replace("hand: right", "hand: left")


@pytest.mark.parametrize(
    "texts",
    [
        (EXAMPLE + TURNED,) * 2,
        (EXAMPLE + TURNED,) * 3,
        (LEFT, EXAMPLE + TURNED),
        (LEFT + TURNED.replace("[3]", "[-3]").replace("177", "-177"), EXAMPLE + TURNED),
        (EXAMPLE, EXAMPLE + TURNED),
    ],
)
def test_a_plane_that_every_piece_shows_turned_is_turned_back(tmp_path: Path, texts: tuple[str, ...]) -> None:
    alone = following(tmp_path, EXAMPLE + TURNED)
    found = following(tmp_path, *texts)
    for one in (alone, found):
        assert [bend.roll_step for bend in one.bends] == ["leave", "leave", "all", "leave"]
        assert np.degrees(one.bends[2].turn) == pytest.approx(3.0, abs=0.05)


def test_marks_and_a_cut_that_every_piece_shows_off_by_distances_alone_are_corrected(tmp_path: Path) -> None:
    alone, found = following(tmp_path, TAPED), following(tmp_path, TAPED, TAPED, TAPED)
    inches = alone.cut_now - alone.cut_was
    assert inches / 25.4 == pytest.approx(-0.583, abs=0.02)
    assert [one.step for one in alone.straights] == [one.step for one in found.straights]
    assert found.cut_now - found.cut_was == pytest.approx(inches, abs=0.03 * 25.4)
    assert found.bends[1].mark_now - found.bends[1].mark_was == pytest.approx(
        alone.bends[1].mark_now - alone.bends[1].mark_was, abs=0.03 * 25.4
    )


def test_where_the_pieces_differ_little_all_of_them_count_though_some_are_far_off_plan(tmp_path: Path) -> None:
    """Two of three are beyond four times the spread and the third just within: the answer is their mean."""
    text = EXAMPLE.split("distances:")[0] + "set: as planned\n"
    other = text.replace("{bend: 4, reads: [19.5, 19.7]}", "{bend: 4, reads: [19.9, 20.1]}")
    each = [np.degrees(following(tmp_path, one).bends[3].error) for one in (text, text, other)]
    found = following(tmp_path, text, text, other)
    assert np.degrees(found.bends[3].error) == pytest.approx(np.mean(each), abs=0.08)
    assert found.bends[3].sigma == pytest.approx(found.bends[0].sigma, rel=0.1)


def test_what_one_piece_alone_tells_is_compared_with_nothing(tmp_path: Path) -> None:
    turns = "turns:\n" + "".join(
        f"  - {{bend: {bend}, reads: [{reads}], sure_to: 0.05}}\n" for bend, reads in ((2, 180), (3, 0.2), (4, 179.8))
    )
    found = following(tmp_path, *[LEFT] * 4, EXAMPLE + turns)
    assert "angle" in {one.field for one in found.scatter}
    assert "roll" not in {one.field for one in found.scatter}


@pytest.mark.parametrize("count", [1, 2])
def test_pieces_that_do_not_agree_are_not_combined_and_the_odd_one_is_named(tmp_path: Path, count: int) -> None:
    """One of them has been marked and bent to something else."""
    text = EXAMPLE.split("distances:")[0]
    for was, now in ODD:
        assert was in text
        text = text.replace(was, now)
    odd = text + "set: as planned\n"
    with pytest.raises(InputError) as refused:
        following(tmp_path, *[EXAMPLE] * count, odd)
    (said,) = refused.value.problems
    assert said.startswith(f"p{count + 1}.yaml: does not agree with ")
    assert "numbered_from:" in said
    with pytest.raises(InputError, match=r"p1\.yaml: does not agree with "):
        following(tmp_path, odd, *[EXAMPLE] * count)


def test_one_bend_far_off_in_one_piece_only_does_not_set_the_pieces_asunder(tmp_path: Path) -> None:
    text = EXAMPLE.split("distances:")[0] + "set: as planned\n"
    other = text.replace("{bend: 4, reads: [19.5, 19.7]}", "{bend: 4, reads: [24.5, 24.7]}")
    found = following(tmp_path, text, other, text)
    assert np.degrees(found.bends[3].error) == pytest.approx(-0.95, abs=0.15)
