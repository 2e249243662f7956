"""The screening of a frame as tables to read."""

from math import radians
from typing import TYPE_CHECKING

from rich.text import Text

from railmodel.app.printed import grid
from railmodel.bending.grades import KSI
from railmodel.frame import Frame
from railmodel.job.mass import FOOT_POUND, GRAVITY, POUND
from railmodel.loading.carry import DEFER, LEFT_OUT, SCREENING, CaseResult, PartStress, Place, Screening

if TYPE_CHECKING:
    from rich.console import Console


def show_carry(frame: Frame, screening: Screening, console: "Console") -> None:
    """Print the screening."""
    console.print(Text(f"{frame.job.job}, revision {frame.job.revision or '-'}: what the frame carries", style="bold"))
    console.print(Text(SCREENING, style="bold"))
    carried = ", ".join(f"{name} {say_mass(frame, mass)}" for name, mass in screening.masses)
    plates = "".join(f", {count} x {name} of {say_mass(frame, mass)}" for name, count, mass in screening.plates)
    console.print(Text(f"Carried: {carried or 'its own weight only'}; and the tubes' own weight{plates}."))
    for plate in screening.left_out:
        told = f"Not carried: {plate.count} x {plate.name}, {say_mass(frame, plate.mass)} each: {plate.why}."
        console.print(Text(told))
    for label in screening.loose:
        console.print(Text(f"Left out: {label}, which is joined to nothing that is held up."))
    _cases(frame, screening, console)
    _reactions(frame, screening, console)
    _worst(frame, screening, console)
    console.print()
    console.print(Text("Not looked at", style="bold"))
    for line in LEFT_OUT:
        console.print(Text(f"  - {line}"))
    console.print(Text(DEFER, style="bold"))


def say_mass(frame: Frame, mass: float) -> str:
    """A mass in the unit that goes with the job's."""
    return f"{mass / POUND:.1f} lb" if frame.unit == "in" else f"{mass:.1f} kg"


def say_stress(stress: float) -> str:
    """A stress in both units."""
    return f"{stress:.0f} MPa ({stress / KSI:.1f} ksi)"


def say_place(frame: Frame, place: Place) -> str:
    """Where a place is, in words."""
    side = "inside" if place.inside else "outside"
    spot = "on a straight" if place.bend is None else f"{side} of bend {place.bend}"
    x, y, z = (frame.say(value) for value in place.at)
    return f"{place.label}, {spot}, {frame.say(place.station)} from the front end (X {x}, Y {y}, Z {z})"


def _cases(frame: Frame, screening: Screening, console: "Console") -> None:
    table = grid("case", "hardest worked", "stress", "of yield", "moves by", "at")
    for result in screening.results:
        worst = result.worst
        table.add_row(*(
            Text(cell)
            for cell in (
                result.case.name, _short(frame, worst), say_stress(worst.stress), _share(worst),
                frame.say(result.moved), result.moved_at.label,
            )
        ))  # fmt: skip
    console.print(table)
    for result in screening.results:
        console.print(Text(f"  {result.case.name}: {result.case.says}"))
    for result in screening.results:
        part = result.unjudged
        if part is not None:
            console.print(Text(
                f"  {result.case.name}: {_short(frame, part)} has more, {say_stress(part.stress)}, of a grade not known"
            ))  # fmt: skip


def _short(frame: Frame, worst: PartStress) -> str:
    place = worst.place
    spot = "" if place.bend is None else f", bend {place.bend} {'inside' if place.inside else 'outside'}"
    return f"{place.label}{spot}, X {frame.say(place.at[0])}"


def _share(worst: PartStress) -> str:
    return "grade not known" if worst.share is None else f"{worst.share:.0%}"


def _reactions(frame: Frame, screening: Screening, console: "Console") -> None:
    table = grid("case", *(f"on {reaction.rest.name}" for reaction in screening.results[0].reactions))
    names = [reaction.rest.name for reaction in screening.results[0].reactions]
    for result in screening.results:
        cells = {reaction.rest.name: _force(frame, result, i) for i, reaction in enumerate(result.reactions)}
        table.add_row(Text(result.case.name), *(Text(cells.get(name, "-")) for name in names))
    console.print(table)
    for result in screening.results:
        for reaction in result.reactions:
            for what, force in result.held_down(reaction):
                who = f"the {what} of {reaction.rest.name}" if what else reaction.rest.name
                console.print(Text(
                    f"  {result.case.name}: {who} would have to be held down with {say_force(frame, force)}; where "
                    "nothing holds it down it lifts, and what is said of this case does not hold"
                ))  # fmt: skip


def say_force(frame: Frame, value: float) -> str:
    """A force in the unit that goes with the job's."""
    return f"{value / (POUND * GRAVITY):.0f} lbf" if frame.unit == "in" else f"{value:.0f} N"


def _force(frame: Frame, result: CaseResult, number: int) -> str:
    reaction = result.reactions[number]
    inch = frame.unit == "in"
    words = []
    ways = (
        (reaction.up, "up", "down"), (reaction.along, "rearward", "forward"),
        (reaction.across, "to the right", "to the left"),
    )  # fmt: skip
    for value, ahead, back in ways:
        if abs(value) > 0.5:
            words.append(f"{say_force(frame, abs(value))} {ahead if value > 0 else back}")
    turn = reaction.roll / 1000
    if abs(turn) > 0.5:
        words.append(f"{turn / FOOT_POUND:.0f} ft lb roll" if inch else f"{turn:.0f} N m roll")
    return ", ".join(words) or "nothing"


def _worst(frame: Frame, screening: Screening, console: "Console") -> None:
    governing, shown = screening.governing, screening.convergence
    worst = governing.worst
    against = (
        "whose grade is not known"
        if worst.yield_stress is None
        else (f"against a least yield of {say_stress(worst.yield_stress)}: {_share(worst)}")
    )
    console.print(Text(f"Worst place: {say_place(frame, worst.place)}", style="bold"))
    factor = "" if worst.curved is None else f" (curved-beam factor {worst.curved:.2f}, outer wall thinned)"
    console.print(Text(f"  {governing.case.name}: {say_stress(worst.stress)}{factor} {against}"))
    if screening.unjudged is not None:
        result, part = screening.unjudged
        console.print(Text(
            f"Not judged: {say_place(frame, part.place)}: {result.case.name}: {say_stress(part.stress)}, more than at "
            "the worst place, and the grade is not known; give its tube a grade"
        ), style="bold")  # fmt: skip
    if screening.stiffness is not None and screening.between is not None:
        metric = screening.stiffness * radians(1)
        first, last = screening.between
        says = f"Torsional stiffness from {first} to {last}: {metric:.0f} N·m/deg, {metric / FOOT_POUND:.0f} ft·lb/deg"
        console.print(Text(says, style="bold"))
    stiffness = "" if shown.stiffness is None else f", the stiffness by {shown.stiffness:+.2%}"
    console.print(Text(
        f"Cut into {shown.pieces} pieces; {shown.coarser} pieces twice as large change the worst stress by "
        f"{shown.stress:+.2%}, the movement by {shown.moved:+.2%}{stiffness}."
    ))  # fmt: skip
