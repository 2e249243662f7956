"""`railmodel plan`: what is printed at the bench, what programs read, and the leading ends it stores."""

import json
import shutil
from functools import cache
from math import degrees
from pathlib import Path
from typing import Any

import pytest
from commands import CANNOT_BEND, DEMOS, HAULER, TRAILER, Ran, run
from jobfiles import HEAD, SHOP, job_file, parts_file

from railmodel.bending.cautions import BENDING, DEBURRING, FIRST, GALVANISED, NO_CERTIFICATE
from railmodel.bending.work import shop_work
from railmodel.frame import build_frame
from railmodel.job.reader import read_job

HAY_RACK = DEMOS / "hay_rack" / "hay_rack.yaml"

RAIL = """
- name: rail
  tube: main
  hand: pair
  seam: inboard
  points: [[0, 400, 0], {at: [600, 400, 0], die: hard 200}, {at: [1100, 400, 120], die: hard 200}, [1800, 400, 120]]
- name: brace
  tube: box
  points: [[300, -350, 0], [300, 350, 0]]
"""


BENT = "- {{name: rail, tube: main, path: [{{straight: 300}}, {{bend: {{toward: top, {}}}}}, {{straight: 300}}]}}"


@cache
def demo(job: Path, *more: str) -> Ran:
    """A demo job planned once; nothing here changes one in its place."""
    return run("plan", job, *more)


def planned(job: Path, *more: str) -> Ran:
    return demo(job, *more) if DEMOS in job.parents else run("plan", job, *more)


def plan(job: Path, status: int = 0) -> dict[str, Any]:
    ran = planned(job, "--json")
    assert ran.status == status, ran.err
    return json.loads(ran.out)  # type: ignore[no-any-return]


def words(job: Path, status: int = 0) -> str:
    """What is printed, on one line: it breaks where the page ends."""
    ran = planned(job)
    assert ran.status == status, ran.err
    return " ".join(ran.out.split())


def test_the_keys_of_the_contract(tmp_path: Path) -> None:
    """The keys of the job-file contract; others may stand beside them."""
    found = plan(HAULER)
    assert {"job", "units", "parts", "rehearsal", "changeovers", "cut_plan"} <= found.keys()
    assert found["units"] == {"length": "in", "angle": "deg"}
    part = {"part", "hand", "leading_end", "cut_length", "trim_lead", "trim_tail", "seam_when_loaded", "steps"}
    step = {
        "bend", "die", "mark", "mark_at_gauge", "finished_angle", "set_angle", "tube_use", "face_on_die", "face_up",
        "turn",
    }  # fmt: skip
    assert all(part <= one.keys() for one in found["parts"])
    assert all(step <= one.keys() for whole in found["parts"] for one in whole["steps"])
    rehearsal = {"part", "hand", "leading_end", "ok", "least_gap", "step", "against"}
    assert found["rehearsal"]
    assert all(rehearsal <= one.keys() for one in found["rehearsal"])
    assert {"count", "order", "proven"} <= found["changeovers"].keys()
    assert all({"die", "parts"} <= one.keys() for one in found["changeovers"]["order"])
    assert {"sticks", "proven", "bound"} <= found["cut_plan"].keys()
    assert all({"tube", "length", "pieces", "drop"} <= one.keys() for one in found["cut_plan"]["sticks"])
    pieces = [piece for stick in found["cut_plan"]["sticks"] for piece in stick["pieces"]]
    assert all({"part", "hand", "length"} <= piece.keys() for piece in pieces)
    assert sorted((piece["part"], piece["hand"]) for piece in pieces) == sorted(
        (one["part"], one["hand"]) for one in found["parts"]
    )


@pytest.mark.parametrize("job", [HAULER, TRAILER, HAY_RACK])
def test_numbers_come_out_as_they_went_in(job: Path) -> None:
    """JSON numbers are never rounded: in the job's unit they are those of the marks, to the last bit."""
    found = plan(job)
    scale = 25.4 if found["units"]["length"] == "in" else 1.0
    frame = build_frame(read_job(job))
    for part, marks in zip(found["parts"], shop_work(frame).mark_outs, strict=True):
        assert part["cut_length"] == marks.cut_length / scale
        assert [step["mark"] for step in part["steps"]] == [bend.mark / scale for bend in marks.bends]
        assert [step["set_angle"] for step in part["steps"]] == [degrees(bend.set_angle) for bend in marks.bends]


@pytest.mark.parametrize("job", [HAULER, TRAILER, HAY_RACK])
def test_marks_use_tail_and_trim_make_the_cut_length(job: Path) -> None:
    for part in plan(job)["parts"]:
        if not part["steps"]:
            continue
        last = part["steps"][-1]
        total = last["mark"] + last["tube_use"] + part["tail"] + part["trim_tail"]
        assert total == pytest.approx(part["cut_length"], abs=1e-9)


def test_a_planar_pair_has_one_table_and_two_seam_positions(tmp_path: Path) -> None:
    right, left, _ = plan(parts_file(tmp_path, RAIL, SHOP))["parts"]
    assert (right["hand"], left["hand"]) == ("right", "left")
    keys = (
        "bend",
        "die",
        "mark",
        "mark_at_gauge",
        "finished_angle",
        "set_angle",
        "tube_use",
        "face_on_die",
        "turn_degrees",
    )
    for key in keys:
        assert [step[key] for step in right["steps"]] == [step[key] for step in left["steps"]]
    assert {right["seam_when_loaded"], left["seam_when_loaded"]} == {"up", "down"}
    assert right["cut_length"] == left["cut_length"]


def test_a_seam_on_the_stretched_wall_is_said(tmp_path: Path) -> None:
    job = parts_file(tmp_path, RAIL.replace("seam: inboard", "seam: bottom"), SHOP)
    right, left, brace = plan(job)["parts"]
    assert right["seam_on_outer_wall"] == left["seam_on_outer_wall"] == [1]
    assert brace["seam_on_outer_wall"] == []
    assert "the weld seam lies on the outer, stretched wall of bend 1" in words(job)


def test_the_sheet_says_marks_faces_turns_and_sums() -> None:
    said = words(HAULER)
    assert "Faces and turns are for a bender that bends clockwise, seen from above." in said
    assert "turns are as seen standing at the tail, looking at the die" in said
    assert (
        "before bend 1: load the tube with the bottom face against the die and the outboard face up; weld seam down"
        in said
    )
    assert "tail trim 2.000 in: cut off after bending" in said
    assert "sum: last mark 31.765 in + tube use 7.765 in + tail 6.000 in = cut length 45.530 in" in said
    assert '37.046 (37 1/16")' in said
    assert "keep people out of" in said


def test_set_angles_are_shown_to_the_controllers_step(tmp_path: Path) -> None:
    for step, shown in ((0.25, "15.25"), (0.1, "15.3"), (0.5, "15.5"), (1, "15.0")):
        bender = f"bender: {{bends: clockwise, set_angle_step: {step}}}\n"
        job = parts_file(tmp_path, BENT.format("angle: 15.3, die: hard 200"), SHOP + bender)
        assert f" {shown} 15.30 " in words(job)


def test_what_the_angles_rest_on_is_said(tmp_path: Path) -> None:
    """Test bends by their number, an estimate with its source, and nothing known as that."""
    assert "die hard 7, tube main, hard way, radius 7.000 in: springback from 6 test bends" in words(HAULER)
    assert "die hard 10, tube main, hard way, radius 10.000 in: springback from estimate: elastic-plastic" in words(
        HAY_RACK
    )
    tools = {tool["die"]: tool for tool in plan(HAY_RACK)["tools"]}
    assert tools["hard 7"]["springback"]["kind"] == "fit"
    assert tools["hard 10"]["springback"]["kind"] == "estimate"
    assert "least yield 317 MPa (A500-B)" in tools["hard 10"]["springback"]["source"]
    assert tools["hard 10"]["tube_use"]["source"].startswith("assumed: ")
    unknown = plan(parts_file(tmp_path, RAIL, SHOP))["tools"]
    assert unknown[0]["springback"]["kind"] == "none"


def test_every_plan_carries_the_cautions_that_belong_to_it(tmp_path: Path) -> None:
    found = plan(HAULER)["cautions"]
    assert found == [FIRST, DEBURRING, *BENDING, NO_CERTIFICATE]
    said = words(HAULER)
    assert said.index(FIRST) < said.index("side rail right: cut")
    assert all(caution in said for caution in found)
    for word in ("Pinch points", "sweep arc", "Deburr", "solvents", "two people or a hoist", "maker's manual", "local"):
        assert word in said
    straight = plan(parts_file(tmp_path, "- {name: bar, tube: main, points: [[0, 0, 0], [500, 0, 0]]}", SHOP))
    assert straight["cautions"] == [FIRST, DEBURRING, NO_CERTIFICATE]


@pytest.mark.parametrize(
    ("tube", "zinc"),
    [
        ("main: {height: 80, width: 40, wall: 3, grade: S235JRH galvanised}", True),
        ("main: {height: 80, width: 40, wall: 3, grade: A500-B hot-dip Galvanized}", True),
        ("zinc coated: {height: 80, width: 40, wall: 3}", True),
        ("main: {height: 80, width: 40, wall: 3, grade: S235JRH}", False),
    ],
)
def test_zinc_is_cautioned_against_where_the_tube_has_any(tmp_path: Path, tube: str, zinc: bool) -> None:
    name = tube.partition(":")[0]
    bar = f"{{name: bar, tube: {name}, points: [[0, 0, 0], [500, 0, 0]]}}"
    found = plan(job_file(tmp_path, f"job: Test\nunits: mm\ntubes:\n  {tube}\nparts:\n- {bar}\n"))["cautions"]
    assert (GALVANISED in found) is zinc


def test_a_tube_with_zinc_that_no_part_uses_is_no_matter(tmp_path: Path) -> None:
    job = HEAD.replace("box: {", "spare: {height: 50, width: 50, wall: 3, grade: galvanised}\n  box: {")
    text = f"{job}parts:\n- {{name: bar, tube: box, points: [[0, 0, 0], [500, 0, 0]]}}\n"
    assert GALVANISED not in plan(job_file(tmp_path, text))["cautions"]


def test_a_job_that_cannot_be_bent_is_planned_as_far_as_it_goes_and_ends_with_1() -> None:
    found = plan(CANNOT_BEND, status=1)
    by_name = {part["part"]: part for part in found["parts"]}
    assert by_name["short kick"]["steps"]
    assert any("overlap" in says for says in by_name["short kick"]["stops"])
    assert by_name["rolled at the end"]["stops"] == []
    assert len(found["not_built"]) == 4
    assert found["changeovers"]["left_out"] == ["tight corner"]
    ran = planned(CANNOT_BEND)
    said = " ".join(ran.out.split())
    assert "DO NOT CUT: short kick: bends 1 and 2 overlap by 0.633 in" in said
    assert "NOT PLANNED: doubled point: points 2 and 3 lie on one spot" in said
    assert 'short kick 70.264 (70 1/4") DO NOT CUT' in said
    assert "Not in the order of work, for want of a die: tight corner" in said
    assert "STOP  overlap: short kick: " in ran.err


def test_a_job_of_which_nothing_can_be_built_still_has_a_plan(tmp_path: Path) -> None:
    job = parts_file(tmp_path, "- {name: dot, tube: main, points: [[0, 0, 0], [0, 0, 0]]}", SHOP)
    found = plan(job, status=1)
    assert (found["parts"], found["rehearsal"], found["changeovers"]["count"]) == ([], [], 0)
    assert len(found["not_built"]) == 1
    assert "NOT PLANNED: dot: " in words(job, status=1)


def test_a_part_that_hits_the_bender_is_stopped_by_name(tmp_path: Path) -> None:
    """The hay rack's tail hook led with its long end: it would hit the floor when it is turned."""
    folder = rack(tmp_path, "leading_end: rear\n    start: {at: [60", "leading_end: front\n    start: {at: [60")
    found = plan(folder / "job.yaml", status=1)
    hook = next(part for part in found["parts"] if part["part"] == "tail hook")
    assert any("hits the floor" in says for says in hook["stops"])


@pytest.mark.parametrize(
    "shop",
    [
        None,
        "shop: Bare\nunits: mm\n",
        "shop: Bare\nunits: mm\nbender: {bends: counter-clockwise}\n",
        "shop: Bare\nunits: mm\nbender: {bends: clockwise, centreline_height: 900}\n",
        "shop: Bare\nunits: mm\nstock:\n  - {tube: main, length: 6 m, kerf: 2, end_trim: 10}\n",
        "shop: Bare\nunits: mm\ntest_bends: none_yet.csv\n",
    ],
)
def test_a_shop_that_says_little_gives_what_can_be_computed(tmp_path: Path, shop: str | None) -> None:
    job = parts_file(tmp_path, BENT.format("angle: 30, radius: 200"), shop)
    found = plan(job)
    (part,) = found["parts"]
    assert part["steps"][0]["mark"] == 300
    assert part["cut_length"] == pytest.approx(600 + 200 * 3.14159265 / 6)
    assert found["changeovers"]["left_out"] == ["rail"]
    assert found["cut_plan"]["not_planned"] == ([] if shop and "stock" in shop else ["main"])
    assert bool(found["rehearsal"]) is bool(shop and "centreline_height" in shop)
    sense, up = ("counter-clockwise", "right") if shop and "counter" in shop else ("clockwise", "left")
    assert (found["bends"], part["steps"][0]["face_up"]) == (sense, up)
    said = words(job)
    assert f"for a bender that bends {sense}, seen from above" in said
    assert "Not in the order of work, for want of a die: rail" in said
    if not (shop and "stock" in shop):
        assert "No cut list, for want of stock in the shop file: tube main" in said


def rack(folder: Path, *changes: str) -> Path:
    """The hay rack and its shop in a folder of their own; texts replaced by the ones after them."""
    shutil.copy(DEMOS / "shop.yaml", folder / "shop.yaml")
    shutil.copy(DEMOS / "test_bends.csv", folder / "test_bends.csv")
    text = HAY_RACK.read_text().replace("shop: ../shop.yaml", "shop: shop.yaml")
    for old, new in zip(changes[::2], changes[1::2], strict=True):
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    (folder / "job.yaml").write_text(text)
    return folder


def test_write_stores_the_leading_ends_and_nothing_else(tmp_path: Path) -> None:
    """The hay rack without its leading ends: two parts need the rear end, the stay does not care."""
    folder = rack(tmp_path)
    job = folder / "job.yaml"
    bare = "".join(line for line in job.read_text().splitlines(keepends=True) if "leading_end: rear" not in line)
    job.write_text(bare)
    assert {part["leading_end"] for part in plan(job, status=1)["parts"]} == {"front"}
    ran = run("plan", job, "--write")
    assert ran.status == 0
    assert "side post: leading_end is now rear; " in ran.out
    assert "tail hook: leading_end is now rear; " in ran.out
    lines, before = job.read_text().splitlines(), bare.splitlines()
    added = [line for line in lines if line not in before]
    assert added == ["    leading_end: rear"] * 2
    assert [line for line in lines if line not in added] == before  # every comment and every other byte
    assert len(lines) == len(before) + 2
    ends = [(part["part"], part["leading_end"]) for part in plan(job)["parts"]]
    assert ends == [("side post", "rear"), ("side post", "rear"), ("ladder stay", "front"), ("tail hook", "rear")]
    assert "no leading end to change" in run("plan", job, "--write").out
    assert job.read_text().splitlines() == lines


def test_write_changes_an_end_that_is_there_in_its_place(tmp_path: Path) -> None:
    folder = rack(
        tmp_path, "leading_end: rear\n    start: {at: [60", "leading_end: front   # by the wall\n    start: {at: [60"
    )
    job = folder / "job.yaml"
    before = job.read_text()
    assert run("plan", job, "--write").status == 0
    assert job.read_text() == before.replace("leading_end: front   # by", "leading_end: rear   # by")


def test_with_json_what_was_written_is_said_on_standard_error(tmp_path: Path) -> None:
    ran = run("plan", rack(tmp_path) / "job.yaml", "--json", "--write")
    assert json.loads(ran.out)["parts"]
    assert ran.err == "no leading end to change\n"


@pytest.mark.parametrize("job", sorted(DEMOS.glob("*/*.yaml")), ids=lambda path: path.stem)
def test_the_order_of_work_of_every_demo_job_is_proven(job: Path) -> None:
    found = json.loads(planned(job, "--json").out)
    assert found["changeovers"]["proven"] is True
    assert found["changeovers"]["bound"] == found["changeovers"]["count"]
    assert found["cut_plan"]["proven"] is True


def test_one_demo_part_hits_one_way_round_and_clears_from_the_other_end() -> None:
    ends = {(found["part"], found["hand"], found["leading_end"]): found for found in plan(HAY_RACK)["rehearsal"]}
    front, rear = ends["tail hook", "single", "front"], ends["tail hook", "single", "rear"]
    assert (front["ok"], front["against"]) == (False, "floor")
    assert front["least_gap"] < 0
    assert rear["ok"]
    assert rear["least_gap"] > 0
    assert (front["best"], rear["best"]) == (False, True)
    assert not ends["side post", "left", "front"]["ok"]
    assert ends["side post", "left", "rear"]["ok"]


def test_one_demo_job_uses_three_dies_and_the_plan_beats_part_by_part_work() -> None:
    """By hand: post left and right (easy 5, hard 7), stay (hard 7, easy 5, hard 10), hook (hard 10, easy 5)."""
    work = plan(HAY_RACK)["changeovers"]
    assert {stage["die"] for stage in work["order"]} == {"hard 7", "easy 5", "hard 10"}
    assert (work["count"], work["part_by_part"]) == (4, 5)
    assert work["minutes_saved"] == 60
    assert "4 changes of tooling (no order has fewer) against 5 part by part, 60 minutes saved" in words(HAY_RACK)
    for part in plan(HAY_RACK)["parts"]:
        label = part["part"] if part["hand"] == "single" else f"{part['part']} {part['hand']}"
        runs = [step["die"] for step in part["steps"]]
        stages = [stage["die"] for stage in work["order"] if label in stage["parts"]]
        assert stages == runs  # every part meets its dies in its own order
