"""What a correction does to the next piece: an error of the settings is cut, chance alone is not made worse."""

import os
from dataclasses import replace

import numpy as np
import pytest
from measured_rails import drawn, frame_rail, read

from railmodel.as_bent.choose import candidates
from railmodel.as_bent.correct import HALF, LEAVE, NextPiece, next_piece, step_for, steps_for
from railmodel.as_bent.estimate import Solution, sift
from railmodel.as_bent.rail import Rail
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


def corrected(rail: Rail, solution: Solution) -> tuple[NextPiece, Array]:
    """The corrections, and what they do to the bend table."""
    n, columns = rail.columns.bends, rail.columns
    tooling = [Tooling(None, BACK, TubeUse(stretch=float(k))) for k in rail.stretch]
    marks = mark_out(rail.reading, tooling, angle_step=0.0, trim_step=1.0)
    was = np.array([one.set_angle for one in marks.bends])
    found = next_piece(solution, rail, marks, [BACK] * n, ["one die"] * n, was, 0.0)
    change = np.zeros(columns.count)
    change[columns.block("angle")] = [BACK.finished(b.set_now) - BACK.finished(b.set_was) for b in found.bends]
    change[columns.block("distance")] = [b.mark_now - b.mark_was for b in found.bends]
    change[columns.tail] = found.cut_now - found.cut_was
    return found, change


def axle(rail: Rail, off: Array) -> Array:
    """How far the place of the axle, on the last straight, came out, laid on the leading end."""
    spot = [Spot("rear axle", Place(2 * rail.columns.bends, 0.6))]
    return np.asarray(where(rail.line(off), spot)[0] - where(rail.reading.line, spot)[0])


def second_pieces(size: float, seed: int) -> tuple[float, float, float]:
    """Root mean square at the axle of second pieces as set before, as corrected, and of chance alone."""
    rng = np.random.default_rng(seed)
    plain, better, chance = [], [], []
    for _ in range(PIECES):
        rail = frame_rail(rng, 4)
        wrong = np.zeros(rail.columns.count)
        for field in ("angle", "distance"):
            block = rail.columns.block(field)  # type: ignore[arg-type]
            wrong[block] = size * rail.spread[block] * rng.normal(size=4)
        things = tuple(one for one in candidates(rail) if one.kind in ("angle", "straight"))
        first = read(rail, wrong + drawn(rail, rng), things, rng)
        change = corrected(rail, sift(rail, first, never).solution)[1]
        drew = drawn(rail, rng)
        for again in (drew, -drew):  # as likely one as the other
            plain.append(axle(rail, wrong + again))
            better.append(axle(rail, wrong + again + change))
            chance.append(axle(rail, again))
    return tuple(float(np.sqrt(np.mean(np.square(one)))) for one in (plain, better, chance))  # type: ignore[return-value]


def test_an_error_of_the_settings_is_cut_by_five_or_more() -> None:
    before, after, chance = second_pieces(14.0, 41)
    assert before >= 10 * chance
    assert before >= 5 * after


def test_chance_alone_is_made_worse_by_a_twentieth_at_most() -> None:
    before, after, chance = second_pieces(0.0, 42)
    assert before == chance
    assert after <= 1.05 * before


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
