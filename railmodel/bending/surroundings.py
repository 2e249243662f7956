"""The tube on the bender as convex pieces, and which pieces and solids are to be held against each other.

The tube meets itself only where the lead comes back: every piece of the lead is held against the straight stock
while it swings, and against the bend just made; that covers every pair of pieces, since all of the tube is stock
once. A stretch of the lead from the die outward whose direction stays within `COMING_BACK` of the stock's runs
steadily away from it and is left out. So are the straight next to the bend and the bend before that: they reach
the stock only past 300 degrees in all, and then the straight before them does too.

Solids that come near to where the tooling holds the tube (the grip ahead of the start tangent, the tail length behind
it), such as clamp, arm, pressure die and a bed that carries the tube, are built to have straight tube there: they are
not counted against the straight that lies in them, nor, while the tube is let go and fed on, against the bend just
made and the straight before it.
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
            straight = index % 2 == 0
            count = max(1, int(np.ceil((piece.end - piece.begin) / CHUNK))) if straight else 1
            cuts = np.linspace(piece.begin, piece.end, count + 1)
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

    def held(self, move: Move, count: int) -> Mask:
        """(count,) which pieces of the lead the tooling holds or has just let go of."""
        first = 2 * move.made if move.kind in ("turn", "bend") else 2 * move.made - 2
        held: Mask = self.lead[2][:count] >= first
        return held

    def holding(self, move: Move, which: Which) -> Mask:
        """(o,) which solids reach in to where the tooling holds the tube, at the bend on hand or the one just made."""
        solids = self.solids[which]
        if not self.ahead or not solids.items:
            return np.zeros(len(solids.items), dtype=bool)
        mask = self.reaching[move.made if move.kind in ("load", "turn", "bend") else move.made - 1]
        fixed = len(self.solids["fixed"].items)
        return {"all": mask, "fixed": mask[:fixed], "arm": mask[fixed:]}[which]

    @cached_property
    def reaching(self) -> list[Mask]:
        """For each bend (o,) which of all solids reach in to where its tooling holds the tube."""
        import coal

        reach = float(np.hypot(self.section.height, self.section.width)) / 2 + NEAR
        request, found = coal.DistanceRequest(True, True), []
        for ahead, behind in zip(self.ahead, self.behind, strict=True):
            zone = MachineSolid.cylinder("zone", (-behind - NEAR, 0.0, 0.0), (ahead + NEAR, 0.0, 0.0), 2 * reach)
            here = (zone.solid(), coal.Transform3s(zone.turn, zone.centre))
            there = self.solids["all"].placed
            found.append(np.array([coal.distance(*here, *p, request, coal.DistanceResult()) <= 0 for p in there]))
        return found

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
