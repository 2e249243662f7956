"""What a die and a bender can hold: each limit a rule with its own name, the number found and the number needed."""

from collections.abc import Iterator
from math import degrees, pi
from typing import Literal

from railmodel.bending.grades import find_grade
from railmodel.bending.mark_out import MarkedBend, MarkOut
from railmodel.bending.strain import largest_angle_for_offset, smallest_offset, wall_after_bend
from railmodel.bending.work import shop_work
from railmodel.dies import RADIUS_SLACK, SIZE_SLACK, takes
from railmodel.findings import Finding, Level
from railmodel.frame import Frame
from railmodel.geometry.rows import wrap
from railmodel.geometry.section import Section
from railmodel.job.shop import Die
from railmodel.part import Way
from railmodel.tolerances import ANGLE, LENGTH


def _bends(frame: Frame) -> Iterator[tuple[MarkOut, MarkedBend, Die]]:
    """Every marked bend that has a die of the shop's."""
    dies = frame.shop.dies if frame.shop is not None else {}
    for marks in shop_work(frame).mark_outs:
        for marked in marks.bends:
            if marked.bend.die is not None and marked.bend.die in dies:
                yield marks, marked, dies[marked.bend.die]


def _finding(
    marks: MarkOut,
    rule: str,
    level: Level,
    says: str,
    found: float,
    needs: float,
    *,
    bend: int | None,
    unit: Literal["length", "angle", ""] = "length",
) -> Finding:
    part, line = marks.reading.part, marks.reading.line
    at = line.bends[bend - 1].start.at if bend else line.start.at
    return Finding(
        rule=rule, level=level, says=f"{part.label}: {says}", part=part.name, hand=part.hand, bend=bend,
        where=(float(at[0]), float(at[1]), float(at[2])), found=found, needs=needs,
        unit=unit,
    )  # fmt: skip


def grip(frame: Frame) -> Iterator[Finding]:
    """First straight against the grip of the first die: a trim makes up for what is missing."""
    for marks, marked, die in _bends(frame):
        first = float(marks.reading.line.rows.distance[0])
        if marked.bend.number != 1 or die.grip is None or first >= die.grip - LENGTH:
            continue
        says = (
            f"the straight before bend 1 is {frame.say(first)} and die {marked.bend.die} grips {frame.say(die.grip)}; "
            f"{frame.say(marks.trim_lead)} is added at the leading end, to be cut off after bending"
        )
        yield _finding(marks, "grip", "warn", says, first, die.grip, bend=1)


def tail(frame: Frame) -> Iterator[Finding]:
    """Last straight against the tail the last die needs: a trim makes up for what is missing."""
    for marks, marked, die in _bends(frame):
        last = float(marks.reading.line.rows.tail)
        if marked.bend.number != len(marks.bends) or die.tail is None or last >= die.tail - LENGTH:
            continue
        says = (
            f"the tail behind bend {marked.bend.number} is {frame.say(last)} and die {marked.bend.die} needs "
            f"{frame.say(die.tail)}; {frame.say(marks.trim_tail)} is added at the tail, to be cut off after bending"
        )
        yield _finding(marks, "tail", "warn", says, last, die.tail, bend=marked.bend.number)


def between(frame: Frame) -> Iterator[Finding]:
    """Straights between bends against what the die needs to grip there."""
    for marks, marked, die in _bends(frame):
        if marked.bend.number == 1 or die.between is None:
            continue
        found = float(marks.reading.line.rows.distance[marked.bend.number - 1])
        if found >= die.between - LENGTH or found < -LENGTH:  # a negative one is named as an overlap
            continue
        says = (
            f"the straight between bends {marked.bend.number - 1} and {marked.bend.number} is {frame.say(found)}, and "
            f"die {marked.bend.die} needs {frame.say(die.between)}; move the bends {frame.say(die.between - found)} "
            "further apart, or bend it on another die"
        )
        yield _finding(marks, "between", "stop", says, found, die.between, bend=marked.bend.number)


def greatest_angle(frame: Frame) -> Iterator[Finding]:
    """Set angle, springback included, against what the die can turn."""
    for marks, marked, die in _bends(frame):
        if die.max_angle is None or marked.set_angle <= die.max_angle + ANGLE:
            continue
        says = (
            f"bend {marked.bend.number} must be set to {degrees(marked.set_angle):.1f} degrees for "
            f"{degrees(marked.finished_angle):.1f} finished, and die {marked.bend.die} turns "
            f"{degrees(die.max_angle):.1f} at most; split the bend in two or use another die"
        )
        yield _finding(
            marks, "max angle", "stop", says, marked.set_angle, die.max_angle, bend=marked.bend.number, unit="angle"
        )


def die_fits(frame: Frame) -> Iterator[Finding]:
    """Dies named for a bend they cannot make: another tube size, the other way, or another radius."""
    for marks, marked, die in _bends(frame):
        bend, section = marked.bend, marks.reading.part.section
        radius = float(marks.reading.line.rows.radius[bend.number - 1])
        size = f"{frame.say(section.height)} x {frame.say(section.width)}"
        if not takes(die, section, bend.way):
            says = (
                f"bend {bend.number} goes toward {bend.toward}, the {bend.way} way of a {size} tube, and die "
                f"{bend.die} bends {frame.say(die.height)} x {frame.say(die.width)} the {die.way} way; name a die "
                "that fits, or none and the program picks one"
            )
            yield _finding(marks, "die", "stop", says, *_misfit(die, section, bend.way), bend=bend.number)
        elif abs(radius - die.radius) > RADIUS_SLACK:
            says = (
                f"bend {bend.number} has a radius of {frame.say(radius)} and die {bend.die} makes "
                f"{frame.say(die.radius)}; take the radius out, or name another die"
            )
            yield _finding(marks, "die radius", "stop", says, radius, die.radius, bend=bend.number)


def _misfit(die: Die, section: Section, way: Way) -> tuple[float, float]:
    """The tube's measure that a die does not take, and the die's own, mm; for a wrong way the depth it bends."""
    pairs = [(section.height, die.height), (section.width, die.width)]
    found, needs = max(pairs, key=lambda pair: abs(pair[0] - pair[1]))
    if abs(found - needs) > SIZE_SLACK:
        return found, needs
    deep = {"hard": max, "easy": min}
    return deep[way](section.height, section.width), deep[die.way](die.height, die.width)


def round_tubes(frame: Frame) -> Iterator[Finding]:
    """Round tubes with bends: dies, faces and marks here are those of flat-sided tube."""
    for marks in shop_work(frame).mark_outs:
        size = marks.reading.part.section
        if marks.bends and size.round:
            says = (
                f"its tube is round, {frame.say(size.width)} across, and only flat-sided tube can be planned with "
                "bends; write it straight, or of a tube with height and width"
            )
            yield _finding(marks, "round tube", "stop", says, size.corner, 0.0, bend=1)


def no_die(frame: Frame) -> Iterator[Finding]:
    """Bends with a radius of their own that no die of the shop makes."""
    if frame.shop is None or not frame.shop.dies:
        return
    for marks in shop_work(frame).mark_outs:
        section = marks.reading.part.section
        for marked in marks.bends:
            bend = marked.bend
            if bend.die is not None:
                continue
            radius = float(marks.reading.line.rows.radius[bend.number - 1])
            radii = [die.radius for die in frame.shop.dies.values() if takes(die, section, bend.way)]
            nearest = min(radii, key=lambda own: abs(own - radius), default=None)
            cure = (
                "have another shop bend it or add a die"
                if nearest is None
                else f"the nearest for this tube and way is {frame.say(nearest)}"
            )
            wanted = f"bend {bend.number}, the {bend.way} way at a radius of {frame.say(radius)},"
            says = f"{wanted} has no die in this shop; {cure}"
            needs = radius if nearest is None else nearest
            yield _finding(marks, "no die", "stop", says, radius, needs, bend=bend.number)


def mandrel_reach(frame: Frame) -> Iterator[Finding]:
    """The longest piece behind the die, at the first bend, against the mandrel rod."""
    reach = frame.shop.bender.mandrel_reach if frame.shop is not None else None
    if reach is None:
        return
    for marks in shop_work(frame).mark_outs:
        if not marks.bends:
            continue
        behind = marks.cut_length - marks.bends[0].mark
        if behind > reach + LENGTH:
            says = (
                f"{frame.say(behind)} of tube lies behind the first bend, and the mandrel reaches {frame.say(reach)}; "
                "lead with the other end, or make the part of two pieces"
            )
            yield _finding(marks, "mandrel reach", "stop", says, behind, reach, bend=1)


def stock_length(frame: Frame) -> Iterator[Finding]:
    """Pieces longer than any stick the shop has or buys."""
    for marks in shop_work(frame).mark_outs:
        part = marks.reading.part
        sticks = frame.shop.stock if frame.shop is not None else ()
        usable = [stock.length - stock.end_trim for stock in sticks if stock.tube == part.tube and stock.count != 0]
        longest = max(usable, default=None)
        if longest is None or marks.cut_length <= longest + LENGTH:
            continue
        says = (
            f"the cut length is {frame.say(marks.cut_length)} and the longest stick of tube {part.tube} gives "
            f"{frame.say(longest)}; order longer tube or make the part of two pieces"
        )
        yield _finding(marks, "stock", "stop", says, marks.cut_length, longest, bend=None)


def strain(frame: Frame) -> Iterator[Finding]:
    """Stretch of the outside wall against the least elongation the grade's standard promises: a warning, never more."""
    for marks in shop_work(frame).mark_outs:
        part = marks.reading.part
        grade = find_grade(part.grade) if part.grade else None
        section = part.section
        least = grade.least_elongation(section.wall, section.height, section.width) if grade else None
        if grade is None or least is None:
            continue
        worst: tuple[float, MarkedBend] | None = None
        for marked in marks.bends:
            radius, depth = _radius_and_depth(marks, marked)
            if depth / 2 < radius:
                outer = wall_after_bend(depth=depth, wall=section.wall, radius=radius).outer_strain
                if worst is None or outer > worst[0]:
                    worst = (outer, marked)
        if worst is None or worst[0] <= least:
            continue
        says = (
            f"bend {worst[1].bend.number} stretches the outside wall by about {worst[0]:.1%} and {grade.name} of this "
            f"wall promises {least:.0%} ({grade.standard}); look at the mill certificate, keep the seam off the "
            "outside, check for cracks"
        )
        yield _finding(marks, "strain", "warn", says, worst[0], least, bend=worst[1].bend.number, unit="")


def wall(frame: Frame) -> Iterator[Finding]:
    """Estimated wall outside and inside each part's tightest bend."""
    for marks in shop_work(frame).mark_outs:
        section = marks.reading.part.section
        sharp = []
        for marked in marks.bends:
            radius, depth = _radius_and_depth(marks, marked)
            if radius > depth / 2:
                sharp.append((radius / depth, marked))
        if not sharp:
            continue
        marked = min(sharp, key=lambda item: item[0])[1]
        radius, depth = _radius_and_depth(marks, marked)
        after = wall_after_bend(depth=depth, wall=section.wall, radius=radius)
        says = (
            f"at its tightest bend ({marked.bend.number}) the wall of {frame.say(section.wall)} becomes about "
            f"{frame.say(after.outer_wall)} outside and {frame.say(after.inner_wall)} inside (geometric estimate)"
        )
        yield _finding(marks, "wall", "note", says, after.outer_wall, section.wall, bend=marked.bend.number)


def small_offset(frame: Frame) -> Iterator[Finding]:
    """Offsets smaller than the die can make: two equal opposite bends with too little between them."""
    for marks, marked, die in _bends(frame):
        number, rows = marked.bend.number, marks.reading.line.rows
        if number == 1 or die.between is None:
            continue
        angle, before = float(rows.angle[number - 1]), float(rows.angle[number - 2])
        opposite = abs(abs(float(wrap(rows.rotation[number - 1]))) - pi) <= ANGLE
        gap = float(rows.distance[number - 1])
        if not opposite or abs(angle - before) > 1e-6 or gap >= die.between - LENGTH or angle > pi / 2:
            continue
        radius = float(rows.radius[number - 1])
        by = smallest_offset(radius=radius, between=gap, angle=angle)
        least = smallest_offset(radius=radius, between=die.between, angle=angle)
        gentler = largest_angle_for_offset(radius=radius, between=die.between, offset=by) if by > 0 else 0.0
        cure = f", or at most {degrees(gentler):.1f} degrees" if gentler > ANGLE else ""
        says = (
            f"bends {number - 1} and {number} step the rail over by {frame.say(by)} at {degrees(angle):.1f} degrees, "
            f"and die {marked.bend.die} can make no less than {frame.say(least)} at that angle; "
            f"make the step larger{cure}"
        )
        yield _finding(marks, "offset", "stop", says, by, least, bend=number)


def _radius_and_depth(marks: MarkOut, marked: MarkedBend) -> tuple[float, float]:
    radius = float(marks.reading.line.rows.radius[marked.bend.number - 1])
    return radius, marks.reading.part.depth_toward(marked.bend.toward)


def unknown_limits(frame: Frame) -> Iterator[Finding]:
    """What cannot be checked because the job or the shop file does not say it."""
    used = {marked.bend.die for marks in shop_work(frame).mark_outs for marked in marks.bends}
    if frame.shop is None:
        says = (
            "the job names no shop file, so grip, tail and dies are not checked, and faces and turns are those of a "
            "bender that bends clockwise; add shop: to the job"
        )
        yield Finding(rule="shop", level="note", says=says)
        return
    if used and "bends" not in frame.shop.bender.model_fields_set:
        says = (
            "the shop file does not say which way its bender bends (bender: bends), and clockwise seen from above is "
            "taken; on the other kind every face up and every turn of the plan is wrong"
        )
        yield Finding(rule="shop", level="warn", says=says)
    if used and not frame.shop.dies:
        says = "the shop file lists no dies, so grip, tail, greatest angle and fit are not checked; add dies: to it"
        yield Finding(rule="shop", level="note", says=says)
    for name, die in frame.shop.dies.items():
        missing = [key for key in ("grip", "between", "tail", "max_angle") if getattr(die, key) is None]
        if name in used and missing:
            says = f"die {name} does not say its {', '.join(missing)}; what depends on them is not checked"
            yield Finding(rule="shop", level="note", says=says)


def sums(frame: Frame) -> Iterator[Finding]:
    """The sheet's own sum: last mark + tube use + tail = cut length."""
    for marks in shop_work(frame).mark_outs:
        if not abs(marks.sum_check) <= 1e-9 * max(1.0, marks.cut_length):
            says = f"the marks do not add up to the cut length by {marks.sum_check:g} mm; do not use this sheet"
            yield _finding(marks, "sum", "stop", says, marks.sum_check, 0.0, bend=None)


def springback_record(frame: Frame) -> Iterator[Finding]:
    """What the record of test bends and its fits have to say."""
    yield from shop_work(frame).findings


def seams(frame: Frame) -> Iterator[Finding]:
    """Seams where the mill does not weld, on a face the part does not have, or on a stretched wall."""
    for orders in shop_work(frame).orders:
        yield from orders.findings
