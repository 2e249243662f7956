"""`railmodel calibrate`: what a record of test bends says, and a record that only ever grows."""

import json
import struct
import xml.etree.ElementTree as ET
from math import radians, tan
from pathlib import Path

import pytest
from commands import DEMOS, run

SVG = "{http://www.w3.org/2000/svg}"
HEADER = "date,die,tube,wall,grade,heat,set_angle,measured_angle,tube_used,note\n"
SHOP = """\
shop: Test shop
units: in
dies:
  hard 7: {height: 3, width: 2, way: hard, radius: 7, max_angle: 110}
  easy 5: {height: 3, width: 2, way: easy, radius: 5}
test_bends: bends.csv
"""


def shop_file(folder: Path, *rows: str, shop: str = SHOP) -> Path:
    """A shop and its record of these rows; no record where there are none."""
    path = folder / "shop.yaml"
    path.write_text(shop)
    if rows:
        (folder / "bends.csv").write_text(HEADER + "".join(f"{row}\n" for row in rows))
    return path


def row(set_angle: float, measured: float, *, die: str = "hard 7", heat: str = "", used: str = "") -> str:
    return f"2026-01-02,{die},main,3/16,A500-B,{heat},{set_angle},{measured},{used},"


LINE = tuple(row(1 + 1.01 * angle, angle) for angle in (10, 20, 45, 90))
"""1 degree + 1 % of the finished angle, exactly."""


def answer(shop: Path) -> dict:  # type: ignore[type-arg]
    ran = run("calibrate", shop, "--json")
    assert (ran.status, ran.err) == (0, "")
    return json.loads(ran.out)  # type: ignore[no-any-return]


def test_the_fit_of_an_exact_line_in_words(tmp_path: Path) -> None:
    ran = run("calibrate", shop_file(tmp_path, *LINE))
    assert (ran.status, ran.err) == (0, "")
    assert "die hard 7, tube main: 4 test bends" in ran.out
    assert "springback = 1.00 degrees (standard error " in ran.out
    assert "+ 0.0100 (standard error " in ran.out
    assert "tested from 10.0 to 90.0 degrees finished" in ran.out
    assert ran.out.count("+0.00   line") + ran.out.count("-0.00   line") == 4
    assert [f"line {number}" in ran.out for number in (2, 3, 4, 5)] == [True] * 4


def test_the_fit_as_data_is_not_rounded(tmp_path: Path) -> None:
    (fit,) = answer(shop_file(tmp_path, *LINE))["fits"]
    assert fit["fixed"] == pytest.approx(1, abs=1e-9)
    assert fit["proportional"] == pytest.approx(0.01, abs=1e-9)
    assert fit["tested"] == pytest.approx([10, 90])
    assert [found["line"] for found in fit["residuals"]] == [2, 3, 4, 5]
    assert [found["off"] for found in fit["residuals"]] == pytest.approx([0] * 4, abs=1e-9)


def test_the_worked_example_of_the_trade(tmp_path: Path) -> None:
    """20 comes back to 18.2 and 90 to 87.5: fixed 1.62 degrees, proportional 0.010; 30 needs 31.9 (sheet example)."""
    (fit,) = answer(shop_file(tmp_path, row(20, 18.2), row(90, 87.5)))["fits"]
    assert fit["fixed"] == pytest.approx(1.62, abs=0.005)
    assert fit["proportional"] == pytest.approx(0.010, abs=0.0005)
    assert 30 * (1 + fit["proportional"]) + fit["fixed"] == pytest.approx(31.9, abs=0.05)
    assert any("nothing checks them" in finding["says"] for finding in fit["findings"])


def test_the_next_test_bend_is_named(tmp_path: Path) -> None:
    shop = shop_file(tmp_path, row(31, 30))
    (fit,) = answer(shop)["fits"]
    assert fit["next_test_bend"]["says"] in run("calibrate", shop).out
    assert abs(fit["next_test_bend"]["angle"] - 30) >= 5  # one angle twice says nothing new
    assert answer(shop)["untested"] == ["easy 5"]
    assert "die easy 5: no test bend yet; Bend " in run("calibrate", shop).out


def test_a_fit_from_one_row_says_what_it_cannot_tell(tmp_path: Path) -> None:
    (fit,) = answer(shop_file(tmp_path, row(31, 30)))["fits"]
    assert (fit["tests"], fit["proportional"]) == (1, 0)
    assert fit["fixed"] == pytest.approx(1)
    (finding,) = [found for found in fit["findings"] if found["level"] == "warn"]
    assert "1 test bend at 30.0 degrees cannot tell the fixed from the proportional part" in finding["says"]


def test_rows_that_contradict_themselves_are_named_with_their_line_and_the_others_go_on(tmp_path: Path) -> None:
    shop = shop_file(tmp_path, *LINE[:2], row(29, 30), "2026-01-02,hard 7,main,3/16,,,thirty,29,,", *LINE[2:])
    found = answer(shop)
    assert found["fits"][0]["tests"] == 4
    assert found["fits"][0]["fixed"] == pytest.approx(1, abs=1e-9)
    first, second = (finding["says"] for finding in found["findings"])
    assert first.startswith("bends.csv line 4: measured 30 degrees, above the 29 set; a tube springs open")
    assert second.startswith('bends.csv line 5: set_angle is "thirty"')
    assert "WARN: bends.csv line 4: " in run("calibrate", shop).out


def test_a_wild_row_is_named_and_counts_for_little(tmp_path: Path) -> None:
    shop = shop_file(tmp_path, *LINE, *LINE, row(46, 30))
    (fit,) = answer(shop)["fits"]
    assert any("line 10 of the test bends is " in finding["says"] for finding in fit["findings"])
    assert fit["fixed"] == pytest.approx(1, abs=0.2)


def test_a_heat_with_enough_rows_is_shown_by_itself(tmp_path: Path) -> None:
    soft = [row(0.5 + 1.01 * angle, angle, heat="H1") for angle in (10, 20, 45, 90)]
    hard = [row(1.5 + 1.02 * angle, angle, heat="H2") for angle in (10, 20, 45, 90)]
    shop = shop_file(tmp_path, *soft, *hard, row(31, 30, heat="H3"))
    (fit,) = answer(shop)["fits"]
    assert [(found["heat"], found["tests"]) for found in fit["heats"]] == [("H1", 4), ("H2", 4)]
    assert [found["fixed"] for found in fit["heats"]] == pytest.approx([0.5, 1.5], abs=1e-9)
    assert [found["proportional"] for found in fit["heats"]] == pytest.approx([0.01, 0.02], abs=1e-9)
    assert "heat H2 by itself: 1.50 degrees + 0.0200 x finished angle" in run("calibrate", shop).out
    assert answer(shop_file(tmp_path, *soft))["fits"][0]["heats"] == []  # one heat is the fit itself


def test_tube_use_as_written_and_from_legs(tmp_path: Path) -> None:
    """98 % of the arc of a 7 in bend, measured twice: as tube used, and as blank and legs to the tangents."""
    arcs = [radians(angle) * 7 for angle in (30, 90)]
    header = HEADER.strip() + ",blank_length,leg_a,leg_b,measured_to\n"
    first = f"{row(31, 30, used=repr(0.98 * arcs[0]))},,,,\n"
    legs = (
        f"{row(92, 90)},{10 + 0.98 * arcs[1] + 12!r},{10 + 7 * tan(radians(45))!r},{12 + 7 * tan(radians(45))!r},apex\n"
    )
    shop = shop_file(tmp_path)
    (tmp_path / "bends.csv").write_text(header + first + legs)
    (fit,) = answer(shop)["fits"]
    assert fit["stretch"] == pytest.approx(0.02, abs=1e-9)
    assert "tube use = 0.9800 x finished arc" in run("calibrate", shop).out


def test_a_die_the_shop_does_not_list_is_said(tmp_path: Path) -> None:
    (fit,) = answer(shop_file(tmp_path, *[row(1 + angle, angle, die="old 9") for angle in (20, 60, 90)]))["fits"]
    assert fit["stretch"] is None
    assert any(
        'of die "old 9", which the shop file does not list (hard 7, easy 5)' in f["says"] for f in fit["findings"]
    )


def test_names_are_one_whatever_their_case(tmp_path: Path) -> None:
    found = answer(shop_file(tmp_path, *LINE, row(31.3, 30, die="HARD  7")))
    assert [(fit["die"], fit["tests"]) for fit in found["fits"]] == [("hard 7", 5)]
    assert found["fits"][0]["stretch"] is not None


def test_a_record_that_is_not_there_yet_is_a_note(tmp_path: Path) -> None:
    found = answer(shop_file(tmp_path))
    assert (found["fits"], found["untested"]) == ([], ["hard 7", "easy 5"])
    assert found["findings"] == [
        {"level": "note", "says": "bends.csv: no test bends recorded yet; springback and tube use are estimates"}
    ]


def test_a_shop_that_names_no_record_says_how(tmp_path: Path) -> None:
    shop = shop_file(tmp_path, shop=SHOP.replace("test_bends: bends.csv\n", ""))
    for more in ([], ["--json"], ["--add", "--die", "hard 7", "--tube", "main", "--set", "31", "--measured", "30"]):
        assert "names no record of test bends; add a line such as test_bends: test_bends.csv" in (
            run("calibrate", shop, *more).sentence
        )


def test_a_name_with_control_characters_is_left_out_and_quoted(tmp_path: Path) -> None:
    """Such a name would reach the terminal and the drawing."""
    shop = shop_file(tmp_path, row(31, 30, die="hard\x1b[2J 7"), *LINE)
    ran = run("calibrate", shop, "--plots", tmp_path / "plots")
    assert "\x1b" not in ran.out
    assert "bends.csv line 2: die is " in ran.out


def test_plots_are_svg_with_every_test_bend_in_them_and_the_same_as_png(tmp_path: Path) -> None:
    folder = tmp_path / "made" / "here"
    others = [row(1 + angle, angle, die="easy 5") for angle in (15, 30)]
    ran = run("calibrate", shop_file(tmp_path, *LINE, *others), "--plots", folder)
    assert ran.status == 0
    names = ["springback_hard_7_main.svg", "springback_easy_5_main.svg"]
    pictures = [name.replace(".svg", ".png") for name in names]
    assert sorted(path.name for path in folder.iterdir()) == sorted(names + pictures)
    for name in pictures:
        content = (folder / name).read_bytes()
        assert content.startswith(b"\x89PNG\r\n\x1a\n")  # PNG specification, 5.2
        assert struct.unpack(">II", content[16:24]) == (1440, 840)  # its header chunk: twice the SVG's 720 x 420
    for name, count in zip(names, (4, 2), strict=True):
        assert str(folder / name) in ran.out
        root = ET.parse(folder / name).getroot()
        assert root.tag == f"{SVG}svg"
        assert len(root.findall(f"{SVG}circle")) == count


def test_with_json_the_names_of_plots_go_to_standard_error(tmp_path: Path) -> None:
    ran = run("calibrate", shop_file(tmp_path, *LINE), "--json", "--plots", tmp_path / "out")
    assert json.loads(ran.out)["fits"]
    assert ran.err.endswith("springback_hard_7_main.svg\n")


ADD = ["--add", "--die", "hard 7", "--tube", "main", "--set", "31.3", "--measured", "30.2", "--date", "2026-02-03"]


def test_adding_appends_one_line_and_rewrites_nothing(tmp_path: Path) -> None:
    shop, record = shop_file(tmp_path, *LINE), tmp_path / "bends.csv"
    before = record.read_bytes()
    ran = run("calibrate", shop, *ADD, "--tube-used", "3 5/8", "--heat", "H7", "--wall", "3/16", "--note", "a, b")
    assert (ran.status, ran.out) == (0, f"{record}: test bend of die hard 7 added\n")
    after = record.read_bytes()
    assert after.startswith(before)
    assert after[len(before) :] == b'2026-02-03,hard 7,main,0.1875,,H7,31.3,30.2,3.625,"a, b"\n'
    (fit,) = answer(shop)["fits"]
    assert fit["tests"] == 5


def test_adding_keeps_broken_lines_line_ends_and_a_missing_last_line_end(tmp_path: Path) -> None:
    shop, record = shop_file(tmp_path), tmp_path / "bends.csv"
    before = (HEADER + "this line is broken\n" + LINE[0]).replace("\n", "\r\n").encode()
    record.write_bytes(before)
    assert run("calibrate", shop, *ADD).status == 0
    assert record.read_bytes() == before + b"\r\n2026-02-03,hard 7,main,,,,31.3,30.2,,\r\n"


def test_adding_to_no_record_makes_it_with_its_header(tmp_path: Path) -> None:
    assert run("calibrate", shop_file(tmp_path), *ADD).status == 0
    lines = (tmp_path / "bends.csv").read_text().splitlines()
    assert lines[0].startswith("date,die,tube,wall,grade,heat,set_angle,measured_angle,tube_used,note")
    assert lines[1].startswith("2026-02-03,hard 7,main,")
    assert len(lines) == 2


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        (["--measured", "32"], "measured 32 degrees, above the 31.3 set"),
        (["--set", "nan"], "set_angle is nan; allowed: degrees above 0 and up to 180"),
        (["--set", "-31"], "set_angle is -31; allowed: degrees above 0 and up to 180"),
        (["--tube-used", "much"], '--tube-used: found "much"; allowed: a length such as'),
        (["--tube-used", "-3"], "allowed: a length above 0"),
        (["--note", "two\nlines"], "note is "),
        (["--json"], "--json: cannot be given with --add"),
    ],
)
def test_what_is_not_plausible_is_refused_and_nothing_is_written(tmp_path: Path, changed: list[str], says: str) -> None:
    shop, record = shop_file(tmp_path, *LINE), tmp_path / "bends.csv"
    before = record.read_bytes()
    assert says in run("calibrate", shop, *ADD, *changed).sentence
    assert record.read_bytes() == before


def test_adding_without_what_a_test_bend_needs(tmp_path: Path) -> None:
    ran = run("calibrate", shop_file(tmp_path), "--add", "--die", "hard 7")
    assert ran.sentence == "--add: a test bend needs --tube, --set, --measured; nothing was recorded"
    assert not (tmp_path / "bends.csv").exists()


@pytest.mark.parametrize("option", [["--set", "31"], ["--heat", "H1"], ["--set", "0"]])
def test_values_of_a_test_bend_without_add_are_not_passed_over(tmp_path: Path, option: list[str]) -> None:
    ran = run("calibrate", shop_file(tmp_path, *LINE), *option)
    assert ran.sentence == f"{option[0]}: belongs to a new test bend; give --add as well, or leave it out"


def test_a_test_bend_of_a_die_the_shop_does_not_list_is_kept_and_said(tmp_path: Path) -> None:
    shop = shop_file(tmp_path, *LINE)
    ran = run("calibrate", shop, *ADD, "--die", "hard 9")
    assert ran.status == 0
    assert ran.out.endswith("added; note that the shop file lists no die 'hard 9'\n")
    assert run("calibrate", shop, *ADD, "--die", "Hard  7").out.endswith("added\n")


def test_the_demo_shop_is_fitted_without_a_word_of_warning() -> None:
    found = answer(DEMOS / "shop.yaml")
    assert [fit["die"] for fit in found["fits"]] == ["hard 7", "easy 5", "easy 160"]
    assert found["untested"] == ["hard 10"]
    assert found["findings"] == []
    for fit in found["fits"]:
        assert not [finding for finding in fit["findings"] if finding["level"] != "note"]
        assert 0 < fit["fixed"] < 3
        assert 0 < fit["proportional"] < 0.03
