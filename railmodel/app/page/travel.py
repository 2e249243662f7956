"""A keep-clear shape anywhere in its travel, and how near the parts are to it there."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from math import degrees
from typing import Any

import numpy as np

from railmodel.app.page.look import Answer
from railmodel.fitting.bodies import Body, rail_body
from railmodel.fitting.clear_job import solid_parts
from railmodel.fitting.clearance import gaps
from railmodel.fitting.keep_clear import shapes_of
from railmodel.fitting.meshes import MeshShape
from railmodel.fitting.motion import Position
from railmodel.fitting.shapes import KeepClear, Shape
from railmodel.fitting.solids import Solids
from railmodel.frame import Frame
from railmodel.geometry.rows import Array
from railmodel.units import to_unit

MOST_POSES = 121


@dataclass(frozen=True, slots=True)
class _Placed:
    """A shape that stands elsewhere than drawn: turned, then shifted."""

    shape: Shape
    turn: Array
    shift: Array

    def solids(self) -> Solids:
        """The shape as convex solids, there."""
        drawn, turn, shift = self.shape.solids(), self.turn, self.shift
        return replace(
            drawn,
            vertices=drawn.vertices @ turn.T + shift,
            axis=drawn.axis @ turn.T,
            inside=drawn.inside @ turn.T + shift,
            centre=drawn.centre @ turn.T + shift,
            turn=turn @ drawn.turn,
            move=drawn.move @ turn.T + shift,
        )

    def mirrored(self) -> "_Placed":
        """The other side's copy."""
        flip = np.diag([1.0, -1.0, 1.0])
        return _Placed(self.shape.mirrored(), flip @ self.turn @ flip, flip @ self.shift)


def pose_of(frame: Frame, number: int, at: Sequence[float]) -> Answer:
    """A shape at one position, and the gap of every part to it there.

    Args:
        frame: the job.
        number: of the shape, mirrored ones counted.
        at: a parameter from 0 to 1 for each of its drivers.
    """
    shape, needs = shapes_of(frame.source)[number]
    turn, shift, position = _place(shape, at)
    solid = shape.shape
    there: Shape
    if isinstance(solid, MeshShape):
        there = replace(solid, triangles=solid.triangles @ turn.T + shift)
    else:
        there = _Placed(solid, turn, shift)
    unit = frame.unit
    return {
        "shape": f"shape {number}",
        "matrix": _matrix(turn, shift),
        "position": {
            "up": to_unit(position.up, unit),
            "roll": degrees(position.roll),
            "turn": degrees(position.turn),
            "slide": to_unit(position.slide, unit),
        },
        "gaps": [
            {
                "part": gap.part,
                "gap": to_unit(gap.gap, unit),
                "needs": to_unit(needs, unit),
                "ok": gap.gap >= needs,
                "on_part": _rounded(gap.on_part),
                "on_shape": _rounded(gap.on_shape),
            }
            for gap in gaps(bodies_of(frame), [KeepClear(name=shape.name, shape=there)])
        ],
    }


def track_of(frame: Frame, number: int, count: int) -> Answer:
    """A shape's poses through each of its drivers there and back, the others as drawn."""
    shape, _ = shapes_of(frame.source)[number]
    rest = rests(shape)
    there = np.linspace(0.0, 1.0, count)
    poses = []
    for driver in range(len(rest)):
        for share in [*there[there > rest[driver]], *there[::-1], *there[there < rest[driver]], rest[driver]]:
            at = [*rest[:driver], float(share), *rest[driver + 1 :]]
            turn, shift, _ = _place(shape, at)
            poses.append({"at": at, "matrix": _matrix(turn, shift)})
    return {"shape": f"shape {number}", "poses": poses}


def rests(shape: KeepClear) -> list[float]:
    """Where in each driver's range a shape stands as drawn, 0 to 1."""
    found = []
    for group in shape.motion.drivers:
        span = shape.motion.span(group[0])
        assert span is not None  # a driver drives what travels
        found.append(min(max(span.start / (span.start - span.end), 0.0), 1.0))
    return found


@lru_cache(maxsize=2)
def bodies_of(frame: Frame) -> list[Body]:
    """The parts that make a solid, for the clearance search."""
    return [rail_body(part.label, part.line, part.section) for part in solid_parts(frame)]


def _place(shape: KeepClear, at: Sequence[float]) -> tuple[Array, Array, Position]:
    """Turn (3, 3) and shift (3,) that carry a shape from where it is drawn."""
    position = shape.motion.position(list(at)) if at else Position()
    rows = shape.motion.carry(np.concatenate([np.zeros((1, 3)), np.eye(3)]), position)
    return (rows[1:] - rows[0]).T, rows[0], position


def _matrix(turn: Array, shift: Array) -> list[float]:
    rows: Any = np.eye(4)
    rows[:3, :3], rows[:3, 3] = turn, shift
    return [round(float(value), 9) for value in rows.ravel()]


def _rounded(values: Sequence[float]) -> list[float]:
    return [round(float(value), 3) for value in values]
