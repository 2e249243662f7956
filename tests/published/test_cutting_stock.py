"""Published cutting-stock instances, solved to their proven optimum.

Sources: the paper-machine instance of the encyclopaedia article "Cutting stock problem" (73 master rolls, 0.401 %
waste); V. Chvatal, Linear Programming, 1983, chapter 13, also a model-library example (data as quoted on the NEOS
Guide's cutting-stock page; its optimum, 453, from memory and proven here).
"""

import pytest

from railmodel.bending.cut_plan import Piece, Stock, plan_cuts

PAPER = {1380: 22, 1520: 25, 1560: 12, 1710: 14, 1820: 18, 1880: 18, 1930: 20, 2000: 10, 2050: 12, 2100: 14, 2140: 16,
         2150: 18, 2200: 20}  # fmt: skip
CHVATAL = {45: 97, 36: 610, 31: 395, 14: 211}


def pieces(demand, less=0.0):
    return [Piece(f"{width}", width - less) for width, count in demand.items() for _ in range(count)]


def assert_everything_is_cut_once(plan, wanted):
    cut = sorted(piece.length for stick in plan.sticks for piece in stick.pieces)
    assert cut == sorted(piece.length for piece in wanted)
    for stick in plan.sticks:
        kerfs = stick.cuts * stick.stock.kerf
        assert sum(piece.length for piece in stick.pieces) + kerfs + stick.drop <= stick.stock.usable + 1e-9


def test_the_paper_machine_needs_73_rolls():
    wanted = pieces(PAPER)
    plan = plan_cuts([Stock(length=5600, kerf=0, end_trim=0)], wanted, seconds=60)
    assert (plan.count, plan.bound, plan.proven) == (73, 73, True)
    waste = 1 - sum(piece.length for piece in wanted) / (73 * 5600)
    assert 100 * waste == pytest.approx(0.401, abs=5e-4)
    assert_everything_is_cut_once(plan, wanted)


def test_chvatals_rolls_need_453_raws():
    wanted = pieces(CHVATAL)
    plan = plan_cuts([Stock(length=100, kerf=0, end_trim=0)], wanted, seconds=60)
    assert (plan.count, plan.bound, plan.proven) == (453, 453, True)
    assert_everything_is_cut_once(plan, wanted)


@pytest.mark.parametrize(("kerf", "trim"), [(3.2, 0.0), (1.5875, 12.7)])
def test_a_kerf_taken_from_pieces_and_stock_changes_nothing(kerf, trim):
    # n pieces that end flush need n - 1 cuts: pieces shorter by a kerf on stock shorter by a kerf are the same problem
    wanted = pieces(PAPER, less=kerf)
    plan = plan_cuts([Stock(length=5600 - kerf + trim, kerf=kerf, end_trim=trim)], wanted, seconds=60)
    assert (plan.count, plan.proven) == (73, True)
    assert any(stick.cuts == len(stick.pieces) - 1 for stick in plan.sticks)  # 1820 x 3 = 5460, others end flush
    assert_everything_is_cut_once(plan, wanted)
