"""What a die and a bender can hold: every limit on both sides and at the limit, with the number found and needed."""

from math import degrees, radians, sin, tan
from pathlib import Path

import pytest
from jobfiles import HEAD, frame_of, job_file

from railmodel.bending import limits
from railmodel.checks import Check, all_checks, run_checks
from railmodel.findings import Finding
from railmodel.frame import Frame, build_frame
from railmodel.job.reader import read_job

JUST = 0.01
"""mm: the least by which the tests step over a limit."""

DIE = "{height: 80, width: 40, way: hard, radius: 200, grip: 100, between: 110, tail: 150, max_angle: 110}"
SHOP = f"""\
shop: Test shop
units: mm
bender: {{bends: clockwise, set_angle_step: 0.1, mandrel_reach: 6 m}}
dies:
  hard 200: {DIE}
  hard 260: {{height: 80, width: 40, way: hard, radius: 260, grip: 100, between: 110, tail: 150, max_angle: 110}}
  easy 120: {{height: 80, width: 40, way: easy, radius: 120, grip: 80, between: 90, tail: 120, max_angle: 120}}
  box 150: {{height: 50, width: 50, way: hard, radius: 150, grip: 80, between: 90, tail: 120, max_angle: 120}}
"""


def rail(before: float = 500, between: float = 400, behind: float = 500, *, angle: float = 30, more: str = "") -> str:
    """Up and down again on one die, an S with equal angles; lengths in mm."""
    return f"""
    - name: rail
      tube: main{more}
      path:
        - straight: {before}
        - bend: {{toward: top, angle: {angle}, die: hard 200}}
        - straight: {between}
        - bend: {{toward: bottom, angle: {angle}, die: hard 200}}
        - straight: {behind}
    """


def one_bend(bend: str, *, before: float = 500, behind: float = 500, tube: str = "main") -> str:
    return f"""
    - name: rail
      tube: {tube}
      path: [{{straight: {before}}}, {{bend: {bend}}}, {{straight: {behind}}}]
    """


def found(folder: Path, check: Check, parts: str, shop: str | None = SHOP) -> list[Finding]:
    return list(check(frame_of(folder, parts, shop)))


def only(findings: list[Finding]) -> Finding:
    assert len(findings) == 1, findings
    return findings[0]


def with_die(old: str, new: str) -> str:
    assert old in DIE
    return SHOP.replace(DIE, DIE.replace(old, new))


def test_grip_short(tmp_path: Path) -> None:
    finding = only(found(tmp_path, limits.grip, rail(before=100 - JUST)))
    assert (finding.rule, finding.level, finding.part, finding.bend) == ("grip", "warn", "rail", 1)
    assert (finding.found, finding.needs, finding.unit) == (pytest.approx(100 - JUST), 100, "length")
    assert "1.0 mm is added at the leading end, to be cut off after bending" in finding.says
    assert finding.where == pytest.approx((100 - JUST, 0, 0))


@pytest.mark.parametrize("before", [100, 100 + JUST])
def test_grip_enough(tmp_path: Path, before: float) -> None:
    assert found(tmp_path, limits.grip, rail(before=before)) == []


def test_grip_and_tail_are_taken_from_the_leading_end(tmp_path: Path) -> None:
    """110 mm is a grip (100) but no tail (150)."""
    ahead = found(tmp_path, limits.tail, rail(before=500, behind=110))
    assert (only(ahead).found, only(ahead).needs) == (110, 150)
    assert found(tmp_path, limits.grip, rail(before=500, behind=110, more="\n      leading_end: rear")) == []
    assert found(tmp_path, limits.tail, rail(before=500, behind=110, more="\n      leading_end: rear")) == []


def test_tail_short(tmp_path: Path) -> None:
    finding = only(found(tmp_path, limits.tail, rail(behind=150 - JUST)))
    assert (finding.rule, finding.level, finding.bend) == ("tail", "warn", 2)
    assert (finding.found, finding.needs) == (pytest.approx(150 - JUST), 150)
    assert "1.0 mm is added at the tail, to be cut off after bending" in finding.says


@pytest.mark.parametrize("behind", [150, 150 + JUST])
def test_tail_enough(tmp_path: Path, behind: float) -> None:
    assert found(tmp_path, limits.tail, rail(behind=behind)) == []


def test_between_short(tmp_path: Path) -> None:
    finding = only(found(tmp_path, limits.between, rail(between=110 - JUST)))
    assert (finding.rule, finding.level, finding.bend) == ("between", "stop", 2)
    assert (finding.found, finding.needs) == (pytest.approx(110 - JUST), 110)
    assert "between bends 1 and 2" in finding.says


@pytest.mark.parametrize("between", [110, 110 + JUST])
def test_between_enough(tmp_path: Path, between: float) -> None:
    assert found(tmp_path, limits.between, rail(between=between)) == []


def test_between_is_what_the_later_bends_die_asks(tmp_path: Path) -> None:
    """100 mm is enough for the easy die (90) and not for the hard one (110): the clamp ahead of the second grips."""
    mixed = """
    - name: rail
      tube: main
      path:
        - straight: 500
        - bend: {{toward: {first}}}
        - straight: 100
        - bend: {{toward: {second}}}
        - straight: 500
    """
    hard, easy = "top, angle: 30, die: hard 200", "left, angle: 30, die: easy 120"
    assert found(tmp_path, limits.between, mixed.format(first=hard, second=easy)) == []
    finding = only(found(tmp_path, limits.between, mixed.format(first=easy, second=hard)))
    assert (finding.found, finding.needs) == (pytest.approx(100), 110)


def test_bends_that_overlap_are_left_to_the_overlap_rule(tmp_path: Path) -> None:
    parts = """
    - name: rail
      tube: main
      points: [[0, 0, 0], {at: [400, 0, 0], die: hard 200}, {at: [450, 0, 40], die: hard 200}, [900, 0, 40]]
    """
    assert found(tmp_path, limits.between, parts) == []


def test_greatest_angle(tmp_path: Path) -> None:
    """No test bends, no grade: the set angle is the finished one."""
    finding = only(found(tmp_path, limits.greatest_angle, one_bend("{toward: top, angle: 110.1, die: hard 200}")))
    assert (finding.rule, finding.level, finding.unit) == ("max angle", "stop", "angle")
    assert degrees(finding.found or 0) == pytest.approx(110.1)
    assert degrees(finding.needs or 0) == pytest.approx(110)


@pytest.mark.parametrize("angle", [109.9, 110])
def test_an_angle_the_die_turns(tmp_path: Path, angle: float) -> None:
    assert found(tmp_path, limits.greatest_angle, one_bend(f"{{toward: top, angle: {angle}, die: hard 200}}")) == []


def test_the_greatest_angle_limits_the_set_angle_with_springback_in_it(tmp_path: Path) -> None:
    """Test bends that all spring back 2 degrees: 109 finished is set to 111, above the 110 the die turns."""
    rows = "".join(f"d,hard 200,main,3,,,{a + 2},{a},,\n" for a in (20, 60, 120))
    log = "date,die,tube,wall,grade,heat,set_angle,measured_angle,tube_used,note\n" + rows
    (tmp_path / "bends.csv").write_text(log)
    shop = f"{SHOP}test_bends: bends.csv\n"
    finding = only(found(tmp_path, limits.greatest_angle, one_bend("{toward: top, angle: 109, die: hard 200}"), shop))
    assert degrees(finding.found or 0) == pytest.approx(111.0)
    assert "set to 111.0 degrees for 109.0 finished" in finding.says
    assert found(tmp_path, limits.greatest_angle, one_bend("{toward: top, angle: 108, die: hard 200}"), shop) == []


def test_a_die_for_the_other_way(tmp_path: Path) -> None:
    """Toward the side a tube 80 high and 40 wide is 40 deep, and the hard die holds 80."""
    finding = only(found(tmp_path, limits.die_fits, one_bend("{toward: left, angle: 30, die: hard 200}")))
    assert (finding.rule, finding.level, finding.bend) == ("die", "stop", 1)
    assert (finding.found, finding.needs) == (40, 80)
    assert "the easy way of a 80.0 mm x 40.0 mm tube" in finding.says
    assert found(tmp_path, limits.die_fits, one_bend("{toward: left, angle: 30, die: easy 120}")) == []


@pytest.mark.parametrize(
    ("size", "number"),
    [("height: 80.4, width: 40", (80, 80.4)), ("height: 80, width: 40.4", (40, 40.4))],
)
def test_a_die_of_another_size_names_the_measure_that_is_off(
    tmp_path: Path, size: str, number: tuple[float, float]
) -> None:
    shop = with_die("height: 80, width: 40", size)
    finding = only(found(tmp_path, limits.die_fits, one_bend("{toward: top, angle: 30, die: hard 200}"), shop))
    assert (finding.rule, finding.found, finding.needs) == ("die", *number)


def test_a_die_of_the_same_size_as_tapes_read_it_fits(tmp_path: Path) -> None:
    """3 in is 76.2 mm; sizes within 0.3 mm are one size."""
    shop = with_die("height: 80, width: 40", "height: 80.3, width: 39.7")
    assert found(tmp_path, limits.die_fits, one_bend("{toward: top, angle: 30, die: hard 200}"), shop) == []


def test_a_square_tube_fits_its_die_either_way(tmp_path: Path) -> None:
    for face in ("top", "left"):
        bend = f"{{toward: {face}, angle: 30, die: box 150}}"
        assert found(tmp_path, limits.die_fits, one_bend(bend, tube="box")) == []


def test_a_radius_beside_a_die_that_makes_another(tmp_path: Path) -> None:
    bend = "{{toward: top, angle: 30, die: hard 200, radius: {}}}"
    finding = only(found(tmp_path, limits.die_fits, one_bend(bend.format(200.06))))
    assert (finding.rule, finding.level) == ("die radius", "stop")
    assert (finding.found, finding.needs) == (pytest.approx(200.06), 200)
    assert found(tmp_path, limits.die_fits, one_bend(bend.format(200.04))) == []


def test_a_radius_no_die_makes(tmp_path: Path) -> None:
    finding = only(found(tmp_path, limits.no_die, one_bend("{toward: top, angle: 30, radius: 230.1}")))
    assert (finding.rule, finding.level, finding.bend) == ("no die", "stop", 1)
    assert (finding.found, finding.needs) == (pytest.approx(230.1), 260)
    assert "the nearest for this tube and way is 260.0 mm" in finding.says
    assert found(tmp_path, limits.no_die, one_bend("{toward: top, angle: 30, radius: 260}")) == []
    assert found(tmp_path, limits.no_die, one_bend("{toward: top, angle: 30, die: hard 260}")) == []


def test_a_way_no_die_bends(tmp_path: Path) -> None:
    shop = "\n".join(line for line in SHOP.splitlines() if "easy" not in line) + "\n"
    finding = only(found(tmp_path, limits.no_die, one_bend("{toward: left, angle: 30, radius: 120}"), shop))
    assert finding.says.endswith("has no die in this shop; have another shop bend it or add a die")


def test_mandrel_reach(tmp_path: Path) -> None:
    """What lies behind the first bend: its own stock, the rest of the rail, the trims."""
    arc = radians(30) * 200
    fits = 6000 - arc
    finding = only(
        found(tmp_path, limits.mandrel_reach, one_bend("{toward: top, angle: 30, die: hard 200}", behind=fits + JUST))
    )
    assert (finding.rule, finding.level, finding.bend) == ("mandrel reach", "stop", 1)
    assert (finding.found, finding.needs) == (pytest.approx(6000 + JUST), 6000)
    assert "lead with the other end" in finding.says


@pytest.mark.parametrize("over", [0.0, -JUST])
def test_a_piece_the_mandrel_reaches(tmp_path: Path, over: float) -> None:
    fits = 6000 - radians(30) * 200
    assert (
        found(tmp_path, limits.mandrel_reach, one_bend("{toward: top, angle: 30, die: hard 200}", behind=fits + over))
        == []
    )


def test_a_tail_trim_counts_for_the_mandrel_and_a_leading_one_does_not(tmp_path: Path) -> None:
    """9000 mm lead, no more than 6000 behind."""
    bend = "{toward: top, angle: 30, die: hard 200}"
    assert found(tmp_path, limits.mandrel_reach, one_bend(bend, before=9000, behind=500)) == []
    arc = radians(30) * 200
    shop = SHOP.replace("mandrel_reach: 6 m", f"mandrel_reach: {arc + 140}")
    finding = only(found(tmp_path, limits.mandrel_reach, one_bend(bend, before=90, behind=140), shop))
    assert finding.found == pytest.approx(arc + 150)


def stocked(*sticks: str) -> str:
    lines = "".join(f"  - {{tube: main, {stick}, kerf: 2, end_trim: 10}}\n" for stick in sticks)
    return f"{SHOP}stock:\n{lines}"


def test_stock_length(tmp_path: Path) -> None:
    """A stick of 4 m less 10 mm end trim; the longest counts."""
    arc = radians(30) * 200
    shop = stocked("length: 3 m", "length: 4 m")
    bend = "{toward: top, angle: 30, die: hard 200}"
    finding = only(found(tmp_path, limits.stock_length, one_bend(bend, before=990 - arc + JUST, behind=3000), shop))
    assert (finding.rule, finding.level, finding.bend) == ("stock", "stop", None)
    assert (finding.found, finding.needs) == (pytest.approx(3990 + JUST), 3990)
    for over in (0.0, -JUST):
        assert found(tmp_path, limits.stock_length, one_bend(bend, before=990 - arc + over, behind=3000), shop) == []


def test_trims_count_for_the_stick(tmp_path: Path) -> None:
    arc = radians(30) * 200
    bend = "{toward: top, angle: 30, die: hard 200}"
    shop = stocked("length: 4 m")
    finding = only(found(tmp_path, limits.stock_length, one_bend(bend, before=90, behind=3900 - arc), shop))
    assert finding.found == pytest.approx(4000)  # 10 mm of lead trim


def test_a_stick_the_rack_has_none_of_is_no_stick(tmp_path: Path) -> None:
    shop = stocked("length: 4 m", "length: 9 m, count: 0")
    finding = only(found(tmp_path, limits.stock_length, rail(behind=4000), shop))
    assert finding.needs == 3990


def graded(folder: Path, grade: str, radius: float, *, wall: float = 5) -> Frame:
    head = HEAD.replace("wall: 3, corner: 6}", f"wall: {wall}, corner: 6, grade: {grade}}}")
    bend = f"{{toward: top, angle: 30, radius: {radius}}}"
    parts = f"- {{name: rail, tube: main, path: [{{straight: 500}}, {{bend: {bend}}}, {{straight: 500}}]}}"
    return build_frame(read_job(job_file(folder, f"{head}parts:\n  {parts}\n")))


def test_strain_above_what_the_grade_promises_is_a_warning_that_names_its_source(tmp_path: Path) -> None:
    """ASTM A500 grade B promises 23 % (checks.md and suppliers' copies of the standard): depth 80, so R = 40 / 0.23."""
    limit = 40 / 0.23
    finding = only(list(limits.strain(graded(tmp_path, "A500-B", limit - 0.1))))
    assert (finding.rule, finding.level, finding.unit, finding.bend) == ("strain", "warn", "", 1)
    assert finding.found == pytest.approx(40 / (limit - 0.1))
    assert finding.needs == 0.23
    assert "ASTM A500" in finding.says
    assert "mill certificate" in finding.says
    assert list(limits.strain(graded(tmp_path, "A500-B", limit))) == []
    assert list(limits.strain(graded(tmp_path, "A500-B", limit + 0.1))) == []


def test_a_thin_wall_promises_less(tmp_path: Path) -> None:
    """A500 grade B below 0.180 in: 61 t + 12 %, so 19 % at 0.120 in (3.048 mm)."""
    finding = only(list(limits.strain(graded(tmp_path, "A500 grade B", 200, wall=3.048))))
    assert (finding.found, finding.needs) == (pytest.approx(0.20), 0.19)
    assert list(limits.strain(graded(tmp_path, "A500 grade B", 200, wall=5))) == []


def test_an_unknown_grade_is_not_judged(tmp_path: Path) -> None:
    assert list(limits.strain(graded(tmp_path, "whatever was on the rack", 60))) == []


def test_wall_estimates_of_the_tightest_bend(tmp_path: Path) -> None:
    """3 x 2R / (2R + H) outside and 3 x 2R / (2R - H) inside: 3 x 400 / 480 and 3 x 400 / 320."""
    finding = only(found(tmp_path, limits.wall, rail()))
    assert (finding.rule, finding.level) == ("wall", "note")
    assert (finding.found, finding.needs) == (pytest.approx(2.5), 3)
    assert "2.5 mm outside and 3.8 mm inside" in finding.says
    assert "estimate" in finding.says


def test_the_smallest_offset(tmp_path: Path) -> None:
    """h = (2 R tan(a / 2) + between) sin(a), trade rule; the table row of R = 10, L = 6 in at 20 degrees: 3.26 in."""
    least = (2 * 200 * tan(radians(10)) + 110) * sin(radians(20))
    short = (2 * 200 * tan(radians(10)) + 110 - JUST) * sin(radians(20))
    finding = only(found(tmp_path, limits.small_offset, rail(between=110 - JUST, angle=20)))
    assert (finding.rule, finding.level, finding.bend) == ("offset", "stop", 2)
    assert (finding.found, finding.needs) == (pytest.approx(short), pytest.approx(least))
    for between in (110, 110 + JUST):
        assert found(tmp_path, limits.small_offset, rail(between=between, angle=20)) == []


def test_the_gentler_angle_an_offset_names_makes_the_step(tmp_path: Path) -> None:
    finding = only(found(tmp_path, limits.small_offset, rail(between=60, angle=25)))
    gentler = float(finding.says.rpartition("at most ")[2].removesuffix(" degrees"))
    step = (2 * 200 * tan(radians(gentler / 2)) + 110) * sin(radians(gentler))
    assert step == pytest.approx(finding.found, rel=0.01)
    assert gentler < 25


@pytest.mark.parametrize(
    "second",
    ["{toward: top, angle: 20, die: hard 200}", "{toward: bottom, angle: 21, die: hard 200}",
     "{toward: left, angle: 20, die: easy 120}"],
)  # fmt: skip
def test_bends_that_are_no_offset_are_judged_by_their_straight_alone(tmp_path: Path, second: str) -> None:
    parts = f"""
    - name: rail
      tube: main
      path:
        - straight: 500
        - bend: {{toward: top, angle: 20, die: hard 200}}
        - straight: 50
        - bend: {second}
        - straight: 500
    """
    assert found(tmp_path, limits.small_offset, parts) == []
    assert only(found(tmp_path, limits.between, parts)).found == pytest.approx(50)


def test_sums_are_silent_where_the_marks_add_up(tmp_path: Path) -> None:
    assert found(tmp_path, limits.sums, rail(before=20, behind=30)) == []


def test_a_sum_that_does_not_add_up_stops_the_sheet(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("railmodel.bending.mark_out.MarkOut.sum_check", 0.5)
    finding = only(found(tmp_path, limits.sums, rail()))
    assert (finding.rule, finding.level, finding.found, finding.needs) == ("sum", "stop", 0.5, 0.0)


PAIR = """
- name: rail
  tube: main
  hand: pair
  seam: {seam}
  points: [[0, 400, 0], {{at: [600, 400, 0], die: hard 200}}, [1200, 400, 200]]
"""


def test_a_seam_on_the_stretched_wall_is_said_of_each_hand(tmp_path: Path) -> None:
    """The rail bends toward its top, so the bottom is stretched."""
    findings = found(tmp_path, limits.seams, PAIR.format(seam="bottom"))
    assert [(f.rule, f.level, f.hand, f.bend) for f in findings] == [
        ("seam", "warn", "right", 1), ("seam", "warn", "left", 1),
    ]  # fmt: skip
    assert all("outer, stretched wall of bend 1" in f.says for f in findings)
    assert found(tmp_path, limits.seams, PAIR.format(seam="inboard")) == []
    assert found(tmp_path, limits.seams, PAIR.format(seam="top")) == []


def test_a_shop_without_dies_says_what_it_cannot_check(tmp_path: Path) -> None:
    bare = "shop: Bare\nunits: mm\n"
    parts = one_bend("{toward: top, angle: 30, radius: 200}")
    frame = frame_of(tmp_path, parts, bare)
    notes = [f for f in limits.unknown_limits(frame) if "dies" in f.says]
    assert [(f.rule, f.level) for f in notes] == [("shop", "note")]
    assert "lists no dies" in notes[0].says
    assert [f for f in run_checks(frame) if f.level == "stop"] == []


def test_no_shop_at_all_says_so_once(tmp_path: Path) -> None:
    finding = only(found(tmp_path, limits.unknown_limits, one_bend("{toward: top, angle: 30, radius: 200}"), None))
    assert (finding.rule, finding.level) == ("shop", "note")
    assert "names no shop file" in finding.says
    assert "clockwise" in finding.says  # what the orders then take the bender to be


def test_a_bender_that_does_not_say_which_way_it_bends(tmp_path: Path) -> None:
    """Faces up and turns are the other way round on the other kind of bender."""
    silent = SHOP.replace("bends: clockwise, ", "")
    parts = one_bend("{toward: top, angle: 30, die: hard 200}")
    said = [f for f in found(tmp_path, limits.unknown_limits, parts, silent) if "clockwise" in f.says]
    assert [(f.rule, f.level) for f in said] == [("shop", "warn")]
    assert found(tmp_path, limits.unknown_limits, parts) == []


def test_a_die_that_does_not_say_its_limits(tmp_path: Path) -> None:
    shop = with_die(", grip: 100", "").replace(", tail: 150, max_angle: 110}\n  hard 260", "}\n  hard 260")
    finding = only(found(tmp_path, limits.unknown_limits, rail(), shop))
    assert finding.says.startswith("die hard 200 does not say its grip, tail, max_angle;")
    parts = one_bend("{toward: top, angle: 30, die: hard 260}")
    assert found(tmp_path, limits.unknown_limits, parts, shop) == []  # not used, not said


def test_the_springback_record_is_heard_with_the_parts_name(tmp_path: Path) -> None:
    rows = "".join(f"d,hard 200,main,3,,,{a + 1},{a},,\n" for a in (20, 30, 45))
    (tmp_path / "bends.csv").write_text(
        f"date,die,tube,wall,grade,heat,set_angle,measured_angle,tube_used,note\n{rows}"
    )
    findings = found(tmp_path, limits.springback_record, rail(angle=12), f"{SHOP}test_bends: bends.csv\n")
    outside = [f for f in findings if f.bend]
    assert [(f.bend, degrees(f.found or 0), degrees(f.needs or 0)) for f in outside] == [
        (1, pytest.approx(12), pytest.approx(20)), (2, pytest.approx(12), pytest.approx(20)),
    ]  # fmt: skip
    assert all(f.says.startswith("rail: bend ") for f in outside)


def test_nothing_is_said_twice(tmp_path: Path) -> None:
    """Two radii of one tube without a die ask the record twice."""
    parts = """
    - name: rail
      tube: main
      path:
        - straight: 500
        - bend: {toward: top, angle: 30, radius: 200}
        - straight: 400
        - bend: {toward: bottom, angle: 30, radius: 210}
        - straight: 500
    """
    findings = run_checks(frame_of(tmp_path, parts))
    assert len(findings) == len({(f.rule, f.says, f.hand, f.bend) for f in findings})


def test_every_limit_is_in_the_registry() -> None:
    named = {
        limits.grip, limits.tail, limits.between, limits.greatest_angle, limits.die_fits, limits.no_die,
        limits.mandrel_reach, limits.stock_length, limits.strain, limits.wall, limits.small_offset, limits.sums,
        limits.seams, limits.springback_record, limits.unknown_limits, limits.round_tubes,
    }  # fmt: skip
    assert named <= set(all_checks())


def test_what_is_bent_within_all_limits_has_nothing_to_say_but_estimates(tmp_path: Path) -> None:
    findings = run_checks(frame_of(tmp_path, rail(), SHOP))
    assert {f.level for f in findings} <= {"note", "warn"}
    assert {f.rule for f in findings if f.level == "warn"} <= {"springback"}
