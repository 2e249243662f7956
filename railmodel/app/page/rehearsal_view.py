"""A part bent step by step, as the page shows it: the tube in every step, the bender, clearances and orders.

Places in mm in the bender's axes (origin at the start of the bend on the tube's centre, x toward the lead, z up),
lengths of orders in the job's unit, angles in degrees.
"""

from hashlib import blake2b
from math import degrees
from typing import Any

import numpy as np

from railmodel.app.plan_answer import plan_answer
from railmodel.bending.clearing import KeepOut
from railmodel.bending.machine_run import Move
from railmodel.bending.orders import STANDING
from railmodel.bending.plan import plan_job
from railmodel.bending.rehearsal import Rehearsal, Step
from railmodel.bending.rehearse_job import bendable
from railmodel.bending.set_angle import set_places
from railmodel.bending.work import shop_work
from railmodel.frame import Frame
from railmodel.geometry.rows import Array
from railmodel.part import RailPart
from railmodel.units import from_unit, to_unit

Answer = dict[str, Any]

TURN = np.radians(6.0)
"""A step that turns the tube is shown in pictures at most this far apart."""

MOST = 24
"""Pictures of one step."""

_ARC = np.radians(6.0)
_PLACES = 1


def rehearsal_view(frame: Frame, name: str, hand: str, end: str | None) -> Answer | str:
    """One part on the bender, or a sentence why there is nothing to show.

    Args:
        frame: the job.
        name: of the part.
        hand: of the part.
        end: the end that leads; None = the one the job leads with.
    """
    plan = plan_job(frame)
    own = [one for one in plan.parts if (one.marks.reading.part.name, one.marks.reading.part.hand) == (name, hand)]
    if not own:
        return f"{name} {hand}: there is no such part in the job as it stands"
    if not own[0].marks.bends:
        return f"{own[0].marks.reading.part.label} has no bends"
    both = own[0].rehearsal
    if both is None:
        return _why_not(frame, own[0].marks.reading.part)
    lead = own[0].marks.reading.end
    rehearsal = both.rear if (end or lead) == "rear" else both.front
    orders = _orders(frame, name, hand) if rehearsal.reading.end == lead else {}
    shown = _Shown(rehearsal)
    answer: Answer = {
        "part": name,
        "hand": hand,
        "leading_end": rehearsal.reading.end,
        "unit": frame.unit,
        "unit_mm": from_unit(1.0, frame.unit),
        "ok": rehearsal.ok,
        "least_gap": None if rehearsal.least_gap is None else to_unit(rehearsal.least_gap, frame.unit),
        "not_checked": list(rehearsal.unchecked),
        "seen": STANDING,
        "bends_sense": shop_work(frame).sense,
        "seam_when_loaded": own[0].orders.seam_when_loaded,
        "set_angle_places": set_places(frame),
        "cut_length": to_unit(own[0].marks.cut_length, frame.unit),
        "cut_length_tape": frame.mark(own[0].marks.cut_length),
        "trims": [[frame.mark(trim), end] for end, trim in own[0].marks.cut_off],
        "machine": _machine(rehearsal),
        "section": {"height": rehearsal.reading.part.section.height, "width": rehearsal.reading.part.section.width},
        "triangles": shown.triangles,
        "steps": [shown.step(i, orders, frame) for i in range(len(rehearsal.steps))],
    }
    return {**answer, "key": _key(answer["steps"])}


def _why_not(frame: Frame, part: RailPart) -> str:
    """Why a part that has bends is not rehearsed."""
    if frame.shop is None:
        return "bending is not rehearsed: the job names no shop file, which says how high the tube lies on the bender"
    if not bendable(part):
        cause = "bends overlap, or are tighter than the tube is deep"
        return f"{part.label} is not rehearsed: {cause}; see the findings"
    return (
        "bending is not rehearsed: the shop file says neither how high the tube lies (bender: centreline_height) nor "
        "what stands around the bender (bender: solids)"
    )


def _key(steps: list[Answer]) -> str:
    """Changes when the orders do: what has been done by older orders does not count."""
    return blake2b(repr([step["order"] for step in steps]).encode(), digest_size=8).hexdigest()


def _orders(frame: Frame, name: str, hand: str) -> dict[int, Answer]:
    """The line of the bend sheet for every bend."""
    part = next(one for one in plan_answer(frame, [])["parts"] if (one["part"], one["hand"]) == (name, hand))
    return {
        step["bend"]: {**step, "mark_at_gauge_tape": frame.mark(from_unit(step["mark_at_gauge"], frame.unit))}
        for step in part["steps"]
    }


def _machine(rehearsal: Rehearsal) -> Answer:
    machine = rehearsal.machine
    height = machine.centreline_height
    return {
        "side": machine.side,
        "floor": None if height is None else -height,
        "solids": [
            {
                "name": solid.name,
                "moves": solid.moves,
                "centre": _flat(solid.centre),
                "turn": [round(float(value), 6) for value in solid.turn.ravel()],
                "half": _flat(solid.half),
                "round": solid.round,
            }
            for solid in machine.solids
        ],
    }


class _Shown:
    """The tube as rings of four corners, the same number in every picture of one part."""

    def __init__(self, rehearsal: Rehearsal) -> None:
        self.rehearsal = rehearsal
        rows = rehearsal.run.rows
        self.rings = [max(2, int(np.ceil(float(angle) / _ARC)) + 1) for angle in rows.angle]
        count = 2 + sum(self.rings)
        here = np.arange(4)
        behind = (here + 1) % 4
        quad = np.stack([here, behind, behind + 4, here, behind + 4, here + 4], axis=1)
        strips = [4 * k + quad for k in range(count - 1)]
        last = 4 * (count - 1)
        caps = [0, 2, 1, 0, 3, 2, last, last + 1, last + 2, last, last + 2, last + 3]
        self.triangles = [*np.concatenate([strip.ravel() for strip in strips]).tolist(), *caps]

    def step(self, index: int, orders: dict[int, Answer], frame: Frame) -> Answer:
        """One step."""
        step, move = self.rehearsal.steps[index], self.rehearsal.run.moves[index]
        close = step.close
        bend = self.rehearsal.reading.bends[move.made - 1 if move.kind == "unload" else min(move.made, self._last)]
        return {
            "name": step.name,
            "kind": step.kind,
            "bend": step.bend,
            "gap": None if close is None else to_unit(close.gap, frame.unit),
            "against": None if close is None else close.against,
            "where": None if close is None else [round(value, _PLACES) for value in close.where],
            "fraction": None if close is None else round(close.fraction, 4),
            "hits": sorted(step.hits),
            "keep_out": None if step.keep_out is None else _keep_out(step.keep_out),
            "over": step.over,
            "die": {"name": bend.die, "axis": [0.0, self.rehearsal.run.side * move.radius], "radius": move.radius},
            "frames": [self._frame(index, float(fraction)) for fraction in _fractions(step, move)],
            "order": orders.get(step.bend or 0),
        }

    @property
    def _last(self) -> int:
        return len(self.rehearsal.reading.bends) - 1

    def _frame(self, index: int, fraction: float) -> Answer:
        state = self.rehearsal.state(index, fraction)
        at, tops = self._spread(index, fraction, state.points, state.tops)
        ahead = np.gradient(at, axis=0)
        same = np.linalg.norm(ahead, axis=1) < 1e-9
        ahead[same] = [-1.0, 0.0, 0.0]
        across = np.cross(tops, ahead / np.linalg.norm(ahead, axis=1, keepdims=True))
        size = self.rehearsal.reading.part.section
        corners = [at + i * across * size.width / 2 + j * tops * size.height / 2 for i, j in _CORNERS]
        return {
            "fraction": round(fraction, 4),
            "arm": degrees(state.arm),
            "points": np.round(np.stack(corners, axis=1), _PLACES).ravel().tolist(),
        }

    def _spread(self, index: int, fraction: float, points: Array, tops: Array) -> tuple[Array, Array]:
        """The same number of rings whatever is bent already: bends to come lie straight behind the die, unseen."""
        move, run = self.rehearsal.run.moves[index], self.rehearsal.run
        begin, found = 0, []
        made = move.made + (move.kind == "bend" and fraction > 0)
        for bend in range(made):
            if bend < move.made:
                count = len(run.made[2 * bend + 1][0])
                straight, arc = slice(begin, begin + 2), slice(begin + 2, begin + 2 + count)
                begin += 2 + count
            else:
                straight, arc = slice(begin, begin + 2), slice(begin + 2, len(points) - 2)
                begin = len(points) - 2
            if bend == 0:
                found.append((points[straight][:1], tops[straight][:1]))
            found.append(_resampled(points[arc], tops[arc], self.rings[bend]))
        stock, up = points[begin:], tops[begin:]
        if not made:
            found.append((stock[:1], up[:1]))
        for bend in range(made, len(self.rings)):
            share = np.linspace(0.0, 1.0, 3)[1:2]
            spot = stock[:1] + share[:, None] * (stock[-1:] - stock[:1])
            found.append((np.repeat(spot, self.rings[bend], axis=0), np.repeat(up[:1], self.rings[bend], axis=0)))
        found.append((stock[-1:], up[-1:]))
        return np.concatenate([one for one, _ in found]), np.concatenate([one for _, one in found])


_CORNERS = ((1, 1), (-1, 1), (-1, -1), (1, -1))


def _resampled(points: Array, tops: Array, count: int) -> tuple[Array, Array]:
    place = np.linspace(0.0, len(points) - 1.0, count)
    low = np.minimum(place.astype(int), len(points) - 2) if len(points) > 1 else np.zeros(count, dtype=int)
    high = np.minimum(low + 1, len(points) - 1)
    share = (place - low)[:, None]
    return points[low] + share * (points[high] - points[low]), tops[low] + share * (tops[high] - tops[low])


def _fractions(step: Step, move: Move) -> Array:
    """When pictures are taken: often where the tube turns, at both ends where it slides, and where it is nearest."""
    if step.kind in ("bend", "turn"):
        turn = abs(move.arm[1] - move.arm[0]) if step.kind == "bend" else np.pi / 2
        count = min(MOST, max(2, int(np.ceil(turn / TURN)) + 1))
        return np.linspace(0.0, 1.0, count)
    return np.array([0.0, 1.0])


def _keep_out(area: KeepOut) -> Answer:
    shown: Answer = {"kind": area.kind, "radius": round(area.radius, _PLACES)}
    if area.kind == "arc":
        return {**shown, "centre": list(area.centre), "from": degrees(area.start), "to": degrees(area.end)}
    return {**shown, "behind": -area.rear, "ahead": area.front}


def _flat(values: Array) -> list[float]:
    return [round(float(value), _PLACES) for value in values]
