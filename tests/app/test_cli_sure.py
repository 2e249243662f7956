"""`railmodel sure`: what it says, what its JSON holds, and how it refuses."""

import json
import math
from pathlib import Path

import pytest
from commands import HAULER, run
from jobfiles import HEAD, job_file
from papers import pages_of
from sure_jobs import LADDER, SHOP, pair_job, rows_text

FAST = ("--samples", "2000")


@pytest.fixture
def job(tmp_path: Path) -> Path:
    return pair_job(tmp_path, LADDER[:3], 600.0, [0.05, 0.3, 0.55, 0.9], within=4.0)


def test_it_names_the_bend_the_datum_and_the_chance(job: Path) -> None:
    ran = run("sure", job, *FAST)
    assert ran.status == 0, ran.err
    lines = ran.out.splitlines()
    assert "  rail: the middle of straight 3, its longest" in lines
    assert any(line.startswith("Marks are all set out on the stock before the first bend") for line in lines)
    assert any("angle" in line and "the shop's own setting, not measured" in line for line in lines)
    (causes,) = (line for line in lines if " of the spread at point 1" in line)
    assert causes.startswith("  bend ")
    assert "% of the spread" in causes
    assert "  point 4: stands on the datum and does not move" in lines
    assert any(line.startswith("  rail pair: ") and line.endswith("(of 2000 samples)") for line in lines)
    assert any(line.startswith("  half the spread of the ") for line in lines)
    assert any(line.startswith("  1. bend ") and " of the spread on average" in line for line in lines)
    assert all(len(line) <= 120 for line in lines)


def test_json_holds_every_number_and_its_derivatives(job: Path) -> None:
    ran = run("sure", job, *FAST, "--format", "json")
    assert ran.status == 0, ran.err
    answer = json.loads(ran.out)
    assert (answer["working"], answer["hands"], answer["samples"]) == ("marks fixed", "together", 2000)
    assert answer["datum"][0] == {"part": "rail", "hand": "right", "datum": "the middle of straight 3, its longest"}
    points = {(one["name"], one["hand"]): one for one in answer["demands"]}
    assert set(points) == {(f"point {i}", hand) for i in (1, 2, 3, 4) for hand in ("right", "left")}
    one = points[("point 1", "right")]
    (gap,) = one["numbers"]
    assert gap["value"] == pytest.approx(10)
    assert (gap["low"], gap["high"], gap["unit"]) == (pytest.approx(6), pytest.approx(14), "mm")
    assert gap["spread"] == pytest.approx(gap["root_sum_square"], rel=0.1)
    assert gap["worst_case"] > 2 * gap["root_sum_square"]
    assert sum(cause["share"] for cause in one["causes"]) == pytest.approx(1)
    assert 0 < one["chance"]["value"] < 1
    assert one["chance"]["error"] > 0
    # root sum square again from the derivatives of the JSON and the shop's own numbers
    given = {"angle": 0.3, "distance": 0.8, "roll": 0.2, "radius": 1.5, "tail": 0.8}
    total = sum((by["by"] * given.get(by["field"], 0.0)) ** 2 for by in gap["derivatives"])
    assert math.sqrt(total) == pytest.approx(gap["root_sum_square"])
    averages = [bend["average"] for bend in answer["bends"]]
    assert [{"rail"}, 3, sorted(averages, reverse=True)] == [
        {bend["part"] for bend in answer["bends"]}, len(averages), averages
    ]  # fmt: skip
    assert set(answer["whole"]) == {"rail pair", "everything"}
    assert answer["what_if"][0]["chance_after"] >= answer["what_if"][0]["chance_before"]


def test_what_nobody_knows_of_is_said_where_the_chance_stands(tmp_path: Path) -> None:
    """Without test bends and without a setting the angles are counted as none: no chance is sure then."""
    path = pair_job(tmp_path, LADDER[:1], 600.0, [0.1], within=9.0, shop=SHOP.replace("angle: 0.3, ", ""))
    ran = run("sure", path, *FAST)
    assert ran.status == 0, ran.err
    flat = " ".join(ran.out.split())
    assert "nothing: all is as sure" not in flat
    assert "Too good: nothing is known of angle, bends without a die on main, so none of it is in these" in flat
    assert "first of all, finding out how far off these come out: angle, bends without a die on main" in flat
    answer = json.loads(run("sure", path, *FAST, "--format", "json").out)
    assert answer["counted_as_none"] == ["angle, bends without a die on main"]
    ran = run("sure", pair_job(tmp_path, LADDER[:1], 600.0, [0.1], within=9.0), *FAST)
    assert "Too good" not in ran.out


def test_inches_change_the_numbers_and_nothing_else(tmp_path: Path) -> None:
    (tmp_path / "mm").mkdir()
    (tmp_path / "in").mkdir()
    metric = pair_job(tmp_path / "mm", LADDER[:2], 600.0, [0.1], within=4.0)
    text = metric.read_text().replace("units: mm", "units: in", 1)
    for word in ("height", "width", "wall", "corner", "distance", "radius", "tail", "want", "within"):
        text = _inches(text, word)
    text = _places(text)
    inch = job_file(tmp_path / "in", text.removeprefix("shop: shop.yaml\n"), SHOP)
    first, second = (json.loads(run("sure", path, *FAST, "--format", "json").out) for path in (metric, inch))
    for one, other in zip(first["demands"], second["demands"], strict=True):
        (a,), (b,) = one["numbers"], other["numbers"]
        assert b["spread"] * 25.4 == pytest.approx(a["spread"], rel=1e-6)
        assert one["chance"]["value"] == pytest.approx(other["chance"]["value"], abs=1e-3)
        for x, y in zip(a["derivatives"], b["derivatives"], strict=True):
            scale = 25.4 if x["field"] in ("angle", "rotation", "roll") else 1.0
            assert y["by"] * scale == pytest.approx(x["by"], rel=1e-6, abs=1e-9)


def _inches(text: str, word: str) -> str:
    import re

    return re.sub(rf"\b({word}): ([0-9.]+)", lambda m: f"{m[1]}: {float(m[2]) / 25.4!r}", text)


def _places(text: str) -> str:
    import re

    def place(match: "re.Match[str]") -> str:
        return "at: [" + ", ".join(repr(float(value) / 25.4) for value in match[1].split(",")) + "]"

    return re.sub(r"at: \[([^\]]*)\]", place, text)


def test_datum_and_way_of_working_matter(job: Path) -> None:
    def spread(*options: str) -> float:
        answer = json.loads(run("sure", job, *FAST, "--format", "json", *options).out)
        return max(one["numbers"][0]["root_sum_square"] for one in answer["demands"])

    main, front, held = spread(), spread("--datum", "front"), spread("--straights-held")
    assert front > main
    assert held != main
    assert spread("--datum", "front", "--datum", "rail.main") == main  # the datum of the part goes before


def test_the_datum_is_said_for_each_part(job: Path) -> None:
    ran = run("sure", job, *FAST, "--datum", "rail.straight 1", "--straights-held", "--hands-apart")
    assert "  rail: the middle of straight 1" in ran.out.splitlines()
    assert "Each bend is set out from the end of the bend before it" in ran.out
    assert "Each hand of a pair is calibrated by itself" in ran.out


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (("--datum", "middle"), '--datum: found "middle"; allowed: main (the longest straight), front, rear'),
        (("--datum", "straight 9"), "--datum: rail has no straight 9; allowed: straight 0 to straight 3"),
        (("--datum", "rial.front"), '--datum: found "rial"; allowed: rail; did you mean "rail"?'),
        (("--samples", "3"), "--samples: found 3; allowed: 100 to 2000000"),
    ],
)
def test_options_that_make_no_sense_are_one_sentence(job: Path, options: tuple[str, ...], says: str) -> None:
    ran = run("sure", job, *options)
    assert ran.status == 2
    assert says in ran.err
    assert len(ran.err.strip().splitlines()) == 1


def test_no_spread_is_one_sentence(tmp_path: Path) -> None:
    job = pair_job(tmp_path, LADDER[:2], 600.0, [0.1], shop="shop: Bare\nunits: mm\n")
    ran = run("sure", job)
    assert ran.status == 2
    assert "shop.yaml: how far off bends come out is not known" in ran.err
    assert "add spread: {angle: 0.3, distance: 1/32}" in ran.err


def test_no_shop_is_one_sentence(tmp_path: Path) -> None:
    job = pair_job(tmp_path, LADDER[:2], 600.0, [0.1])
    job.write_text(job.read_text().replace("shop: shop.yaml\n", ""))
    ran = run("sure", job)
    assert ran.status == 2
    assert "the job names no shop" in ran.err


def test_nothing_asked_for_is_one_sentence(tmp_path: Path) -> None:
    ran = run("sure", job_file(tmp_path, f"{HEAD}parts:\n{rows_text(LADDER[:2], 600.0)}", SHOP))
    assert ran.status == 2
    assert "there is nothing to be sure of; add fit_points:" in ran.err


def test_a_part_without_fit_points_is_said(tmp_path: Path) -> None:
    job = pair_job(tmp_path, LADDER[:2], 600.0, [0.1])
    text = job.read_text().replace("fit_points:", rows_text(LADDER[:1], 400.0, "", "spare", "single") + "fit_points:")
    job.write_text(text)
    ran = run("sure", job, *FAST)
    assert ran.status == 0
    assert "note: spare has no fit point, joint or shape to keep clear, so none of its bends can matter" in ran.out


def test_spread_in_the_shop_file_is_checked(tmp_path: Path) -> None:
    job = pair_job(tmp_path, LADDER[:2], 600.0, [0.1])
    (tmp_path / "shop.yaml").write_text(SHOP.replace("angle: 0.3", "angel: 0.3"))
    ran = run("sure", job)
    assert ran.status == 2
    assert "angel" in ran.err
    assert "angle" in ran.err


def test_gaps_can_be_held_against_exact_ones(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    ball = "keep_clear:\n  - {name: ball, shape: {sphere: {at: [60, 400, 400], diameter: 60}}, gap: 28}\n"
    job = pair_job(tmp_path, LADDER[:1], 600.0, [0.1], rest=ball)
    monkeypatch.setattr("railmodel.sureness.exact.check_gaps.__kwdefaults__", {"samples": 40, "seed": 3})
    ran = run("sure", job, *FAST, "--exact-gaps")
    assert "ball to rail right: in 40 exact samples the gap differs from first order by " in ran.out
    plain = run("sure", job, *FAST)
    assert "--exact-gaps holds the least sure of them against 2,000 exact samples." in plain.out


def test_the_paper_says_what_the_terminal_says(tmp_path: Path) -> None:
    target = tmp_path / "sure.pdf"
    ran = run("sure", HAULER, "--datum", "best fit", "--samples", "2000", "--paper", target)
    assert ran.status == 0
    text = "".join(page.solid for page in pages_of(target))
    said = "".join(ran.out.split())
    for line in ("side rail: the best fit over its fit points", "Best fit: every rail is turned and shifted by itself",
                 "rear axle centre", "Which bend matters"):  # fmt: skip
        assert line.replace(" ", "") in text
        assert line.replace(" ", "") in said
    chances = [line.strip() for line in ran.out.splitlines() if "(of 2000 samples)" in line]
    assert chances
    assert all(line.replace(" ", "") in text for line in chances)
    assert "--paper: the folder no does not exist" in run("sure", HAULER, "--paper", "no/where.pdf").sentence
