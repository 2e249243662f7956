"""`railmodel measured` and `railmodel correct`: how a piece came out and what to change, as text, as JSON, on paper."""

import json
import re
from pathlib import Path
from typing import Any

import pypdfium2 as pdfium
import pytest
from commands import DEMOS, HAULER, Ran, run
from papers import written

EXAMPLE = DEMOS / "hillside_hauler" / "measured" / "right_rail.yaml"

HALF = """\
part: side rail
hand: right
bent: 2
angles:
  - {bend: 1, reads: [15.0, 15.0]}
  - {bend: 2, reads: [14.7, 14.7]}
legs:
  - {straight: 0, reads: 37}
  - {straight: 1, reads: 16 13/16}
"""


def answer(ran: Ran) -> dict[str, Any]:
    assert ran.err == ""
    return json.loads(ran.out)  # type: ignore[no-any-return]


def record(folder: Path, text: str = HALF, name: str = "rail.yaml") -> Path:
    path = folder / name
    path.write_text(text)
    return path


def own_shop(folder: Path) -> tuple[Path, Path]:
    """The demo in a folder of its own, and its record of test bends."""
    for name in ("shop.yaml", "test_bends.csv", "controller.yaml"):
        (folder / name).write_bytes((DEMOS / name).read_bytes())
    job = folder / "job"
    job.mkdir()
    (job / "hauler.yaml").write_text(HAULER.read_text())
    return job / "hauler.yaml", folder / "test_bends.csv"


def test_measured_answers_in_json_in_the_units_of_the_job() -> None:
    ran = run("measured", HAULER, EXAMPLE, "--format", "json", "--datum", "straight 2")
    found = answer(ran)
    assert (found["part"], found["hand"], found["bent"], found["units"]) == (
        "side rail", "right", 4, {"length": "in", "angle": "deg"},
    )  # fmt: skip
    shape = {(one["what"], one["number"]): one for one in found["shape"]}
    assert shape["straight", 2]["as_bent"] == pytest.approx(40.0, abs=0.03)
    assert shape["straight", 2]["off"] == pytest.approx(
        shape["straight", 2]["as_bent"] - shape["straight", 2]["planned"]
    )
    assert shape["angle", 2]["as_bent"] == pytest.approx(14.7, abs=0.15)
    assert 0 < shape["angle", 2]["standard_error"] < shape["angle", 2]["spread_before"]
    assert shape["turn", 2]["determined"] == "not"
    laid = [laying["laid_on"] for laying in found["deviations"]]
    assert laid == ["its front end", "the middle of straight 4, its longest", "the middle of straight 2", "best fit"]
    axle = next(place for place in found["deviations"][-1]["places"] if place["name"] == "rear axle centre")
    assert axle["weight"] == 5
    assert axle["gap"] == pytest.approx(9.5, abs=0.1)
    assert len(found["readings"]) == 15
    assert [set(one) for one in found["measure_next"]] == [{"what", "unit", "planned", "sigma"}] * 3
    assert all(one["counts"] and abs(one["oddness"]) < 4 for one in found["readings"])
    assert ran.status == (0 if found["ok"] else 1) == 1  # the spring hanger stands outside what the job allows


def test_measured_in_text_names_what_matters() -> None:
    ran = run("measured", HAULER, EXAMPLE)
    assert ran.status == 1
    assert "STOP  measured: cab mount on side rail right stands 0.8" in ran.out
    assert "Laid on best fit: " in ran.out
    assert "NOT MEASURED" in ran.out
    assert "Spread: angle, die hard 7 on main: 0.16 degrees from 6 test bends" in ran.out


def test_correct_gives_settings_for_the_next_piece() -> None:
    ran = run("correct", HAULER, EXAMPLE, "--format", "json")
    assert ran.status == 0
    found = answer(ran)
    assert found["this_piece"] is None
    bends = found["next_piece"]["bends"]
    assert [bend["set_was"] for bend in bends] == pytest.approx([16.6, 16.6, 21.7, 21.7])
    for bend in bends:
        assert bend["set_now"] == pytest.approx(bend["set_was"] - 1.012 * bend["taken_off"], abs=0.06)
        assert bend["set_now"] * 10 == pytest.approx(round(bend["set_now"] * 10))
        assert bend["taken_off"] == bend["common_to_die"] < -0.5
    assert bends[2]["mark_now"] - bends[2]["mark_was"] == pytest.approx(bends[3]["mark_now"] - bends[3]["mark_was"])
    assert "All bends of die hard 7 came out under plan together: 0." in run("correct", HAULER, EXAMPLE).out


def test_a_rail_half_bent_gets_commands_for_the_rest(tmp_path: Path) -> None:
    path = record(tmp_path)
    found = answer(run("correct", HAULER, path, "--format", "json"))
    assert found["next_piece"] is None
    rest = found["this_piece"]
    assert [bend["bend"] for bend in rest["bends"]] == [3, 4]
    assert 0.5 < rest["removed"] <= 1
    assert rest["error_after"] < rest["error_before"]
    for bend in rest["bends"]:
        assert abs(bend["angle"] - bend["planned"]) < 3
        assert bend["set_angle"] > bend["angle"]
    assert "of the error is removed." in run("correct", HAULER, path).out
    assert run("measured", HAULER, path).status == 0


def test_the_record_of_test_bends_grows_once_by_what_was_really_measured(tmp_path: Path) -> None:
    job, log = own_shop(tmp_path)
    before = log.read_bytes()
    found = answer(run("correct", job, EXAMPLE, "--log", "--format", "json"))
    assert [one["set_angle"] for one in found["logged"]["added"]] == pytest.approx([16.6, 16.6, 21.7, 21.7])
    after = log.read_bytes()
    assert after.startswith(before)
    added = after[len(before) :].decode().splitlines()
    assert len(added) == 4
    assert added[0].startswith("2026-05-11,hard 7,main,0.1875,A500-B,H3,16.6,15,")
    again = run("correct", job, EXAMPLE, "--log")
    assert "is in test_bends.csv already" in again.sentence
    assert log.read_bytes() == after


def test_bends_that_nobody_set_or_measured_are_not_logged(tmp_path: Path) -> None:
    job, log = own_shop(tmp_path)
    before = log.read_bytes()
    text = EXAMPLE.read_text().replace("set: as planned", "set: [{bend: 1, angle: 16.6}, {bend: 3, angle: 21.7}]")
    text = text.replace("  - {bend: 3, reads: [19.5, 19.9]}\n", "")
    ran = run("correct", job, record(tmp_path, text), "--log")
    assert ran.status == 0
    assert "1 bend added to test_bends.csv." in ran.out
    assert "Not added: bend 3 has no angle by protractor that counts." in ran.out
    assert "Not added: bend 2 has no set angle in the record" in ran.out
    assert log.read_bytes().startswith(before)


def test_a_record_that_does_not_say_what_was_set_adds_nothing_and_says_why_once(tmp_path: Path) -> None:
    job, log = own_shop(tmp_path)
    before = log.read_bytes()
    ran = run("correct", job, record(tmp_path, EXAMPLE.read_text().replace("set: as planned", "# set:")), "--log")
    said = [line for line in ran.out.splitlines() if line.startswith("Not added: ")]
    assert len(said) == 1
    assert said[0].startswith("Not added: any bend of rail.yaml: it does not say what the bender was set to")
    assert "0 bends added to test_bends.csv." in ran.out
    assert log.read_bytes() == before


def test_a_miss_that_the_record_hardly_tells_of_is_no_reason_to_reject(tmp_path: Path) -> None:
    """The demo's rail is told of well; of this one two angles, and the rest as it may have come out."""
    told = " ".join(run("measured", HAULER, EXAMPLE).out.split())
    assert told.count("hold the piece: re-bend, shim or reject it") == 2
    few = "part: side rail\nhand: right\nangles: [{bend: 1, reads: 15.1}, {bend: 4, reads: 19.8}]\n"
    told = " ".join(run("measured", HAULER, record(tmp_path, few)).out.split())
    assert re.search(r"the record tells of that place to 0\.\d+ in only: measure more before rejecting it", told)
    assert "shim or reject it" not in told


def test_a_bend_that_was_not_measured_is_said_to_be_so_and_corrected_with_its_die(tmp_path: Path) -> None:
    few = "part: side rail\nhand: right\nangles: [{bend: 1, reads: [14.8, 14.8]}, {bend: 2, reads: [14.8, 14.8]}]\n"
    ran = run("correct", HAULER, record(tmp_path, few), "--format", "json")
    bends = answer(ran)["next_piece"]["bends"]
    assert [bend["measured"] for bend in bends] == [True, True, False, False]
    assert bends[3]["taken_off"] == pytest.approx(bends[0]["taken_off"])
    assert bends[0]["taken_off"] < -0.2
    told = " ".join(run("correct", HAULER, record(tmp_path, few)).out.split())
    assert told.count("not measured") == 2
    # both came out half a degree under, half of which is corrected: never said to have come out by half as much
    assert "All measured bends of die hard 7 came out under plan together: 0.25 degrees of that is corrected" in told
    other = record(tmp_path, few.replace("[14.8, 14.8]}]", "[14.8, 14.9]}]"), "second.yaml")
    two = answer(run("correct", HAULER, record(tmp_path, few), other, "--format", "json"))["next_piece"]["bends"]
    assert [bend["measured"] for bend in two] == [True, True, False, False]
    assert two[3]["taken_off"] == pytest.approx((two[0]["error"] + two[1]["error"]) / 2, abs=0.01)


def test_what_was_set_of_some_bends_only_is_told_of_those(tmp_path: Path) -> None:
    text = EXAMPLE.read_text()
    some = text.replace("set: as planned", "set: [{bend: 1, angle: 16.6}, {bend: 3, angle: 21.7}]")
    told = " ".join(run("correct", HAULER, record(tmp_path, some)).out.split())
    assert "The record does not say what the bender was set to for bends 2, 4: what was planned is taken." in told
    told = " ".join(run("correct", HAULER, record(tmp_path, text.replace("set: as planned", "# set:"))).out.split())
    assert "The record does not say what the bender was set to: what was planned is taken." in told


@pytest.mark.parametrize("half", [False, True])
def test_the_paper_says_the_same(tmp_path: Path, half: bool) -> None:
    target = tmp_path / "as_bent.pdf"
    run("measured", HAULER, record(tmp_path) if half else EXAMPLE, "--paper", target)
    pages = pdfium.PdfDocument(target)
    text = "\n".join(page.get_textpage().get_text_range() for page in pages)
    assert "side rail" in text
    assert ("What is left to do on this piece" in text) == half
    assert ("For the next piece" in text) == (not half)
    assert half or "HOLD" in text
    assert not re.search(r"-0\.00(?!\d)", text)
    if half:  # what becomes of the end stands on the paper that goes to the bender, as the terminal has it
        flat = " ".join(text.split())
        (end,) = re.findall(
            r"The last straight comes out .*? shorter than [\d.]+ in\.|Leave the last .*? off its end\.",
            " ".join(run("correct", HAULER, record(tmp_path)).out.split()),
        )
        assert end in flat


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--part", "side rial"), '--part: found "side rial"; allowed: side rail, rear cap; did you mean "side rail"?'),
        (("--datum", "middle"), '--datum: found "middle"; allowed: main (the longest straight), front, rear'),
        (("--datum", "straight 9"), "--datum: side rail has no straight 9; allowed: straight 0 to straight 4"),
        (("--paper", "no/where.pdf"), "--paper: the folder no does not exist; make it first"),
    ],
)
def test_options_that_cannot_be_are_refused_in_one_sentence(words: tuple[str, ...], says: str) -> None:
    assert says in run("measured", HAULER, EXAMPLE, *words).sentence


def another(folder: Path, name: str, *changes: tuple[str, str]) -> Path:
    text = EXAMPLE.read_text()
    for old, new in (("[15.0, 15.0]", "[15.1, 15.0]"), *changes):
        assert old in text
        text = text.replace(old, new)
    return record(folder, text, name)


def test_records_of_several_pieces_are_combined(tmp_path: Path) -> None:
    second = another(tmp_path, "second.yaml", ("[19.5, 19.9]", "[19.6, 19.6]"), ("reads: 40}", "reads: 40 1/16}"))
    third = another(tmp_path, "third.yaml", ("hand: right", "hand: left"), ("[14.7, 14.7]", "[14.8, 14.8]"))
    found = answer(run("correct", HAULER, third, EXAMPLE, second, "--format", "json"))
    one = answer(run("correct", HAULER, EXAMPLE, "--format", "json"))
    assert [piece["hand"] for piece in found["records"]] == ["left", "right", "right"]
    assert (found["hand"], found["next_piece"]["pieces"], one["next_piece"]["pieces"]) == ("right", 3, 1)
    assert one["next_piece"]["scatter"] == []
    scatter = {each["field"]: each for each in found["next_piece"]["scatter"]}
    assert 0 < scatter["angle"]["sigma"] < scatter["angle"]["shop_spread"]  # the three are much alike
    for bend, alone in zip(found["next_piece"]["bends"], one["next_piece"]["bends"], strict=True):
        assert bend["sigma"] < 0.7 * alone["sigma"]
        assert bend["set_now"] > bend["set_was"] == alone["set_was"]
    text = run("correct", HAULER, third, EXAMPLE, second).out
    assert "For the next side rail right, from third.yaml (left) and right_rail.yaml and second.yaml" in text
    assert "From 3 pieces: " in text
    assert "marked as the bend sheet says, and not turned or shimmed." in " ".join(text.split())


def test_a_piece_bent_to_the_corrected_settings_leaves_them_as_they_are(tmp_path: Path) -> None:
    """The first came out 1 degree over and was corrected; the second, set so, came out right."""
    shown = answer(run("measured", HAULER, EXAMPLE, "--format", "json"))
    planned = [one["planned"] for one in shown["shape"] if one["what"] == "angle"]
    first = record(tmp_path, _angles(planned, 1.0, [16.6, 16.6, 21.7, 21.7]), "first.yaml")
    second = record(tmp_path, _angles(planned, 0.0, [15.588, 15.588, 20.688, 20.688]), "second.yaml")
    bends = answer(run("correct", HAULER, first, second, "--format", "json"))["next_piece"]["bends"]
    assert [bend["set_now"] for bend in bends] == pytest.approx([15.588, 15.588, 20.688, 20.688], abs=0.06)


def _angles(planned: list[float], over: float, settings: list[float]) -> str:
    lines = "".join(f"  - {{bend: {i + 1}, reads: {angle + over:.2f}}}\n" for i, angle in enumerate(planned))
    sets = "".join(f"  - {{bend: {i + 1}, angle: {angle}}}\n" for i, angle in enumerate(settings))
    return f"part: side rail\nhand: right\nangles:\n{lines}set:\n{sets}"


def test_records_that_do_not_go_together_are_refused_in_one_sentence(tmp_path: Path) -> None:
    same = another(tmp_path, "same.yaml", ("[15.1, 15.0]", "[15.0, 15.0]"))
    assert (
        "same.yaml: holds the same as right_rail.yaml; give the record of each piece once"
        in run("correct", HAULER, EXAMPLE, same).sentence
    )
    cap = record(tmp_path, "part: rear cap\nangles: [{bend: 1, reads: 90}]\n", "cap.yaml")
    assert (
        "cap.yaml: is of rear cap and right_rail.yaml of side rail right; give records of one part"
        in run("correct", HAULER, cap, EXAMPLE).sentence
    )
    half = record(tmp_path)
    assert "rail.yaml: bent: only 2 bends are made" in run("correct", HAULER, EXAMPLE, half).sentence
    strange = another(tmp_path, "strange.yaml", ("of_job: Hillside hauler", "of_job: Hay rack"))
    assert 'strange.yaml: is of the job "Hay rack"' in run("correct", HAULER, EXAMPLE, strange).sentence
    wrong = another(tmp_path, "wrong.yaml", ("units: in", "units: mm"))
    assert (
        "wrong.yaml: as a record of side rail right, the lengths are 25.4"
        in run("correct", HAULER, EXAMPLE, wrong).sentence
    )


def test_several_pieces_go_into_the_record_of_test_bends_each_once(tmp_path: Path) -> None:
    job, log = own_shop(tmp_path)
    assert run("correct", job, EXAMPLE, "--log").status == 0
    before = log.read_bytes()
    second = another(tmp_path, "second.yaml")
    ran = run("correct", job, EXAMPLE, second, "--log")
    assert "4 bends added to test_bends.csv." in ran.out
    assert "Not added: right_rail.yaml is in test_bends.csv already" in ran.out
    after = log.read_bytes()
    assert after.startswith(before)
    assert "second" not in after.decode()  # a record is known by what it holds, whatever its file is called
    assert "already" in run("correct", job, second, "--log").sentence
    assert log.read_bytes() == after


def test_the_paper_of_a_correction_names_every_record(tmp_path: Path) -> None:
    second, target = another(tmp_path, "second.yaml"), tmp_path / "correction.pdf"
    assert run("correct", HAULER, EXAMPLE, second, "--paper", target).status == 0
    text = "\n".join(page.get_textpage().get_text_range() for page in pdfium.PdfDocument(target))
    assert "right_rail.yaml, second.yaml" in text
    assert "From 2 pieces" in text
    run("correct", HAULER, record(tmp_path), "--paper", target)
    text = "\n".join(page.get_textpage().get_text_range() for page in pdfium.PdfDocument(target))
    assert "What is left to do on this piece" in text


def test_a_record_that_cannot_be_of_that_piece_is_named_and_nothing_corrected(tmp_path: Path) -> None:
    text = EXAMPLE.read_text().replace("units: in", "units: mm")
    path = record(tmp_path, text)
    ran = run("measured", HAULER, path)
    assert ran.status == 1
    assert "the lengths are 25.4 times too small" in ran.out
    assert "the lengths are 25.4 times too small" in run("correct", HAULER, path).sentence


def test_a_record_that_contradicts_itself_all_over_is_said_to_and_nothing_is_made_of_it(tmp_path: Path) -> None:
    """Most readings of every bend are nonsense: no majority tells which of them are right."""
    text = "part: side rail\nhand: right\nangles:\n"
    for bend in (1, 2, 3, 4):
        text += f"  - {{bend: {bend}, reads: [{', '.join(str((37 * bend + 23 * k) % 89) for k in range(8))}]}}\n"
    path = record(tmp_path, text)
    ran = run("measured", HAULER, path)
    assert ran.status == 1
    (line,) = [line for line in ran.out.splitlines() if line.startswith("STOP")]
    assert "of 32 readings contradict the rest, too many to tell which are right; measure again" in line
    assert "best fit" not in ran.out
    assert "too many to tell which are right" in run("correct", HAULER, path).sentence


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "rail.yaml: the file is empty; a record of measurements starts with part:"),
        ("# nothing yet\n\n", "rail.yaml: the file is empty; a record of measurements starts with part:"),
        ("---\n", "rail.yaml: the file is empty; a record of measurements starts with part:"),
        ("%YAML 1.2\n--- # none\n~\n...\n", "rail.yaml: the file is empty; a record of measurements starts with part:"),
        (HALF + "set: [{bend: 1, angle: .nan}]\n", "set[0] angle: found .nan; allowed: degrees above 0 and below 180"),
        (HALF + "set: [16.6]\n", "set[0]: found 16.6; allowed: a mapping of keys"),
        (HALF + "set: 16.6\n", "set: found 16.6; allowed: "),
        (HALF + "set: [{bend: 1, angle: 16}, {bend: 9, angle: 16}]\n", ": set: found bend 9; allowed: 1 to 4"),
        (
            HALF + "set: [{bend: 1, angle: 16}, {bend: 1, angle: 12}]\n",
            ": set: bend 1 stands at rail.yaml:10:7 already",
        ),
    ],
)
def test_records_that_are_none_are_told_what_they_lack(tmp_path: Path, text: str, says: str) -> None:
    for command in ("measured", "correct"):
        assert says in run(command, HAULER, record(tmp_path, text)).sentence  # one, not several


SET = "set: [{bend: 1, angle: 61.6}, {bend: 2, angle: 16.6}, {bend: 3, angle: 21.7}, {bend: 4, angle: 21.7}]"


def test_a_set_angle_that_the_protractor_contradicts_is_refused_and_nothing_logged(tmp_path: Path) -> None:
    """16.6 written down as 61.6: the tube measured 15, as the shop's test bend of 2026-02-04 set to 16.1 did."""
    job, log = own_shop(tmp_path)
    before = log.read_bytes()
    path = record(tmp_path, EXAMPLE.read_text().replace("set: as planned", SET))
    for words in (("measured", job, path), ("correct", job, path), ("correct", job, path, "--log")):
        said = run(*words).sentence
        assert ": set: bend 1: found 61.6 degrees set, which less springback bends to 60." in said
        assert (
            "the protractor read 15.0; expected: within 10 degrees of each other, so about 16.1 set" in said
        )  # as the test bend of 2026-02-04
    assert log.read_bytes() == before
    right = record(tmp_path, EXAMPLE.read_text().replace("set: as planned", SET.replace("61.6", "16.6")))
    assert run("correct", job, right, "--log").status == 0


def test_a_bend_of_the_sheet_that_came_out_quite_another_is_not_logged(tmp_path: Path) -> None:
    job, log = own_shop(tmp_path)
    text = EXAMPLE.read_text().replace("bend: 4, reads: [19.5, 19.7]", "bend: 4, reads: [6.1, 6.2], sure_to: 0.1")
    path = record(tmp_path, text[: text.index("distances:")] + "set: as planned\n")
    ran = run("correct", job, path, "--log")
    assert "Not added: bend 4 has 21.7 degrees set, which less springback bends to 20.5" in ran.out
    assert "3 bends added to test_bends.csv." in ran.out
    assert len(log.read_text().splitlines()) == len((DEMOS / "test_bends.csv").read_text().splitlines()) + 3


def test_a_record_that_was_logged_says_the_same_of_what_was_set_as_before(tmp_path: Path) -> None:
    """Its own bends change the bend sheet; it was bent by the one before."""
    job, _ = own_shop(tmp_path)

    def settings() -> list[tuple[float, float]]:
        bends = answer(run("correct", job, EXAMPLE, "--format", "json"))["next_piece"]["bends"]
        return [(bend["set_was"], bend["set_now"]) for bend in bends]

    before = settings()
    assert run("correct", job, EXAMPLE, "--log").status == 0
    for (was, now), (was_before, now_before) in zip(settings(), before, strict=True):
        assert was == pytest.approx(was_before, abs=1e-9)
        assert was < now < now_before + 0.06  # the shop's spread is wider by the new bends; nothing is corrected twice


def test_as_planned_is_doubted_where_other_records_have_changed_the_bend_sheet_since(tmp_path: Path) -> None:
    job, _ = own_shop(tmp_path)
    doubt = "set: as planned means today's bend sheet, and the record of test bends has grown by 4 bends since 2026-05-"
    later = another(tmp_path, "later.yaml", ("date: 2026-05-11", "date: 2026-05-12"))
    assert doubt not in run("correct", job, EXAMPLE).out
    assert run("correct", job, later, "--log").status == 0
    ran = run("correct", job, EXAMPLE)
    assert ran.status == 0
    assert f"WARN  measured: right_rail.yaml: {doubt}11" in ran.out
    after = another(tmp_path, "after.yaml", ("date: 2026-05-11", "date: 2026-05-13"))
    listed = SET.replace("61.6", "16.6")
    said = another(tmp_path, "said.yaml", ("set: as planned", listed))
    for path in (later, after, said):  # logged itself, bent by today's sheet, says what was set
        assert "means today's bend sheet" not in run("correct", job, path).out


def test_the_inspection_record_says_what_to_measure_first(tmp_path: Path) -> None:
    pages = [page for page in written("inspection", HAULER, tmp_path) if "side rail" in page.text]
    assert len(pages) == 2
    for page in pages:
        assert "what tells the most about the shape" in page.text
        assert "front end to rear end" in page.text
        assert "158.003" in page.text
