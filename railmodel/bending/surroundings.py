"""The tube on the bender as convex pieces, and which pieces and solids are to be held against each other.

The tube meets itself only where the lead comes back: every piece of the lead is held against the straight stock
while it swings, and against the bend just made; that covers every pair of pieces, since all of the tube is stock
once. A stretch of the lead from the die outward whose direction stays within `COMING_BACK` of the stock's runs
steadily away from it and is left out. So are the straight next to the bend and the bend before that: they reach
the stock only past 300 degrees in all, and then the straight before them does too.

Solids beside the tube axis that straight tube there cannot touch however it slides and turns (a bed, the arm at home)
are not counted against it: that clearance is the machine's own and the same for every part. Neither are solids that
come near to where the tooling holds the tube (the grip ahead of the start tangent, the tail length behind it), such as
clamp and pressure die; nor these, while the tube is let go and fed on, against the bend just made and the straight
before it; nor fixed ones of these against the gripped length as it swings away from them.
"""

from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import Any, Literal

import numpy as np

from railmodel.bending.machine import Machine, MachineSolid
from railmodel.bending.machine_run import MachineRun, Move
from railmodel.bending.nearest import Body, Mask, Solids
from railmodel.geometry.centreline import Centreline, Pose
from railmodel.geometry.pieces import convex, outline, pieces
from railmodel.geometry.rows import Array
from railmodel.geometry.section import Section
from railmodel.tolerances import LENGTH

SAG = 0.5
"""How far the pieces may stand out from the true tube, mm."""

CHUNK = 300.0
"""Straights are cut to pieces no longer than this, mm."""

COMING_BACK = np.radians(80)

NEAR = 100.0
"""A solid this near to where the tooling holds the tube belongs to the machine's own build, mm."""

Which = Literal["fixed", "arm", "all"]


@dataclass(frozen=True, eq=False)
class ConvexSolid:
    """A piece of the tube standing still, as `nearest.Solids` takes it."""

    name: str
    vertices: Array

    @cached_property
    def centre(self) -> Array:
        """(3,) centre of the box around it."""
        middle: Array = (self.vertices.min(axis=0) + self.vertices.max(axis=0)) / 2
        return middle

    @property
    def turn(self) -> Array:
        """(3, 3) axes of that box."""
        return np.eye(3)

    @property
    def half(self) -> Array:
        """(3,) its half sizes."""
        half: Array = (self.vertices.max(axis=0) - self.vertices.min(axis=0)) / 2
        return half

    @property
    def corners(self) -> Array:
        """(k, 3) corners."""
        return self.vertices

    @property
    def disc(self) -> float:
        """No discs."""
        return 0.0

    def solid(self) -> Any:
        """Its shape in the collision library."""
        return convex(self.vertices - self.centre)


@dataclass(frozen=True, kw_only=True)
class Surroundings:
    """Everything the clearances of a run need.

    Args:
        run: the steps.
        section: the tube's.
        machine: the bender.
        ahead: (n,) what the clamp grips ahead of each bend's start, mm.
        behind: (n,) what the tooling holds behind it, mm.
    """

    run: MachineRun
    section: Section
    machine: Machine
    ahead: tuple[float, ...]
    behind: tuple[float, ...]

    @cached_property
    def line(self) -> Centreline:
        """The part's centreline in the lead's own axes."""
        rows, up = self.run.rows, self.run.moves[0].up
        length = self.run.length - self.run.moves[0].stock
        return Centreline(rows, Pose.of([length, 0.0, 0.0], [-1.0, 0.0, 0.0], up))

    @cached_property
    def lead(self) -> tuple[Body, Array, Array]:
        """Pieces in the lead's own axes from the leading end, and their stations (p, 2) and stretch (p,)."""
        found, stations, stretches = [], [], []
        for piece in pieces(self.line, self.section, SAG):
            index = piece.stretch
            if index == 2 * self.run.rows.count:
                break
            if index % 2 == 0:
                cuts = _cuts(piece.begin, piece.end, piece.end - self.ahead[index // 2])
            else:
                cuts = np.array([piece.begin, piece.end])
            begin, end = np.split(piece.vertices, 2)
            shares = ((cuts - piece.begin) / (piece.end - piece.begin))[:, None, None]
            rings = begin + shares * (end - begin)
            found += [np.concatenate(pair) for pair in pairwise(rings)]
            stations += list(pairwise(cuts))
            stretches += [index] * (len(cuts) - 1)
        return Body(tuple(found)), np.array(stations).reshape(-1, 2), np.array(stretches, dtype=int)

    @cached_property
    def solids(self) -> dict[Which, Solids]:
        """Solids that stand still ("fixed"), those on the arm, at home ("arm"), and both ("all")."""
        fixed, arm = self.machine.moving("fixed"), self.machine.moving("arm")
        return {"fixed": Solids(fixed), "arm": Solids(arm), "all": Solids(fixed + arm)}

    def skip(self, move: Move, count: int, which: Which) -> Mask:
        """(count, o) pairs of the lead's pieces and solids that are not counted."""
        begin, stretch = self.lead[1][:count, :1], self.lead[2][:count, None]
        if move.kind == "bend" and which == "fixed":  # what is gripped swings past the pressure die beside it
            grip = self.line.bends[move.made].station - self.ahead[move.made]
            skip: Mask = (begin >= grip - LENGTH) & self.holding(move, which)
        elif move.kind in ("turn", "bend"):
            skip = (stretch == 2 * move.made) & self.excused(move, which)
        else:
            skip = (stretch >= 2 * move.made - 2) & self.holding(move, which)
        return skip

    def excused(self, move: Move, which: Which) -> Mask:
        """(o,) which solids are not counted against straight tube on the tube axis."""
        return self.holding(move, which) | self._part_of(self.alongside, which)

    def holding(self, move: Move, which: Which) -> Mask:
        """(o,) which solids come near to where the tooling holds the tube, at the bend on hand or the one just made."""
        if not self.ahead:
            return np.zeros(len(self.solids[which].items), dtype=bool)
        bend = move.made if move.kind in ("load", "turn", "bend") else move.made - 1
        return self._part_of(self.reaching[bend], which)

    def _part_of(self, mask: Mask, which: Which) -> Mask:
        fixed = len(self.solids["fixed"].items)
        return {"all": mask, "fixed": mask[:fixed], "arm": mask[fixed:]}[which]

    @cached_property
    def alongside(self) -> Mask:
        """(o,) which solids straight tube on the axis cannot touch, wherever it slides and however it is turned."""
        reach = 2 * self.run.length
        return ~self._meeting(-reach, reach, 0.0)

    @cached_property
    def reaching(self) -> list[Mask]:
        """For each bend (o,) which solids come near to where its tooling holds the tube."""
        return [
            self._meeting(-behind - NEAR, ahead + NEAR, NEAR)
            for ahead, behind in zip(self.ahead, self.behind, strict=True)
        ]

    def _meeting(self, rear: float, front: float, room: float) -> Mask:
        """(o,) which solids meet a cylinder around the tube as it turns, and so much room, from x to x."""
        import coal

        around = float(np.hypot(self.section.height, self.section.width)) + 2 * room
        zone = MachineSolid.cylinder("zone", (rear, 0.0, 0.0), (front, 0.0, 0.0), around)
        here, request = (zone.solid(), coal.Transform3s(zone.turn, zone.centre)), coal.DistanceRequest(True, True)
        there = self.solids["all"].placed
        return np.array([coal.distance(*here, *p, request, coal.DistanceResult()) <= 0 for p in there], dtype=bool)

    def stock(self, move: Move, front: float, rear: float) -> Body:
        """Straight tube along x from `front` back to `rear`, mm; none where that is no length."""
        if front - rear <= LENGTH:
            return Body(())
        sideways = np.array([0.0, -move.up[2], move.up[1]])  # s = u x t, with t = -x
        ring = outline(self.section, SAG) @ np.stack([sideways, move.up])
        return Body((np.concatenate([ring + (front, 0.0, 0.0), ring + (rear, 0.0, 0.0)]),))

    def coming_back(self, move: Move, count: int) -> Mask:
        """(count,) which pieces of the lead could meet the stock while it swings."""
        steps = np.linspace(0.0, 1.0, max(2, int(np.ceil(abs(move.arm[1]) / np.radians(5))) + 1))
        turn = move.motion.matrix(steps)[:, 0, :3] @ move.at[:3, :3]  # x of directions, in the lead's axes
        along = np.einsum("fi,pki->fpk", -turn, self.tangents[:count]).min(axis=(0, 2))
        beyond: Mask = np.logical_or.accumulate((along < np.cos(COMING_BACK))[::-1])[::-1]
        return beyond & (self.lead[2][:count] < 2 * move.made - 1)

    @cached_property
    def tangents(self) -> Array:
        """(p, 2, 3) travel direction at both ends of each piece, in the lead's own axes."""
        return self.line.pose_at(self.lead[1].ravel()).t.reshape(-1, 2, 3)


def _cuts(begin: float, end: float, mark: float) -> Array:
    """Stations from begin to end, one of them at the mark if it lies between, no two further apart than a chunk."""
    ends = [begin, mark, end] if begin + LENGTH < mark < end - LENGTH else [begin, end]
    runs = [np.linspace(a, b, max(1, int(np.ceil((b - a) / CHUNK))) + 1)[:-1] for a, b in pairwise(ends)]
    return np.concatenate([*runs, [end]])
