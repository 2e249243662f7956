"""The least clearance of one step on the bender, and the floor that people keep out of.

The floor is exact in closed form; solids and the tube itself are searched by `nearest.least`.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from railmodel.bending.machine_run import Move
from railmodel.bending.nearest import Body, Mask, Nearest, Solids, least
from railmodel.bending.pose import STILL, Motion, Slide, Swing, Z, moved
from railmodel.bending.surroundings import ConvexSolid, Surroundings, Which
from railmodel.geometry.rows import Array

WITHIN = 0.5
"""How far the search may stay below the pieces' least distance, mm."""

FLOOR, ITSELF = "floor", "the tube itself"


@dataclass(frozen=True, slots=True, kw_only=True)
class Close:
    """The least clearance of a step.

    Args:
        gap: a lower bound, mm, at most 1 mm below the true one (1.5 against the tube itself); negative = about how
            deep inside.
        against: name of the solid, "floor" or "the tube itself".
        where: (x, y, z) on the tube, in bender axes, mm.
        station: how far along the tube from its leading end, trim included, mm.
        fraction: when in the step, 0 to 1.
    """

    gap: float
    against: str
    where: tuple[float, float, float]
    station: float
    fraction: float


@dataclass(frozen=True, slots=True, kw_only=True)
class KeepOut:
    """Where the tube sweeps in a step, in bender axes: mm, radians.

    Args:
        kind: "arc": a sector of the floor about the die axis; "drum": the lead turning about the tube axis ahead of
            the die; "lane": a strip along the tube axis.
        radius: of the arc about the die axis, of the drum about the tube axis, or half the width of the lane.
        centre: (x, y) of the die axis for an arc, else (0, 0).
        start: angle where the arc begins, from +x, counter-clockwise seen from above; 0 for the others.
        end: where it ends, above `start`; 2 pi further where it goes all round.
        rear: x where drum or lane begins.
        front: x where it ends; for an arc both are 0.
    """

    kind: Literal["arc", "drum", "lane"]
    radius: float
    centre: tuple[float, float] = (0.0, 0.0)
    start: float = 0.0
    end: float = 0.0
    rear: float = 0.0
    front: float = 0.0


class _Least:
    """The least clearance of a step while it is looked for, and everything touched."""

    def __init__(self, around: Surroundings, move: Move) -> None:
        self.around, self.move = around, move
        self.close: Close | None = None
        self.hits: set[str] = set()

    @property
    def below(self) -> float:
        """The best so far, mm."""
        return np.inf if self.close is None else self.close.gap

    def floor(self, body: Body, at: Array, motion: Motion, lead: bool) -> None:
        """Hold pieces against the floor."""
        height = self.around.machine.centreline_height
        if height is None or not body.pieces:
            return
        middle = moved(motion.matrix(0.5) @ at, body.corners).reshape(1, -1, 3)
        reach = motion.furthest(np.array([[0.0, 0.0, -1.0]]), middle, np.array([0.5]))[0]
        lowest = int(reach.argmax())
        gap = height - float(reach[lowest])
        if gap < 0:
            self.hits.add(FLOOR)
        if gap < self.below:
            piece, local = lowest // body.corners.shape[1], body.corners.reshape(-1, 3)[lowest]
            fractions = np.linspace(0.0, 1.0, 181)
            rows = motion.matrix(fractions)[:, 2]
            fraction = float(fractions[(rows[:, :3] @ moved(at, local) + rows[:, 3]).argmin()])
            self._set(gap, FLOOR, motion.matrix(fraction) @ at, local, piece if lead else None, fraction)

    def solids(
        self, body: Body, at: Array, motion: Motion, solids: Solids, skip: Mask, *, lead: bool, still: bool = False
    ) -> None:
        """Hold pieces against solids; `still` when it is the solids that move, and `motion` undoes theirs."""
        found = least(body, at, motion, solids, skip=skip, below=self.below, within=WITHIN)
        self.hits |= {_name(solids, index) for index in found.touched}
        if found.place is not None:
            place = found.place
            matrix = at if still else motion.matrix(place.fraction) @ at
            piece, fraction = place.piece if lead else None, 0.0 if motion is STILL else place.fraction
            self._set(found.gap, _name(solids, place.solid), matrix, place.local, piece, fraction)

    def itself(self, found: Nearest, at: Array, fraction: float | None) -> None:
        """Take a clearance of the lead to the tube itself."""
        if found.touched:
            self.hits.add(ITSELF)
        if found.place is not None:
            place = found.place
            when = place.fraction if fraction is None else fraction
            self._set(found.gap, ITSELF, self.move.motion.matrix(when) @ at, place.local, place.piece, when)

    def _set(self, gap: float, against: str, matrix: Array, local: Array, piece: int | None, fraction: float) -> None:
        x, y, z = (float(value) for value in moved(matrix, local))
        run, move = self.around.run, self.move
        if piece is not None:
            station = float(self.around.lead[1][piece].mean())
        else:  # straight tube: what slides is held as one long prism, and is worst at one end of the slide
            shift = slid(move)
            if shift > 0:
                fraction = float((x > 0) != (move.kind == "load"))
            station = run.length - move.stock - x + shift * (1 - fraction if move.kind == "load" else fraction)
        self.close = Close(
            gap=gap,
            against=against,
            where=(x, y, z),
            station=float(np.clip(station, 0.0, run.length)),
            fraction=fraction,
        )


def clear(around: Surroundings, move: Move) -> tuple[Close | None, frozenset[str]]:
    """The least clearance of a step, and the names of everything touched in it."""
    found = _Least(around, move)
    body, count = _lead(around, move)
    if move.kind in ("feed", "turn", "unload"):
        found.floor(body, move.at, move.motion, True)
        found.solids(body, move.at, move.motion, around.solids["all"], around.skip(move, count, "all"), lead=True)
    if move.kind == "return":
        back = _about_die(around, move, -move.arm[0], 0.0)
        skip = around.skip(move, count, "arm")
        found.solids(body, move.at, back, around.solids["arm"], skip, lead=True, still=True)
    elif move.kind == "bend":
        _bend(found, around, move, body, count)
    if move.kind != "return":
        _stock(found, around, move)
    return found.close, frozenset(found.hits)


def _lead(around: Surroundings, move: Move) -> tuple[Body, int]:
    """The pieces of the lead in a step."""
    body, _, stretch = around.lead
    last = 2 * move.made if move.kind in ("turn", "bend") else 2 * move.made - 1
    count = 0 if move.kind == "load" else int(np.searchsorted(stretch, last, side="right"))
    return body.first(count), count


def _about_die(around: Surroundings, move: Move, start: float, end: float) -> Swing:
    return Swing((0.0, around.run.side * move.radius, 0.0), Z, start, end)


def _bend(found: _Least, around: Surroundings, move: Move, body: Body, count: int) -> None:
    """The lead swinging: against what stands still, the arm before it starts, the stock and the bend just made."""
    found.floor(body, move.at, move.motion, True)
    found.solids(body, move.at, move.motion, around.solids["fixed"], around.skip(move, count, "fixed"), lead=True)
    found.solids(body, move.at, STILL, around.solids["arm"], around.skip(move, count, "arm"), lead=True)
    back = around.coming_back(move, count)
    if not back.any():
        return
    straight = around.stock(move, 0.0, -move.stock)
    stock = Solids(tuple(ConvexSolid(ITSELF, vertices) for vertices in straight.pieces))
    skip = np.repeat(~back[:, None], len(stock.items), axis=1)
    swung = least(body, move.at, move.motion, stock, skip=skip, below=found.below, within=WITHIN)
    found.itself(swung, move.at, None)
    all_pieces, _, stretch = around.lead
    arc = Solids(tuple(ConvexSolid(ITSELF, all_pieces.pieces[i]) for i in np.flatnonzero(stretch == 2 * move.made + 1)))
    skip = np.repeat(~back[:, None], len(arc.items), axis=1)
    found.itself(least(body, np.eye(4), STILL, arc, skip=skip, below=found.below, within=WITHIN), move.at, 1.0)


def _stock(found: _Least, around: Surroundings, move: Move) -> None:
    """The straight tube behind the die, and where it slides ahead of it."""
    front = slid(move) + (around.run.length - move.stock if move.kind == "load" else 0.0)
    body = around.stock(move, front, -move.stock)
    motion = move.motion if move.kind == "turn" else STILL
    found.floor(body, np.eye(4), motion, False)
    which: Which = "fixed" if move.kind == "bend" else "all"
    solids = around.solids[which]
    skip = np.repeat(around.excused(move, which)[None], len(body.pieces), axis=0)
    found.solids(body, np.eye(4), motion, solids, skip, lead=False)
    if move.kind == "bend" and (arm := around.solids["arm"]).items:
        skip = np.repeat(around.holding(move, "arm")[None], len(body.pieces), axis=0)
        under = _about_die(around, move, 0.0, -move.arm[1])
        found.solids(body, np.eye(4), under, arm, skip, lead=False, still=True)


def _name(solids: Solids, index: int) -> str:
    return solids.items[index].name


def keep_out(around: Surroundings, move: Move) -> KeepOut | None:
    """What the tube sweeps in a step; None for the arm's way home."""
    body, count = _lead(around, move)
    spread = moved(move.at, body.corners) if count else np.zeros((0, 1, 3))
    stock = around.stock(move, 0.0, -1.0).corners[0]
    if move.kind == "return":
        return None
    if move.kind == "bend":
        return _arc(around, move, spread, float(np.abs(stock[:, 1]).max()))
    points = np.concatenate([spread.reshape(-1, 3), stock])
    if move.kind == "turn":
        radius = float(np.hypot(points[:, 1], points[:, 2]).max())
        return KeepOut(kind="drum", radius=radius, rear=min(0.0, float(points[:, 0].min())), front=_front(points))
    lead = around.run.length - move.stock if move.kind == "load" else 0.0
    front = max(_front(points), lead) + slid(move)
    return KeepOut(kind="lane", radius=float(np.abs(points[:, 1]).max()), rear=-move.stock, front=front)


def slid(move: Move) -> float:
    """How far the whole tube slides along x in a step, mm; 0 where it turns or bends."""
    return abs(move.motion.by[0]) if isinstance(move.motion, Slide) else 0.0


def _front(points: Array) -> float:
    return float(points[:, 0].max())


def _arc(around: Surroundings, move: Move, spread: Array, half: float) -> KeepOut:
    """The sector that the lead sweeps; its pieces (p, v, 3) as the bend starts."""
    side, swing = around.run.side, move.arm[1]
    centre = np.array([0.0, side * move.radius])
    flat = spread[::-1, :, :2] - centre  # from the die outward
    home = -side * np.pi / 2  # where the start tangent lies, seen from the die axis
    middle = flat.mean(axis=1)
    along = np.unwrap(np.concatenate([[home], np.arctan2(middle[:, 1], middle[:, 0])]))[1:, None]
    own = np.arctan2(flat[..., 1], flat[..., 0])
    angles = along + np.remainder(own - along + np.pi, 2 * np.pi) - np.pi
    start = float(np.min(angles, initial=home)) + min(swing, 0.0)
    end = float(np.max(angles, initial=home)) + max(swing, 0.0)
    radius = float(np.max(np.hypot(flat[..., 0], flat[..., 1]), initial=move.radius + half))
    return KeepOut(
        kind="arc", radius=radius, centre=(0.0, float(centre[1])), start=start, end=min(end, start + 2 * np.pi)
    )
