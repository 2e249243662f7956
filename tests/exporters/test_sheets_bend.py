"""The bend sheet says what the plan says, large enough, with both hands compared, and DO NOT CUT where it must."""

import re
from decimal import Decimal
from itertools import pairwise
from math import degrees
from pathlib import Path

import pytest
from papers import CANNOT_BEND, HAULER, RACK, TEN_BENDS, TRAILER, Page, frame_at, job_of, pages_of, written

from exporters.sheets.bend_sheet import write_bend_sheets
from exporters.sheets.part_view import best_views
from railmodel.bending.plan import PartPlan, plan_job
from railmodel.checks import run_checks
from railmodel.findings import Finding
from railmodel.fingerprint import fingerprint
from railmodel.units import format_decimal, format_tape

POINTS_PER_INCH = 72.0


def plans(job: Path) -> tuple[PartPlan, ...]:
    return plan_job(frame_at(job)).parts


def in_order(text: str, pieces: list[str]) -> bool:
    """Whether pieces stand in a text one after another."""
    at = 0
    for piece in pieces:
        at = text.find(piece, at)
        if at < 0:
            return False
        at += len(piece)
    return True


@pytest.mark.parametrize("job", [HAULER, RACK, TRAILER])
def test_there_is_a_page_for_every_part_and_hand_and_each_step_is_there_in_large_type(
    job: Path, tmp_path: Path
) -> None:
    frame, pages = frame_at(job), written("bend sheets", job, tmp_path)
    assert len(pages) == len(frame.parts)
    for page, plan in zip(pages, plans(job), strict=True):
        holds_the_plan(page, plan, frame.unit)


def holds_the_plan(page: Page, plan: PartPlan, unit: str) -> None:
    part = plan.marks.reading.part
    assert part.name in page.text
    assert ("single part" if part.hand == "single" else f"{part.hand} hand") in page.text
    assert format_decimal(plan.marks.cut_length, unit) in page.large  # type: ignore[arg-type]
    for marked, order in zip(plan.marks.bends, plan.orders.bends, strict=True):
        step = [str(order.bend), format_decimal(marked.mark, unit)]  # type: ignore[arg-type]
        if unit == "in":
            step.append(format_tape(marked.mark).replace(" ", ""))
        set_angle, finished = degrees(marked.set_angle), degrees(marked.finished_angle)
        step += [order.face_on_die, order.face_up, f"{set_angle:.1f}°", f"{finished:.2f}°"]
        assert in_order(page.large, step), step


def test_a_part_of_ten_bends_stands_on_one_page_still_in_large_type(tmp_path: Path) -> None:
    job = job_of(tmp_path, TEN_BENDS)
    pages = written("bend sheets", job, tmp_path)
    assert len(pages) == 2
    for page, plan in zip(pages, plans(job), strict=True):
        holds_the_plan(page, plan, "in")
        assert page.large.count("Turnthetubeover,180degrees") == 5  # the words too
        assert "Changetodieeasy5.Turnthetube90degrees" in page.large


def test_where_a_die_has_an_offset_the_mark_at_the_gauge_stands_beside_the_mark(tmp_path: Path) -> None:
    job = job_of(tmp_path, TEN_BENDS)
    (page, _) = written("bend sheets", job, tmp_path)
    assert "mark at the gauge" in page.text
    first = plans(job)[0].marks.bends[0]
    assert first.mark / 25.4 == pytest.approx(12.0)  # the first straight, no trim
    assert in_order(page.large, ["12.000", '12"', "12.250", '121/4"'])  # and the die's offset, 1/4 in toward the tail
    (plain, *_) = written("bend sheets", HAULER, tmp_path)
    assert "mark at the gauge" not in plain.text


def test_how_to_load_and_turn_is_said_in_words(tmp_path: Path) -> None:
    right, left, *_ = written("bend sheets", HAULER, tmp_path)
    assert "Load the tube: bottom face on the die, outboard face up, weld seam down" in right.text
    assert "Load the tube: bottom face on the die, inboard face up, weld seam up" in left.text
    assert "Turn the tube over, 180 degrees (counter-clockwise, where there is more room)" in right.text
    assert "Do not turn the tube" in right.text
    assert "as seen standing at the tail, looking at the die. Bender: clockwise from above." in right.text


def test_what_the_second_hand_does_differently_is_said_in_words(tmp_path: Path) -> None:
    right, left, cap, *_ = written("bend sheets", HAULER, tmp_path)
    assert (
        "Differs from the left hand Load with the weld seam down (left: up). Face up: bends 1 and 4 outboard (left: "
        "inboard) and bends 2 and 3 inboard (left: outboard). Marks, set angles and cut length are those of the left "
        "hand." in right.text
    )
    assert "Differs from the right hand Load with the weld seam up (right: down)." in left.text
    assert "Differs" not in cap.text


def test_a_rail_in_two_planes_turns_the_other_way_on_the_other_hand(tmp_path: Path) -> None:
    # Mirroring turns every rotation round and leaves lengths and angles alone (derived; tests/geometry proves it).
    right, left, *_ = written("bend sheets", RACK, tmp_path)
    assert "Turnbefore:bend2counter-clockwise(left:clockwise)." in right.solid
    assert "Turnbefore:bend2clockwise(right:counter-clockwise)." in left.solid
    assert "Turn the tube 90 degrees counter-clockwise" in right.text
    assert "Turn the tube 90 degrees clockwise" in left.text


def test_a_pair_in_one_plane_without_a_seam_has_only_the_names_of_its_sides_to_differ(tmp_path: Path) -> None:
    # A rail whose bends all lie in one plane has no hand (trade knowledge, derived).
    job = job_of(tmp_path, TEN_BENDS.split("      - straight: 10\n")[0].replace("    seam: inboard\n", ""))
    right, _ = written("bend sheets", job, tmp_path)
    assert (
        "Differs from the left hand Face up: bend 1 inboard (left: outboard) and bend 2 outboard (left: inboard). "
        "Marks, set angles and cut length are those of the left hand." in right.text
    )


def test_the_sum_of_the_printed_lengths_is_the_cut_length_to_the_last_digit(tmp_path: Path) -> None:
    for job in (HAULER, RACK, TRAILER):
        for page in written("bend sheets", job, tmp_path):
            for said in re.findall(r"Sum check (.*?) (?:in|mm), the cut length", page.text):
                *summands, total = (Decimal(number) for number in re.findall(r"\d+\.\d+", said))
                assert sum(summands) == total
                assert f"{total} " in page.text


def test_heat_name_and_date_are_filled_in_by_pen_unless_nothing_may_be_cut(tmp_path: Path) -> None:
    for job, wanted in ((HAULER, True), (CANNOT_BEND, False)):
        page = written("bend sheets", job, tmp_path)[0]
        assert all((words in page.text) is wanted for words in ("Heat number", "Bent by", "Date"))


def test_a_stopped_part_says_do_not_cut_and_why_and_gives_no_marks(tmp_path: Path) -> None:
    frame, pages = frame_at(CANNOT_BEND), written("bend sheets", CANNOT_BEND, tmp_path)
    findings = run_checks(frame)
    assert len(pages) == len(frame.parts) + 4  # four parts make no shape at all
    for page, plan in zip(pages, plans(CANNOT_BEND), strict=False):
        part = plan.marks.reading.part
        stops = [f for f in findings if f.level == "stop" and f.part == part.name and f.hand in (None, part.hand)]
        assert ("DO NOT CUT" in page.text) == bool(stops)
        for finding in stops:
            assert finding.says.replace(" ", "") in page.solid
            assert "set angle" not in page.text
            assert format_decimal(plan.marks.cut_length, "in") not in page.text
    for page, fault in zip(pages[len(frame.parts) :], frame.faults, strict=True):
        assert "DONOTCUT" in page.large
        assert fault.says.replace(" ", "") in page.solid


def test_what_stops_the_job_as_a_whole_stops_all_of_its_parts(tmp_path: Path) -> None:
    path = tmp_path / "stopped.pdf"
    finding = Finding(rule="keep clear", level="stop", says="the engine cannot be read; save it as an STL file")
    write_bend_sheets(frame_at(HAULER), path, findings=[finding])
    pages = pages_of(path)
    assert len(pages) == 5
    assert all("DO NOT CUT" in page.text and finding.says in page.text for page in pages)


def test_warnings_stand_with_their_part(tmp_path: Path) -> None:
    path = tmp_path / "warned.pdf"
    says = "side rail right: bend 2 needs care"
    write_bend_sheets(
        frame_at(HAULER), path,
        findings=[Finding(rule="care", level="warn", says=says, part="side rail", hand="right", bend=2)],
    )  # fmt: skip
    warned = ["Look first bend 2 needs care" in page.text for page in pages_of(path)]
    assert warned == [True, False, False, False, False]


def test_set_angles_that_no_test_bend_stands_behind_are_called_what_they_are(tmp_path: Path) -> None:
    job = job_of(tmp_path, TEN_BENDS.replace("  main: {", "  untried: {").replace("tube: main", "tube: untried"))
    (page, _) = written("bend sheets", job, tmp_path)
    assert "the set angles of die hard 10, die easy 5 and die hard 7 are estimates: make test bends first" in page.text
    (page, *_) = written("bend sheets", HAULER, tmp_path)
    assert "estimates" not in page.text


def test_crossmembers_and_fit_points_are_marked_on_the_flat_tube(tmp_path: Path) -> None:
    # The rail begins at X -26 and runs straight to its first bend at 37.046: what stands there is marked at X + 26.
    right, *_ = written("bend sheets", HAULER, tmp_path)
    assert 'front crossmember, inboard face 12.000 (12")' in right.text  # X -14
    assert 'front spring hanger, bottom face 8.000 (8")' in right.text  # X -18
    assert 'front shackle, bottom face 32.000 (32")' in right.text  # X 6


def test_the_flat_tube_is_drawn_to_the_scale_it_states(tmp_path: Path) -> None:
    for page, plan in zip(written("bend sheets", HAULER, tmp_path), plans(HAULER), strict=True):
        stated = re.search(r"Flat tube seen from its side, scale 1:([\d.]+)", page.text)
        assert stated is not None
        scale = float(stated[1])
        size = plan.marks.reading.part.section.height
        wanted = [length / 25.4 * POINTS_PER_INCH / scale for length in (plan.marks.cut_length, size)]
        # PDFium gives the box of a line with its width, 0.8 points here
        assert any(box == pytest.approx([side + 0.8 for side in wanted], abs=1.0) for box in page.boxes)


def test_the_view_shown_is_the_one_that_sees_the_bends() -> None:
    views = {part.label: [view.name for view in best_views(part)] for part in frame_at(HAULER).parts}
    assert views["side rail right"] == ["side view from the left"]  # bent up and down
    assert views["rear cap"] == ["plan view from above"]  # bent sideways
    both = {part.label: [view.name for view in best_views(part)] for part in frame_at(RACK).parts}
    assert both["side post right"] == ["side view from the left", "plan view from above"]


def test_the_code_holds_the_fingerprint_of_the_job(tmp_path: Path) -> None:
    for job in (HAULER, TRAILER):
        for page in written("bend sheets", job, tmp_path)[:2]:
            assert page.codes() == [fingerprint(frame_at(job))]


def test_letters_on_the_flat_tube_keep_off_each_other(tmp_path: Path) -> None:
    # Ten bends within a foot at the leading end: the numbers over them must spread, and stay on the page.
    close = "".join(
        f"      - bend: {{toward: {way}, angle: 5, die: hard 7}}\n      - straight: 0.2\n"
        for way in ("top", "bottom") * 5
    )
    head, tail = TEN_BENDS.split("      - straight: 12\n")[0], "      - straight: 140\n"
    job = job_of(tmp_path, f"{head}      - straight: 7\n{close}{tail}")
    path = tmp_path / "close.pdf"
    write_bend_sheets(frame_at(job), path, findings=[])
    numbers = sorted(letter.box for letter in pages_of(path)[0].letters if letter.size == 8.0)
    rows = [box for box in numbers if box[1] == pytest.approx(numbers[0][1], abs=1.0)]
    assert all(one[2] <= other[0] + 0.3 for one, other in pairwise(rows))
