"""Set-up cards, cut list, tape check and inspection record say what the plan and the geometry say."""

import re
from decimal import Decimal
from math import dist
from pathlib import Path

import numpy as np
import pytest
from papers import CANNOT_BEND, HAULER, RACK, TEN_BENDS, TRAILER, frame_at, job_of, written

from exporters.views import PLAN
from railmodel.bending.plan import plan_job
from railmodel.bending.work import shop_work
from railmodel.units import format_decimal, format_tape


def test_there_is_a_set_up_card_for_every_die_with_what_it_is_set_to_and_why(tmp_path: Path) -> None:
    frame, pages = frame_at(HAULER), written("set-up cards", HAULER, tmp_path)
    assert len(pages) == len(shop_work(frame).tools) == 2
    card = next(page for page in pages if "Die hard 7" in page.text)
    for said in (
        "hard way",
        "main: 3.000 high x 2.000 wide x 0.188 wall, corner 0.375 in; A500-B",
        "7.000 in finished",
        "6.000 in",  # grip
        "6.250 in",  # between
        "9.000 in",  # tail
        "110°",
        "60 min",
        "none: the mark is the start of the bend",
        "from 6 test bends of 10° to 90°",
        "side rail, both hands: bends 1 and 2",
        "side rail, both hands: bends 3 and 4",
        "16.6°",
        "21.7°",
        "first bend after the new mandrel",  # a note in the record
        "Mandrel nose ahead of the start of bend",
        "Block or bleed the pressure before changing tooling.",
    ):
        assert said in card.text, said


def test_the_springback_printed_gives_the_set_angles_printed(tmp_path: Path) -> None:
    for page in written("set-up cards", HAULER, tmp_path):
        line = re.search(r"set angle = ([\d.]+) x finished ([+-]) ([\d.]+)°", page.text)
        assert line is not None
        slope, fixed = float(line[1]), float(line[2] + line[3])
        angles = re.findall(r"([\d.]+)° ([\d.]+)° [\d.]+° to [\d.]+°", page.text)
        assert angles
        for finished, set_to in angles:
            assert slope * float(finished) + fixed == pytest.approx(float(set_to), abs=0.06)


def test_cards_follow_the_order_of_work_and_name_what_is_bent_in_it(tmp_path: Path) -> None:
    order = plan_job(frame_at(RACK)).changeovers
    assert order is not None
    wanted = list(dict.fromkeys(stage.die for stage in order.stages))
    pages = written("set-up cards", RACK, tmp_path)
    assert [re.search(r"Die (.*?) (?:hard|easy) way", page.text)[1] for page in pages] == wanted  # type: ignore[index]
    for page, die in zip(pages, wanted, strict=True):
        for number, stage in enumerate(order.stages, start=1):
            said = f"set-up {number} of {len(order.stages)}: {', '.join(stage.parts)}"
            assert (said in page.text) == (stage.die == die)


def test_a_die_with_an_offset_says_where_the_mark_goes(tmp_path: Path) -> None:
    pages = written("set-up cards", RACK, tmp_path)
    (card,) = [page for page in pages if "Die hard 10" in page.text]
    assert '0.250 (1/4") from the start of the bend toward the tail' in card.text


def test_a_card_gives_no_set_angle_for_a_part_that_must_not_be_cut(tmp_path: Path) -> None:
    said = " ".join(page.text for page in written("set-up cards", CANNOT_BEND, tmp_path))
    assert "short kick: bends 1 and 2 33.69° DO NOT CUT" in said
    assert "rolled at the end: bends 1 and 3 20.00° 21.2°" in said


@pytest.mark.parametrize("job", [HAULER, RACK, TRAILER])
def test_the_cut_list_has_every_piece_once_with_its_length_in_large_type(job: Path, tmp_path: Path) -> None:
    frame, pages = frame_at(job), written("cut list", job, tmp_path)
    text, large = " ".join(page.text for page in pages), "".join(page.large for page in pages)
    for marks in shop_work(frame).mark_outs:
        length = format_decimal(marks.cut_length, frame.unit)
        assert f"{marks.reading.part.label} {length}" in text
        assert length in large
        if frame.unit == "in":
            assert format_tape(marks.cut_length).replace(" ", "") in large
    for cuts in plan_job(frame).cuts.values():
        assert cuts.says in text


@pytest.mark.parametrize("job", [HAULER, RACK, TRAILER, CANNOT_BEND])
def test_end_trim_pieces_kerf_and_drop_make_up_the_stick_to_the_last_digit(job: Path, tmp_path: Path) -> None:
    text = " ".join(page.text for page in written("cut list", job, tmp_path))
    found = re.findall(
        r"end trim ([\d.]+) \+ pieces ([\d.]+) \+ kerf of \d+ cuts? ([\d.]+) \+ drop ([\d.]+) = ([\d.]+)", text
    )
    assert len(found) == sum(len(cuts.sticks) for cuts in plan_job(frame_at(job)).cuts.values())
    for *summands, whole in found:
        assert sum(Decimal(number) for number in summands) == Decimal(whole)


def test_what_must_not_be_cut_has_no_length_in_the_cut_list(tmp_path: Path) -> None:
    (page,) = written("cut list", CANNOT_BEND, tmp_path)
    for label in ("short kick", "tight corner", "small offset", "up and in at once"):
        assert f"{label} DO NOT CUT" in page.text
    assert "rolled at the end 76.555" in page.text
    assert "DO NOT CUT: parts that make no shape" in page.text
    assert "doubled point: points 2 and 3 lie on one spot" in page.text


def test_a_job_without_a_shop_lists_the_lengths_to_lay_out(tmp_path: Path) -> None:
    text = TEN_BENDS.replace("die: hard 10", "radius: 10").replace("die: hard 7", "radius: 7")
    text = text.replace("die: easy 5", "radius: 5")
    job = job_of(tmp_path, "\n".join(line for line in text.splitlines() if not line.startswith("shop:")) + "\n")
    (page,) = written("cut list", job, tmp_path)
    assert "lists no sticks of this tube" in page.text
    assert "wandering rail right" in page.text
    sheets = written("bend sheets", job, tmp_path)
    assert len(sheets) == 2
    assert "Change to radius 5.000 in. Turn" in sheets[0].text
    assert "then radius 5.000 in; no die named where a radius stands" in sheets[0].text
    assert "no die named" in written("set-up cards", job, tmp_path)[0].text


def test_the_tape_check_gives_lengths_widths_and_diagonals_of_the_pair_as_drawn(tmp_path: Path) -> None:
    # The rails run at Y +-15 in from X -26, Z 24 to X 132, Z 25: the spots lie 3/2 in above the centreline.
    (page,) = written("tape check", HAULER, tmp_path)
    length, diagonal = dist((-26, 24), (132, 25)), dist((-26, 15, 24), (132, -15, 25))
    assert f"A to G {length:.3f}" in page.text
    assert f"A to G {diagonal:.3f}" in page.text
    assert page.text.count('30.000 30"') == 7
    for name in ("front end, middle of the top face", "foot of cab mount", "rear end, middle of the top face"):
        assert name in page.text
    assert "a trapezoid has them too" in page.text
    # One rail 1/16 in ahead: 2 l s / d to first order (derived; trade practice)
    assert f"differ by {2 * 158 * 0.0625 / diagonal:.3f} in" in page.text


def test_a_round_tube_is_named_by_its_diameter(tmp_path: Path) -> None:
    text = TEN_BENDS.replace("parts:", "  bar: {diameter: 1 3/4, wall: 1/8}\nparts:")
    cross = "crossmembers:\n  - {name: bar, tube: bar, between: [wandering rail], x: 6}\n"
    job = job_of(tmp_path, text + cross)
    pages = written("cut list", job, tmp_path)
    assert "bar: round, 1.750 diameter x 0.125 wall in" in pages[0].text


def test_the_sketch_of_the_pair_says_which_rail_is_which(tmp_path: Path) -> None:
    """The plan looks down with X to the right of the paper, so the vehicle's right side (+Y) is its upper one."""
    (page,) = written("tape check", HAULER, tmp_path)
    assert "The pair from above, front at the left, right rail above" in page.text
    assert PLAN.flat(np.array([0.0, 1.0, 0.0])) == pytest.approx([0, 1])


def test_a_job_without_a_pair_says_so_on_its_tape_check(tmp_path: Path) -> None:
    job = job_of(tmp_path, TEN_BENDS.replace("hand: pair", "hand: single").replace("inboard", "left").replace(
        "outboard", "right"))  # fmt: skip
    (page,) = written("tape check", job, tmp_path)
    assert "There is no pair in this job" in page.text


def test_the_inspection_record_has_every_angle_straight_and_size(tmp_path: Path) -> None:
    frame, pages = frame_at(HAULER), written("inspection", HAULER, tmp_path)
    bent = [marks for marks in shop_work(frame).mark_outs if marks.bends]
    assert len(pages) == len(bent) + 1
    for page, marks in zip(pages, bent, strict=False):
        line = marks.reading.line
        for straight in line.rows.straights:
            assert format_decimal(float(straight), "in") in page.text
        for angle in np.degrees(line.rows.angle):
            assert f"{angle:.2f}°" in page.text
        apart = float(np.linalg.norm(line.end.at - line.start.at))
        assert f"middle of one end to middle of the other {format_decimal(apart, 'in')}" in page.text
        for word in ("within", "actual", "hollow in", "pass", "hold", "signature", "Corrections issued"):
            assert word in page.text
    rail, cap = pages[0], pages[2]
    assert "180°" in rail.text  # the turn between bends toward the top and the bottom
    assert rail.text.count("3.000 2.000") == 4  # the hard way: 3 in lie in the plane of the bend
    assert cap.text.count("2.000 3.000") == 2  # the easy way: 2 in do
    assert "front crossmember ends coped 28.000" in pages[-1].text


def test_parts_that_are_stopped_are_not_to_be_inspected(tmp_path: Path) -> None:
    pages = written("inspection", CANNOT_BEND, tmp_path)
    assert "DO NOT CUT: nothing to inspect of these parts" in pages[-1].text
    assert "short kick" in pages[-1].text
    assert "doubled point" in pages[-1].text
    assert all("short kick" not in page.text for page in pages[:-1])
