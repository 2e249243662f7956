"""The shop's spread: what test bends and shop file tell, where it says it is from, and what each cause moves."""

from math import inf, radians, sqrt
from pathlib import Path

import numpy as np
import pytest
from sure_jobs import BENDS, LADDER, TESTED, pair_frame

from railmodel.bending.work import shop_work
from railmodel.errors import InputError
from railmodel.frame import Frame
from railmodel.sureness.screws import Columns
from railmodel.sureness.sensitivity import sensitivity
from railmodel.sureness.spread import Hands, Sigma, Spread, spread_of
from railmodel.sureness.stack import stack
from railmodel.sureness.what_if import what_ifs

ROWS = ((300.0, 0.0, 20.0, 200.0), (300.0, 180.0, 30.0, 200.0))


def calibrated(folder: Path, shop: str = TESTED, rows: tuple[tuple[float, float, float, float], ...] = ROWS) -> Frame:
    (folder / "bends.csv").write_text(BENDS)
    return pair_frame(folder, rows, 700.0, 4, shop=shop)


def spread(frame: Frame, hands: Hands = "together", held: bool = False) -> Spread:
    found = sensitivity(frame, working="straights held" if held else "marks fixed")
    return spread_of(frame, found.bent, found.working, hands=hands)


def test_test_bends_go_before_the_shops_own_setting(tmp_path: Path) -> None:
    frame = calibrated(tmp_path, TESTED.replace("distance: 0.5", "distance: 0.5, angle: 2"))
    (tool,) = shop_work(frame).tools
    found = spread(frame)
    angles = [cause for cause in found.causes if cause.field == "angle" and cause.bend is not None]
    assert len(angles) == 4  # two bends, two hands
    for cause in angles:
        assert cause.sigma.value == pytest.approx(tool.springback.scatter / (1 + tool.springback.proportional))
        assert cause.sigma.dof == tool.springback.dof
        assert cause.sigma.source == "5 test bends"
    assert any(source.startswith("angle, die hard 200 on main: ") and "5 test bends" in source for source in
               found.sources)  # fmt: skip
    assert any("mark: 0.5 mm, the shop's own setting, not measured" in source for source in found.sources)
    assert any(source.startswith("roll, radius: not known") for source in found.sources)


def test_what_is_not_known_of_the_line_is_its_covariance(tmp_path: Path) -> None:
    frame = calibrated(tmp_path)
    (tool,) = shop_work(frame).tools
    columns, line = Columns(2), tool.springback
    causes = [cause for cause in spread(frame).causes if cause.common and cause.field == "angle"]
    for bend, angle in ((1, radians(20)), (2, radians(30))):
        moves = [dict(cause.hits["rail right"])[columns.of("angle", bend)] for cause in causes]
        assert sqrt(sum(move**2 for move in moves)) == pytest.approx(line.error(angle) / (1 + line.proportional))
    use = [cause for cause in spread(frame).causes if cause.common and cause.field == "tube use"]
    assert use[0].sigma.value == tool.tube_use.error
    assert dict(use[0].hits["rail left"])[columns.of("tube use", 2)] == pytest.approx(-200 * radians(30))


def test_a_shop_that_holds_its_straights_has_no_tube_use(tmp_path: Path) -> None:
    frame = calibrated(tmp_path)
    assert "tube use" in {cause.field for cause in spread(frame).causes}
    assert "tube use" not in {cause.field for cause in spread(frame, held=True).causes}


def test_without_test_bends_the_setting_is_taken_and_said(tmp_path: Path) -> None:
    frame = calibrated(tmp_path, TESTED.replace("distance: 0.5", "angle: 0.4").replace("test_bends: bends.csv\n", ""))
    found = spread(frame)
    assert {cause.sigma.dof for cause in found.causes} == {inf}
    assert found.sources[0] == (
        "angle, die hard 200 on main: 0.40 degrees, the shop's own setting, not measured; no test bends tell"
    )


def test_hands_apart_have_a_line_each(tmp_path: Path) -> None:
    causes = spread(calibrated(tmp_path), "apart").causes
    owners = {cause.owner: set(cause.hits) for cause in causes if cause.common and cause.field == "angle"}
    assert owners == {
        "springback of die hard 200 on main (right hand)": {"rail right"},
        "springback of die hard 200 on main (left hand)": {"rail left"},
    }


@pytest.mark.parametrize("shop", ["shop: Bare shop\nunits: mm\n", "shop: Zero shop\nunits: mm\nspread: {angle: 0}\n"])
def test_no_spread_anywhere_is_one_sentence(tmp_path: Path, shop: str) -> None:
    with pytest.raises(InputError, match=r"shop\.yaml: how far off bends come out is not known") as caught:
        spread(pair_frame(tmp_path, LADDER[:2], shop=shop, count=2))
    assert len(caught.value.problems) == 1


def test_what_inspection_records_tell_goes_before_the_shop_file(tmp_path: Path) -> None:
    frame = calibrated(tmp_path)
    found = sensitivity(frame)
    own = Sigma(value=0.9, dof=11, source="6 inspection records")
    causes = spread_of(frame, found.bent, found.working, recorded={"distance": own}).causes
    assert {cause.sigma for cause in causes if cause.field == "distance"} == {own}


def test_few_measurements_are_a_wider_spread() -> None:
    assert Sigma(value=2.0, source="").predictive == 2.0
    assert Sigma(value=2.0, dof=6, source="").predictive == pytest.approx(2 * sqrt(6 / 4))
    with pytest.raises(ValueError, match="more than 2"):
        Sigma(value=2.0, dof=2, source="")


def test_shares_of_the_spread_add_up_to_all_of_it(tmp_path: Path) -> None:
    frame = calibrated(tmp_path)
    found = sensitivity(frame)
    effects = stack(found.measures, spread(frame).causes)
    rows = [row for row in range(len(found.measures)) if effects.spread[row] > 1e-6]
    for row in rows:
        shares = effects.shares([row], lambda cause: cause.owner)
        assert sum(shares.values()) == pytest.approx(1.0)
        assert list(shares.values()) == sorted(shares.values(), reverse=True)
    assert (effects.worst(1.0)[rows] >= effects.spread[rows]).all()


def test_halving_the_only_tolerance_that_matters_buys_the_most(tmp_path: Path) -> None:
    from railmodel.sureness.sample import chances

    shop = "shop: Test shop\nunits: mm\nspread: {angle: 0.2, distance: 0.001, radius: 0.001}\n"
    frame = pair_frame(tmp_path, [(250.0, 0.0, 15.0, 200.0)], tail=1500.0, count=6, shop=shop, within=0.8)
    found = sensitivity(frame)
    done = chances(found, spread_of(frame, found.bent, found.working), samples=20_000)
    answers = what_ifs(done, {label: one.part.name for label, one in found.bent.items()})
    best = answers[0]
    assert best.field == "angle"
    assert best.after > best.before + 0.05
    assert best.before == pytest.approx(done.wholes["everything"].value, abs=0.02)
    # a shop with half the spread has the chance that was foretold
    half = pair_frame(tmp_path, [(250.0, 0.0, 15.0, 200.0)], tail=1500.0, count=6, within=0.8,
                      shop=shop.replace("0.2", "0.1"))  # fmt: skip
    again = sensitivity(half)
    halved = chances(again, spread_of(half, again.bent, again.working), samples=20_000)
    assert best.after == pytest.approx(halved.wholes["everything"].value, abs=0.02)
    for one in answers:
        assert one.after >= one.before - 0.01  # halving never hurts but for the luck of the draw
    assert np.allclose([one.before for one in answers], best.before)
