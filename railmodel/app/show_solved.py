"""What `fit` shows a person: values, wishes and fights before and after, and the changed lines of the job file."""

from collections.abc import Iterator
from difflib import unified_diff
from math import degrees, inf

from railmodel.app.fit_answer import Measured, ends, measured, misses, values
from railmodel.app.printed import grid, printer
from railmodel.fitting.conflict import Conflict
from railmodel.fitting.solve_job import Solved
from railmodel.fitting.wishes import Wish
from railmodel.units import Unit, format_decimal, format_tape

QUIET = ("straight", "angle", "offset", "fit place", "roll")
"""Kinds of wishes that are only counted as long as they are met."""


def show_solved(solved: Solved, step: float | None, *, asked: bool, stored: bool) -> None:
    """Print the answer.

    Args:
        solved: the job solved.
        step: step on which angles were to land, degrees.
        asked: whether it was to be stored.
        stored: whether it was.
    """
    from rich.text import Text

    console, unit = printer(), solved.source.job.units
    console.print(Text(f"{solved.source.job.job}, revision {solved.source.job.revision or '-'}", style="bold"))
    table = grid("part", "value", "range", "before", "after")
    for one in values(solved):
        spans = f"{_number(one['low'], one['unit'])} to {_number(one['high'], one['unit'])}"
        after = _value(solved, one["after"], one["unit"]) if one["changed"] else "as it is"
        before = _value(solved, one["before"], one["unit"])
        table.add_row(*(Text(cell) for cell in (one["part"], one["value"], spans, before, after)))
    console.print(table)
    found = measured(solved)
    spoken = [one for one in found if one.wish.rule not in QUIET or not (one.ok and one.was_ok)]
    table = grid("wish", "allowed", "before", "after", "")
    for each in spoken:
        wish, word = each.wish, "met" if each.ok else "MISSED"
        cells = (wish.name, allowed(wish, unit), _say(each.before, wish, unit), _say(each.after, wish, unit), word)
        table.add_row(*(Text(cell) for cell in cells))
    if spoken:
        console.print(table)
    if len(found) > len(spoken):
        console.print(Text(f"{len(found) - len(spoken)} limits of straights, angles and feet were met and still are."))
    for line in verdict(solved, found, step, asked=asked, stored=stored):
        console.print(Text(line), soft_wrap=True)


def verdict(solved: Solved, found: list[Measured], step: float | None, *, asked: bool, stored: bool) -> Iterator[str]:
    """What it comes to, line by line; the changed lines of the job file last, where they were stored."""
    name = solved.source.path.name
    for conflict in solved.conflicts:
        yield from _fight(solved, conflict)
    if not solved.answer.ok:
        if not solved.conflicts:
            missed = sum(not one.ok for one in found)
            yield f"{missed} wishes are missed at the best shape found; try more starts with --starts."
        yield f"The values above miss the wishes least; {name} was left as it was."
        return
    if solved.landed is False:
        yield f"No shape was found that meets every wish with its angles on steps of {step:g} degrees; these are exact."
        if asked:
            yield f"{name} was left as it was."
    elif not solved.changes:
        yield "Every wish is met by the job as it is written; nothing changes."
    elif stored:
        yield f"Every wish is met. {name} now holds the new values:"
        yield from diff(solved)
    else:
        yield f"Every wish is met. railmodel fit {name} --write stores the values."


def _fight(solved: Solved, conflict: Conflict) -> Iterator[str]:
    missed, unit = misses(solved, conflict), solved.source.job.units
    if len(missed) == 1:
        yield "This wish cannot be met within the ranges that are free; at best it is missed by:"
    else:
        yield (
            f"These {len(missed)} wishes cannot all be met; without any one of them the others can. At best they are "
            "missed by:"
        )
    for wish, miss in missed:
        yield f"  {_quantity(miss, wish, unit)}  {wish.name} ({allowed(wish, unit)})"
    at_end = [f"{free.part} {free.words} is at the {end} end of its range" for free, end in ends(solved, conflict)]
    if at_end:
        yield f"  A wider range would help: {'; '.join(at_end)}."


def diff(solved: Solved) -> list[str]:
    """The changed lines of the job file, as a unified diff."""
    name = solved.source.path.name
    old, new = solved.source.text.splitlines(), solved.text.splitlines()
    return list(unified_diff(old, new, f"{name} (before)", f"{name} (now)", lineterm="", n=1))


def allowed(wish: Wish, unit: Unit) -> str:
    """What a wish allows, in words."""
    low, high = wish.low, wish.high
    if low == high:
        return "none" if low == 0 else _quantity(low, wish, unit)
    if high == inf:
        return f"at least {_quantity(low, wish, unit)}"
    if low == -high:
        return f"at most {_quantity(high, wish, unit)}"
    return f"{_quantity(low, wish, unit)} to {_quantity(high, wish, unit)}"


def _say(value: float | None, wish: Wish, unit: Unit) -> str:
    return "-" if value is None else _quantity(value, wish, unit)


def _quantity(value: float, wish: Wish, unit: Unit) -> str:
    if wish.unit == "angle":
        return f"{round(degrees(value), 2) + 0.0:.2f} deg"
    return f"{format_decimal(value, unit)} {unit}"


def _number(value: float, unit: str) -> str:
    return f"{value:.4g}" if unit == "deg" else f"{value:.4f}".rstrip("0").rstrip(".")


def _value(solved: Solved, value: float, unit: str) -> str:
    """A free value in words: decimals, and for inches the mark of the tape."""
    if unit == "deg":
        return f"{value:.3f}".rstrip("0").rstrip(".") + " deg"
    if unit == "mm":
        return f"{_number(value, unit)} mm"
    step = solved.source.shop.tape_step if solved.source.shop is not None else 16
    tape = format_tape(value * 25.4, step)
    return tape if abs(value * step - round(value * step)) < 1e-6 else f"{value:.4f} in ({tape})"
