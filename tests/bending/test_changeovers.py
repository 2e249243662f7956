"""The order of work with the fewest changes, against every order there is."""

from functools import cache
from itertools import groupby, pairwise, permutations, product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from railmodel.bending.changeovers import PartDies, Stage, plan_changeovers
from railmodel.bending.supersequence import holds, shortest_supersequence

DIES = ("hard 7", "easy 5", "hard 10", "easy 8")


def part(label, dies, count=1):
    return PartDies(label=label, dies=tuple(dies), count=count)


def runs(dies):
    return tuple(die for die, _ in groupby(dies))


def fewest_setups(sequences):
    """Every choice of next die at every point, without any bound: the shortest supersequence by exhaustion."""

    @cache
    def rest(state):
        waiting = {seq[at] for seq, at in zip(sequences, state, strict=True) if at < len(seq)}
        if not waiting:
            return 0
        return 1 + min(
            rest(tuple(at + (at < len(seq) and seq[at] == die) for seq, at in zip(sequences, state, strict=True)))
            for die in waiting
        )

    return rest((0,) * len(sequences))


def changes_in_a_row(order, loaded):
    word = [die for one in order for die in one.runs]
    count = sum(1 for _ in groupby(word))
    return count - (loaded in (None, word[0]))


@pytest.mark.parametrize("seed", range(20))
def test_it_equals_brute_force_on_random_jobs(seed):
    # 20 x 10 = 200 random sets of up to 4 parts of up to 6 bends
    rng = np.random.default_rng(seed)
    for _ in range(10):
        names = DIES[: rng.integers(2, 5)]
        parts = [part(f"p{i}", rng.choice(names, rng.integers(1, 7))) for i in range(rng.integers(1, 5))]
        plan = plan_changeovers(parts)
        best = fewest_setups(tuple(runs(p.dies) for p in parts))
        assert (plan.setups, plan.changes, plan.bound, plan.proven) == (best, best - 1, best - 1, True)
        assert plan.changes <= plan.one_by_one_best <= plan.one_by_one


def test_it_equals_all_words_of_each_length():
    # a second brute force that knows nothing of positions: every word, shortest first
    rng = np.random.default_rng(99)
    for _ in range(15):
        words = [runs(rng.choice(DIES[:3], rng.integers(1, 6))) for _ in range(3)]
        found = shortest_supersequence(words)
        length = next(n for n in range(16) if any(all(holds(w, x) for x in words) for w in product(DIES[:3], repeat=n)))
        assert (len(found.letters), found.bound) == (length, length)
        assert all(holds(found.letters, word) for word in words)


@given(
    st.lists(st.lists(st.sampled_from(DIES), min_size=1, max_size=6), min_size=1, max_size=5),
    st.sampled_from([None, *DIES]),
)
def test_every_part_is_bent_in_its_own_order(sequences, loaded):
    parts = [part(f"p{i}", dies) for i, dies in enumerate(sequences)]
    plan = plan_changeovers(parts, loaded=loaded)
    for one in parts:
        assert tuple(stage.die for stage in plan.stages if one.label in stage.parts) == one.runs
    assert all(stage.parts for stage in plan.stages)
    assert all(one.die != after.die for one, after in pairwise(plan.stages))
    ready = bool(plan.stages) and plan.stages[0].die == loaded
    assert plan.setups == len(plan.stages) - ready
    assert plan.changes == plan.setups - (loaded is None)


@given(
    st.lists(st.lists(st.sampled_from(DIES[:3]), min_size=1, max_size=4), min_size=1, max_size=5),
    st.sampled_from([None, *DIES[:3]]),
)
def test_part_by_part_in_the_best_order_equals_all_orders(sequences, loaded):
    parts = [part(f"p{i}", dies) for i, dies in enumerate(sequences)]
    minutes = {"hard 7": 60.0, "easy 5": 45.0, "hard 10": 20.0}
    plan = plan_changeovers(parts, loaded=loaded, minutes=minutes)
    assert plan.one_by_one == changes_in_a_row(parts, loaded)
    orders = list(permutations(parts))
    assert plan.one_by_one_best == min(changes_in_a_row(order, loaded) for order in orders)

    def spent(order):
        word = runs(die for one in order for die in one.runs)
        return sum(minutes[die] for die in word) - (minutes[loaded] if word[0] == loaded else 0)

    assert plan.one_by_one_minutes == pytest.approx(min(spent(order) for order in orders))


def test_the_die_on_the_machine_is_used_first():
    parts = [part("a", ["easy 5", "hard 7"]), part("b", ["hard 7"])]
    plan = plan_changeovers(parts, loaded="hard 7")
    assert [stage.die for stage in plan.stages] == ["hard 7", "easy 5", "hard 7"]
    assert (plan.changes, plan.setups) == (2, 2)
    assert plan_changeovers(parts).changes == 1
    assert plan_changeovers(parts, loaded="hard 10").changes == 2


@pytest.mark.parametrize("seed", range(5))
def test_the_die_on_the_machine_equals_brute_force(seed):
    rng = np.random.default_rng(seed)
    for _ in range(10):
        parts = [part(f"p{i}", rng.choice(DIES[:3], rng.integers(1, 6))) for i in range(3)]
        sequences = tuple(p.runs for p in parts)
        # exhaustion: the loaded die may serve any parts that begin with it before the first change
        after = tuple(seq[1:] if seq[0] == DIES[0] else seq for seq in sequences)
        assert plan_changeovers(parts, loaded=DIES[0]).changes == min(fewest_setups(sequences), fewest_setups(after))


def test_a_pair_bent_stage_by_stage_saves_what_part_by_part_wastes():
    # derived: easy, hard on one rail and its pair: E H E H part by part is 3 changes, stage by stage 1
    parts = [part("rail right", ["easy 5", "easy 5", "hard 7"]), part("rail left", ["easy 5", "easy 5", "hard 7"])]
    plan = plan_changeovers(parts, minutes={"easy 5": 45, "hard 7": 60})
    both = ("rail right", "rail left")
    assert plan.stages == (Stage("easy 5", both), Stage("hard 7", both))
    assert (plan.changes, plan.one_by_one, plan.one_by_one_best) == (1, 3, 3)
    assert plan.minutes == 105
    assert plan.minutes_saved == 105
    assert plan.says == "1 change of tooling (no order has fewer) against 3 part by part, 105 minutes saved."


def test_counts_of_alike_parts_matter_part_by_part_only():
    plan = plan_changeovers([part("rail", ["easy 5", "hard 7"], count=5)])
    assert (plan.changes, plan.one_by_one, plan.one_by_one_best) == (1, 9, 9)


def test_nothing_to_bend():
    plan = plan_changeovers([part("straight", [])])
    assert (plan.stages, plan.changes, plan.setups, plan.bound, plan.proven) == ((), 0, 0, 0, True)
    assert plan.one_by_one == plan.one_by_one_best == 0
    assert plan.says.startswith("Nothing to bend")


def test_a_large_job_falls_back_with_an_honest_gap():
    rng = np.random.default_rng(7)
    parts = [part(f"p{i}", rng.choice(DIES, 14)) for i in range(14)]
    plan = plan_changeovers(parts, nodes=300, seconds=5)
    assert plan.bound < plan.changes
    assert not plan.proven
    assert f"an order with {plan.bound} may exist" in plan.says
    for one in parts:
        assert tuple(stage.die for stage in plan.stages if one.label in stage.parts) == one.runs
    better = plan_changeovers(parts, nodes=3000, seconds=20)
    assert plan.bound <= better.bound <= better.changes <= plan.changes


def test_a_real_shop_is_proven_at_once():
    rng = np.random.default_rng(1)
    parts = [part(f"p{i}", rng.choice(DIES, 6)) for i in range(8)]
    plan = plan_changeovers(parts, nodes=20_000, seconds=10)
    assert plan.proven
