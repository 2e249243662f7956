"""Which die bends what: a die takes one tube size one way, on one radius."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from railmodel.geometry.rows import Array
from railmodel.geometry.section import Section
from railmodel.job.shop import Die, Shop
from railmodel.part import Way
from railmodel.tolerances import LENGTH

SIZE_SLACK = 0.3
"""Tube and die count as one size within this, mm: 3 in and 76 mm are, 2 in and 50 mm are not."""

RADIUS_SLACK = 0.05
"""A radius given outright is a die's within this, mm."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """What a job says of a bend's tooling; at least one of the two may be missing.

    Args:
        way: the way it bends.
        radius: finished centreline radius, mm, if given outright.
        die: name of the die, if named.
    """

    way: Way
    radius: float | None = None
    die: str | None = None


@dataclass(frozen=True, slots=True)
class Chosen:
    """A bend's radius (mm) and its die; the die is None where the shop has none, the radius where nothing fits."""

    radius: float | None
    die: str | None


def takes(die: Die, section: Section, way: Way) -> bool:
    """Whether a die takes a section the given way. Square tube counts as hard, and either way fits it."""
    square = abs(section.height - section.width) <= SIZE_SLACK
    return (
        abs(die.height - section.height) <= SIZE_SLACK
        and abs(die.width - section.width) <= SIZE_SLACK
        and (die.way == way or square)
    )


def choose_dies(
    wanted: Sequence[Wanted], section: Section, shop: Shop | None, straights: Callable[[list[float]], Array]
) -> list[Chosen]:
    """Radius and die of every bend of one part.

    A radius given outright holds; else the named die's. Where the job names neither, the shop's dies for that size
    and way are tried from the largest radius (the gentlest on the wall) to the smallest, one for all such bends of a
    way, and the first that leaves room for its grip, the next straight and the tail is taken; where none does, the
    smallest.

    Args:
        wanted: what the job says, a bend each.
        section: the tube.
        shop: the shop, if the job names one.
        straights: the part's straights (n + 1,) for a radius at each bend, mm.
    """
    dies = shop.dies if shop is not None else {}
    chosen = [_named(want, section, dies) for want in wanted]
    for way in ("hard", "easy"):
        open_bends = [i for i, want in enumerate(wanted) if chosen[i].radius is None and want.way == way]
        fitting = sorted(
            ((name, die) for name, die in dies.items() if takes(die, section, way)), key=lambda item: -item[1].radius
        )
        if not open_bends or not fitting:
            continue
        for name, die in fitting:
            trial = list(chosen)
            for i in open_bends:
                trial[i] = Chosen(die.radius, name)
            if _has_room(trial, dies, straights):
                break
        chosen = trial
    return chosen


def _named(want: Wanted, section: Section, dies: dict[str, Die]) -> Chosen:
    if want.die is not None:
        return Chosen(want.radius if want.radius is not None else dies[want.die].radius, want.die)
    if want.radius is None:
        return Chosen(None, None)
    for name, die in dies.items():
        if takes(die, section, want.way) and abs(die.radius - want.radius) <= RADIUS_SLACK:
            return Chosen(want.radius, name)
    return Chosen(want.radius, None)


def _has_room(chosen: Sequence[Chosen], dies: dict[str, Die], straights: Callable[[list[float]], Array]) -> bool:
    """Whether every straight holds what the dies beside it need; bends still open count as sharp corners."""
    found = straights([choice.radius or 0.0 for choice in chosen])
    needs = np.zeros(len(chosen) + 1)
    for i, choice in enumerate(chosen):
        die = dies.get(choice.die or "")
        if die is None:
            continue
        needs[i] = (die.grip if i == 0 else die.between) or 0.0
        if i == len(chosen) - 1:
            needs[-1] = die.tail or 0.0
    return bool(np.all(found >= needs - LENGTH))


def why_none(section: Section, way: Way, shop: Shop | None, say: Callable[[float], str]) -> str:
    """Why no die can be chosen for a bend, and what to do."""
    if shop is None:
        return "it has neither a radius nor a die, and the job names no shop file; give radius: where it is written"
    size = f"{say(section.height)} x {say(section.width)}"
    owned = "; ".join(
        f"{name} takes {say(die.height)} x {say(die.width)} the {die.way} way" for name, die in shop.dies.items()
    )
    return (
        f"the shop has no die that bends {size} tube the {way} way ({owned or 'it lists no dies'}); "
        "give radius: where the bend is written, or add the die to the shop file"
    )
