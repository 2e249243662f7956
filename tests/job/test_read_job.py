"""Reading a job: what comes out, and the one sentence for everything that is wrong."""

import hashlib
import re
import time
from collections.abc import Callable
from math import pi, radians
from pathlib import Path

import pytest

from railmodel.errors import InputError
from railmodel.frame import build_frame
from railmodel.job.problems import SHOWN
from railmodel.job.reader import read_job, read_shop

Heard = Callable[..., tuple[str, ...]]


def test_a_job_with_every_key_reads_and_builds(write: Callable[..., Path]) -> None:
    path = write()
    source = read_job(path)
    assert source.digest == hashlib.sha256(path.read_bytes()).hexdigest()
    assert source.shop is not None
    assert source.shop_path == path.parent / "shop.yaml"
    frame = build_frame(source)
    assert [part.label for part in frame.parts] == [
        "side rail right", "side rail left", "rear cap", "copied from an old sheet", "seat tube", "rear tube",
    ]  # fmt: skip
    assert not frame.faults


def test_lengths_come_out_in_mm_and_angles_in_radians(write: Callable[..., Path]) -> None:
    job = read_job(write()).job
    rail, cap, sheet = job.parts
    assert rail.points is not None
    assert rail.points[2].at == pytest.approx((14 * 25.4, 15 * 25.4, 25.5 * 25.4))
    assert cap.path is not None
    assert cap.path[1].bend is not None
    assert cap.path[1].bend.angle == pytest.approx(pi / 2)
    assert cap.path[-1].straight == pytest.approx(36.5 * 25.4)
    assert sheet.rows is not None
    assert (sheet.rows[1].rotation, sheet.tail) == pytest.approx((pi / 2, 40 * 25.4))
    assert job.tubes["main"].section.wall == pytest.approx(4.7625)
    assert job.keep_clear[1].turns is not None
    assert job.keep_clear[1].turns.start == pytest.approx(radians(-32))


def test_a_number_where_text_is_meant_stays_as_it_was_written(write: Callable[..., Path]) -> None:
    assert read_job(write()).job.revision == "1.10"


def test_joints_read_as_text_or_keys(write: Callable[..., Path]) -> None:
    first, second = read_job(write()).job.joints
    assert [(end.part, end.hand, end.end) for end in (*first.between, *second.between)] == [
        ("side rail", "right", "rear"), ("rear cap", None, "front"),
        ("side rail", "left", "rear"), ("rear cap", None, "rear"),
    ]  # fmt: skip


def test_a_single_part_named_like_a_hand_keeps_its_name_in_joints(write: Callable[..., Path], job_text: str) -> None:
    text = job_text.replace("name: rear cap", "name: cap left").replace("rear cap.leading", "cap left.rear")
    text = text.replace("part: rear cap", "part: cap left")
    assert read_job(write(text)).job.joints[0].between[1].part == "cap left"


def test_motions_and_moves_say_what_they_turn_about(write: Callable[..., Path]) -> None:
    job = read_job(write()).job
    travel = job.motions["axle travel"].rolls
    assert travel is not None
    assert travel.about.at == pytest.approx((98 * 25.4, 0, 13 * 25.4))
    assert (travel.start, travel.end) == pytest.approx((-radians(5), radians(5)))
    assert job.motions["rack"].tied_to == {"slide": "roll"}
    tyre = job.keep_clear[1].own_motion()
    assert tyre is not None
    assert tyre.turns is not None
    assert tyre.up == pytest.approx(3 * 25.4)
    assert job.keep_clear[2].own_motion() is None


def test_a_job_in_mm_is_the_same_job(write: Callable[..., Path], job_text: str) -> None:
    """A job in inches whose lengths all carry their unit may as well say mm."""
    text = job_text.replace("[-26, 15, 21]", '[-26", 1\' 3", 21 in]')
    assert read_job(write(text)).job == read_job(write()).job
    with pytest.raises(InputError, match=r"wall 0\.1875 does not fit a 3 x 0\.1 section"):
        read_job(write(text.replace("units: in", "units: mm").replace("width: 2", "width: 0.1")))


def test_where_gives_file_line_and_column(write: Callable[..., Path], job_text: str) -> None:
    source = read_job(write())
    for loc, text in (
        (("parts", 0, "points", 1, "die"), "hard 7}"),
        (("parts", 0, "points", 2, "at", 2), "25 1/2], radius"),
        (("parts", 0, "points", 0, "at", 0), "-26"),
        (("keep_clear", 0, "gap"), "1\n  - name: front tyre"),
    ):
        before = job_text[: job_text.index(text)]
        line, column = before.count("\n") + 1, len(before) - before.rfind("\n")
        assert source.where(*loc) == f"hauler.yaml:{line}:{column}"


ONE_PROBLEM = [
    (("die: hard 7}\n      - {at: [14", "die: hrd 7}\n      - {at: [14"),
     r'parts\[0\] "side rail" points\[1\] die: found "hrd 7"; allowed: hard 7, easy 5; did you mean "hard 7"\?'),
    (("seam: inboard", "seem: inboard"), r'parts\[0\] "side rail": unknown key "seem"; .*did you mean "seam"\?'),
    (("units: in\ndatum", "units: inch\ndatum"), r'units: found "inch"; allowed: in, mm'),
    (("units: in\ndatum", "datum"), r"units is missing; it is required"),
    (("wall: 3/16", "wall: 2"), r"tubes main: wall 2 does not fit a 3 x 2 section: it must be less than 1"),
    (("wall: 3/16, corner: 3/8", "wall: 0.9"), r"corner 1.8 does not fit .*corner left out counts as 2 x wall"),
    (("25 1/2], radius", "25 3/2], radius"), r'points\[2\] at: z: found "25 3/2"; allowed: a length such as'),
    (("25 1/2], radius", ".nan], radius"), r"points\[2\] at: z: found .nan; allowed: a length"),
    (("25 1/2], radius", "-.inf], radius"), r"points\[2\] at: z: found -.inf; allowed: lengths from -100 m to 100 m"),
    (("25 1/2], radius", "1e400], radius"), r"points\[2\] at: z: found 1e400; allowed: lengths from -100 m"),
    (("[-26, 15, 21]", "[-26, 15]"), r"points\[0\] at: found a list; allowed: three lengths \[x, y, z\]"),
    (("[-26, 15, 21]", "front"), r'points\[0\]: found "front"; allowed: \[x, y, z\] or \{at: \[x, y, z\], die: name\}'),
    (("[-26, 15, 21]", "{at: [-26, 15, 21], radius: 7}"), r"points: \[0\]: found a die or radius at an end point"),
    (("angle: 90", "angle: 190"), r"path\[1\] bend angle: found 190; allowed: degrees above 0 and below 180"),
    (("angle: 90", 'angle: "90"'), r'bend angle: found "90"; allowed: degrees above 0 and below 180, a plain number'),
    (("by: 6, angle: 25", "by: 6, angle: 25, over: 3"), r"offset: found angle and over; allowed: exactly one of angle"),
    (("straight: 18", "straight: -18"), r"path\[3\] straight: found -18; allowed: a length of 0 or more"),
    (("straight: 18", "strait: 18"), r'path\[3\]: unknown key "strait"; allowed: .*did you mean "straight"\?'),
    (("toward: left, angle", "toward: inboard, angle"), r'bend toward: found "inboard" on a single part; allowed: top'),
    (("rotation: 90", "rotation: -180"), r"rows\[1\] rotation: found -180; allowed: degrees above -180 and up to 180"),
    (("rotation: 90", "rotation: -90"), r'rows\[1\] toward: found "left", but the rotations so far .*toward "right"'),
    (("way: easy}", "way: hard}"), r'rows\[1\] way: found "hard", but toward left is the easy way of this tube'),
    (("{bend: 2", "{bend: 3"), r"rows\[1\] bend: found 3; allowed: 2"),
    (("distance: 12", "distance: -12"), r"rows\[1\] distance: found -12; allowed: a length of 0 or more"),
    (("tail: 40", "top: [0, 0, 1]"), r'"copied from an old sheet": found top with rows; top goes with points'),
    (("name: copied from an old sheet", "name: rear cap"), r'parts\[2\] "rear cap" name: .*the name of parts\[1\]'),
    (("name: copied from an old sheet", "name: side rail left"), r'found "side rail left", also a hand of the pair'),
    (("rear cap.leading", "rear cp.leading"), r'joints\[0\] between\[1\]: found "rear cp"; .*did you mean "rear cap"'),
    (("rear cap.leading", "rear cap.top"), r'found "rear cap.top"; allowed: part.front or part.rear'),
    (("[side rail right.rear, rear cap.leading]", "[side rail right.rear]"), r"between: found 1 of them; allowed: 2"),
    (("side rail right.rear", "side rail.rear"), r'between: found "side rail" without a hand; say which'),
    (("rear cap.leading", "rear cap left.leading"), r'between\[1\]: found hand left, but "rear cap" is single'),
    (("between: [side rail]", "between: [side ral]"), r'crossmembers\[0\] "seat tube" between\[0\]: found "side ral"'),
    (("side rail left], x", "side rail], x"), r'between\[1\]: found "side rail"; allowed: side rail right'),
    (("seat tube, tube: main", "seat tube, tube: man"), r'crossmembers\[0\] "seat tube" tube: found "man"'),
    (("name: seat tube", "name: rear cap"), r'crossmembers\[0\] "rear cap" name: .*the name of parts\[1\] as well'),
    (("within: 1/4", "within: 1/4, wnt: 2"), r'fit_points\[0\] "rear axle centre" gap: unknown key "wnt".*"want"'),
    (("{part: side rail, face: bottom}", "{part: side, face: bottom}"), r'to part: found "side"; allowed: side rail'),
    (("face: bottom", "face: under"), r'to face: found "under"; allowed: top, bottom, left, right, inboard, outboard'),
    (("motion: axle travel", "motion: axel travel"), r'motion: found "axel travel"; .*did you mean "axle travel"'),
    (("with: {slide: roll}", "with: {slide: yaw}"), r'found "yaw"; allowed: turns, roll, slide, up'),
    (("{sphere: {at: [40, 0, 20], diameter: 6}}", "{}"), r'"ball" shape: found none of them; allowed: exactly one of'),
    (("diameter: 6}}", "diameter: 6}, units: in}"), r"shape: found units with sphere; units goes with mesh"),
    (("{sphere: {at: [40, 0, 20], diameter: 6}}", "{mesh: a.stl, units: mm}"), r"found a.stl, which is not a file"),
    (("{sphere: {at: [40, 0, 20], diameter: 6}}", "{mesh: ../a.stl, units: mm}"), r"leads out of the job's folder"),
    (("{sphere: {at: [40, 0, 20], diameter: 6}}", "{mesh: hauler.yaml}"), r"found a mesh without units; add units: mm"),
    (("pivot: [98, 0, 13]", "pivot: [98, 0]"), r"motions axle travel pivot: found a list; allowed: three lengths"),
    (("roll: 5, pivot", "pivot"), r"found pivot without roll"),
    (("axis: [0, 0, 1]", "axis: [0, 0, 0]"), r"axis: found .*; allowed: a direction of some length"),
    (("from: -32, to: 28", "from: 32, to: 28"), r"turns: found from above to"),
    (("mirror: true", "mirror: maybe"), r'mirror: found "maybe"; allowed: true, false'),
    (("shop: shop.yaml", "shop: shp.yaml"), r"shop: shp.yaml: cannot be read \(no such file"),
    (("shop: shop.yaml", "shop: ."), r"shop: .: found a folder; allowed: an ordinary file"),
    (("customer: J. Example", "customer: [a]"), r"customer: found a list; allowed: text"),
    (("revision: 1.10", "revision: {a: 1}"), r"revision: found a mapping; allowed: text"),
    (("revision: 1.10", 'revision: "a\\u001bb"'), r'revision: found "a\\x1bb"; allowed: text on one line'),
    (("revision: 1.10", "revision: 1\nrevision: 2"), r'the key "revision" a second time; it stands already at 2:1'),
    (("tail: 40", "tail: 40\n    hand: single\n    hand: pair"), r':5: found the key "hand" a second time'),
]  # fmt: skip


@pytest.mark.parametrize(("replaced", "sentence"), ONE_PROBLEM, ids=[row[0][1] for row in ONE_PROBLEM])
def test_one_thing_wrong_is_one_sentence(problems: Heard, replaced: tuple[str, str], sentence: str) -> None:
    said = problems(replaced)
    assert len(said) == 1
    assert re.search(sentence, said[0])
    assert re.match(r"hauler\.yaml:\d+:\d+: ", said[0])


def test_problems_come_together_in_the_order_of_the_file(problems: Heard) -> None:
    said = problems(
        ("wall: 3/16", "wall: 3"), ("hand: pair", "hand: both"), ("angle: 90", "angle: 0"), ("within: 1/4", "x: 1")
    )
    assert [line.split(" ")[1] for line in said] == ["tubes", "parts[0]", "parts[1]", "fit_points[0]", "fit_points[0]"]
    places = [tuple(map(int, line.split(":")[1:3])) for line in said]
    assert places == sorted(places)


def test_many_problems_end_in_how_many_more(problems: Heard) -> None:
    bad = "".join(f"\nkey{i}: 1" for i in range(30))
    said = problems(("revision: 1.10", f"revision: A{bad}"))
    assert len(said) == SHOWN + 1
    assert said[-1] == "hauler.yaml: and 10 more problems"


def test_problems_of_the_shop_file_follow_with_its_own_name(problems: Heard, shop_text: str) -> None:
    shop = shop_text.replace("radius: 5,", "radius: 0,").replace("kerf: 1/16, ", "")
    said = problems(("hand: pair", "hand: both"), shop=shop)
    assert said[0].startswith("hauler.yaml:12:11: ")
    assert [line.split(": ", 1)[1] for line in said[1:]] == [
        "dies easy 5 radius: found 0; allowed: a length above 0", "stock[0]: kerf is missing; it is required",
    ]  # fmt: skip
    assert all(line.startswith("shop.yaml:") for line in said[1:])


def test_a_die_without_a_shop_file_needs_a_radius(problems: Heard) -> None:
    said = problems(("shop: shop.yaml\n", ""))
    assert len(said) == 4
    assert all(line.endswith("but the job names no shop file with dies; give a radius, or add shop:") for line in said)


def test_a_bend_without_die_and_radius_is_left_to_the_shop_or_refused(
    write: Callable[..., Path], job_text: str, problems: Heard
) -> None:
    read_job(write(job_text.replace(", radius: 7}\n      - [120", "}\n      - [120")))
    said = problems(("shop: shop.yaml\n", ""), ("{at: [14, 15, 25 1/2], radius: 7}", "[14, 15, 25 1/2]"))
    assert any("points[2] die: found neither die nor radius, and the job names no shop file" in line for line in said)


def test_a_shop_with_name_and_units_is_enough(tmp_path: Path) -> None:
    path = tmp_path / "shop.yaml"
    path.write_text("shop: shed\nunits: mm\n")
    shop = read_shop(path)
    assert (shop.bender.bends, shop.tape_step, shop.roll_within) == ("clockwise", 16, pytest.approx(radians(1.5)))
    assert shop.dies == {}


@pytest.mark.parametrize(
    ("replaced", "sentence"),
    [
        (("shop: Back bay bender\n", ""), "shop is missing; it is required"),
        (("units: in\n", ""), "units is missing; it is required"),
        (("bends: clockwise", "bends: left"), 'bender bends: found "left"; allowed: clockwise, counter-clockwise'),
        (("moves: arm", "moves: up"), r'solids\[1\] "arm" moves: found "up"; allowed: fixed, arm'),
        (("end_trim: 1/2, ", ""), r"stock\[0\]: end_trim is missing; it is required"),
        (("count: 6", "count: -6"), r"count: found -6; allowed: a whole number from 0 to 10000"),
        (("change_over: 60 min", "change_over: soon"), r'change_over: found "soon"; allowed: a time such as'),
        (("tape_step: 1/32", "tape_step: 1/10"), r'tape_step: found "1/10"; allowed: 1/16, 1/32'),
        (("way: easy", "way: flat"), r'dies easy 5 way: found "flat"; allowed: hard, easy'),
        (("hour: 80", "hour: [80]"), r"rates: hour: found a list; allowed: a number or text"),
    ],
)
def test_a_shop_file_is_held_to_its_keys(
    tmp_path: Path, shop_text: str, replaced: tuple[str, str], sentence: str
) -> None:
    path = tmp_path / "shop.yaml"
    assert shop_text.count(replaced[0]) == 1
    path.write_text(shop_text.replace(*replaced))
    with pytest.raises(InputError, match=sentence):
        read_shop(path)


def test_a_shop_file_with_every_key_reads(tmp_path: Path, shop_text: str) -> None:
    path = tmp_path / "shop.yaml"
    path.write_text(shop_text)
    shop = read_shop(path)
    assert shop.dies["hard 7"].change_over == 60
    assert shop.dies["hard 7"].max_angle == pytest.approx(radians(110))
    assert shop.stock[0].length == pytest.approx(6096)
    assert shop.rates == {"hour": 80.0, "per bend": 6.5, "note": "cash"}
    assert (shop.bender.solids[1].moves, shop.tape_step) == ("arm", 32)


def test_a_job_of_ordinary_size_reads_in_no_time(write: Callable[..., Path]) -> None:
    """A job of about 80 lines and its shop, processor time, best of five; about 45 ms when nothing else runs."""
    path, best = write(), 1.0
    for _ in range(5):
        start = time.process_time()
        read_job(path)
        best = min(best, time.process_time() - start)
    assert best < 0.12
