"""How sure a job fits, to read: what it is laid against, which bend matters, the chances, and what would help."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import degrees
from typing import TYPE_CHECKING

from rich.text import Text

from railmodel.app.printed import grid
from railmodel.app.sure_answer import Answer, Sure, causes, moving, ranked
from railmodel.sureness.demands import Demand
from railmodel.sureness.sample import Chance
from railmodel.sureness.spread import WORDS
from railmodel.sureness.stack import LIMIT
from railmodel.sureness.what_if import DRAWS, WhatIf

if TYPE_CHECKING:
    from rich.console import Console

TOLD = 4
"""Causes named for each point."""

SMALL = 0.05
"""A cause of a smaller part than this is not named, but for the first."""

SHOWN_GAPS = 6
"""Shapes shown; JSON holds all."""

HELPS = 5
"""Tolerances shown; JSON holds all."""

WORKING = {
    "marks fixed": (
        "Marks are all set out on the stock before the first bend: a bend that takes up more tube shortens the "
        "straight behind it, and the next mark stays."
    ),
    "straights held": "Each bend is set out from the end of the bend before it, so that every straight is held.",
}


@dataclass(frozen=True, slots=True)
class Table:
    """Rows of words under heads, and what is to be said below."""

    title: str
    heads: tuple[str, ...]
    rows: Sequence[tuple[str, ...]]
    notes: list[str]


def tables(sure: Sure) -> list[Table]:
    """Fit points, joints and shapes to keep clear, as far as there are any; alike on the terminal and on paper."""
    return [table for table in (_points(sure), _joints(sure), _gaps(sure)) if table is not None]


def sections(sure: Sure) -> Iterator[tuple[str, list[str]]]:
    """What else is said, under its heads."""
    yield "Which bend matters", [*rank_lines(sure), *cause_lines(sure)]
    yield "Chance that it fits as a whole", list(whole_lines(sure))
    yield "What would help most: one tolerance halved", list(help_lines(sure))


def show_sure(sure: Sure, console: "Console") -> None:
    """Print all of it."""
    for line in head_lines(sure):
        console.print(Text(line))
    for one in tables(sure):
        console.print(Text(one.title, style="bold"))
        table = grid(*one.heads)
        for row in one.rows:
            table.add_row(*map(Text, row))
        console.print(table)
        for line in one.notes:
            console.print(Text(line))
        console.print()
    for k, (title, lines) in enumerate(sections(sure)):
        if k:
            console.print()
        console.print(Text(title, style="bold"))
        for line in lines:
            console.print(Text(line))


def head_lines(sure: Sure) -> Iterator[str]:
    """What the answer rests on."""
    data: dict[tuple[str, str], None] = {}
    for one in sure.found.bent.values():
        data.setdefault((one.part.name, one.datum_words))
    yield (
        "Datum: what each part is held by when it is fitted (a straight: by its middle, its direction and its top "
        "face); everything is measured from there."
    )
    for name, words in data:
        yield f"  {name}: {words}"
    if any(demand.kind == "joint" for demand in sure.chances.demands):
        yield "Each part is held by its own datum: a part that is fitted to its neighbour on the floor meets it better."
    if any(one.held is not None for one in sure.found.bent.values()):
        yield (
            "Best fit: every rail is turned and shifted by itself, as it is set to the vehicle before anything ties "
            "the pair, until its fit points are off the least (axles count 5, cab mounts 3); to first order."
        )
    yield WORKING[sure.found.working]
    if any(one.part.hand != "single" for one in sure.found.bent.values()):
        yield (
            "Both hands of a pair are bent to one springback line; what is not known of it is the same for both."
            if sure.hands == "together"
            else "Each hand of a pair is calibrated by itself; what is not known of springback is drawn for each."
        )
    yield "How far off the shop's bends come out, one standard deviation (two pieces in three are within it):"
    for source in sure.spread.sources:
        yield f"  {source}"
    for words in sure.found.left_out:
        yield f"note: {words}"
    yield ""


def both(sure: Sure) -> Iterator[tuple[Demand, Chance, str]]:
    """Every demand with its chance and whose it is; what stands on both hands of a pair alike comes once."""
    found = list(zip(sure.chances.demands, sure.chances.met, strict=True))
    seen: set[tuple[str, str, frozenset[str]]] = set()
    for demand, chance in found:
        key = (demand.kind, demand.name, demand.parts)
        twin = any(other is not demand and (other.kind, other.name, other.parts) == key for other, _ in found)
        if demand.kind == "joint" or not twin:
            label = demand.measures[0].on
            yield demand, chance, label
        elif key not in seen:
            seen.add(key)
            yield demand, chance, f"{' and '.join(sorted(demand.parts))}, both"


def _percent(chance: Chance) -> str:
    """A chance with its sampling error; one that never failed, or never came true, is no better known than that."""
    if chance.met in (0, chance.samples):
        return "always" if chance.met else "never"
    return f"{percent(chance.value)} ± {max(100 * chance.error, 0.01):.2f}"


def percent(value: float) -> str:
    """A chance as people read it; never 100 or 0 % but where nothing can move."""
    return f"{100 * value:.1f} %" if 0.001 <= value <= 0.999 else f"{100 * value:.2f} %"


def _points(sure: Sure) -> Table | None:
    chosen = [item for item in both(sure) if item[0].kind == "fit point"]
    if not chosen:
        return None
    say, stack, rows = sure.frame.say, sure.chances.stack, []
    for demand, chance, label in chosen:
        (row,), (measure,) = demand.rows, demand.measures
        rows.append((
            demand.name, label, say(measure.value), say((measure.high - measure.low) / 2),
            say(float(sure.chances.spread[row])), say(float(stack.spread[row])), say(float(stack.worst()[row])),
            _percent(chance),
        ))  # fmt: skip
    note = (
        "spread: one standard deviation in the samples; root sum square: the same added up to first order; worst "
        f"case: everything off by {LIMIT:g} standard deviations at once, the same way; always: in all "
        f"{sure.chances.samples} samples."
    )
    return Table(
        "Fit points: how far the gap spreads, and the chance that it is within tolerance",
        ("fit point", "part", "gap", "within", "spread", "root sum square", "worst case", "chance"), rows, [note],
    )  # fmt: skip


def _joints(sure: Sure) -> Table | None:
    chosen = [(demand, chance) for demand, chance, _ in both(sure) if demand.kind == "joint"]
    if not chosen:
        return None
    found, say, rows = sure.chances, sure.frame.say, []
    for demand, chance in chosen:
        gap, aside, up, tilt, lean, roll = (float(found.spread[row]) for row in demand.rows)
        angles = (f"{degrees(value):.2f}" for value in ((tilt**2 + lean**2) ** 0.5, roll))
        rows.append((demand.name, say(gap), say(aside), say(up), *angles, _percent(chance)))
    return Table(
        "Joints: how far the ends spread, and the chance that they meet within limits",
        ("between", "gap", "aside", "up", "angle", "roll", "chance"), rows, [],
    )  # fmt: skip


def _gaps(sure: Sure) -> Table | None:
    found, say = sure.chances, sure.frame.say
    chosen = [item for item in both(sure) if item[0].kind == "clearance"]
    if not chosen:
        return None
    chosen.sort(key=lambda item: (item[1].value, _margin(sure, item[0])))
    rows, notes = [], []
    for demand, chance, label in chosen[:SHOWN_GAPS]:
        (row,), (measure,) = demand.rows, demand.measures
        rows.append((
            demand.name, label, say(measure.value), say(measure.low), say(float(found.spread[row])), _percent(chance),
        ))  # fmt: skip
    if len(chosen) > SHOWN_GAPS:
        notes.append(f"{len(chosen) - SHOWN_GAPS} more are surer than these.")
    if not sure.gaps:
        notes.append("--exact-gaps holds the least sure of them against 2,000 exact samples.")
    for check in sure.gaps:
        notes.append(
            f"{check.name} to {check.on}: in {check.samples} exact samples the gap differs from first order by "
            f"{say(check.largest)} at most, in nineteen of twenty by less than {say(check.usual)}; the chance is "
            f"{percent(check.exact.value)} exactly and {percent(check.linear.value)} to first order."
        )
    return Table(
        "Shapes to keep clear: least gap to first order, and the chance that it is kept",
        ("shape", "part", "gap", "wanted", "spread", "chance"), rows, notes,
    )  # fmt: skip


def _margin(sure: Sure, demand: Demand) -> float:
    """How many standard deviations a shape is clear by."""
    (row,), (measure,) = demand.rows, demand.measures
    return (measure.value - measure.low) / max(float(sure.chances.spread[row]), 1e-9)


def rank_lines(sure: Sure) -> Iterator[str]:
    """The bends by how much of the spread they cause, the greatest first."""
    for place, one in enumerate(ranked(sure), start=1):
        yield (
            f"  {place}. bend {one.bend} of {one.part}: {100 * one.average:.0f} % of the spread on average, "
            f"{100 * one.most:.0f} % at {one.at}"
        )
    yield ""


def cause_lines(sure: Sure) -> Iterator[str]:
    """For each fit point and joint, which bends cause how much of its spread, the greatest first."""
    for demand, _, _ in both(sure):
        if demand.kind == "clearance":
            continue
        if not moving(sure, demand):
            yield f"  {demand.name}: stands on the datum and does not move"
            continue
        told = causes(sure, demand)
        told = told[:1] + [one for one in told[1:TOLD] if one["share"] >= SMALL]
        first, *rest = told
        says = f"{_cause(first, demand)} causes {_share(first)} of the spread at {demand.name}{_by(first)}"
        yield f"  {', '.join([says, *(f'{_cause(one, demand)} {_share(one)}{_by(one)}' for one in rest)])}"


def _share(one: Answer) -> str:
    return f"{100 * one['share']:.0f} %"


def _by(one: Answer) -> str:
    """By which field of a bend, where it is nearly all by one."""
    field, most = next(iter(one["fields"].items()))
    alone = one["owner"].startswith("bend") and most >= (1 - SMALL) * one["share"]
    return f" (by its {WORDS[field]})" if alone else ""


def _cause(one: Answer, demand: Demand) -> str:
    if one["part"] is None:
        return f"not knowing the {one['owner']} better"
    named = len(demand.parts) > 1
    return f"{one['owner']} of {one['part']}" if named else str(one["owner"])


def whole_lines(sure: Sure) -> Iterator[str]:
    """The chance that each pair, and everything, fits."""
    for name, chance in sure.chances.wholes.items():
        yield f"  {name}: {_percent(chance)} (of {chance.samples} samples)"
    never = [demand for demand, chance, _ in both(sure) if chance.met == 0]
    for demand in never:
        yield f"  {demand.name} is never met: it is missed as drawn; see railmodel check"
    if sure.spread.unknown:
        yield f"  Too good: nothing is known of {_unknown(sure)}, so none of it is in these chances."


def help_lines(sure: Sure) -> Iterator[str]:
    """The tolerances that would buy the most."""
    helps = [one for one in sure.what_ifs if one.average > 0][:HELPS]
    if sure.spread.unknown:
        yield f"  first of all, finding out how far off these come out: {_unknown(sure)}"
    elif not helps:
        yield "  nothing: all is as sure as it can be"
    for one in helps:
        gain = (
            f"everything fits in {percent(one.after)} instead of {percent(one.before)}"
            if one.after - one.before >= 0.0005
            else f"each check is met in {100 * one.average:.2f} more pieces of a hundred, on average"
        )
        yield f"  {_halved(one)}: {gain}"
    if helps:
        yield f"  (to first order, on {DRAWS} samples of their own: the chance before differs a little from the above)"


def _unknown(sure: Sure) -> str:
    return "; ".join(sure.spread.unknown)


def _halved(one: WhatIf) -> str:
    if one.common:
        return f"the {one.owner} known twice as well (more test bends)"
    field = WORDS[one.field]
    of = f" of {one.part}" if one.part else ""
    if one.owner == "cut length":
        return f"half the spread of the cut length{of}"
    return f"half the spread of the {field} at {one.owner}{of}"
