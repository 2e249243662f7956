"""Loads shared out and supports' answers: the sums come out, whatever the places."""

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from railmodel.geometry.rows import Array
from railmodel.loading.statics import Reaction, Rest, held_down, reactions, shared, twisting, wrench

NUMBER = st.floats(-1000, 1000)
PLACES = st.lists(st.tuples(NUMBER, NUMBER, NUMBER), min_size=1, max_size=6)


def axle(x: float, track: float | None = 1600.0, name: str = "axle") -> Rest:
    return Rest(name, x, np.array([[x, -400.0, 400.0], [x, 400.0, 400.0]]), track)


def on_frame(found: list[Reaction], ground: float = 0.0) -> Array:
    total = np.zeros(6)
    for reaction in found:
        pushes = reaction.on_frame(ground)
        for place, push in zip(reaction.rest.places, pushes, strict=True):
            total += wrench(push[:3], place, push[3:])
    return total


@given(PLACES, st.tuples(*[NUMBER] * 6), st.integers(0, 9))
def test_shares_add_up_to_the_whole(places: list[tuple[float, ...]], total: tuple[float, ...], seed: int) -> None:
    at = np.array(places)
    weights = np.random.default_rng(seed).uniform(0.2, 2.0, len(at))
    found = shared(np.array(total) * [1, 1, 1, 1000, 1000, 1000], at, weights)
    again = sum(wrench(push[:3], place, push[3:]) for place, push in zip(at, found, strict=True))
    np.testing.assert_allclose(again, np.array(total) * [1, 1, 1, 1000, 1000, 1000], rtol=1e-7, atol=1e-2)


def test_places_on_one_spot_take_a_moment_as_moments() -> None:
    found = shared(np.array([0.0, 0, -50, 0, 1000, 0]), np.array([[0.0, 0, 0.99999], [0.0, 0, 0.99999]]))
    np.testing.assert_allclose(found.sum(axis=0), [0, 0, -50, 0, 1000, 0], atol=1e-9)
    assert np.abs(found[:, :3]).max() <= 25.0


def test_a_load_between_two_places_is_shared_by_the_lever() -> None:
    found = shared(wrench([0, 0, -100.0], [250.0, 0, 0]), np.array([[0.0, 0, 0], [1000.0, 0, 0]]))
    np.testing.assert_allclose(found[:, 2], [-75.0, -25.0], atol=1e-9)
    np.testing.assert_allclose(found[:, 3:], 0.0, atol=1e-6)


@given(st.tuples(*[NUMBER] * 3), st.tuples(NUMBER, NUMBER, st.floats(100, 1500)), st.floats(-500, 500))
def test_supports_balance_any_load(force: tuple[float, ...], at: tuple[float, ...], ground: float) -> None:
    load = wrench(force, at)
    found = reactions(load, [axle(0.0), axle(2500.0)], ground)
    np.testing.assert_allclose(on_frame(found, ground), -load, atol=1e-5)


@given(
    st.tuples(*[NUMBER] * 3), st.tuples(NUMBER, NUMBER, st.floats(100, 1500)), st.floats(-500, 500), st.floats(0, 900)
)
@example((1.0, 0.0, -1.5e-148), (0.0, 0.0, 100.0), 100.0, 0.0)
def test_a_ball_and_axles_balance_any_load_and_the_ball_takes_no_roll(
    force: tuple[float, ...], at: tuple[float, ...], ground: float, ball: float
) -> None:
    load = wrench(force, at)
    coupling = Rest("ball", -1000.0, np.array([[-800.0, -60.0, 500.0], [-800.0, 60.0, 500.0]]), None, ball)
    found = reactions(load, [coupling, axle(1500.0), axle(2200.0)], ground)
    np.testing.assert_allclose(on_frame(found, ground), -load, atol=1e-5)
    assert not coupling.wide
    assert found[0].roll == 0.0


@pytest.mark.parametrize("weight", [0.0, 1e-148, 5e-324])
def test_braking_without_weight_is_shared_alike(weight: float) -> None:
    coupling = Rest("ball", -1000.0, np.array([[-800.0, 0.0, 500.0]]), None, 450.0)
    load = wrench([-60.0, 0, -weight], [500.0, 0, 450.0])
    found = reactions(load, [coupling, axle(1500.0), axle(2200.0)], 450.0)
    assert [one.along for one in found] == pytest.approx([20.0] * 3)
    np.testing.assert_allclose(on_frame(found, 450.0), -load, atol=1e-6)


def test_a_trailer_that_brakes_presses_its_ball_down_as_moments_have_it() -> None:
    """Moments about the axle's foot: V L = W (L - x) + a (W h - V b), the ball braking with the share it carries."""
    weight, height, at, base, ball, brake = 8000.0, 900.0, 2300.0, 2600.0, 450.0, 0.5
    rests = [Rest("ball", 0.0, np.array([[100.0, 0.0, 450.0]]), None, ball), axle(base)]
    found = reactions(wrench([-brake * weight, 0, -weight], [at, 0, height]), rests, 0.0)
    down = weight * (base - at + brake * height) / (base + brake * ball)
    assert found[0].up == pytest.approx(down, rel=1e-9)
    assert found[0].along == pytest.approx(brake * down, rel=1e-9)
    turned = reactions(wrench([0, 0.4 * weight, -weight], [at, 0, height]), rests, 0.0)
    side = 0.4 * weight * (base - at) / base  # what the ball holds across, at its own height
    assert turned[0].across == pytest.approx(-side)
    assert turned[1].roll == pytest.approx(0.4 * weight * height - side * ball)


def test_a_wagon_brakes_and_turns_as_the_textbook_has_it() -> None:
    """Moments about the other axle; braking moves m a h / wheelbase to the front (any text on vehicle dynamics)."""
    weight, height, middle, base = 20_000.0, 700.0, 1000.0, 2500.0
    still = reactions(wrench([0, 0, -weight], [middle, 0, height]), [axle(0.0), axle(base)], 0.0)
    assert still[0].up == pytest.approx(weight * (base - middle) / base)
    braked = reactions(wrench([-0.5 * weight, 0, -weight], [middle, 0, height]), [axle(0.0), axle(base)], 0.0)
    moved = 0.5 * weight * height / base
    assert braked[0].up == pytest.approx(still[0].up + moved)
    assert sum(one.along for one in braked) == pytest.approx(0.5 * weight)
    assert braked[0].along / braked[1].along == pytest.approx(braked[0].up / braked[1].up)
    turned = reactions(wrench([0, 0.5 * weight, -weight], [middle, 0, height]), [axle(0.0), axle(base)], 0.0)
    assert sum(one.roll for one in turned) == pytest.approx(0.5 * weight * height)
    assert sum(one.across for one in turned) == pytest.approx(-0.5 * weight)


def test_one_wheel_up_puts_the_lighter_axles_load_on_one_wheel() -> None:
    load = wrench([0, 0, -3000.0], [500.0, 0, 700.0])
    found = reactions(load, [axle(0.0, name="front"), axle(1500.0, name="rear")], 0.0, "front")
    light = min(one.up for one in found)  # the rear one, 1000 N: its left wheel hangs first
    assert light == pytest.approx(1000.0)
    assert found[0].roll == pytest.approx(light * 800.0)
    assert found[1].roll == pytest.approx(-light * 800.0)
    np.testing.assert_allclose(on_frame(found), -load, atol=1e-6)


def test_a_torque_is_taken_out_where_it_is_not_put_in() -> None:
    np.testing.assert_allclose(on_frame(twisting(5e5, [axle(0.0), axle(1000.0), axle(2500.0)])), 0.0, atol=1e-6)


def test_what_only_pushes_and_is_asked_to_pull_is_named() -> None:
    """By hand: 1 kN at one and a half times the wheelbase lifts the front with half of it.

    1 kN midway, 1.2 m aside on a track of 1.6 m: each axle takes 500 N and 600 N m, its left wheel 250 - 375 N.
    """
    front, rear = axle(0.0, name="front"), axle(2000.0, name="rear")
    down = np.array([0.0, 0.0, -1000.0])
    lifted, pressed = reactions(wrench(down, [3000.0, 0.0, 0.0]), (front, rear), 0.0)
    assert held_down(lifted) == (("", pytest.approx(500)),)
    assert held_down(pressed) == ()
    for reaction in reactions(wrench(down, [1000.0, 1200.0, 0.0]), (front, rear), 0.0):
        assert held_down(reaction) == (("left wheel", pytest.approx(125)),)
    for reaction in reactions(wrench(down, [1000.0, 0.0, 0.0]), (front, rear), 0.0, lift="front"):
        assert held_down(reaction) == ()  # its wheel hangs and pulls nothing
