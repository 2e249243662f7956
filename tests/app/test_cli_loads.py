"""railmodel carry, weigh, quote and log from the command line: what they print, refuse and leave behind."""

import json
import re
from pathlib import Path

import openpyxl
import pytest
from commands import CANNOT_BEND, DEMOS, HAULER, TRAILER, run
from ladders import LADDER, LOADS

from railmodel.fingerprint import fingerprint
from railmodel.frame import build_frame
from railmodel.job.reader import read_job
from railmodel.loading.carry import LEFT_OUT

VERDICTS = re.compile(r"\b(un)?safe(ly|ty)?\b|\bpass(es|ed)?\b|\bok\b|\bsufficient|\badequate|\bapproved\b", re.I)


@pytest.fixture(scope="module")
def carried() -> str:
    ran = run("carry", HAULER)
    assert (ran.status, ran.err) == (0, "")
    return ran.out


def test_carry_says_screening_only_what_is_left_out_and_who_decides(carried: str) -> None:
    told = " ".join(carried.split())
    assert "Screening only" in told
    for words in ("welds", "fatigue", "dynamic road loads", "corrosion"):
        assert any(words in line for line in LEFT_OUT)
    for line in LEFT_OUT:
        assert line in told
    assert "licensed engineer" in told
    assert "vehicle rules of the place" in told
    assert not VERDICTS.search(told)


def test_carry_names_the_worst_place_the_stiffness_and_the_convergence(carried: str) -> None:
    told = " ".join(carried.split())
    assert re.search(r"Worst place: [a-z ]+, (on a straight|(in|out)side of bend \d)", told)
    assert re.search(r"Torsional stiffness from front axle to rear axle: \d+ N·m/deg, \d+ ft·lb/deg", told)
    assert re.search(r"Cut into \d+ pieces; \d+ pieces twice as large change the worst stress by [-+]\d", told)
    for case in ("static", "dynamic", "braking", "cornering", "one wheel up", "pure torsion"):
        assert case in told


def test_carry_names_what_would_have_to_be_held_down_and_stress_that_no_grade_judges(tmp_path: Path) -> None:
    job = tmp_path / "job.yaml"
    behind = LOADS.replace("on: [[1500, 400, 550], [1500, -400, 550]]", "on: [front cross, rear cross]")
    head = LADDER.replace(", grade: S235", "")
    job.write_text(head + behind.replace("at: [1500, 0, 600]", "at: [2950, 0, 600]"))
    ran = run("carry", job)
    assert ran.status == 0, ran.err
    told = " ".join(ran.out.split())
    assert re.search(r"static: front axle would have to be held down with \d+ N; where nothing holds it down", told)
    assert re.search(r"static [a-z ]+, X [\d.]+ mm .*?\d+ N down \d+ N up", told)
    assert "-" not in re.search(r"case on front axle on rear axle (.*?) static:", told)[1].replace("─", "")
    assert re.search(r"Not judged: (front|rear) cross, on a straight, .* static: \d+ MPa", told)
    answer = json.loads(run("carry", job, "--format", "json").out)
    front, rear = answer["cases"][0]["supports"]
    assert front["held_down"] == [{"what": "all of it", "force": pytest.approx(-front["up"])}]
    assert rear["held_down"] == []
    assert answer["grade_not_known"]["stress"] > answer["worst"]["stress"]
    assert "held down" not in run("carry", HAULER).out
    cases = json.loads(run("carry", HAULER, "--format", "json").out)["cases"]
    assert not [one for case in cases for support in case["supports"] for one in support["held_down"]]


def test_carry_as_json_holds_the_same(carried: str) -> None:
    ran = run("carry", HAULER, "--format", "json")
    answer = json.loads(ran.out)
    assert "Screening only" in answer["screening_only"]
    assert answer["left_out"] == list(LEFT_OUT)
    assert "licensed engineer" in answer["decides"]
    assert not VERDICTS.search(ran.out)
    assert len(answer["cases"]) == 6
    stiff = answer["torsional_stiffness"]
    assert stiff["newton_metres_per_degree"] == pytest.approx(1.3558179483 * stiff["foot_pounds_per_degree"])
    assert f"{stiff['newton_metres_per_degree']:.0f} N·m/deg" in carried
    worst = max((part for case in answer["cases"] for part in case["parts"]), key=lambda part: part["share_of_yield"])
    assert {**worst, "case": answer["worst"]["case"]} == answer["worst"]
    (static,) = [case for case in answer["cases"] if case["case"] == "static"]
    up = sum(support["up"] for support in static["supports"])
    masses = sum(item["mass"] for item in answer["carried"])
    assert up == pytest.approx(9.80665 * (masses + 83.243), rel=1e-3)


def test_carry_of_the_trailer_takes_its_plates_along_and_names_those_it_cannot() -> None:
    told = " ".join(run("carry", TRAILER).out.split())
    assert "the tubes' own weight, 1 x coupling plate of 2.5 kg, 2 x tail gusset of 0.5 kg." in told
    assert "Not carried: 2 x winch post ear, 0.3 kg each: without a place in the vehicle." in told
    assert not VERDICTS.search(told)
    answer = json.loads(run("carry", TRAILER, "--format", "json").out)
    plates = [(plate["name"], plate["count"]) for plate in answer["plates"]]
    assert plates == [("coupling plate", 1), ("tail gusset", 2)]
    assert answer["plates_not_carried"][0]["why"] == "without a place in the vehicle"
    weight = json.loads(run("weigh", TRAILER, "--format", "json").out)["frame"]["mass"]
    masses = sum(item["mass"] for item in answer["carried"])
    (static,) = [case for case in answer["cases"] if case["case"] == "static"]
    assert sum(support["up"] for support in static["supports"]) == pytest.approx(9.80665 * (masses + weight), rel=1e-4)
    names = [case["case"] for case in answer["cases"]]
    assert names == ["static", "dynamic", "braking", "cornering", "one wheel up", "pure torsion"]
    for case in answer["cases"]:  # the ball holds no roll
        assert [support["roll"] for support in case["supports"] if support["support"] == "coupling"] in ([], [0.0])


def test_carry_refuses_in_one_sentence_each(tmp_path: Path) -> None:
    assert "loads is missing" in run("carry", DEMOS / "hay_rack" / "hay_rack.yaml").sentence
    path = tmp_path / "job.yaml"
    path.write_text(LADDER + LOADS.replace("mass: 200", "mass: -1 kg"))
    assert 'mass: found "-1 kg"; allowed: a mass above 0' in run("carry", path).sentence
    path.write_text(LADDER + LOADS.replace("[[1500, 400, 550], [1500, -400, 550]]", "[[1500, 0, 2000]]"))
    assert "touches no tube" in run("carry", path).sentence
    loose = LADDER[: LADDER.index("crossmembers:")] + LADDER[LADDER.index("fit_points:") :]
    path.write_text(loose + LOADS)
    assert "mechanism" in run("carry", path).sentence


def test_a_frame_whose_shape_is_wrong_is_not_screened(tmp_path: Path) -> None:
    path = tmp_path / "job.yaml"
    path.write_text(LADDER.replace("x: 2800", "x: 3800") + LOADS)  # a crossmember that meets no rail
    ran = run("carry", path)
    assert (ran.status, ran.out) == (1, "")
    assert "rear cross" in ran.err
    weighed = run("weigh", path)
    assert weighed.status == 1
    assert "Not weighed: rear cross, which makes no shape." in weighed.out


def test_weigh_says_what_one_person_does_not_lift() -> None:
    """23 kg: the load constant of the revised NIOSH lifting equation (DHHS (NIOSH) publication 94-110; from memory)."""
    answer = json.loads(run("weigh", HAULER, "--format", "json").out)
    heavy = [piece["name"] for piece in answer["pieces"] if piece["mass"] > 23]
    assert heavy == ["side rail right", "side rail left"]
    two, sling = answer["cautions"]
    assert two.startswith("Two people or a hoist: side rail right, side rail left are above 23 kg (51 lb)")
    assert f"more than {answer['crate']['mass']:.0f} kg" in sling
    assert "local rules" in sling
    told = " ".join(run("weigh", HAULER).out.split())
    assert two in told
    assert sling in told


def test_weigh_tells_every_piece_the_whole_and_the_crate() -> None:
    told = " ".join(run("weigh", HAULER).out.split())
    assert "Whole frame 83.2 kg (183.5 lb)" in told
    assert "left of the centreline 91.8 lb, right 91.8 lb" in told
    assert "on edge, one nested in the other" in told
    assert "freight class: over 12 ft" in told
    answer = json.loads(run("weigh", HAULER, "--format", "json").out)
    assert sum(piece["mass"] for piece in answer["pieces"]) == pytest.approx(answer["frame"]["mass"])
    assert answer["crate"]["class"] == "over 12 ft"
    assert answer["units"] == {"length": "in", "mass": "kg"}
    metric = json.loads(run("weigh", TRAILER, "--format", "json").out)
    assert metric["units"]["length"] == "mm"
    assert metric["not_placed"][0]["name"] == "winch post ear"


def test_quote_writes_the_offer_and_the_shops_own_files(tmp_path: Path) -> None:
    ran = run("quote", HAULER, "--out", tmp_path / "out", "--date", "2031-02-28")
    assert (ran.status, ran.err) == (0, "")
    names = sorted(path.name for path in (tmp_path / "out").iterdir())
    assert names == [f"hillside_hauler_{end}" for end in ("internal_quote.json", "internal_quote.xlsx", "offer.pdf")]
    answer = json.loads((tmp_path / "out" / names[0]).read_text())
    assert answer == json.loads(run("quote", HAULER, "--format", "json", "--date", "2031-02-28").out)
    assert answer["holds_until"] == "2031-03-30"
    lines = answer["internal"]["lines"]
    assert answer["internal"]["cost"] == pytest.approx(sum(line["amount"] for line in lines))
    book = openpyxl.load_workbook(tmp_path / "out" / names[1], data_only=True)
    assert answer["offer"]["total"] in [row[6].value for row in book["quote"].iter_rows()]
    assert "internal" not in json.dumps(answer["offer"])
    assert f"{answer['offer']['total']:,.2f} USD" in ran.out


def test_quote_refuses_what_it_cannot_know(tmp_path: Path) -> None:
    demos = HAULER.parents[1]
    shop = (demos / "shop.yaml").read_text()
    for name in ("test_bends.csv", "controller.yaml"):
        shop = shop.replace(name, str(demos / name))
    (tmp_path / "shop.yaml").write_text(shop.replace("  bend_hours: 0.3\n", ""))
    (tmp_path / "hauler.yaml").write_text(HAULER.read_text().replace("../shop.yaml", "shop.yaml"))
    said = run("quote", tmp_path / "hauler.yaml", "--out", tmp_path / "out").sentence
    assert said == "shop.yaml: rates: bend_hours is missing; add bend_hours: hours for one bend"
    assert not (tmp_path / "out").exists()
    assert "a date such as" in run("quote", HAULER, "--date", "soon").sentence
    stopped = run("quote", CANNOT_BEND)
    assert (stopped.status, stopped.out) == (1, "")
    assert stopped.err.splitlines()[-1] == "no quote: first put right what stops the job"


@pytest.fixture
def job(tmp_path: Path) -> Path:
    path = tmp_path / "ladder.yaml"
    path.write_text(f"revision: B\n{LADDER}{LOADS}")
    return path


def test_log_adds_lines_and_says_whether_the_job_stands_as_approved(job: Path) -> None:
    assert run("log", job).out == "Nothing is recorded yet.\n"
    for kind, more in (("built", ()), ("sent", ("--by", "Ann")), ("approved", ("--note", "by post"))):
        assert run("log", job, "--add", kind, *more).status == 0
    told = run("log", job).out
    whole = fingerprint(build_frame(read_job(job)))
    assert told.count(whole[:12]) == 3
    assert "by Ann" in told
    assert "The job stands as it was approved on" in told
    record = job.with_name("ladder.record.jsonl")
    before = record.read_bytes()
    job.write_text(job.read_text().replace("[3000, 400, 500]", "[3010, 400, 500]"))
    told = run("log", job).out
    assert told.count("(the job has changed since)") == 3
    assert "have it approved again" in told
    run("log", job, "--add", "measured", "--part", "rail right", "--note", "2 mm long")
    assert record.read_bytes().startswith(before)
    answer = json.loads(run("log", job, "--format", "json").out)
    assert [entry["kind"] for entry in answer["entries"]] == ["built", "sent", "approved", "measured"]
    assert [entry["as_it_stands"] for entry in answer["entries"]] == [False, False, False, True]
    assert answer["entries"][3]["part"] == "rail right"
    assert answer["entries"][3]["revision"] == "B"


def test_what_it_carries_does_not_change_what_was_approved(job: Path) -> None:
    run("log", job, "--add", "approved")
    job.write_text(job.read_text().replace("mass: 200", "mass: 300"))
    assert "The job stands as it was approved on" in run("log", job).out


def test_an_approval_of_another_fingerprint_is_recorded_and_told(job: Path) -> None:
    ran = run("log", job, "--add", "approved", "--fingerprint", "0123456789AB")
    assert ran.status == 0
    assert "approved 0123456789ab, but the job now is" in ran.err
    assert "have it approved again" in ran.out


def test_log_tells_of_a_torn_line_and_goes_on(job: Path) -> None:
    run("log", job, "--add", "built")
    record = job.with_name("ladder.record.jsonl")
    record.write_bytes(record.read_bytes() + b'{"record": 1, "ki')
    ran = run("log", job, "--add", "sent")
    assert ran.status == 0
    assert "line 2: cannot be read and is passed over" in ran.err
    assert ran.out.count("\n") == 2


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--add", "eaten"), "--add: found"),
        (("--note", "x"), "--add is missing"),
        (("--add", "sent", "--fingerprint", "0123456789ab"), "--fingerprint: belongs to --add approved"),
        (("--add", "approved", "--fingerprint", "12"), "the 64 digits or the first 12"),
        (("--add", "measured", "--part", "rial right"), 'did you mean "rail right"?'),
        (("--add", "sent", "--note", "x" * 501), "up to 500 letters"),
    ],
)
def test_log_refuses_in_one_sentence_and_records_nothing(job: Path, words: tuple[str, ...], said: str) -> None:
    refused = run("log", job, *words).sentence
    assert said in refused
    assert "nothing was recorded" in refused
    assert not job.with_name("ladder.record.jsonl").exists()
