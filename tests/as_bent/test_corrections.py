"""What a correction does to the next piece: an error of the settings is cut, chance alone is not made worse."""

import os
from dataclasses import replace

import numpy as np
import pytest
from measured_rails import drawn, frame_rail, read

from railmodel.as_bent.choose import candidates
from railmodel.as_bent.correct import HALF, LEAVE, Errors, NextPiece, next_piece, step_for, steps_for
from railmodel.as_bent.estimate import Sifted, Solution, sift
from railmodel.as_bent.rail import Rail
from railmodel.as_bent.several import Told, together
from railmodel.as_bent.spots import Spot, where
from railmodel.bending.mark_out import Tooling, mark_out
from railmodel.bending.springback import Springback
from railmodel.bending.tube_use import TubeUse
from railmodel.geometry.rows import Array
from railmodel.sureness.screws import Place

PIECES = 200 if os.environ.get("CI") == "true" else 40
BACK = Springback(fixed=0.02, proportional=0.012, kind="fit", source="6 test bends")


def never(*_: object) -> bool:
    return False


def corrected(rail: Rail, *solutions: Solution) -> tuple[NextPiece, Array]:
    """The corrections from one piece or several, and what they do to the bend table."""
    n, columns = rail.columns.bends, rail.columns
    tooling = [Tooling(None, BACK, TubeUse(stretch=float(k))) for k in rail.stretch]
    marks = mark_out(rail.reading, tooling, angle_step=0.0, trim_step=1.0)
    was = np.array([one.set_angle for one in marks.bends])
    errors = Errors.of_one(solutions[0], rail) if len(solutions) == 1 else together([
        Told(Sifted(one, (), ()), rail, np.zeros(columns.count), False) for one in solutions
    ])  # fmt: skip
    found = next_piece(errors, rail, marks, [BACK] * n, ["one die"] * n, was, 0.0)
    change = np.zeros(columns.count)
    change[columns.block("angle")] = [BACK.finished(b.set_now) - BACK.finished(b.set_was) for b in found.bends]
    change[columns.block("distance")] = [b.mark_now - b.mark_was for b in found.bends]
    change[columns.tail] = found.cut_now - found.cut_was
    return found, change


def axle(rail: Rail, off: Array) -> Array:
    """How far the place of the axle, on the last straight, came out, laid on the leading end."""
    spot = [Spot("rear axle", Place(2 * rail.columns.bends, 0.6))]
    return np.asarray(where(rail.line(off), spot)[0] - where(rail.reading.line, spot)[0])


def next_pieces(size: float, seed: int, measured: tuple[int, ...] = (1,)) -> list[float]:
    """Root mean square at the axle of next pieces as set before, of chance alone, and as corrected from so many pieces.

    The settings are off by `size` times the spread; what each number of pieces leads to is held against the same draws.
    """
    rng = np.random.default_rng(seed)
    plain, chance, better = [], [], [list[Array]() for _ in measured]
    for _ in range(PIECES):
        rail = frame_rail(rng, 4)
        wrong = np.zeros(rail.columns.count)
        for field in ("angle", "distance"):
            block = rail.columns.block(field)  # type: ignore[arg-type]
            wrong[block] = size * rail.spread[block] * rng.normal(size=4)
        things = tuple(one for one in candidates(rail) if one.kind in ("angle", "straight"))
        told = [
            sift(rail, read(rail, wrong + drawn(rail, rng), things, rng), never).solution for _ in range(max(measured))
        ]
        changes = [corrected(rail, *told[:count])[1] for count in measured]
        drew = drawn(rail, rng)
        for again in (drew, -drew):  # as likely one as the other
            plain.append(axle(rail, wrong + again))
            chance.append(axle(rail, again))
            for found, change in zip(better, changes, strict=True):
                found.append(axle(rail, wrong + again + change))
    return [float(np.sqrt(np.mean(np.square(one)))) for one in (plain, chance, *better)]


def test_an_error_of_the_settings_is_cut_by_five_or_more() -> None:
    before, chance, after = next_pieces(14.0, 41)
    assert before >= 10 * chance
    assert before >= 5 * after


def test_two_pieces_cut_an_error_of_the_settings_by_five_or_more_as_well() -> None:
    before, chance, one, two = next_pieces(14.0, 41, (1, 2))
    assert before >= 10 * chance
    assert before >= 5 * two
    assert two <= 1.01 * one


def test_chance_alone_is_made_worse_by_a_twentieth_at_most() -> None:
    before, chance, after = next_pieces(0.0, 42)
    assert before == chance
    assert after <= 1.05 * before


@pytest.mark.parametrize("size", [0.0, 0.7, 1.5])
def test_the_more_pieces_are_measured_the_nearer_the_next_one_comes(size: float) -> None:
    """Whatever the settings are off by; chance alone is made worse by less than one piece may make it."""
    before, chance, one, two, three = next_pieces(size, 51, (1, 2, 3))
    assert two <= 1.01 * one  # the draws are few: a hundredth is what they leave in doubt
    assert three <= 1.01 * two
    if size == 0:
        assert before == chance
        assert two <= 1.04 * before
    if size >= 1.5:
        assert two < 0.95 * one


@pytest.mark.parametrize("pieces", [2, 3, 5])
def test_more_pieces_are_never_worse_than_one_whatever_the_settings_are_off_by(pieces: int) -> None:
    """Exactly, over the normal distribution: mean squares of what the rule leaves, with the chance of the next piece,
    for errors from nothing to eight standard deviations."""
    z = np.linspace(-9, 9, 4001)
    weights = np.exp(-(z**2) / 2)
    weights /= weights.sum()

    def left(error: float, sigma: float) -> float:
        shares = {"leave": 0.0, "half": 0.5, "all": 1.0}
        seen = error + sigma * z
        taken = np.array([shares[step_for(float(one), sigma)] for one in seen]) * seen
        return float(1 + weights @ (error - taken) ** 2)

    for error in np.linspace(0, 8, 33).tolist():
        assert left(error, pieces**-0.5) < left(error, 1.0)


def test_what_pieces_scatter_is_told_from_what_they_have_in_common() -> None:
    """Pieces all off alike show a scatter below the shop's spread; pieces off in turn this way and that show none in
    common, and nothing is corrected."""
    rail = frame_rail(np.random.default_rng(52), 4)
    things = tuple(one for one in candidates(rail) if one.kind in ("angle", "straight"))
    angle = rail.columns.block("angle")
    off = np.zeros(rail.columns.count)
    off[angle] = 3 * rail.spread[angle]
    told = {sign: sift(rail, read(rail, sign * off, things, None), never).solution for sign in (1, -1)}
    alike, _ = corrected(rail, *[told[1]] * 4)
    by_field = {one.field: one for one in alike.scatter}
    assert by_field["angle"].sigma < 0.8 * by_field["angle"].usual
    assert [bend.taken_off for bend in alike.bends] == pytest.approx(off[angle], rel=0.02)
    apart, _ = corrected(rail, told[1], told[-1], told[1], told[-1])
    by_field = {one.field: one for one in apart.scatter}
    assert by_field["angle"].sigma > 1.5 * by_field["angle"].usual
    assert apart.nothing
    assert apart.pieces == 4


def test_a_value_far_off_in_one_piece_only_is_no_error_of_the_settings() -> None:
    rng = np.random.default_rng(53)
    rail = frame_rail(rng, 4)
    things = tuple(one for one in candidates(rail) if one.kind in ("angle", "straight", "distance"))
    off = np.zeros(rail.columns.count)
    off[rail.columns.of("angle", 2)] = 9 * rail.spread[rail.columns.of("angle", 2)]
    pieces = [sift(rail, read(rail, own, things, rng), never) for own in (off, 0 * off, 0 * off)]
    assert pieces[0].off_plan == (rail.columns.of("angle", 2),)
    found = together([Told(one, rail, 0 * off, False) for one in pieces])
    assert abs(found.off[rail.columns.of("angle", 2)]) < rail.spread[rail.columns.of("angle", 2)]


def test_pieces_that_were_set_differently_are_held_against_one_setting() -> None:
    """The second was set to what corrects the first: both say the same of the settings, whichever is last."""
    rail = frame_rail(np.random.default_rng(54), 4)
    things = tuple(one for one in candidates(rail) if one.kind in ("angle", "straight"))
    angle = rail.columns.block("angle")
    off = np.zeros(rail.columns.count)
    off[angle] = 6 * rail.spread[angle]
    first, second = (sift(rail, read(rail, own, things, None), never) for own in (off, 0 * off))
    found = together([Told(first, rail, off, False), Told(second, rail, 0 * off, False)])
    assert found.off[angle] == pytest.approx(0, abs=0.1 * rail.spread[angle].min())
    found = together([Told(first, rail, 0 * off, False), Told(second, rail, -off, False)])
    assert found.off[angle] == pytest.approx(off[angle], rel=0.02)


def test_the_other_hand_tells_of_angles_and_not_of_planes() -> None:
    rail = frame_rail(np.random.default_rng(55), 4)
    things = tuple(one for one in candidates(rail) if one.kind in ("angle", "straight"))
    plain = candidates(rail)[0]
    turns = tuple(replace(plain, kind="turn", index=i, sigma=1e-3) for i in range(4))
    angle, roll = rail.columns.block("angle"), rail.columns.block("roll")
    off = np.zeros(rail.columns.count)
    off[angle], off[roll] = 3 * rail.spread[angle], 3 * rail.spread[roll]
    own = sift(rail, read(rail, 0 * off, (*things, *turns), None), never)
    other = sift(rail, read(rail, off, (*things, *turns), None), never)
    found = together([Told(own, rail, 0 * off, False), Told(other, rail, 0 * off, True)])
    assert found.off[angle] == pytest.approx(off[angle] / 2, rel=0.1)
    assert found.off[roll] == pytest.approx(0, abs=0.02 * rail.spread[roll].min())


def test_the_steps_are_what_the_normal_distribution_says_of_chance() -> None:
    """Left alone to two standard deviations, half to four, all beyond: the mean square grows by 6.6 % (worked out from
    the normal distribution's incomplete second moments), the root by 3.2 %."""
    errors = np.random.default_rng(43).normal(size=200_000)
    share = {"leave": 0.0, "half": 0.5, "all": 1.0}
    taken = np.array([share[step_for(float(one), 1.0)] * one for one in errors])
    assert np.mean(taken**2) == pytest.approx(0.0660, abs=0.003)
    assert (LEAVE, HALF) == (2.0, 4.0)


def test_what_all_bends_of_a_die_have_in_common_shows_where_none_of_them_shows_it_alone() -> None:
    errors, sigmas = np.array([-0.4, -0.45, -0.38, -0.42]), np.full(4, 0.25)
    assert {step_for(float(one), 0.25) for one in errors} == {"leave"}
    taken, common = steps_for(errors, sigmas, ["hard"] * 4)
    assert taken == pytest.approx(common)
    assert common == pytest.approx(np.full(4, errors.mean() / 2))
    taken, _ = steps_for(errors, sigmas, ["a", "b", "c", "d"])
    assert taken == pytest.approx(0)


def test_bends_that_nothing_tells_of_do_not_water_down_what_the_others_have_in_common() -> None:
    """Two of four were measured, both half a degree under: the middle is theirs, and all four are corrected by it."""
    errors, sigmas = np.array([-0.5, -0.55, 0.0, 0.0]), np.array([0.15, 0.15, 0.2, 0.2])
    told = np.array([True, True, False, False])
    taken, common = steps_for(errors, sigmas, ["hard"] * 4, told)
    np.testing.assert_allclose(common, [-0.525] * 4)
    np.testing.assert_allclose(taken, common)
    taken, common = steps_for(errors, sigmas, ["hard", "easy", "hard", "easy"], told)  # one of each: no common part
    np.testing.assert_allclose(common, 0.0)
    np.testing.assert_allclose(taken, [-0.25, -0.275, 0.0, 0.0])


def test_a_straight_that_came_out_long_moves_its_mark_and_all_behind_it() -> None:
    rail = frame_rail(np.random.default_rng(44), 4)
    off = np.zeros(rail.columns.count)
    off[rail.columns.of("tube use", 2)] = -20.0  # straight 2 comes out 20 mm too long
    things = tuple(one for one in candidates(rail) if one.kind in ("angle", "straight"))
    found, change = corrected(rail, sift(rail, read(rail, off, things, None), never).solution)
    moved = [one.mark_now - one.mark_was for one in found.bends]
    assert moved[:2] == pytest.approx([0, 0])
    assert moved[2] == pytest.approx(-20.0, abs=1.0)
    assert [moved[3], found.cut_now - found.cut_was] == pytest.approx([moved[2]] * 2)
    assert rail.rows(off + change).straights == pytest.approx(rail.reading.line.rows.straights, abs=1.0)


def test_a_rolled_plane_gets_a_shim_and_a_twisted_one_none() -> None:
    for rolled, shim in ((1.8, True), (4.5, False)):
        rail = frame_rail(np.random.default_rng(45), 3)
        off = np.zeros(rail.columns.count)
        off[rail.columns.of("roll", 2)] = np.radians(rolled)
        plain = candidates(rail)[0]
        turns = tuple(replace(plain, kind="turn", index=i, sigma=1e-3) for i in range(3))
        found, _ = corrected(rail, sift(rail, read(rail, off, turns, None), never).solution)
        bend = found.bends[1]
        assert np.degrees(bend.roll) == pytest.approx(rolled, abs=0.3)
        assert bend.roll_step != "leave"
        assert bend.turn > 0
        assert (bend.shim is not None) == shim
        if bend.shim is not None:  # its depth in the plane of the bend times the slope
            depth = rail.reading.part.depth_toward(rail.reading.bends[1].toward)
            assert bend.shim == pytest.approx(depth * np.tan(bend.turn))
