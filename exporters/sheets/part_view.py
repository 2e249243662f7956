"""The finished part as the bend sheet shows it: the view that tells most of it, to scale, with its bends numbered."""

from collections.abc import Sequence

import numpy as np

from exporters.sheets.scale import scale_to_fit, words
from exporters.sheets.typeset import SVG, Data
from exporters.sheets.words import POINT
from exporters.views import PLAN, SIDE, View, draw, svg
from railmodel.geometry.rows import Array
from railmodel.part import RailPart

BEHIND = View("view from behind", (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))
"""Y to the right, Z up: seen from behind the vehicle (+X)."""

_VIEWS = (SIDE, PLAN, BEHIND)
_SHOWN = 0.5
"""A bend is told by a view that sees at least this much of its angle (sine of the slant to the bend's plane)."""

_LABEL = 10.0
"""From the tube to the middle of a bend's number, points."""

_MARGIN = 18.0
"""Room round the part for numbers, points."""

_BESIDE = 56.0
"""Room left and right of the part for words, points."""

_TALLER = 1.5
"""How much more room up two views over each other may take than one alone."""

_SAMPLES = 24
"""Places on a stretch that tell how far it reaches."""

_OUTLINE = 0.5
"""Width of the outlines, points."""


def part_views(part: RailPart, width: float, height: float, most: int) -> list[Data]:
    """One view, or two where the best one hides a bend; each with its picture and labels in points.

    Two of a long part stand one over the other, two of a short one side by side.

    Args:
        part: what is shown.
        width: room across for all of them, points.
        height: room up for all of them, points.
        most: how many views there may be.
    """
    chosen = best_views(part)[:most]
    if len(chosen) == 1:
        return [_view(part, chosen[0], width, height)]
    beside = [_view(part, view, width / 2 - 8, height) for view in chosen]
    over = [_view(part, view, width, height * _TALLER / 2) for view in chosen]
    return min(beside, over, key=lambda views: max(view["times"] for view in views))


def best_views(part: RailPart) -> list[View]:
    """The view that sees most of the bends' angles, and a second where that one hides a bend."""
    bends = part.line.bends
    seen = {view.name: [abs(float(bend.axis @ view.toward)) for bend in bends] for view in _VIEWS}

    def told(view: View) -> float:
        if not bends:  # a straight part: the view that sees most of its length
            run = part.line.end.at - part.line.start.at
            return float(np.linalg.norm(view.flat(run)))
        return sum(bend.angle * share for bend, share in zip(bends, seen[view.name], strict=True))

    first = max(_VIEWS, key=told)
    hidden = [i for i, share in enumerate(seen[first.name]) if share < _SHOWN]
    if not hidden:
        return [first]
    second = max(
        (view for view in _VIEWS if view is not first), key=lambda view: sum(seen[view.name][i] for i in hidden)
    )
    return [first, second] if any(seen[second.name][i] >= _SHOWN for i in hidden) else [first]


def _view(part: RailPart, view: View, width: float, height: float) -> Data:
    size = extent([part], view)
    scale = max(scale_to_fit(size[0], width - 2 * _BESIDE), scale_to_fit(size[1], height - 2 * _MARGIN))
    mm = scale * POINT  # mm on the part that a point on the paper stands for
    picture = draw([part], view, line=_OUTLINE * mm)
    corner = np.array(picture.low) - _MARGIN * mm
    wide, high = np.subtract(picture.high, picture.low) / mm + 2 * _MARGIN
    labels = _labels(part, view, corner, mm)
    return {
        "picture": {SVG: svg(picture, width=wide * POINT, margin=_MARGIN * mm, title="finished part")},
        "name": view.name,
        "scale": words(scale),
        "times": scale,
        "width": float(wide),
        "height": float(high),
        "labels": labels,
    }


def _labels(part: RailPart, view: View, corner: Array, mm: float) -> list[Data]:
    """Numbers outside their bends, and the leading end; points from the picture's corner, y down."""
    line, found = part.read.line, []
    for i, bend in enumerate(line.bends, start=1):
        middle = bend.pose(bend.length / 2).at
        found.append((str(i), middle, middle - bend.centre, part.section.reach(bend.roll)))
    found.append(("leading end", line.start.at, -line.start.t, 0.0))
    labels = []
    for text, at, direction, depth in found:
        away = _away(view, direction)
        off = depth / mm + _LABEL
        x, y = (view.flat(at) * [1.0, -1.0] - corner) / mm + off * away
        labels.append({"text": text, "x": float(x), "y": float(y), "away": float(away[0])})
    return labels


def _away(view: View, direction: Array) -> Array:
    """A direction on the paper, y down, (2,); up where it points at the eye."""
    flat = view.flat(direction / np.linalg.norm(direction)) * [1.0, -1.0]
    size = float(np.linalg.norm(flat))
    return flat / size if size > _SHOWN else np.array([0.0, -1.0])


def extent(parts: Sequence[RailPart], view: View) -> Array:
    """Width and height of a drawing of parts, (2,), mm; to a thousandth, without drawing it."""
    corners = []
    for part in parts:
        half_s, half_u = part.section.width / 2, part.section.height / 2
        stations = [np.linspace(piece.station, piece.station + piece.length, _SAMPLES) for piece in part.line.stretches]
        pose = part.line.pose_at(np.concatenate(stations))
        for a, b in ((1, 1), (-1, 1), (-1, -1), (1, -1)):
            corners.append(view.flat(pose.at + a * half_s * pose.s + b * half_u * pose.u))
    every = np.concatenate(corners)
    low, high = every.min(axis=0), every.max(axis=0)
    return np.array([high[0] - low[0], high[1] - low[1]])
