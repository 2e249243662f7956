"""Every part of a job rehearsed from both ends on the shop's bender, with the job's own tools and trims."""

from collections.abc import Iterator, Sequence
from functools import lru_cache

from railmodel.bending.machine import Machine
from railmodel.bending.mark_out import MarkOut
from railmodel.bending.rehearsal import BothEnds, Rehearsal, Tooling, rehearse_both
from railmodel.bending.work import mark_from, shop_work
from railmodel.findings import Finding, Level
from railmodel.frame import Frame
from railmodel.part import End, RailPart
from railmodel.tolerances import LENGTH


@lru_cache(maxsize=8)
def rehearsals(frame: Frame) -> tuple[BothEnds, ...]:
    """Both ends of every part that has bends and can be bent at all; none without a bender."""
    if frame.shop is None:
        return ()
    machine = Machine.of(frame.shop.bender)
    if machine.centreline_height is None and not machine.solids:
        return ()
    return tuple(
        rehearse_both(
            part, machine, {end: _tooling(frame, mark_from(frame, part, end)) for end in ("front", "rear")}, frame.say
        )
        for part in frame.parts
        if bendable(part)
    )


def bendable(part: RailPart) -> bool:
    """Whether a part has bends, none overlapping and none tighter than the tube is deep."""
    line = part.line
    return (
        line.rows.count > 0
        and bool((line.rows.straights >= -LENGTH).all())
        and all(bend.radius > part.section.reach(bend.roll) + LENGTH for bend in line.bends)
    )


def chosen(both: BothEnds) -> Rehearsal:
    """The rehearsal of the end the part is led with."""
    return both.front if both.front.reading.part.leading_end == "front" else both.rear


def _tooling(frame: Frame, marks: MarkOut) -> Tooling:
    assert frame.shop is not None
    angles = tuple(marked.set_angle for marked in marks.bends)
    return Tooling.of(marks.reading, frame.shop.dies, angles, (marks.trim_lead, marks.trim_tail))


def rehearsal_findings(frame: Frame) -> Iterator[Finding]:
    """Steps that touch something, and whether the other end would do better (for both hands of a pair)."""
    for both in rehearsals(frame):
        yield from chosen(both).findings(frame.say)
    for written in frame.job.parts:
        own = [both for both in rehearsals(frame) if both.front.reading.part.name == written.name]
        better = better_end(own)
        if better is None:
            continue
        level: Level = "note" if all(chosen(both).ok for both in own) else "warn"
        says = f"{own[0].why}; set leading_end: {better} (railmodel plan JOB --write does it)"
        yield Finding(rule="leading end", level=level, says=says, part=written.name)


def better_end(hands: Sequence[BothEnds]) -> End | None:
    """The end that does better than the one a part is led with, for every hand of it; None where there is none."""
    best = {both.best for both in hands}
    if len(best) != 1:
        return None
    end = next(iter(best))
    return None if end == hands[0].front.reading.part.leading_end else end


def rehearsal_gaps(frame: Frame) -> Iterator[Finding]:
    """What the rehearsal could not look at."""
    if frame.shop is None or not any(marks.bends for marks in shop_work(frame).mark_outs):
        return
    found = rehearsals(frame)
    if not found:
        if any(bendable(part) for part in frame.parts):
            says = (
                "the shop file says neither how high the tube lies (bender: centreline_height) nor what stands around "
                "the bender (bender: solids), so bending is not rehearsed"
            )
            yield Finding(rule="rehearsal", level="note", says=says)
        return
    for sentence in dict.fromkeys(words for both in found for words in chosen(both).unchecked):
        yield Finding(rule="rehearsal", level="note", says=f"not rehearsed: {sentence}")
