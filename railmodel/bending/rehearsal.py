"""The part bent step by step on a model of the bender, before a tube is cut.

Load, then feed, turn and bend for every bend, then unload: each step with its least clearance to the floor, to what
stands around the bender and to the tube itself, over the whole motion (see `nearest`), and with the floor that
people keep out of. Clearances are lower bounds, at most 1 mm below the true ones.

What the model leaves out: droop of long leads, springback's change of radius while the arm swings (the swing runs on
the finished radius to the set angle), the stretch of the tube (the stock behind the die counts at its finished,
longer length), and what the tooling itself touches: `surroundings` says which solids are not counted where.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from railmodel.bending.clearing import Close, KeepOut, clear, keep_out
from railmodel.bending.machine import Machine
from railmodel.bending.machine_run import MachineRun, Move, StepKind, TubeState
from railmodel.bending.orders import Sense
from railmodel.bending.pose import Swing
from railmodel.bending.surroundings import Surroundings
from railmodel.findings import Finding
from railmodel.geometry.roll import squared_up
from railmodel.geometry.rows import BendRows
from railmodel.job.shop import Die
from railmodel.part import End, RailPart, Reading
from railmodel.tolerances import ANGLE

USUAL_GRIP = 1.5
"""Grip and tail where the shop file gives none, in section depths: common practice, no source."""

SAME = 1.0
"""Clearances closer than this count as the same when ends are compared, mm."""

Say = Callable[[float], str]


def in_mm(length: float) -> str:
    """A length in words, mm."""
    return f"{length:.1f} mm"


@dataclass(frozen=True, slots=True, kw_only=True)
class Tooling:
    """What the rehearsal needs to know of dies and trims; in the order of the reading's bends.

    Args:
        set_angles: how far the arm swings, radians; None = not known, taken as the finished angle.
        ahead: straight that the clamp grips ahead of each bend, mm; None = not known.
        behind: straight that the tooling holds behind each bend, mm; None = not known.
        trim_lead: added at the leading end, cut off afterwards, mm.
        trim_tail: added at the tail, mm.
    """

    set_angles: tuple[float | None, ...] = ()
    ahead: tuple[float | None, ...] = ()
    behind: tuple[float | None, ...] = ()
    trim_lead: float = 0.0
    trim_tail: float = 0.0

    @classmethod
    def of(
        cls,
        reading: Reading,
        dies: Mapping[str, Die],
        set_angles: tuple[float | None, ...] = (),
        trims: tuple[float, float] = (0.0, 0.0),
    ) -> "Tooling":
        """With the grip and tail of the shop's dies."""
        used = [dies.get(bend.die or "") for bend in reading.bends]
        return cls(
            set_angles=set_angles,
            ahead=tuple(None if die is None else die.grip for die in used),
            behind=tuple(None if die is None else die.tail for die in used),
            trim_lead=trims[0],
            trim_tail=trims[1],
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One step and what was found in it.

    Args:
        name: such as "turn 3".
        kind: load, feed, turn, bend, return (the arm going home) or unload.
        bend: the bend it belongs to.
        close: the least clearance; None where nothing stands around.
        hits: names of everything touched.
        keep_out: what the tube sweeps.
        over: which way a tube that is turned over (180 degrees) should go, seen from the tail; None elsewhere.
        other_way: the least clearance the other way, mm.
    """

    name: str
    kind: StepKind
    bend: int | None
    close: Close | None
    hits: frozenset[str]
    keep_out: KeepOut | None
    over: Sense | None = None
    other_way: float | None = None


@dataclass(frozen=True, kw_only=True)
class Rehearsal:
    """One part bent from one end.

    Args:
        reading: the part as read from that end.
        machine: the bender.
        run: the motions.
        trim_lead: added at the leading end, mm: stations of the run count from there.
        steps: what was found, in order; the same order as `run.moves`.
        unchecked: what could not be checked, a sentence each.
    """

    reading: Reading
    machine: Machine
    run: MachineRun
    trim_lead: float
    steps: tuple[Step, ...]
    unchecked: tuple[str, ...]

    @cached_property
    def least(self) -> Step | None:
        """The step with the least clearance; None where nothing could be checked."""
        measured = [step for step in self.steps if step.close is not None]
        return min(measured, key=lambda step: step.close.gap if step.close else np.inf, default=None)

    @property
    def least_gap(self) -> float | None:
        """The least clearance of all steps, mm."""
        return None if self.least is None or self.least.close is None else self.least.close.gap

    @property
    def ok(self) -> bool:
        """Whether nothing is touched, as far as could be checked."""
        return self.least_gap is None or self.least_gap >= 0.0

    def state(self, step: int, fraction: float) -> TubeState:
        """The tube during a step (index into `steps`), at a fraction from 0 to 1."""
        return self.run.state(step, fraction)

    def findings(self, say: Say = in_mm, margin: float = 0.0) -> tuple[Finding, ...]:
        """A stop for each step that touches something, a warning for one that comes nearer than `margin` (mm).

        `where` is the place on the finished part, in vehicle axes.
        """
        return tuple(
            self._finding(step, step.close, say, margin)
            for step in self.steps
            if step.close is not None and step.close.gap < margin
        )

    def _finding(self, step: Step, close: Close, say: Say, margin: float) -> Finding:
        part = self.reading.part
        opening = f"{part.label}, {self.reading.end} end leading, step {step.name}: "
        if close.gap >= 0:
            says = f"the tube passes {_the(close.against)} at {say(close.gap)}; the shop wants {say(margin)}"
        elif step.hits:
            names = " and ".join(_the(name) for name in sorted(step.hits))
            says = f"the tube hits {names}, about {say(-close.gap)} deep at most"
            says += "; lead with the other end, move what is in the way, or change the part"
        else:
            says = f"the tube touches {_the(close.against)} within the accuracy of the check ({say(-close.gap)})"
        station = np.clip(close.station - self.trim_lead, 0.0, self.reading.line.length)
        x, y, z = (float(value) for value in self.reading.line.pose_at(station).at[0])
        return Finding(
            rule="rehearsal", level="stop" if close.gap < 0 else "warn", says=opening + says, part=part.name,
            hand=part.hand, bend=step.bend, where=(x, y, z), found=close.gap, needs=max(margin, 0.0), unit="length",
        )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class BothEnds:
    """A part rehearsed from both ends.

    Args:
        front: with the front end leading.
        rear: with the rear end leading.
        best: the end that works with the most clearance; None where neither works.
        why: one sentence.
    """

    front: Rehearsal
    rear: Rehearsal
    best: End | None
    why: str


def rehearse(reading: Reading, machine: Machine, tooling: Tooling | None = None) -> Rehearsal:
    """Rehearse a part read from one end. Bends off a quarter turn are made at the nearest one.

    Args:
        reading: the part as its table reads it; its radii are those of the dies, finished.
        machine: the bender.
        tooling: set angles, grips and trims; None = none known.

    Raises:
        GeometryError: a bend whose radius puts its centre inside the tube.
    """
    tooling, unchecked = tooling or Tooling(), []
    rows = squared_up(reading.line.rows)
    straights = rows.straights
    straights[0] += tooling.trim_lead
    straights[-1] += tooling.trim_tail
    rows = BendRows.of(straights[:-1], rows.rotation, rows.angle, rows.radius, straights[-1])
    depths = [reading.part.depth_toward(bend.toward) * USUAL_GRIP for bend in reading.bends]
    angles, known = _known(tooling.set_angles, rows.angle.tolist())
    if not known:
        unchecked.append("overbend: not every set angle is known, such bends swing to their finished angle only")
    ahead, grip_known = _known(tooling.ahead, depths)
    behind, tail_known = _known(tooling.behind, depths)
    if not (grip_known and tail_known):
        unchecked.append(
            f"grip: not every die's grip and tail is known, {USUAL_GRIP:g} x the section's depth is taken as held"
        )
    run = MachineRun(
        rows=rows, side=machine.side, set_angles=angles, arm=bool(machine.moving("arm")), loads=machine.loads
    )
    around = Surroundings(run=run, section=reading.part.section, machine=machine, ahead=ahead, behind=behind)
    steps = tuple(_step(around, move) for move in run.moves)
    backward = frozenset(step.bend for step in steps if step.over == "counter-clockwise" and step.bend is not None)
    return Rehearsal(
        reading=reading, machine=machine, run=replace(run, backward=backward), trim_lead=tooling.trim_lead,
        steps=steps, unchecked=(*_missing(machine), *unchecked),
    )  # fmt: skip


def _step(around: Surroundings, move: Move) -> Step:
    """One step; a tube that is turned over goes the way with more room, clockwise where both are alike."""
    close, hits = clear(around, move)
    over: Sense | None = None
    other_way: float | None = None
    if move.kind == "turn" and isinstance(move.motion, Swing) and abs(move.motion.end) > np.pi - ANGLE:
        over = "clockwise"
        other = clear(around, replace(move, motion=replace(move.motion, end=-move.motion.end)))
        if close is not None and other[0] is not None:
            other_way = other[0].gap
            if other_way > close.gap + SAME:
                over, other_way, (close, hits) = "counter-clockwise", close.gap, other
    return Step(
        name=move.name, kind=move.kind, bend=move.bend, close=close, hits=hits, keep_out=keep_out(around, move),
        over=over, other_way=other_way,
    )  # fmt: skip


def rehearse_both(
    part: RailPart, machine: Machine, tooling: Mapping[End, Tooling] | None = None, say: Say = in_mm
) -> BothEnds:
    """Rehearse a part from both ends and say which one to lead with, and why.

    Args:
        part: the part.
        machine: the bender.
        tooling: for each end, in that end's order of bends.
        say: how lengths are put in words.
    """
    tooling = tooling or {}
    front, rear = (rehearse(part.read_from(end), machine, tooling.get(end)) for end in ("front", "rear"))
    best, why = _better(front, rear, say)
    return BothEnds(front=front, rear=rear, best=best, why=why)


def _better(front: Rehearsal, rear: Rehearsal, say: Say) -> tuple[End | None, str]:
    label = front.reading.part.label
    if front.least_gap is None or rear.least_gap is None:
        return "front", f"{label}: nothing around the bender is known, so either end may lead; front is taken"
    first, second = _told(front, say), _told(rear, say)
    if not front.ok and not rear.ok:
        return None, f"{label}: neither end can lead: {first}; {second}"
    if front.ok != rear.ok:
        better, worse = (front, rear) if front.ok else (rear, front)
        return (
            better.reading.end,
            f"{label}: only the {better.reading.end} end can lead: {_told(better, say)}; {_told(worse, say)}",
        )
    for one, other in zip(_gaps(front), _gaps(rear), strict=False):
        if abs(one - other) > SAME:
            better, worse = (front, rear) if one > other else (rear, front)
            opening = f"{label}: leading with the {better.reading.end} end leaves more room"
            if abs(front.least_gap - rear.least_gap) <= SAME:
                opening += " over all its steps, though the nearest comes as near either way"
            return better.reading.end, f"{opening}: {_told(better, say)}; {_told(worse, say)}"
    return "front", f"{label}: either end may lead, both with the same clearance: {first}"


def _gaps(rehearsal: Rehearsal) -> list[float]:
    """Clearances of the steps, the least first, mm."""
    return sorted(step.close.gap for step in rehearsal.steps if step.close is not None)


def _told(rehearsal: Rehearsal, say: Say) -> str:
    step = rehearsal.least
    assert step is not None
    assert step.close is not None
    end, gap, name = rehearsal.reading.end, step.close.gap, _the(step.close.against)
    if gap >= 0:
        return f"{end} end leading clears everything by {say(gap)} ({name}, {step.name})"
    return f"{end} end leading hits {name} at {step.name}, about {say(-gap)} deep"


def _the(name: str) -> str:
    return name if name.startswith("the ") else f"the {name}"


def _known(given: tuple[float | None, ...], usual: list[float]) -> tuple[tuple[float, ...], bool]:
    """Values with the usual ones where they are not known, and whether all are."""
    given = given or (None,) * len(usual)
    pairs = list(zip(given, usual, strict=True))
    return tuple(b if a is None else a for a, b in pairs), all(a is not None for a, _ in pairs)


def _missing(machine: Machine) -> list[str]:
    found = []
    if machine.centreline_height is None:
        found.append("floor: the shop file does not say how high the tube lies (bender: centreline_height)")
    if not machine.moving("fixed"):
        found.append("walls, bed and columns: the shop file lists no fixed solids (bender: solids)")
    if not machine.moving("arm"):
        found.append("bending arm: the shop file lists no solid that moves with the arm")
    return found
