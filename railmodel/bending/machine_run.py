"""A part bent on the machine, as the machine does it: a chain of slides and swings of what is bent already.

The shape that comes out is built up here from those motions alone, and owes nothing to `geometry.centreline`: that
the two agree is a check of both.

What is bent already (the lead) is kept in its own axes, which are the bender's at the moment the first bend starts.
The straight tube behind the start tangent (the stock) always lies along -x. Bends are made at their finished angle
and radius; the swing goes on to the set angle and springs back.
"""

from dataclasses import dataclass
from functools import cached_property, partial
from typing import Literal

import numpy as np

from railmodel.bending.pose import ORIGIN, STILL, Motion, Slide, Swing, X, Z, moved, undone
from railmodel.geometry.rows import Array, BendRows

StepKind = Literal["load", "feed", "turn", "bend", "return", "unload"]

_ARC_STEP = np.radians(3)


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """One step of the work.

    Args:
        kind: what is done; "return" is the arm going home with the bent tube released.
        at: (4, 4) where the lead is before, from its own axes to the bender's.
        motion: what it does from there, in bender axes; its angle or length is the whole step.
        made: how many bends are made before the step.
        stock: length of straight tube behind the start tangent before the step, mm.
        up: (3,) where the top face of the stock looks before the step.
        radius: centreline radius at the die axis, mm: that of its bend, of the first as it is loaded and of the
            last as it is unloaded.
        bend: the bend it belongs to (feed and turn: the one that follows); None for load and unload.
        arm: angles of the arm about the die axis before and after, radians, right-handed about z.
    """

    kind: StepKind
    at: Array
    motion: Motion
    made: int
    stock: float
    up: Array
    radius: float
    bend: int | None = None
    arm: tuple[float, float] = (0.0, 0.0)

    @property
    def name(self) -> str:
        """Such as "turn 3"."""
        return self.kind if self.bend is None else f"{self.kind} {self.bend}"


@dataclass(frozen=True, slots=True, kw_only=True)
class TubeState:
    """The tube at one moment, in bender axes.

    Args:
        points: (m, 3) along its centreline from the leading end to the tail, mm.
        tops: (m, 3) where the top face looks there.
        lead: (4, 4) carries what is bent already from its own axes, which are the bender's as bend 1 starts.
        arm: angle of the bending arm about the die axis, radians, right-handed about z.
        die_axis: (x, y) of the die axis, mm.
    """

    points: Array
    tops: Array
    lead: Array
    arm: float
    die_axis: tuple[float, float]


@dataclass(frozen=True, kw_only=True)
class MachineRun:
    """All steps of bending one part.

    Args:
        rows: what is bent, from the leading end, trims included; every roll a quarter turn.
        side: +1 when the die axis is on the +y side (counter-clockwise), else -1.
        set_angles: (n,) how far the arm swings, radians; not below the finished angles.
        arm: whether anything stands on the arm, so that its way home matters.
        loads: whether the tube is pushed on from the front.
        backward: numbers of the bends before which a tube that is turned over is turned counter-clockwise.
    """

    rows: BendRows
    side: float
    set_angles: tuple[float, ...]
    arm: bool
    loads: Literal["front", "side"]
    backward: frozenset[int] = frozenset()

    @property
    def length(self) -> float:
        """Length of the tube along its centreline, mm."""
        return float(self.rows.developed_length)

    @cached_property
    def moves(self) -> tuple[Move, ...]:
        """The steps in order: load; then feed, turn (where there is one), bend and return, a bend each; unload."""
        rows, at, up = self.rows, np.eye(4), self._first_up()
        stock = self.length - (float(rows.distance[0]) if rows.count else 0.0)
        found = [self._load(stock, up)]
        for i, (feed, turn, angle, radius) in enumerate(
            zip(*(c.tolist() for c in (rows.distance, rows.rotation, rows.angle, rows.radius)), strict=True)
        ):
            step = partial(Move, bend=i + 1, radius=radius)
            if i > 0:
                slide = Slide((feed, 0.0, 0.0))
                found.append(step(kind="feed", at=at, motion=slide, made=i, stock=stock, up=up))
                at, stock = slide.matrix(1.0) @ at, stock - feed
            if i > 0 and turn != 0.0:
                swing = Swing(ORIGIN, X, 0.0, -turn if i + 1 in self.backward else turn)
                found.append(step(kind="turn", at=at, motion=swing, made=i, stock=stock, up=up))
                at, up = swing.matrix(1.0) @ at, swing.matrix(1.0)[:3, :3] @ up
            arm = self.side * max(self.set_angles[i], angle)
            bend = self._swing(i, abs(arm))
            found.append(step(kind="bend", at=at, motion=bend, made=i, stock=stock, up=up, arm=(0.0, arm)))
            at, stock = self._swing(i, angle).matrix(1.0) @ at, stock - radius * angle
            if self.arm:
                found.append(step(kind="return", at=at, motion=STILL, made=i + 1, stock=stock, up=up, arm=(arm, 0.0)))
        off = Slide((stock, 0.0, 0.0))
        last = Move(kind="unload", at=at, motion=off, made=rows.count, stock=stock, up=up, radius=found[-1].radius)
        return (*found, last)

    def _first_up(self) -> Array:
        """Where the top face looks as the first bend starts: the face the bend goes toward is on the die's side."""
        roll = float(self.rows.rotation[0]) if self.rows.count else 0.0
        return self.side * np.array([0.0, np.cos(roll), np.sin(roll)])

    def _load(self, stock: float, up: Array) -> Move:
        """From ahead of the die, tail first, until the first bend's mark is at the start tangent."""
        by = stock if self.loads == "front" else 0.0
        before = Slide((by, 0.0, 0.0)).matrix(1.0)
        radius = float(self.rows.radius[0]) if self.rows.count else 0.0
        return Move(
            kind="load", bend=None, at=before, motion=Slide((-by, 0.0, 0.0)), made=0, stock=stock, up=up, radius=radius
        )

    def _swing(self, i: int, angle: float) -> Swing:
        return Swing((0.0, self.side * float(self.rows.radius[i]), 0.0), Z, 0.0, self.side * angle)

    @cached_property
    def made(self) -> tuple[tuple[Array, Array], ...]:
        """What is bent in the end, in the lead's axes: straight 0, bend 1, straight 1, ... , bend n.

        Each as centreline points (k, 3) and where the top face looks there (k, 3).
        """
        found: list[tuple[Array, Array]] = []
        for i, move in enumerate(move for move in self.moves if move.kind == "bend"):
            angle, back = float(self.rows.angle[i]), undone(move.at)
            straight = np.array([[float(self.rows.distance[i]), 0.0, 0.0], ORIGIN])
            found.append(_carried(back, straight, np.stack([move.up, move.up])))
            back = back @ undone(self._swing(i, angle).matrix(1.0))
            found.append(_carried(back, *self._arc(i, move.up, angle)))
        return tuple(found)

    def _arc(self, i: int, up: Array, angle: float) -> tuple[Array, Array]:
        """A bend as it lies on the die: from its start, swung away, to its end tangent at the origin."""
        turns = np.linspace(1.0, 0.0, max(2, int(np.ceil(angle / _ARC_STEP)) + 1))
        matrices = self._swing(i, angle).matrix(turns)
        return matrices[:, :3, 3], matrices[:, :3, :3] @ up

    def state(self, step: int, fraction: float) -> TubeState:
        """The tube during a step.

        Args:
            step: index into `moves`.
            fraction: how far the step has gone, 0 to 1.
        """
        move = self.moves[step]
        motion = move.motion.matrix(fraction)
        lead, up, arc = motion @ move.at, move.up, 0.0
        rigid, front, shift = 2 * move.made, 0.0, 0.0
        if move.kind == "load":
            shift = float(lead[0, 3])
            front = shift + self.length - move.stock
        elif move.kind == "turn":
            up, front = motion[:3, :3] @ up, float(self.rows.distance[move.made])
        elif move.kind == "bend":
            rigid, arc = rigid + 1, fraction * abs(move.arm[1])
        else:
            shift = front = float(motion[0, 3])
        parts = [_carried(lead, *element) for element in self.made[:rigid]]
        if arc > 0:
            parts.append(self._arc(move.made, up, arc))
        ends = np.array([[front, 0.0, 0.0], [shift - move.stock + move.radius * arc, 0.0, 0.0]])
        parts.append((ends, np.stack([up, up])))
        return TubeState(
            points=np.concatenate([points for points, _ in parts]),
            tops=np.concatenate([tops for _, tops in parts]),
            lead=lead,
            arm=move.arm[0] + fraction * (move.arm[1] - move.arm[0]),
            die_axis=(0.0, self.side * move.radius),
        )


def _carried(matrix: Array, points: Array, tops: Array) -> tuple[Array, Array]:
    """Points and directions carried by a matrix."""
    return moved(matrix, points), tops @ matrix[:3, :3].T
