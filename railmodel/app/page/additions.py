"""New parts and points to start from: plain pieces that read and build as they stand."""

from typing import Any

import numpy as np

from railmodel.app.page.marks import as_marked
from railmodel.errors import InputError
from railmodel.job.fields import not_among
from railmodel.job.reader import JobFile

_WAYS = ("points", "path", "rows")
_ASIDE = {"in": 15.0, "mm": 400.0}
_UP = {"in": 20.0, "mm": 500.0}
_LONG = {"in": 60.0, "mm": 1500.0}
_LEAN = 0.1
"""How far a new point stands off its leg, as a part of the leg: a point on the leg would bend nothing."""


def new_part(source: JobFile, name: str, tube: str, hand: str, way: str) -> dict[str, Any]:
    """A straight piece, as it is written in a job file.

    Raises:
        InputError: a tube or a way that there is not.
    """
    unit = source.job.units
    if tube not in source.job.tubes:
        raise InputError(f"tube: {not_among(tube, list(source.job.tubes))}", [(("parts",), "")])
    if way not in _WAYS:
        raise InputError(f"way: {not_among(way, _WAYS)}")
    if hand not in ("pair", "single"):
        raise InputError(f"hand: {not_among(hand, ('pair', 'single'))}")
    aside, up, long = _ASIDE[unit] if hand == "pair" else 0.0, _UP[unit], _LONG[unit]
    front, rear = ([_text(x), _text(aside), _text(up)] for x in (0.0, long))
    made: dict[str, Any] = {"name": name, "tube": tube, "hand": hand}
    if way == "points":
        return {**made, "points": [front, rear]}
    made["start"] = {"at": front}
    return {**made, "path": [{"straight": _text(long)}]} if way == "path" else {**made, "rows": [], "tail": _text(long)}


def new_point(source: JobFile, part: int, after: int) -> dict[str, Any]:
    """A point between two corners of a part, a little off the line between them, on marks of the tape.

    Raises:
        InputError: there are no such two corners.
    """
    parts = source.job.parts
    if part >= len(parts) or (points := parts[part].points) is None or after + 1 >= len(points):
        raise InputError("there are no two points here to put one between; nothing was changed")
    ends = np.array([points[after].at, points[after + 1].at])
    leg = ends[1] - ends[0]
    axis = 2 if abs(leg[2]) <= 0.7 * np.linalg.norm(leg) else 0
    at = ends.mean(axis=0)
    at[axis] += _LEAN * float(np.linalg.norm(leg))
    made: dict[str, Any] = {"at": [as_marked(float(value), source) for value in at]}
    if source.shop is None:
        known = [point.radius for point in points if point.radius is not None]
        radius = known[0] if known else 3 * source.job.tubes[parts[part].tube].section.height
        made["radius"] = as_marked(radius, source)
    return made


def _text(value: float) -> str:
    return f"{value:g}"
