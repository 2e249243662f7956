"""Screening of frames: by hand where a hand can do it, by what must not change, and what is refused in one sentence."""

from math import radians
from pathlib import Path

import numpy as np
import pytest
from commands import HAULER
from ladders import LADDER, LOADS, SUPPORTS, ladder

from railmodel.errors import InputError
from railmodel.frame import build_frame
from railmodel.geometry.section import Section
from railmodel.job.mass import GRAVITY
from railmodel.job.reader import read_job
from railmodel.loading.beams import YOUNG
from railmodel.loading.carry import FINE, Screening, carry
from railmodel.loading.skeleton import Mesh
from railmodel.loading.weigh import weigh

RAIL = Section(height=100, width=50, wall=4, corner=8)
ON_BED = """\
  payload: [{name: bricks, mass: 1000, on: [rail], x: [500, 2500], height: 600}]
"""


@pytest.fixture(scope="module")
def hauler() -> Screening:
    return carry(build_frame(read_job(HAULER)))


def test_a_bed_between_two_axles_bends_the_rails_as_beams_on_two_supports(tmp_path: Path) -> None:
    """w L^2 / 8 and 5 w L^4 / (384 E I) on each rail (AISC Table 3-23, case 1); crossmembers outside the span."""
    screening = carry(ladder(tmp_path, f"loads:\n{SUPPORTS}{ON_BED}"))
    static = screening.results[0]
    per_rail = 500 * GRAVITY / 2000
    own = RAIL.area * 7.85e-6 * GRAVITY
    moment = per_rail * 2000**2 / 8 + own * 2000**2 / 8 - own * 500**2 / 2
    worst = static.worst
    assert worst.place.label.startswith("rail")
    assert worst.place.at[0] == pytest.approx(1500, abs=200)
    assert worst.stress == pytest.approx(moment / RAIL.elastic_modulus_s, rel=0.02)  # crossmembers weigh a little
    sag = 5 * per_rail * 2000**4 / (384 * YOUNG * RAIL.inertia_s)
    assert static.moved == pytest.approx(sag, rel=0.06)
    assert worst.share == pytest.approx(worst.stress / 355)


def test_supports_carry_all_that_there_is(hauler: Screening) -> None:
    frame = build_frame(read_job(HAULER))
    weight = (weigh(frame).mass + sum(mass for _, mass in hauler.masses)) * GRAVITY
    for result in hauler.results:
        up = sum(reaction.up for reaction in result.reactions)
        times = {"dynamic": 2.5, "pure torsion": 0.0}.get(result.case.name, 1.0)
        # the crossmembers' own weight is of their axis from face to face, not of their coped ends
        assert up == pytest.approx(times * weight, rel=1e-3, abs=1e-6)
        assert result.balance < 1e-5


def test_the_hauler_has_six_cases_its_worst_place_and_its_stiffness(hauler: Screening) -> None:
    names = [result.case.name for result in hauler.results]
    assert names == ["static", "dynamic", "braking", "cornering", "one wheel up", "pure torsion"]
    by_name = {result.case.name: result for result in hauler.results}
    assert by_name["dynamic"].worst.stress == pytest.approx(2.5 * by_name["static"].worst.stress, rel=1e-6)
    for name in ("static", "dynamic", "braking", "pure torsion"):  # the frame and these loads are alike on both sides
        stress = {part.place.label: part.stress for part in by_name[name].parts}
        assert stress["side rail left"] == pytest.approx(stress["side rail right"], rel=1e-5)
    assert hauler.governing.worst.stress == max(result.worst.stress for result in hauler.results)
    assert hauler.between == ("front axle", "rear axle")
    assert hauler.stiffness is not None
    twisted = by_name["pure torsion"]
    assert 200 < hauler.stiffness * radians(1) < 5000
    assert twisted.reactions[0].roll == pytest.approx(1000 * 1355.8179, rel=1e-6)  # 1 ft lb is 1.3558179 N m
    bent = [part for result in hauler.results for part in result.parts if part.place.bend is not None]
    assert bent
    assert all(part.curved is not None and part.curved > 1 for part in bent)
    assert hauler.loose == ()


def test_finer_pieces_change_nothing_that_anybody_would_see(tmp_path: Path, hauler: Screening) -> None:
    shown = hauler.convergence
    assert shown.pieces > shown.coarser
    assert abs(shown.stress) < 0.01
    assert abs(shown.moved) < 0.01
    assert shown.stiffness is not None
    assert abs(shown.stiffness) < 0.01
    finer = carry(build_frame(read_job(HAULER)), Mesh(FINE.turn / 2, FINE.length / 2))
    for ours, theirs in zip(hauler.results, finer.results, strict=True):
        assert ours.worst.stress == pytest.approx(theirs.worst.stress, rel=0.01)


def test_a_section_turned_on_its_side_is_bent_the_other_way(tmp_path: Path) -> None:
    """Roll is followed: the same rails with their top face looking sideways are as strong as a lying section."""
    stress = []
    for name, top in (("upright", "[0, 0, 1]"), ("lying", "[0, 1, 0]")):
        folder = tmp_path / name
        folder.mkdir()
        head = LADDER.replace("[3000, 400, 500]]}", f"[3000, 400, 500]], top: {top}}}")
        head = head.replace("face: bottom}", "face: outboard}") if name == "lying" else head
        head = head[: head.index("crossmembers:")] + "joints: []\n" + head[head.index("fit_points:") :]
        cross = "  - {name: tie NAME, tube: cross, points: [[X, -375, 500], [X, 375, 500]]}\n"
        ties = "".join(cross.replace("NAME", str(x)).replace("X", str(x)) for x in (200, 2800))
        head = head.replace("joints: []\n", ties)
        stress.append(carry(ladder(folder, f"loads:\n{SUPPORTS}{ON_BED}", head)).results[0].worst.stress)
    ratio = RAIL.elastic_modulus_s / RAIL.elastic_modulus_u
    assert stress[1] / stress[0] == pytest.approx(ratio, rel=0.02)


def refused(folder: Path, loads: str, head: str = LADDER) -> tuple[str, ...]:
    with pytest.raises(InputError) as caught:
        carry(ladder(folder, loads, head))
    return caught.value.problems


LOOSE = LADDER[: LADDER.index("crossmembers:")] + LADDER[LADDER.index("fit_points:") :]


@pytest.mark.parametrize(
    ("loads", "head", "words"),
    [
        ("", LADDER, ("loads is missing",)),
        (LOADS, LOOSE, ("nothing joins them", "mechanism")),
        (LOADS.replace("at: [rear foot]", "at: [front foot]"), LADDER, ("at one station", "tip")),
        (LOADS.replace("at: [front foot]", "at: [front foot], x: 500").replace("[rear foot]", "[front foot], x: 2500"),
         LADDER, ("front axle and rear axle, which hold the frame at one place", "fit points of its own")),
        (LOADS.replace("at: [rear foot]", "at: [rare foot]"), LADDER, ("rare foot", 'did you mean "rear foot"?')),
        (LOADS, LADDER.replace("at: [2500, 400, 400]", "at: [9500, 400, 400]"),
         ('supports "rear axle": found "rear foot"', "misses rail right by 6500.0 mm", "within 150.0 mm", "move")),
        (LOADS, LADDER.replace("at: [2500, 400, 400]", "at: [2500, 400, -4000]"),
         ("misses rail right by 4400.0 mm", "move the fit point or the tube")),
        (LOADS, LADDER.replace("rear foot, at: [2500, 400, 400], to: {part: rail, face: bottom",
                               "rear foot, at: [2500, 400, 400], to: {part: rail, face: top"),
         ("misses rail right by 200.0 mm",)),
        (LOADS.replace("[1500, 400, 550]", "[1500, 400, 900]"), LADDER, ("no tube", "rail right", "350.0 mm away")),
        (LOADS.replace("[[1500, 400, 550], [1500, -400, 550]]", "[bumper]"), LADDER, ("bumper", "front cross")),
        (LOADS.replace("[1500, -400, 550]]", "rail]"), LADDER, ("places and whole parts together",)),
        (f"loads:\n{SUPPORTS}{ON_BED}".replace("x: [500, 2500]", "x: [4000, 5000]"), LADDER,
         ("runs from X 0.0 mm to 3000.0 mm", "4000.0 mm and 5000.0 mm")),
        (f"{LOADS}  cases: {{torsion: 500 N m}}\n",
         LADDER.replace("gap: {want: 50, within: 1}}\n  -", "gap: {want: 50, within: 1}, hand: right}\n  -"),
         ("only rear axle holds both sides",)),
    ],
)  # fmt: skip
def test_what_cannot_be_carried_is_named_and_nothing_is_guessed(
    tmp_path: Path, loads: str, head: str, words: tuple[str, ...]
) -> None:
    problems = refused(tmp_path, loads, head)
    assert len(problems) == 1
    for word in words:
        assert word in problems[0]


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("mass: 200", "mass: -200", ("mass: found -200", "a mass above 0")),
        ("mass: 200", "mass: 200 stone", ('found "200 stone"', "120 kg or 265 lb")),
        ("mass: 200", "mass: 0", ("found 0",)),
        ("mass: 200", "mess: 200", ("mess", "mass")),
        ("ground: 0", "ground: 0\n  cases: {dynamic: 0.5}", ("found 0.5", "1 or more")),
        ("ground: 0", "cases: {braking: 0.8}", ("braking without ground",)),
        ("ground: 0", "cases: {torsion: 500}", ("found 500", "with its unit")),
        ("ground: 0", "cases: {one_wheel_up: middle axle}", ('one_wheel_up "middle axle"', "front axle, rear axle")),
        ("track: 1600}\n    - ", "}\n    - ", ("track",)),
        ("track: 1600}\n    - ", "track: 1600, ball: 450}\n    - ", ("found track and ball together",)),
        (", track: 1600}\n    - ", ", ball: -450}\n    - ", ("-450 mm above ground", "up to 2000")),
        (", track: 1600}\n    - ", ", ball: 90000}\n    - ", ("90000 mm above ground",)),
        ("ground: 0", "ground: 0\n  cases: {torsion: 999999999 N m}", ("at most 1000000 N m", "check the unit")),
        (
            "masses:",
            "payload: [{mass: 9, on: [rail], x: [100, 100.5], height: 5}]\n  masses:",
            ("stations 0.5 mm apart", "more than 1 mm"),
        ),
    ],
)
def test_loads_that_are_not_valid_are_named_with_their_place(
    tmp_path: Path, old: str, new: str, words: tuple[str, ...]
) -> None:
    lifted = "track" in old and "ball" not in new
    loads = LOADS.replace("ground: 0", "ground: 0\n  cases: {one_wheel_up: front axle}") if lifted else LOADS
    assert old in loads
    problems = refused(tmp_path, loads.replace(old, new, 1))
    for word in words:
        assert word in " ".join(problems)
    assert problems[0].startswith("job.yaml:")


def test_tubes_joined_to_nothing_are_left_out_and_named(tmp_path: Path) -> None:
    spare = "  - {name: spare, tube: cross, points: [[0, 0, 2000], [900, 0, 2000]]}\ncrossmembers:"
    screening = carry(ladder(tmp_path, LOADS, LADDER.replace("crossmembers:", spare)))
    assert screening.loose == ("spare",)
    assert all(np.isfinite(part.stress) for part in screening.results[0].parts)


def test_a_tube_of_no_known_grade_has_no_share_of_yield(tmp_path: Path) -> None:
    screening = carry(ladder(tmp_path, LOADS, LADDER.replace(", grade: S355", "")))
    rails = [part for part in screening.results[0].parts if part.place.label.startswith("rail")]
    assert [part.share for part in rails] == [None, None]


def test_a_tube_of_no_known_grade_is_not_hidden_behind_one_whose_grade_is_known(tmp_path: Path) -> None:
    """The crossmember takes the load and is far thinner; only the rails have a grade."""
    head = LADDER.replace(", grade: S235", "")
    loads = LOADS.replace("on: [[1500, 400, 550], [1500, -400, 550]]", "on: [front cross, rear cross]")
    screening = carry(ladder(tmp_path, loads, head))
    assert screening.unjudged is not None
    result, part = screening.unjudged
    assert (result.case.name, part.share) == ("static", None)
    assert part.place.label.endswith(" cross")
    assert part.stress > screening.governing.worst.stress
    assert carry(ladder(tmp_path, loads)).unjudged is None
    assert carry(ladder(tmp_path, LOADS, head)).unjudged is None  # here the rails have more


def test_a_tube_that_stands_against_another_holds_as_a_crossmember_does(tmp_path: Path) -> None:
    """The same two tubes as parts whose ends touch the rails' inner faces; nothing else says that they are joined."""
    stiff = []
    cross = "  - {name: tie X, tube: cross, points: [[X, -375, 500], [X, 375, 500]]}\n"
    begin, end = LADDER.index("crossmembers:"), LADDER.index("fit_points:")
    touching = LADDER[:begin] + "".join(cross.replace("X", x) for x in ("200", "2800")) + LADDER[end:]
    for name, head in (("members", LADDER), ("touching", touching)):
        (tmp_path / name).mkdir()
        screening = carry(ladder(tmp_path / name, LOADS, head))
        assert screening.stiffness is not None
        assert screening.loose == ()
        stiff.append(screening.stiffness)
    assert stiff[1] == pytest.approx(stiff[0], rel=1e-6)


def test_a_load_to_one_side_works_that_side_harder(tmp_path: Path) -> None:
    aside = LOADS.replace("at: [1500, 0, 600]", "at: [1500, 200, 600]")
    (static,) = carry(ladder(tmp_path, aside)).results
    stress = {part.place.label: part.stress for part in static.parts}
    assert stress["rail right"] > 1.5 * stress["rail left"]
    assert sum(reaction.roll for reaction in static.reactions) == pytest.approx(200 * GRAVITY * 200, rel=1e-9)


def test_one_tube_held_on_both_its_sides_is_screened_as_a_beam(tmp_path: Path) -> None:
    """P L / 4 of a load in the middle, and its own w L^2 / 8 (AISC Table 3-23, cases 7 and 1)."""
    head = """\
job: One
units: mm
tubes: {main: {height: 100, width: 50, wall: 4, corner: 8, grade: S355}}
parts: [{name: beam, tube: main, points: [[0, 0, 500], [2000, 0, 500]]}]
fit_points:
  - {name: front right, at: [0, 50, 500], to: {part: beam, face: right}, gap: {want: 25, within: 1}}
  - {name: front left, at: [0, -50, 500], to: {part: beam, face: left}, gap: {want: 25, within: 1}}
  - {name: rear, at: [2000, 0, 400], to: {part: beam, face: bottom}, gap: {want: 50, within: 1}}
loads:
  supports: [{name: front, at: [front right, front left]}, {name: rear, at: [rear]}]
"""
    screening = carry(
        ladder(tmp_path, "  masses: [{name: box, mass: 100, at: [1000, 0, 700], on: [[1000, 0, 550]]}]\n", head)
    )
    static = screening.results[0]
    own = RAIL.area * 7.85e-6 * GRAVITY
    moment = 100 * GRAVITY * 2000 / 4 + own * 2000**2 / 8
    assert static.worst.stress == pytest.approx(moment / RAIL.elastic_modulus_s, rel=2e-3)  # and a little shear
    assert static.worst.place.at[0] == pytest.approx(1000)
    assert screening.stiffness is None
    sag = 100 * GRAVITY * 2000**3 / 48 + 5 * own * 2000**4 / 384
    assert static.moved == pytest.approx(sag / (YOUNG * RAIL.inertia_s), rel=1e-3)
    assert static.balance < 1e-5
