"""How the job fits, as tables to read: fit points, least gaps, joints, and what to measure with a tape."""

from math import degrees, isinf
from typing import TYPE_CHECKING

from rich.text import Text

from railmodel.app.printed import grid
from railmodel.fitting.clear_job import describe, tightest
from railmodel.fitting.fit_job import Fit, feet_of, fit_work
from railmodel.fitting.tape import SKEW, tape_checks
from railmodel.frame import Frame

if TYPE_CHECKING:
    from rich.console import Console


def show_fit(frame: Frame, console: "Console") -> None:
    """Print the fit report; nothing where the job asks for nothing."""
    _fit_points(frame, console)
    _joints(frame, console)
    _gaps(frame, console)


def _fit_points(frame: Frame, console: "Console") -> None:
    fits = fit_work(frame).fits
    if not fits:
        return
    console.print(Text("Fit points, measured square to the face", style="bold"))
    table = grid("fit point", "part", "face", "gap", "wanted", "station X", "stands on", "rolled", "")
    for fit in fits:
        wanted = f"{frame.say(fit.point.gap.want)} within {frame.say(fit.point.gap.within)}"
        cells = (
            fit.point.name, fit.part.label, fit.point.to.face, frame.say(fit.foot.gap), wanted,
            frame.say(float(fit.foot.at[0])), _stands(frame, fit), _rolled(frame, fit), "fits" if fit.ok else "MISSED",
        )  # fmt: skip
        table.add_row(*(Text(cell) for cell in cells))
    console.print(table)


def _stands(frame: Frame, fit: Fit) -> str:
    """On which straight or bend of its part, as the part's table counts them."""
    foot, number = fit.foot, fit.foot.number
    if fit.part.leading_end == "rear":
        number = fit.part.line.rows.count + (foot.kind == "bend") - number
    if foot.kind == "bend":
        return f"bend {number}"
    away = "" if isinf(foot.from_bend) else f", {frame.say(foot.from_bend)} from a bend"
    return f"straight {number}{away}"


def _rolled(frame: Frame, fit: Fit) -> str:
    roll, width = fit.foot.roll, fit.point.width
    if roll is None:
        return "upright"
    if abs(degrees(roll)) < 0.005:
        return "no"
    wedge = fit.foot.wedge(width) if width is not None else None
    over = "" if wedge is None or width is None else f", wedge {frame.say(wedge)} over {frame.say(width)}"
    return f"{degrees(roll):+.2f} degrees{over}"


def _joints(frame: Frame, console: "Console") -> None:
    joints = fit_work(frame).joints
    if not joints:
        return
    console.print(Text("Joints", style="bold"))
    table = grid("between", "gap", "offset", "angle", "roll", "")
    for joined in joints:
        found = joined.found
        cells = (
            f"{joined.names[0]} and {joined.names[1]}", frame.say(found.gap), frame.say(found.offset),
            f"{degrees(found.angle):.2f}", f"{degrees(found.roll):.2f}", "meets" if joined.ok else "DOES NOT MEET",
        )  # fmt: skip
        table.add_row(*(Text(cell) for cell in cells))
    console.print(table)


def _gaps(frame: Frame, console: "Console") -> None:
    gaps = tightest(frame)
    if not gaps:
        return
    console.print(Text("Least gap to each shape over its whole travel", style="bold"))
    table = grid("shape", "nearest part", "gap", "wanted", "when", "")
    for gap, needs in gaps:
        state = "RUNS INTO IT" if gap.gap < 0 else "TOO NEAR" if gap.gap < needs else "clear"
        when = describe(frame, gap.at).removeprefix(" with the shape ") or "as drawn"
        cells = (gap.shape, gap.part, frame.say(gap.gap), frame.say(needs), when, state)
        table.add_row(*(Text(cell) for cell in cells))
    console.print(table)


def show_tape(frame: Frame, console: "Console") -> None:
    """Print which distances prove each pair right with a tape measure."""
    for check in tape_checks(frame, feet_of(frame)):
        console.print(Text(f"Tape check of the {check.part} pair", style="bold"))
        table = grid("what", "from", "to", "distance")
        for line in check.lines:
            start, end = (f"{spot.hand} {spot.name}" for spot in (line.start, line.end))
            table.add_row(*(Text(cell) for cell in (line.kind, start, end, frame.mark(line.distance))))
        console.print(table)
        skew = (
            f"One rail {frame.say(SKEW)} ahead of the other makes the long diagonals differ by "
            f"{frame.say(check.diagonal_difference)}. Equal diagonals alone do not prove the pair square: measure the "
            "widths too, and look for twist with a level."
        )
        console.print(Text(skew))
