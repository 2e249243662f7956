"""The cut plan: against brute force, to the micrometre at a flush end, and plain about what cannot be cut."""

from itertools import product

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from railmodel.bending import cut_solver
from railmodel.bending.cut_patterns import all_patterns, best_fill
from railmodel.bending.cut_plan import Piece, Stock, plan_cuts
from railmodel.errors import GeometryError

INCH = 25.4
SAW = {"kerf": 3.0, "end_trim": 10.0}


def pieces(*lengths):
    return [Piece(f"p{i}", float(length)) for i, length in enumerate(lengths)]


def partitions(items):
    """Every way to put items into heaps."""
    if not items:
        yield []
        return
    first, rest = items[0], items[1:]
    for heaps in partitions(rest):
        for i, heap in enumerate(heaps):
            yield [*heaps[:i], [first, *heap], *heaps[i + 1 :]]
        yield [[first], *heaps]


def worth(stock, heap):
    """Drop of a heap on a stick, None where it does not fit: one cut a piece, none after one that ends flush."""
    left = stock.length - stock.end_trim - sum(heap) - (len(heap) - 1) * stock.kerf
    return None if left < -1e-9 else max(0.0, left - stock.kerf)


def brute_force(stocks, lengths):
    """Least (missing, bought, sticks, price, length used, -longest drop) over all heaps on all kinds of stick."""
    longest = max(stocks, key=lambda stock: stock.usable)
    kinds = list(stocks)
    if not any(stock.count is None and stock.usable >= max(lengths) for stock in stocks):
        kinds.append(longest)  # as many more of the longest as are missing
    priced = all(stock.price is not None for stock in stocks if stock.count is None)
    best = None
    for heaps in partitions(lengths):
        options = [
            [(k, drop) for k, stock in enumerate(kinds) if (drop := worth(stock, heap)) is not None] for heap in heaps
        ]
        for choice in product(*options):
            used = [k for k, _ in choice]
            if any(stock.count is not None and used.count(k) > stock.count for k, stock in enumerate(stocks)):
                continue
            missing = sum(k >= len(stocks) for k in used)
            bought = missing + sum(k < len(stocks) and kinds[k].count is None for k in used)
            price = sum(kinds[k].price or 0.0 for k in used if k < len(stocks) and kinds[k].count is None)
            price += sum(kinds[k].price or 0.0 for k in used if k >= len(stocks))
            cost = (price if priced and len(kinds) == len(stocks) else 0.0, sum(kinds[k].length for k in used))
            key = (missing, bought, len(used), *cost, -max(drop for _, drop in choice))
            best = key if best is None or key < best else best
    return best


def key_of(plan, with_price):
    price = sum(stick.stock.price or 0.0 for stick in plan.sticks if stick.bought) if with_price else 0.0
    length = sum(stick.stock.length for stick in plan.sticks)
    return plan.missing, plan.bought, plan.count, price, length, -plan.longest_drop


def assert_cuttable(plan, wanted):
    """Every piece cut once, no stick overfull, no rack overdrawn."""
    assert sorted(p.label for stick in plan.sticks for p in stick.pieces) == sorted(p.label for p in wanted)
    for stick in plan.sticks:
        assert stick.pieces
        total = sum(piece.length for piece in stick.pieces)
        left = stick.stock.usable - total - (len(stick.pieces) - 1) * stick.stock.kerf
        assert left >= -1e-5
        assert stick.drop == pytest.approx(max(0.0, left - stick.stock.kerf), abs=1e-5)
        assert stick.cuts == len(stick.pieces) - (abs(left) < 1e-5)
    for stock in {stick.stock for stick in plan.sticks if not stick.missing and stick.stock.count is not None}:
        assert sum(stick.stock == stock and not stick.missing for stick in plan.sticks) <= stock.count


@pytest.mark.parametrize("seed", range(50))
def test_it_equals_brute_force_on_small_jobs(seed):
    rng = np.random.default_rng(seed)
    lengths = [float(x) for x in rng.integers(8, 70, rng.integers(2, 8)) * 10 + (seed % 2) * rng.random()]
    kinds = [
        [Stock(length=1000, **SAW)],
        [Stock(length=1003, kerf=3, end_trim=0, count=2), Stock(length=1000, **SAW, price=9.0)],
        [Stock(length=800, **SAW, count=1), Stock(length=700, **SAW, price=7.0), Stock(length=1200, **SAW, price=10.0)],
        [Stock(length=900, **SAW, count=1), Stock(length=750, **SAW, count=2)],
        [Stock(length=1010, **SAW, count=1), Stock(length=500, **SAW)],
    ][seed % 5]
    lengths = [length for length in lengths if length <= max(stock.usable for stock in kinds)] or [300.0]
    wanted = pieces(*lengths)
    plan = plan_cuts(kinds, wanted, seconds=30)
    best = brute_force(kinds, lengths)
    assert key_of(plan, with_price=best[3] > 0) == pytest.approx(best, abs=1e-6)
    assert plan.proven
    assert plan.bound == plan.count
    assert plan.drop_proven
    assert_cuttable(plan, wanted)


@given(
    st.lists(st.floats(50, 2400), min_size=1, max_size=9),
    st.floats(0, 4),
    st.floats(0, 30),
    st.sampled_from([None, 0, 1, 3]),
)
def test_every_piece_is_cut_once_and_no_stick_is_overfull(lengths, kerf, trim, count):
    stocks = [Stock(length=2500, kerf=kerf, end_trim=trim, count=count), Stock(length=1800, kerf=kerf, end_trim=trim)]
    wanted = pieces(*lengths)
    plan = plan_cuts(stocks, wanted, seconds=10)
    assert plan.left_out == tuple(p for p in wanted if p.length > max(s.usable for s in stocks if s.count != 0) + 1e-6)
    assert_cuttable(plan, [piece for piece in wanted if piece not in plan.left_out])


def test_the_last_piece_needs_no_cut_when_it_ends_flush():
    stock = Stock(length=1016, kerf=3, end_trim=10)
    plan = plan_cuts([stock], pieces(500, 503))
    assert (plan.count, plan.sticks[0].cuts, plan.sticks[0].drop) == (1, 1, 0.0)
    assert plan_cuts([stock], pieces(500, 503.001)).count == 2
    less = plan_cuts([stock], pieces(500, 502))  # one millimetre over: the saw takes it
    assert (less.count, less.sticks[0].cuts, less.sticks[0].drop) == (1, 2, 0.0)


def test_inch_fractions_end_flush_exactly():
    # 20 ft less 1/2 in trim less 2 cuts of 1/16 in is 239 3/8 in: three times 79 19/24 in would not be a tape length
    stock = Stock(length=240 * INCH, kerf=INCH / 16, end_trim=INCH / 2)
    plan = plan_cuts([stock], pieces(100.0 * INCH, 80.25 * INCH, 59.125 * INCH))
    assert (plan.count, plan.sticks[0].cuts) == (1, 2)


def test_end_trim_comes_off_every_stick_once():
    stock = Stock(length=1000, kerf=0, end_trim=20)
    assert plan_cuts([stock], pieces(490, 490)).count == 1
    assert plan_cuts([stock], pieces(490, 490.01)).count == 2


def test_the_rack_is_used_before_anything_is_bought():
    rack, shop = Stock(length=600, **SAW, count=3), Stock(length=2100, **SAW)
    plan = plan_cuts([shop, rack], pieces(500, 500, 500))
    assert (plan.bought, plan.count) == (0, 3)
    plan = plan_cuts([shop, rack], pieces(500, 500, 500, 500))
    assert (plan.bought, plan.count) == (1, 1)  # with a stick bought anyway it takes all four


def test_what_is_left_is_one_long_drop():
    # two sticks either way: 450 + 450 and 450, or one long drop when the small ones go together
    stock = Stock(length=1000, kerf=0, end_trim=0)
    plan = plan_cuts([stock], pieces(450, 450, 300, 100))
    assert plan.longest_drop == pytest.approx(700)
    assert plan.drop_proven


def test_a_piece_longer_than_any_stick_is_a_finding_and_the_others_go_on():
    plan = plan_cuts([Stock(length=1000, **SAW, name="1 m")], [Piece("side rail right", 1200.0), *pieces(400, 500)])
    assert [piece.label for piece in plan.left_out] == ["side rail right"]
    (finding,) = plan.findings
    assert (finding.level, finding.rule, finding.found, finding.needs) == ("stop", "cut plan", 1200.0, 990.0)
    assert "side rail right is 1200.0 mm long and the longest stick (1 m) gives 990.0" in finding.says
    assert plan.count == 1


def test_no_stock_is_a_finding():
    for stocks in ([], [Stock(length=1000, **SAW, count=0)], [Stock(length=1000, kerf=0, end_trim=1000)]):
        plan = plan_cuts(stocks, pieces(100))
        assert plan.sticks == ()
        assert "there is no stock" in plan.findings[0].says


def test_a_rack_that_is_too_small_says_how_many_are_missing():
    plan = plan_cuts([Stock(length=1000, **SAW, count=1, name="1 m")], pieces(600, 600, 600))
    assert (plan.count, plan.missing, plan.bought) == (3, 2, 2)
    assert plan.proven
    assert "the rack is 2 sticks of 1 m short" in plan.findings[0].says
    assert [stick.missing for stick in plan.sticks].count(True) == 2


def test_a_long_piece_only_the_rack_can_hold():
    stocks = [Stock(length=2000, **SAW, count=1, name="long"), Stock(length=1000, **SAW, name="short")]
    assert plan_cuts(stocks, pieces(1500, 400, 400, 400)).findings == ()
    plan = plan_cuts(stocks, pieces(1500, 1500, 400))
    assert (plan.missing, plan.count) == (1, 2)
    assert "1 stick of long short" in plan.findings[0].says


def test_nothing_to_cut():
    plan = plan_cuts([Stock(length=1000, **SAW)], [])
    assert (plan.count, plan.bound, plan.proven, plan.says) == (0, 0, True, "Nothing to cut.")


def test_labels_of_alike_pieces_all_appear():
    wanted = [Piece(f"rail {side}", 400.0) for side in ("right", "left")] + [Piece("test piece", 400.0)]
    plan = plan_cuts([Stock(length=1000, **SAW, price=84.0, keep_drop=300)], wanted)
    assert [piece.label for stick in plan.sticks for piece in stick.pieces] == ["rail right", "rail left", "test piece"]
    assert plan.price == 168
    assert [stick.keep for stick in plan.sticks] == [False, True]
    assert plan.says == "2 sticks (0 from the rack, 2 to buy; no plan needs fewer)."


def test_out_of_time_it_still_answers_with_an_honest_bound(capfd):
    rng = np.random.default_rng(0)
    wanted = pieces(*rng.uniform(500, 4500, 200))
    stocks = [Stock(length=6096, **SAW, count=20), Stock(length=7315, **SAW), Stock(length=3657, **SAW, count=10)]
    plan = plan_cuts(stocks, wanted, seconds=0.05)
    assert_cuttable(plan, wanted)
    assert 0 <= plan.bound <= plan.count
    assert plan.proven or "are needed" in plan.says
    assert capfd.readouterr() == ("", "")


@pytest.mark.parametrize(
    ("change", "says"),
    [({"length": 0.0}, "stock length 0"), ({"kerf": -1.0}, "kerf -1"), ({"end_trim": float("nan")}, "end trim nan"),
     ({"count": -1}, "count -1")],
)  # fmt: skip
def test_stock_that_cannot_be_is_refused(change, says):
    with pytest.raises(GeometryError, match=says):
        Stock(**({"length": 1000.0, **SAW} | change))


@pytest.mark.parametrize("length", [0.0, -1.0, float("nan"), float("inf")])
def test_a_piece_without_length_is_refused(length):
    with pytest.raises(GeometryError, match="piece x: length"):
        Piece("x", length)


@given(
    st.lists(st.tuples(st.integers(50, 900), st.integers(1, 3), st.floats(0, 5)), min_size=1, max_size=6),
    st.integers(900, 2000),
)
@example([(50, 1, 5e-324)], 900)
def test_fills_and_patterns_equal_brute_force(items, room):
    sizes = tuple(size for size, _, _ in items)
    counts = tuple(count for _, count, _ in items)
    values = [value for _, _, value in items]
    every = [
        taken
        for taken in product(*(range(count + 1) for count in counts))
        if sum(n * size for n, size in zip(taken, sizes, strict=True)) <= room
    ]
    worths = [sum(n * value for n, value in zip(taken, values, strict=True)) for taken in every]
    above, chosen = best_fill(values, sizes, counts, room)
    assert chosen in every
    assert above >= max(worths) - 1e-9
    full = {
        taken
        for taken in every
        if all(
            n == count or sum(m * s for m, s in zip(taken, sizes, strict=True)) + size > room
            for n, count, size in zip(taken, counts, sizes, strict=True)
        )
    }
    listed, complete = all_patterns(sizes, counts, room, limit=10_000)
    assert complete
    assert len(listed) == len(set(listed))
    assert set(listed) == full
    floor = max(worths) * 0.9
    listed, _ = all_patterns(sizes, counts, room, values=values, floor=floor, limit=10_000)
    worth_of = dict(zip(every, worths, strict=True))
    assert set(listed) == {taken for taken in full if worth_of[taken] >= floor} or floor == 0


@pytest.mark.parametrize("seed", range(10))
def test_made_patterns_prove_what_listed_patterns_prove(seed, monkeypatch):
    # the road for jobs with too many patterns to list, on jobs small enough to list them
    rng = np.random.default_rng(seed)
    wanted = pieces(*rng.uniform(300, 2500, 16))
    stocks = [Stock(length=3000, **SAW, count=3), Stock(length=4000, **SAW)]
    listed = plan_cuts(stocks, wanted, seconds=30)
    monkeypatch.setattr(cut_solver, "_LISTED", 0)
    made = plan_cuts(stocks, wanted, seconds=30)
    assert made.proven
    assert listed.proven
    assert (made.bought, made.count) == (listed.bought, listed.count)
    assert_cuttable(made, wanted)
