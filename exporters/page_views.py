"""Views of a frame as SVG to stand inside a page: small, coloured by the page, with short badges. mm on the vehicle."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from exporters.room import Rect, Room
from exporters.views import PICTORIAL, SIDE, View, panels
from railmodel.geometry.rows import Array
from railmodel.part import RailPart

PLAN = View("plan view, seen from above", (1.0, 0.0, 0.0), (0.0, 1.0, 0.0))
"""X to the right, the vehicle's right side up: seen from above (+Z), the vehicle heads to the left."""

VIEWS: tuple[View, ...] = (PICTORIAL, SIDE, PLAN)

LETTER = 0.027
"""Height of a badge's letters as a part of the picture's width: about 10 px on a phone."""

SHADES = 4
"""Tones of a face, from edge-on to facing."""

_AXES = (("X", (1.0, 0.0, 0.0)), ("Y", (0.0, 1.0, 0.0)), ("Z", (0.0, 0.0, 1.0)))


@dataclass(frozen=True, slots=True)
class Badge:
    """A short mark at a place.

    Args:
        text: a few letters or digits.
        at: (x, y, z), mm.
        kind: the class it is styled by.
    """

    text: str
    at: tuple[float, float, float]
    kind: str = "point"


@dataclass(frozen=True, slots=True)
class Drawing:
    """A view ready for a page.

    Args:
        name: what it shows, in words.
        svg: the element.
        width: of its window, mm on the vehicle.
    """

    name: str
    svg: str
    width: float


def drawing(parts: Sequence[RailPart], view: View, badges: Iterable[Badge] = (), *, datum: bool = True) -> Drawing:
    """Parts in a view with the datum's axes and badges beside their places.

    Args:
        parts: what is drawn.
        view: where it is seen from.
        badges: the first ones get the best places.
        datum: draw the axes at the datum where it is not far from the parts.
    """
    faces, boxes, low, high = _faces(parts, view)
    reach = float(max(high - low)) * 0.1
    extra: list[str] = []
    if datum and parts and (np.maximum(low, -high).max() <= 4 * reach):
        extra, corners = _datum(view, reach)
        low, high = np.minimum(low, corners.min(axis=0)), np.maximum(high, corners.max(axis=0))
    width = float(high[0] - low[0]) * 1.12
    letter = LETTER * width
    marks, box = _badges(badges, view, letter, boxes, Rect(*low.tolist(), *high.tolist()))
    margin = 0.6 * letter
    x, y = box.left - margin, box.low - margin
    w, h = box.right - box.left + 2 * margin, box.high - box.low + 2 * margin
    svg = (
        f'<svg viewBox="{x:.0f} {y:.0f} {w:.0f} {h:.0f}" role="img" aria-label="{view.name}">'
        f"{''.join((*faces, *extra, *marks))}</svg>"
    )
    return Drawing(view.name, svg, w)


def _faces(parts: Sequence[RailPart], view: View) -> tuple[list[str], Array, Array, Array]:
    """Faces that look toward the eye, far ones first.

    Returns:
        The faces as SVG, the box (left, low, right, high) of each, and the least and greatest (x, y) of the drawing.
    """
    eye = view.toward
    shown: list[tuple[float, str]] = []
    corners: list[Array] = []
    for part in parts:
        for panel in panels(part):
            facing = float(panel.normal @ eye)
            if facing <= 1e-6:
                continue
            flat = _flat(view, panel.corners)
            corners.append(flat)
            edges = [(0, 1), (2, 3)] + ([(3, 0)] if panel.begins else []) + ([(1, 2)] if panel.ends else [])
            lines = "".join(f"M{_xy(flat[a])}L{_xy(flat[b])}" for a, b in edges)
            shade = min(int(facing * SHADES), SHADES - 1)
            outline = "L".join(_xy(corner) for corner in flat)
            text = f'<path class="f{shade}" d="M{outline}z"/><path class="e" d="{lines}"/>'
            shown.append((float((panel.corners @ eye).mean()), text))
    if not corners:
        return [], np.zeros((0, 4)), np.zeros(2), np.ones(2)
    every = np.array(corners)
    boxes = np.concatenate([every.min(axis=1), every.max(axis=1)], axis=1)
    faces = [text for _, text in sorted(shown, key=lambda item: item[0])]
    return faces, boxes, boxes[:, :2].min(axis=0), boxes[:, 2:].max(axis=0)


def _flat(view: View, points: Array) -> Array:
    """Points (..., 3) on the page, (..., 2): x to the right, y down."""
    return view.flat(points) * [1.0, -1.0]


def _xy(point: Array) -> str:
    return f"{point[0]:.1f},{point[1]:.1f}".replace(".0,", ",").removesuffix(".0")


def _datum(view: View, reach: float) -> tuple[list[str], Array]:
    """The axes at the datum, each with its letter, and the corners of what is drawn."""
    found, corners = ['<circle class="a" r="0"/>'], [np.zeros(2)]
    for letter, axis in _AXES:
        end = _flat(view, np.array(axis) * reach)
        if np.linalg.norm(end) < reach * 0.1:  # looks at the eye
            continue
        beside = end * 1.22
        corners += [beside * 1.1]
        found.append(f'<path class="a" d="M0,0L{_xy(end)}"/>')
        found.append(f'<text class="a" x="{beside[0]:.0f}" y="{beside[1]:.0f}">{letter}</text>')
    return found, np.array(corners)


def _badges(
    badges: Iterable[Badge], view: View, letter: float, tubes: Array, drawn: Rect
) -> tuple[list[str], Rect]:
    """Badges beside their places with a line to them, off each other, and the window that holds all."""
    room, found, box = Room(), [], drawn
    done: set[tuple[str, int, int]] = set()
    for badge in badges:
        x, y = _flat(view, np.array(badge.at)).tolist()
        spot = (badge.text, round(x), round(y))
        rect = None if spot in done else _place(badge.text, x, y, letter, room, tubes)
        done.add(spot)  # the other hand may lie right behind
        if rect is None:
            continue
        room.texts.append(rect)
        middle, level = (rect.left + rect.right) / 2, (rect.low + rect.high) / 2
        found.append(
            f'<path class="l" d="M{x:.0f},{y:.0f}L{middle:.0f},{level:.0f}"/>'
            f'<text class="b {badge.kind}" x="{middle:.0f}" y="{level:.0f}">{badge.text}</text>'
        )
        box = Rect(*np.minimum(box[:2], rect[:2]).tolist(), *np.maximum(box[2:], rect[2:]).tolist())
    return found, box


def _place(text: str, x: float, y: float, letter: float, room: Room, tubes: Array) -> Rect | None:
    """The nearest free place for a badge beside (x, y): clear of the tubes if it can be, of other badges always."""
    width, height = 0.62 * letter * len(text) + 0.5 * letter, 1.25 * letter
    kept = None
    for far in (1.8, 2.6, 3.4, 4.6, 6.0):
        for dx, dy in ((0, -1), (0, 1), (0.7, -1), (-0.7, -1), (0.7, 1), (-0.7, 1)):
            rect = Rect.around(x + dx * far * letter, y + dy * far * letter, width, height)
            if not room.free(rect):
                continue
            if not _meets(rect, tubes):
                return rect
            kept = kept or rect
    return kept


def _meets(rect: Rect, boxes: Array) -> bool:
    """Whether a rectangle meets any of some boxes (n, 4)."""
    left, low, right, high = boxes.T
    return bool(((rect.left < right) & (left < rect.right) & (rect.low < high) & (low < rect.high)).any())
