"""The whole plan of a job: every part, the order of work, and the cuts."""

from itertools import groupby
from pathlib import Path

import pytest
from commands import DEMOS
from jobfiles import HEAD, frame_of, job_file

from railmodel.bending.plan import plan_job, sticks_of
from railmodel.frame import build_frame
from railmodel.job.reader import read_job

SHOP = """\
shop: Test shop
units: mm
bender: {bends: clockwise}
dies:
  hard 200: {height: 80, width: 40, way: hard, radius: 200, grip: 100, between: 110, tail: 150, change_over: 60 min}
  hard 260: {height: 80, width: 40, way: hard, radius: 260, grip: 100, between: 110, tail: 150, change_over: 20 min}
  easy 120: {height: 80, width: 40, way: easy, radius: 120, grip: 80, between: 90, tail: 120, change_over: 45 min}
"""
STOCK = """\
stock:
  - {tube: main, length: 6 m, kerf: 2, end_trim: 10}
  - {tube: main, length: 4 m, count: 2, kerf: 2, end_trim: 10, keep_drop: 500, test_pieces: 300}
"""


def part(name: str, *bends: str, hand: str = "single", straight: float = 400) -> str:
    moves = "".join(f"    - bend: {{{bend}}}\n    - straight: {straight}\n" for bend in bends)
    start = "  start: {at: [0, 400, 0]}\n"
    return f"- name: {name}\n  tube: main\n  hand: {hand}\n{start}  path:\n    - straight: {straight}\n{moves}"


HARD = "toward: top, angle: 30, die: hard 200"
WIDE = "toward: top, angle: 30, die: hard 260"
EASY = "toward: left, angle: 30, die: easy 120"
BARE = "toward: top, angle: 30, radius: 233"


def test_parts_stand_in_the_jobs_order_with_marks_and_orders(tmp_path: Path) -> None:
    parts = part("rail", HARD, hand="pair") + "- {name: bar, tube: box, points: [[0, 0, 0], [500, 0, 0]]}\n"
    found = plan_job(frame_of(tmp_path, parts, SHOP)).parts
    assert [one.marks.reading.part.label for one in found] == ["rail right", "rail left", "bar"]
    assert [len(one.orders.bends) for one in found] == [1, 1, 0]
    assert [one.rehearsal for one in found] == [None, None, None]  # nothing stands around this bender


def test_a_bender_that_is_described_is_rehearsed_from_both_ends(tmp_path: Path) -> None:
    shop = SHOP.replace("bends: clockwise", "bends: clockwise, centreline_height: 950")
    parts = part("rail", HARD, hand="pair") + "- {name: bar, tube: box, points: [[0, 0, 0], [500, 0, 0]]}\n"
    right, left, bar = plan_job(frame_of(tmp_path, parts, shop)).parts
    assert right.rehearsal is not None
    assert left.rehearsal is not None
    assert (right.rehearsal.front.reading.end, right.rehearsal.rear.reading.end) == ("front", "rear")
    assert left.rehearsal.front.reading.part.hand == "left"
    assert bar.rehearsal is None


def test_a_part_that_cannot_be_bent_is_marked_out_and_not_rehearsed(tmp_path: Path) -> None:
    shop = SHOP.replace("bends: clockwise", "bends: clockwise, centreline_height: 950")
    points = "[[0, 0, 0], {at: [400, 0, 0], die: hard 200}, {at: [440, 0, 60], die: hard 200}, [900, 0, 60]]"
    (rail,) = plan_job(frame_of(tmp_path, f"- {{name: rail, tube: main, points: {points}}}", shop)).parts
    assert len(rail.marks.bends) == 2
    assert rail.rehearsal is None


def test_the_order_of_work_by_hand(tmp_path: Path) -> None:
    """A: hard, easy. B: easy, wide. C: hard, easy, wide. Hard, easy, wide holds them all: 2 changes.

    Part by part A, B, C in the best order: C ends on the wide die and none begins there; A's easy end meets B's easy
    start: hard easy | (easy) wide | hard easy wide = 6 set-ups, 5 changes.
    """
    parts = part("a", HARD, EASY) + part("b", EASY, WIDE) + part("c", HARD, EASY, WIDE)
    work = plan_job(frame_of(tmp_path, parts, SHOP)).changeovers
    assert work is not None
    assert [stage.die for stage in work.stages] == ["hard 200", "easy 120", "hard 260"]
    assert [stage.parts for stage in work.stages] == [("a", "c"), ("a", "b", "c"), ("b", "c")]
    assert (work.changes, work.bound, work.proven, work.one_by_one_best) == (2, 2, True, 5)
    assert (work.minutes, work.one_by_one_minutes) == (125, 60 + 45 + 20 + 60 + 45 + 20)


def test_parts_without_a_die_of_the_shops_are_left_out_of_the_order_and_named(tmp_path: Path) -> None:
    found = plan_job(frame_of(tmp_path, part("a", HARD) + part("b", HARD, BARE) + part("c", BARE), SHOP))
    assert found.changeovers is not None
    assert [stage.parts for stage in found.changeovers.stages] == [("a",)]
    assert found.no_die == ("b", "c")


def test_a_straight_part_is_no_part_of_the_order(tmp_path: Path) -> None:
    found = plan_job(frame_of(tmp_path, "- {name: bar, tube: box, points: [[0, 0, 0], [500, 0, 0]]}", SHOP))
    assert (found.changeovers, found.no_die) == (None, ())


def test_the_leading_end_turns_a_parts_dies_round(tmp_path: Path) -> None:
    rear = part("a", HARD, EASY).replace("  path:", "  leading_end: rear\n  path:")
    work = plan_job(frame_of(tmp_path, rear, SHOP)).changeovers
    assert work is not None
    assert [stage.die for stage in work.stages] == ["easy 120", "hard 200"]


def test_cuts_hold_every_part_and_the_test_pieces_at_their_cut_lengths(tmp_path: Path) -> None:
    parts = part("rail", HARD, hand="pair", straight=700) + part("stub", HARD, straight=120)
    found = plan_job(frame_of(tmp_path, parts, SHOP + STOCK))
    pieces = [(piece.label, piece.length) for stick in found.cuts["main"].sticks for piece in stick.pieces]
    wanted = [(one.marks.reading.part.label, one.marks.cut_length) for one in found.parts] + [("test piece", 300.0)]
    assert sorted(pieces) == sorted(wanted)
    assert found.cuts["main"].proven
    assert found.parts[2].marks.trim_tail == 30  # the stub's 120 mm tail needs 150: cut with its trim
    for stick in found.cuts["main"].sticks:
        used = sum(piece.length for piece in stick.pieces) + stick.cuts * 2 + 10
        assert used + stick.drop == pytest.approx(stick.stock.length, abs=1e-6)


def test_tubes_without_stock_are_left_out_of_the_cuts_and_named(tmp_path: Path) -> None:
    parts = part("rail", HARD) + "- {name: bar, tube: box, points: [[0, 0, 0], [500, 0, 0]]}\n"
    found = plan_job(frame_of(tmp_path, parts, SHOP + STOCK))
    assert (list(found.cuts), found.no_stock) == (["main"], ("box",))
    bare = plan_job(frame_of(tmp_path, parts, SHOP))
    assert (dict(bare.cuts), bare.no_stock) == ({}, ("box", "main"))


def test_crossmembers_are_cut_with_the_parts(tmp_path: Path) -> None:
    head = HEAD.replace("wall: 3, corner: 6}", "wall: 3, corner: 6}")
    job = (
        f"{head}parts:\n- {{name: rail, tube: main, hand: pair, points: [[0, 400, 0], [2000, 400, 0]]}}\n"
        "crossmembers:\n- {name: cross, tube: main, between: [rail], x: 1000}\n"
    )
    found = plan_job(build_frame(read_job(job_file(tmp_path, job, SHOP + STOCK))))
    lengths = {piece.label: piece.length for stick in found.cuts["main"].sticks for piece in stick.pieces}
    assert lengths["cross"] == pytest.approx(760, abs=1e-6)  # 800 between the centres, less 20 a side


def test_sticks_keep_their_own_words(tmp_path: Path) -> None:
    frame = frame_of(tmp_path, part("rail", HARD), SHOP + STOCK)
    to_buy, on_rack = sticks_of(frame, "main")
    assert (to_buy.length, to_buy.count, to_buy.keep_drop) == (6000, None, float("inf"))
    assert (on_rack.length, on_rack.count, on_rack.kerf, on_rack.end_trim, on_rack.keep_drop) == (4000, 2, 2, 10, 500)
    assert sticks_of(frame, "box") == []


@pytest.mark.parametrize("job", sorted(DEMOS.glob("*/*.yaml")), ids=lambda path: path.stem)
def test_every_demo_job_is_planned_with_proof_and_every_part_meets_its_dies_in_order(job: Path) -> None:
    found = plan_job(build_frame(read_job(job)))
    assert found.changeovers is not None
    assert found.changeovers.proven
    assert all(cuts.proven for cuts in found.cuts.values())
    assert found.no_stock == ()
    for one in found.parts:
        label = one.marks.reading.part.label
        runs = [die for die, _ in groupby(marked.bend.die for marked in one.marks.bends)]
        stages = [stage.die for stage in found.changeovers.stages if label in stage.parts]
        assert stages == ([] if label in found.no_die else runs)
