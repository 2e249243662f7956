"""A quote is quantities times rates, every rate the shop's own; what is missing is named and nothing is guessed."""

from dataclasses import replace
from datetime import date
from functools import cache
from pathlib import Path

import pytest
from commands import CANNOT_BEND, HAULER, TRAILER
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from railmodel.bending.plan import plan_job
from railmodel.errors import InputError
from railmodel.frame import Frame, build_frame
from railmodel.job.reader import read_job
from railmodel.job.shop import Shop
from railmodel.loading.quote import Quote, cents, quote
from railmodel.loading.rates import FOR_PLATES, NEEDED, Rates, read_rates

DAY = date(2031, 2, 28)


@cache
def frame_of(path: Path) -> Frame:
    return build_frame(read_job(path))


def with_shop(frame: Frame, **changes: object) -> Frame:
    assert frame.shop is not None
    return replace(frame, source=replace(frame.source, shop=frame.shop.model_copy(update=changes)))


def with_rates(frame: Frame, **changes: float | str | None) -> Frame:
    assert frame.shop is not None
    rates = {key: value for key, value in (frame.shop.rates | changes).items() if value is not None}
    return with_shop(frame, rates=Shop.model_validate({"shop": "x", "units": "mm", "rates": rates}).rates)


def read(frame: Frame, *, plates: bool, **changes: float | str | None) -> Rates:
    shop = with_rates(frame, **changes).shop
    assert shop is not None
    return read_rates(shop, "shop.yaml", plates=plates)


def amounts(found: Quote) -> dict[str, float]:
    return {line.what: line.amount for line in found.lines}


def test_the_hauler_line_by_line_as_worked_out_by_hand() -> None:
    frame = frame_of(HAULER)
    rates = {"hour": 100.0, "layout_hours": 2.0, "test_bends": 3.0, "test_bend_hours": 0.5, "bend_hours": 0.25,
             "cut_hours": 0.1, "inspect_hours": 0.5, "crate_hours": 2.0, "crate_material": 70.0, "margin": 10.0,
             "tax": 5.0, "valid_days": 14.0}  # fmt: skip
    found = quote(with_rates(frame, **rates), DAY)
    lines = amounts(found)
    assert lines["engineering and layout"] == 200.0
    assert lines["set-up"] == 200.0  # two dies of 60 minutes each, in one change: two set-ups
    assert lines["test bends"] == 300.0  # two dies, three bends each of half an hour
    assert lines["bending"] == 250.0  # two rails of four bends and a cap of two
    assert lines["inspection"] == 250.0  # two rails, a cap and two crossmembers
    sticks = [stick for cuts in plan_job(frame).cuts.values() for stick in cuts.sticks]
    assert lines["cutting"] == cents((sum(stick.cuts for stick in sticks) + len(sticks)) * 0.1 * 100)
    assert sum(line.amount for line in found.lines if line.group == "material") == 2 * 84 + 61  # sticks of 84 and 61
    assert (lines["packing"], lines["crate"], lines["freight"]) == (200.0, 70.0, 460.0)
    cost = sum(lines.values())
    assert found.cost == pytest.approx(cost, abs=1e-9)
    assert found.margin == cents(cost * 0.10)
    assert found.tax == cents((cost + found.margin) * 0.05)
    assert found.total == cents(found.price + found.tax)
    assert cents(found.frame + found.sending) == found.price
    assert found.sending == cents((200 + 70 + 460) * 1.1)
    assert found.holds_until == date(2031, 3, 14)


def test_a_crate_that_no_pallet_takes_is_said_where_its_freight_is_priced() -> None:
    frame = frame_of(HAULER)
    assert frame.shop is not None
    assert frame.shop.freight is not None
    short = frame.shop.freight.pallet.model_copy(update={"length": 48 * 25.4})
    found = quote(with_shop(frame, freight=frame.shop.freight.model_copy(update={"pallet": short})), DAY)
    (line,) = [line for line in found.lines if line.what == "freight"]
    assert line.note.endswith("; the crate's length is 161.029 in and the pallet takes 48.000 in")
    assert ";" not in next(line.note for line in quote(frame, DAY).lines if line.what == "freight")


def test_every_drop_stands_with_its_material() -> None:
    frame = frame_of(HAULER)
    found = quote(frame, DAY)
    notes = " ".join(line.note for line in found.lines if line.group == "material")
    for cuts in plan_job(frame).cuts.values():
        for stick in cuts.sticks:
            assert frame.say(stick.drop) in notes


def test_plates_are_priced_by_weight_and_cut() -> None:
    found = quote(with_rates(frame_of(TRAILER), plate_kg=2.0, plate_cut_metre=3.0), DAY)
    lines = {line.what: line for line in found.lines}
    assert lines["plate"].unit == "kg"
    assert lines["plate"].amount == pytest.approx(2 * lines["plate"].quantity, abs=0.01)
    assert lines["plate cutting"].amount == pytest.approx(3 * lines["plate cutting"].quantity, abs=0.01)


@pytest.mark.parametrize("rate", [*NEEDED, *FOR_PLATES])
def test_a_missing_rate_is_named(rate: str) -> None:
    with pytest.raises(InputError) as caught:
        read(frame_of(TRAILER), plates=True, **{rate: None})
    what = (NEEDED | FOR_PLATES)[rate]
    assert caught.value.problems == (f"shop.yaml: rates: {rate} is missing; add {rate}: {what}",)


def test_all_missing_rates_are_named_at_once() -> None:
    with pytest.raises(InputError) as caught:
        quote(with_shop(frame_of(HAULER), rates={}), DAY)
    assert len(caught.value.problems) == len(NEEDED)


@pytest.mark.parametrize(
    ("rates", "words"),
    [
        ({"hour": -5.0}, ("rates hour: found -5", "from 0 to 1000000000, money for an hour")),
        ({"valid_days": 1e9}, ("rates valid_days: found 1e+09", "from 0 to 3650, days")),
        ({"tax": 101.0}, ("rates tax: found 101", "from 0 to 100")),
        ({"currency": "U" * 13}, ("rates currency", "1 to 12 letters")),
        ({"terms": "one\ntwo"}, ("rates terms", "one line of words")),
        ({"hour": "dear"}, ('found "dear"', "a number, money for an hour")),
        ({"houer": 5.0}, ('rates "houer"', 'did you mean "hour"')),
        ({"currency": 5.0}, ("rates currency: found 5", "words")),
        ({"test_bends": 1.5}, ("found 1.5", "whole number")),
    ],
)
def test_a_rate_that_is_none_is_named(rates: dict[str, float | str], words: tuple[str, ...]) -> None:
    with pytest.raises(InputError) as caught:
        read(frame_of(HAULER), plates=False, **rates)
    (problem,) = caught.value.problems
    for word in words:
        assert word in problem


@pytest.mark.parametrize("price", [-84, float("nan"), 1e308, 2e9])
def test_a_price_that_is_none_is_named(price: float) -> None:
    stock = {"tube": "main", "length": 6000, "kerf": 2, "end_trim": 10, "price": price}
    with pytest.raises(ValidationError, match=r"allowed: a (number|price from 0 to 1000000000)"):
        Shop.model_validate({"shop": "x", "units": "mm", "stock": [stock]})
    with pytest.raises(ValidationError, match="hour: found"):
        Shop.model_validate({"shop": "x", "units": "mm", "rates": {"hour": float("nan")}})


def test_prices_times_and_freight_that_are_missing_are_named() -> None:
    frame = frame_of(HAULER)
    assert frame.shop is not None
    stock = tuple(one.model_copy(update={"price": None}) if one.tube == "main" else one for one in frame.shop.stock)
    dies = {name: die.model_copy(update={"change_over": None}) for name, die in frame.shop.dies.items()}
    with pytest.raises(InputError) as caught:
        quote(with_shop(frame, stock=stock, dies=dies, freight=None), DAY)
    said = "\n".join(caught.value.problems)
    assert "stock: main 240.000 in has no price" in said
    assert "dies easy 5: change_over is missing" in said
    assert "dies hard 7: change_over is missing" in said
    assert "freight is missing" in said
    without = tuple(one for one in frame.shop.stock if one.tube != "cross")
    with pytest.raises(InputError, match="no stick of tube cross is listed"):
        quote(with_shop(frame, stock=without), DAY)


def test_a_job_without_a_shop_cannot_be_quoted() -> None:
    with pytest.raises(InputError, match="shop is missing"):
        quote(with_no_shop(), DAY)


def with_no_shop() -> Frame:
    frame = frame_of(CANNOT_BEND)
    return replace(frame, source=replace(frame.source, shop=None, shop_path=None))


@given(st.integers(-10_000_000, 10_000_000))
def test_cents_round_half_away_from_zero(thousandths: int) -> None:
    """As a spreadsheet's ROUND does: 0.005 goes up to 0.01, -0.005 down to -0.01."""
    sign = -1 if thousandths < 0 else 1
    exact = sign * ((abs(thousandths) * 10 + 50) // 100)
    assert cents(thousandths / 1000) == exact / 100
