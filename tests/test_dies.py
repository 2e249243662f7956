"""Which die bends what: the one named, the one that fits, and the words where none does."""

from collections.abc import Callable
from math import pi, tan

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from railmodel.dies import Chosen, Wanted, choose_dies, takes, why_none
from railmodel.geometry.path import Bend, Offset, Straight, rows_from_moves
from railmodel.geometry.section import Section
from railmodel.job.shop import Die, Shop
from railmodel.part import way_at

TUBE = Section(height=76.2, width=50.8, wall=4.7625, corner=9.525)
SQUARE = Section(height=50.8, width=50.8, wall=3.175, corner=6.35)


def die(way: str, radius: float, *, height: float = 76.2, width: float = 50.8, **more: float) -> Die:
    return Die.model_validate({"height": height, "width": width, "way": way, "radius": radius, **more})


def shop(**dies: Die) -> Shop:
    return Shop(shop="Back bay", units="mm", dies=dies)


def between_points(*legs: float, turn: float) -> Callable[[list[float]], np.ndarray]:
    """Straights of a rail with legs between its corners, each corner turning by one angle."""

    def straights(radii: list[float]) -> np.ndarray:
        setback = np.array(radii) * tan(turn / 2)
        return np.array(legs) - np.append(setback, 0.0) - np.insert(setback, 0, 0.0)

    return straights


FAR = between_points(900.0, 900.0, 900.0, turn=pi / 6)
HARD = Wanted(way="hard")
EASY = Wanted(way="easy")


def test_a_named_die_gives_its_radius_and_a_radius_given_outright_holds() -> None:
    owned = shop(seven=die("hard", 177.8), ten=die("hard", 254.0))
    wanted = [Wanted(way="hard", die="ten"), Wanted(way="hard", die="ten", radius=250.0)]
    assert choose_dies(wanted, TUBE, owned, FAR) == [Chosen(254.0, "ten"), Chosen(250.0, "ten")]


def test_a_radius_given_outright_finds_the_die_that_makes_it() -> None:
    owned = shop(easy=die("easy", 177.8), seven=die("hard", 177.8))
    wanted = [Wanted(way="hard", radius=177.8), Wanted(way="hard", radius=177.84)]
    assert choose_dies(wanted, TUBE, owned, FAR) == [Chosen(177.8, "seven"), Chosen(177.84, "seven")]
    wanted = [Wanted(way="easy", radius=178.0), Wanted(way="easy", radius=177.8)]
    assert choose_dies(wanted, TUBE, owned, FAR) == [Chosen(178.0, None), Chosen(177.8, "easy")]


def test_without_a_shop_a_radius_holds_and_an_open_bend_stays_open() -> None:
    assert choose_dies([Wanted(way="hard", radius=200.0), HARD], TUBE, None, FAR) == [
        Chosen(200.0, None), Chosen(None, None),
    ]  # fmt: skip


def test_left_open_the_largest_radius_with_room_is_taken_one_for_all_bends_of_a_way() -> None:
    owned = shop(six=die("hard", 150.0), ten=die("hard", 254.0), seven=die("hard", 177.8), flat=die("easy", 127.0))
    assert choose_dies([HARD, HARD], TUBE, owned, FAR) == [Chosen(254.0, "ten")] * 2
    assert choose_dies([HARD, EASY], TUBE, owned, FAR) == [Chosen(254.0, "ten"), Chosen(127.0, "flat")]


def test_a_large_radius_without_room_for_its_straights_gives_way_to_the_next() -> None:
    short = between_points(900.0, 120.0, 900.0, turn=pi / 6)  # 254 mm sets back 68 a side, 177.8 sets back 48
    owned = shop(ten=die("hard", 254.0), seven=die("hard", 177.8))
    assert choose_dies([HARD, HARD], TUBE, owned, short) == [Chosen(177.8, "seven")] * 2


@pytest.mark.parametrize(
    ("legs", "needs"),
    [((200.0, 900.0, 900.0), {"grip": 140.0}), ((900.0, 280.0, 900.0), {"between": 150.0}),
     ((900.0, 900.0, 200.0), {"tail": 140.0})],
)  # fmt: skip
def test_a_die_that_leaves_too_little_for_grip_straight_or_tail_is_passed_over(
    legs: tuple[float, ...], needs: dict[str, float]
) -> None:
    room = between_points(*legs, turn=pi / 6)
    without = shop(ten=die("hard", 254.0), seven=die("hard", 177.8))
    assert choose_dies([HARD, HARD], TUBE, without, room)[0].die == "ten"
    owned = shop(ten=die("hard", 254.0, **needs), seven=die("hard", 177.8, **needs))
    assert choose_dies([HARD, HARD], TUBE, owned, room)[0].die == "seven"


def test_a_straight_that_is_just_long_enough_is_long_enough() -> None:
    room = between_points(900.0, 900.0, 900.0, turn=pi / 6)
    exact = float(room([254.0, 254.0])[1])
    owned = shop(ten=die("hard", 254.0, between=exact + 5e-7), seven=die("hard", 177.8))
    assert choose_dies([HARD, HARD], TUBE, owned, room)[0].die == "ten"


def test_only_the_die_of_the_last_bend_says_what_the_tail_needs() -> None:
    room = between_points(900.0, 900.0, 100.0, turn=pi / 6)
    owned = shop(ten=die("hard", 254.0, tail=200.0), seven=die("hard", 177.8, tail=200.0))
    outright = Wanted(way="hard", radius=100.0)  # bent elsewhere: this shop has no die for it, and no tail to ask
    assert choose_dies([HARD, outright], TUBE, owned, room)[0].die == "ten"


def test_where_no_die_has_room_the_smallest_is_taken_and_the_checks_say_the_rest() -> None:
    tight = between_points(50.0, 20.0, 50.0, turn=pi / 6)
    owned = shop(ten=die("hard", 254.0), seven=die("hard", 177.8))
    assert choose_dies([HARD, HARD], TUBE, owned, tight) == [Chosen(177.8, "seven")] * 2


def test_bends_already_named_count_in_the_room_that_is_left() -> None:
    room = between_points(900.0, 160.0, 900.0, turn=pi / 6)
    owned = shop(ten=die("hard", 254.0), seven=die("hard", 177.8))
    wanted = [Wanted(way="hard", die="ten"), HARD]
    assert choose_dies(wanted, TUBE, owned, room) == [Chosen(254.0, "ten")] * 2  # 68 + 68 fits in 160
    wanted = [Wanted(way="hard", radius=350.0), HARD]
    assert choose_dies(wanted, TUBE, owned, room)[1] == Chosen(177.8, "seven")  # 94 + 68 does not, 94 + 48 does


def test_both_bends_of_an_offset_get_one_die_that_the_offset_can_hold() -> None:
    def straights(radii: list[float]) -> np.ndarray:
        offset = Offset(roll=0.0, by=60.0, radius=radii[0], angle=pi / 6)
        return rows_from_moves([Straight(500.0), *offset.moves, Straight(500.0)]).straights

    owned = shop(ten=die("hard", 254.0), seven=die("hard", 177.8))
    # by hand: 2 x 254 x (1 - cos 30) = 68 mm is more than the 60 asked; 2 x 177.8 x (1 - cos 30) = 47.6 is not
    assert choose_dies([HARD, HARD], TUBE, owned, straights) == [Chosen(177.8, "seven")] * 2


def test_an_offset_that_no_radius_can_make_takes_the_smallest() -> None:
    owned = shop(ten=die("hard", 254.0), seven=die("hard", 177.8))
    none = choose_dies([HARD, HARD], TUBE, owned, lambda radii: np.full(3, -np.inf))
    assert none == [Chosen(177.8, "seven")] * 2


@given(st.lists(st.sampled_from([HARD, EASY, Wanted(way="hard", radius=99.0), Wanted(way="easy", die="flat")])))
def test_every_bend_gets_an_answer_and_never_a_die_of_the_other_way(wanted: list[Wanted]) -> None:
    owned = shop(seven=die("hard", 177.8), flat=die("easy", 127.0), other=die("hard", 300.0, height=100.0))
    rows = rows_from_moves([move for _ in wanted for move in (Straight(300.0), Bend(0.0, 0.3, 1.0))])
    chosen = choose_dies(wanted, TUBE, owned, lambda radii: rows.straights)
    assert len(chosen) == len(wanted)
    for want, choice in zip(wanted, chosen, strict=True):
        assert choice.radius is not None
        assert choice.die != "other"
        if choice.die is not None:
            assert owned.dies[choice.die].way == want.way


@pytest.mark.parametrize(
    ("height", "width", "fits"), [(76.2, 50.8, True), (76.0, 50.8, True), (76.2, 50.0, False), (50.8, 76.2, False)]
)
def test_a_die_takes_one_size_of_tube_as_it_stands(height: float, width: float, fits: bool) -> None:
    # 3 in and 76 mm are sold as one size, 2 in and 50 mm are not: common practice, no source
    assert takes(die("hard", 177.8, height=height, width=width), TUBE, "hard") is fits


def test_a_die_bends_one_way_and_square_tube_goes_in_either() -> None:
    assert not takes(die("easy", 127.0), TUBE, "hard")
    assert takes(die("easy", 127.0, height=50.8, width=50.8), SQUARE, "hard")
    assert way_at(SQUARE, 0.0) == way_at(SQUARE, pi / 2) == "hard"


def test_the_way_is_hard_where_the_bend_plane_holds_the_larger_side() -> None:
    # easy way: about the weak axis; hard way: about the strong one (trade term)
    assert [way_at(TUBE, quarter * pi / 2) for quarter in (-1, 0, 1, 2)] == ["easy", "hard", "easy", "hard"]
    assert [way_at(TUBE.turned, quarter * pi / 2) for quarter in (-1, 0, 1, 2)] == ["hard", "easy", "hard", "easy"]


def mm(length: float) -> str:
    return f"{length:g} mm"


def test_why_none_names_what_the_shop_owns_and_what_to_do() -> None:
    says = why_none(TUBE, "easy", shop(seven=die("hard", 177.8)), mm)
    assert "no die that bends 76.2 mm x 50.8 mm tube the easy way" in says
    assert "seven takes 76.2 mm x 50.8 mm the hard way" in says
    assert says.endswith("give radius: where the bend is written, or add the die to the shop file")


def test_why_none_of_an_empty_shop_and_of_no_shop_at_all() -> None:
    assert "(it lists no dies)" in why_none(TUBE, "easy", shop(), mm)
    assert "the job names no shop file; give radius:" in why_none(TUBE, "easy", None, mm)
