"""The order of work over all parts of a job with the fewest changes of tooling.

With a mandrel each part is bent from its leading end to its tail, so a part is a sequence of dies and a job a set of
sequences. Bending every part as far as the die on the machine allows before changing it, the fewest set-ups are the
shortest common supersequence of the sequences; how many parts share a sequence does not matter.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby

from railmodel.bending.supersequence import shortest_supersequence


@dataclass(frozen=True, slots=True, kw_only=True)
class PartDies:
    """One part's bends as dies.

    Args:
        label: the part with its hand.
        dies: die of each bend, leading end first.
        count: how many alike are made.
    """

    label: str
    dies: tuple[str, ...]
    count: int = 1

    @property
    def runs(self) -> tuple[str, ...]:
        """The dies without repeats in a row: consecutive bends on one die are one run."""
        return tuple(die for die, _ in groupby(self.dies))


@dataclass(frozen=True, slots=True)
class Stage:
    """One set-up: the die on the machine and the parts bent on it before it comes off."""

    die: str
    parts: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangeoverPlan:
    """The order of work, and what it saves.

    Counts are changes: one die set taken off and another put on. On a machine that starts empty the first set-up is
    no change; on one that starts with tooling on it, any other die is.

    Args:
        stages: the order of work.
        changes: changes of tooling in this order.
        setups: times a die set is put on; one more than `changes` when the machine starts empty.
        bound: no order of work has fewer changes.
        one_by_one: changes when the parts are finished one after another in the order given.
        one_by_one_best: the same in the best order of parts.
        minutes: time of the set-ups of this order, where the dies' times are known.
        one_by_one_minutes: time of the set-ups of part-by-part work in its best order.
    """

    stages: tuple[Stage, ...]
    changes: int
    setups: int
    bound: int
    one_by_one: int
    one_by_one_best: int
    minutes: float
    one_by_one_minutes: float

    @property
    def proven(self) -> bool:
        """Whether no order of work has fewer changes."""
        return self.changes == self.bound

    @property
    def minutes_saved(self) -> float:
        """Set-up time saved against part-by-part work in its best order."""
        return self.one_by_one_minutes - self.minutes

    @property
    def says(self) -> str:
        """One sentence for the sheet."""
        if not self.stages:
            return "Nothing to bend: no tooling to change."
        proof = "no order has fewer" if self.proven else f"an order with {self.bound} may exist"
        text = f"{_counted(self.changes)} of tooling ({proof})"
        if self.one_by_one_best <= self.changes:
            return f"{text}; part by part is as good."
        minutes = f", {self.minutes_saved:.0f} minutes saved" if self.minutes_saved > 0 else ""
        return f"{text} against {self.one_by_one_best} part by part{minutes}."


def _counted(changes: int) -> str:
    return "1 change" if changes == 1 else f"{changes} changes"


def plan_changeovers(
    parts: Sequence[PartDies],
    *,
    loaded: str | None = None,
    minutes: Mapping[str, float] | None = None,
    nodes: int = 200_000,
    seconds: float = 2.0,
) -> ChangeoverPlan:
    """The order of work with the fewest changes, proven where the search ends within its limits.

    Args:
        parts: the parts of the job; those without bends are passed over.
        loaded: die already on the machine.
        minutes: set-up time of each die; a die not named takes none.
        nodes: states the search may open.
        seconds: time the search may take.
    """
    bent = [part for part in parts if part.dies and part.count > 0]
    rest = [part.runs for part in bent]
    first: tuple[str, ...] = ()
    if loaded is not None and any(runs[0] == loaded for runs in rest):
        first = (loaded,)  # what can be done without a change is never worth putting off
        rest = [runs[1:] if runs[0] == loaded else runs for runs in rest]
    found = shortest_supersequence(rest, nodes=nodes, seconds=seconds)
    empty = loaded is None and bool(found.letters)
    times = minutes or {}
    one_by_one = [die for part in bent for _ in range(part.count) for die in part.runs]
    best, best_minutes = _one_by_one_best(bent, loaded, times)
    return ChangeoverPlan(
        stages=_stages(bent, (*first, *found.letters)),
        changes=len(found.letters) - empty,
        setups=len(found.letters),
        bound=found.bound - empty,
        one_by_one=sum(1 for _ in groupby(one_by_one)) - (bool(one_by_one) and loaded in (None, one_by_one[0])),
        one_by_one_best=best - empty,
        minutes=sum(times.get(die, 0.0) for die in found.letters),
        one_by_one_minutes=best_minutes,
    )


def _stages(parts: Sequence[PartDies], order: Sequence[str]) -> tuple[Stage, ...]:
    """Who is bent in which set-up: every part as early as it can be."""
    done = [0] * len(parts)
    stages = []
    for die in order:
        now = [i for i, part in enumerate(parts) if done[i] < len(part.runs) and part.runs[done[i]] == die]
        for i in now:
            done[i] += 1
        stages.append(Stage(die, tuple(parts[i].label for i in now)))
    return tuple(stages)


def _one_by_one_best(parts: Sequence[PartDies], loaded: str | None, minutes: Mapping[str, float]) -> tuple[int, float]:
    """Set-ups, and their minutes, of part-by-part work in the best order of parts.

    Two parts in a row save a set-up where the first ends on the die the second begins on. Each part is an arrow from
    its first die to its last, and an order is a set of trails over all arrows: at a die as many arrows join as both
    come in and go out, except that a group of dies where all of them balance must be broken open at one, the
    cheapest to set up (L. Euler, 1736). The die already loaded saves its set-up where a trail can begin there.
    """
    total, spent = 0, 0.0
    into: dict[str, int] = {}
    out: dict[str, int] = {}
    group: dict[str, str] = {}

    def root(die: str) -> str:
        while group.setdefault(die, die) != die:
            die = group[die]
        return die

    for part in parts:
        first, last = part.runs[0], part.runs[-1]
        total += part.count * len(part.runs)
        spent += part.count * sum(minutes.get(die, 0.0) for die in part.runs)
        out[first] = out.get(first, 0) + part.count
        into[last] = into.get(last, 0) + part.count
        group[root(first)] = root(last)
    for top in {root(die) for die in group}:
        dies = [die for die in group if root(die) == top]
        for die in dies:
            joins = min(into.get(die, 0), out.get(die, 0))
            total -= joins
            spent -= joins * minutes.get(die, 0.0)
        balanced = all(into.get(die, 0) == out.get(die, 0) for die in dies)
        if loaded in dies and (balanced or out.get(loaded, 0) > into.get(loaded, 0)):
            if not balanced:  # a trail begins at the loaded die: its first set-up is there already
                total -= 1
                spent -= minutes.get(loaded, 0.0)
        elif balanced:
            total += 1
            spent += min(minutes.get(die, 0.0) for die in dies)
    return total, spent
