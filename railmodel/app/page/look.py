"""Parts as the page shows them: corners, centreline, faces in side view and plan, bends and bend table.

Lengths in the job's unit, angles in degrees.
"""

from math import degrees
from typing import Any

import numpy as np

from exporters.bend_table import table_of
from railmodel.frame import Frame
from railmodel.geometry.rows import Array
from railmodel.part import RailPart
from railmodel.units import to_unit

Answer = dict[str, Any]

ARC = np.radians(6.0)
"""A bend is drawn in pieces of at most this."""

PLACES = 4
"""Decimals of what is only drawn, in the job's unit."""

_CORNERS = ((1, 1), (-1, 1), (-1, -1), (1, -1))


def part_look(frame: Frame, part: RailPart, tones: dict[str, int]) -> Answer:
    """One part.

    Args:
        frame: the job.
        part: the part.
        tones: number of each part's colour, by name.
    """
    unit = frame.unit
    scale = to_unit(1.0, unit)
    written = next((i for i, given in enumerate(frame.job.parts) if given.name == part.name), None)
    given = None if written is None else frame.job.parts[written]
    at, faces = _drawn(part)
    line = part.line
    return {
        "id": part.label,
        "name": part.name,
        "hand": part.hand,
        "index": written,
        "kind": "part" if part.cuts is None else "crossmember",
        "written": part.written if part.cuts is None else "crossmember",
        "tube": part.tube,
        "tone": tones.get(part.name, 0),
        "height": to_unit(part.section.height, unit),
        "width": to_unit(part.section.width, unit),
        "wall": to_unit(part.section.wall, unit),
        "length": to_unit(line.length, unit),
        "corners": _rounded(line.points * scale),
        "drag": part.hand != "left" and given is not None and given.points is not None,
        "line": _rounded(at * scale),
        "outline": {
            "side": [_rounded(face[:, [0, 2]] * scale) for face in faces],
            "plan": [_rounded(face[:, [0, 1]] * scale) for face in faces],
        },
        "bends": _bends(part, scale),
        "table": table_of(part, job=frame.job.job, revision=frame.job.revision, unit=unit),
        "leading_end": part.leading_end,
    }


def _bends(part: RailPart, scale: float) -> list[Answer]:
    """The bends in the order of the table."""
    reading = part.read
    corners = reading.line.points[1:-1]
    return [
        {
            "bend": bend.number,
            "written": bend.written,
            "at": _rounded(stretch.pose(stretch.length / 2).at * scale),
            "corner": _rounded(corner * scale),
            "die": bend.die,
            "toward": bend.toward,
            "way": bend.way,
            "angle": degrees(stretch.angle),
            "radius": stretch.radius * scale,
        }
        for bend, stretch, corner in zip(reading.bends, reading.line.bends, corners, strict=True)
    ]


def _drawn(part: RailPart) -> tuple[Array, list[Array]]:
    """Places (n, 3) along the centreline, and the closed rims (k, 3) of the four faces and the two ends, mm."""
    line = part.line
    stations = [0.0]
    for stretch in line.stretches:
        if stretch.length <= 0:
            continue
        count = 1 if stretch.kind == "straight" else int(np.ceil(stretch.angle / ARC))
        stations += np.linspace(stretch.station, stretch.station + stretch.length, count + 1)[1:].tolist()
    pose = line.pose_at(stations)
    s, u = pose.s * part.section.width / 2, pose.u * part.section.height / 2
    edges = [pose.at + i * s + j * u for i, j in _CORNERS]
    faces = [np.concatenate([edges[i], edges[(i + 1) % 4][::-1]]) for i in range(4)]
    ends = [np.array([edge[end] for edge in edges]) for end in (0, -1)]
    return pose.at, faces + ends


def _rounded(values: Array) -> Any:
    return (np.round(values, PLACES) + 0.0).tolist()
