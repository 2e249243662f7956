"""How long the bender's arithmetic takes: the record of test bends and the cut plan.

Processor time, best of three, so that what else the computer does does not count.
"""

from time import process_time

import numpy as np
import pytest

from railmodel.bending.bend_log import read_bend_log
from railmodel.bending.cut_plan import Piece, Stock, plan_cuts
from railmodel.bending.springback_fit import calibrate


@pytest.fixture
def ten_thousand(tmp_path):
    """A record of 10,000 test bends over 6 dies and 4 tubes, one row in fifty a slip of the pen."""
    rng = np.random.default_rng(1)
    lines = ["date,die,tube,wall,grade,heat,set_angle,measured_angle,tube_used,note"]
    for i in range(10_000):
        angle = rng.uniform(8, 92)
        back = 1.5 + 0.012 * angle + rng.normal(0, 0.2) + (5 if i % 50 == 0 else 0)
        set_angle, used = round(angle + back, 2), round(0.985 * 10 * np.radians(angle), 3)
        row = f"2024-03-01,hard {i % 6},tube {i // 6 % 4},3/16,A500-B,H{i % 40},{set_angle},{angle:.2f},{used},"
        lines.append(row)
    path = tmp_path / "test_bends.csv"
    path.write_text("\n".join(lines) + "\n")
    return path


def best_of(count, run):
    times = []
    for _ in range(count):
        start = process_time()
        run()
        times.append(process_time() - start)
    return min(times)


def test_ten_thousand_test_bends_are_read_and_fitted_in_half_a_second(ten_thousand, record_property):
    def run():
        log = read_bend_log(ten_thousand, "in")
        fits = calibrate(log.bends)
        assert len(log.bends) == 10_000
        assert len(fits) == 24

    seconds, yardstick = best_of(3, run), best_of(3, lambda: sum(i * i for i in range(1_000_000)))
    record_property("seconds", seconds)
    record_property("times a plain loop of a million", seconds / yardstick)
    assert seconds < max(0.5, 6 * yardstick)  # half a second where a million turns of a plain loop take a twelfth


def sixty(kind):
    """Sixty pieces: rails in pairs with crossmembers cut to the tape, one fleet of alike frames, or all different."""
    rng = np.random.default_rng(1)
    if kind == "pairs":
        lengths = [*np.repeat(rng.uniform(60, 180, 15), 2), *np.repeat(np.round(rng.uniform(18, 48, 15) * 16) / 16, 2)]
    elif kind == "fleet":
        lengths = [*np.repeat(rng.uniform(40, 200, 5), 8), *np.repeat(np.round(rng.uniform(18, 48, 5) * 16) / 16, 4)]
    else:
        lengths = [*rng.uniform(20, 180, 60)]
    return [Piece(f"piece {i}", float(length) * 25.4) for i, length in enumerate(lengths)]


@pytest.mark.parametrize("kind", ["pairs", "fleet", "different"])
@pytest.mark.parametrize("rack", [None, 6])
def test_sixty_pieces_are_planned_and_proven_in_five_seconds(kind, rack, record_property):
    saw = {"kerf": 25.4 / 8, "end_trim": 12.7}
    stocks = [Stock(length=240 * 25.4, **saw)]
    if rack is not None:
        stocks.append(Stock(length=240 * 25.4, **saw, count=rack))
    pieces = sixty(kind)
    plan_cuts(stocks, pieces[:2])  # the solver's import is not the plan's
    start = process_time()
    plan = plan_cuts(stocks, pieces, seconds=30)
    seconds = process_time() - start
    record_property("seconds", seconds)
    assert len(pieces) == 60
    assert plan.proven
    assert plan.count == plan.bound
    assert seconds < 5
