"""Views of a frame as SVG to stand inside a page: small, coloured by the page, with short badges. mm on the vehicle."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from exporters.room import Rect, Room
from exporters.views import PICTORIAL, PLAN, SIDE, View, panels
from railmodel.geometry.rows import Array
from railmodel.part import RailPart

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


@dataclass(frozen=True, slots=True, eq=False)
class Facets:
    """The facets of parts' faces.

    Args:
        corners: (n, 4, 3) in order.
        normals: (n, 3) outward.
        edges: (n, 4) whether a line is drawn from each corner to the next.
    """

    corners: Array
    normals: Array
    edges: NDArray[np.bool_]


def facets(parts: Iterable[RailPart]) -> Facets:
    """Every facet of some parts, for all views."""
    found = [panel for part in parts for panel in panels(part)]
    return Facets(
        np.array([panel.corners for panel in found]).reshape(-1, 4, 3),
        np.array([panel.normal for panel in found]).reshape(-1, 3),
        np.array([(True, panel.ends, True, panel.begins) for panel in found], dtype=bool).reshape(-1, 4),
    )


def drawing(every: Facets, view: View, badges: Iterable[Badge] = ()) -> Drawing:
    """Parts in a view with badges beside their places, and the datum's axes where it is not far from them.

    Args:
        every: the parts' facets.
        view: where it is seen from.
        badges: the first ones get the best places.
    """
    faces, boxes, low, high = _faces(every, view)
    reach = float(max(high - low)) * 0.1
    axes: list[tuple[str, Array]] = []
    if np.maximum(low, -high).max() <= 4 * reach:
        axes = _axes(view, reach)
        ends = np.array([[0.0, 0.0], *(1.1 * at for _, at in axes)])
        low, high = np.minimum(low, ends.min(axis=0)), np.maximum(high, ends.max(axis=0))
    letter = LETTER * float(high[0] - low[0]) * 1.12
    room = Room([Rect.around(x, y, letter, letter) for _, (x, y) in axes])
    marks, box = _badges(badges, view, letter, boxes, room, Rect(*low.tolist(), *high.tolist()))
    margin = 0.6 * letter
    x, y = box.left - margin, box.low - margin
    w, h = box.right - box.left + 2 * margin, box.high - box.low + 2 * margin
    svg = (
        f'<svg viewBox="{x:.0f} {y:.0f} {w:.0f} {h:.0f}" role="img" aria-label="{view.name}">'
        f"{''.join((*faces, *_datum(axes), *marks))}</svg>"
    )
    return Drawing(view.name, svg, w)


def _faces(every: Facets, view: View) -> tuple[list[str], Array, Array, Array]:
    """Faces that look toward the eye, far ones first.

    Returns:
        The faces as SVG, the box (left, low, right, high) of each, and the least and greatest (x, y) of the drawing.
    """
    facing = every.normals @ view.toward
    shown = np.flatnonzero(facing > 1e-6)
    if not shown.size:
        return [], np.zeros((0, 4)), np.zeros(2), np.ones(2)
    shown = shown[np.argsort((every.corners[shown] @ view.toward).mean(axis=1), kind="stable")]
    flat = np.round(_flat(view, every.corners[shown]), 1) + 0.0
    shades = np.minimum((facing[shown] * SHADES).astype(int), SHADES - 1)
    faces = []
    for corners, edges, shade in zip(flat.tolist(), every.edges[shown].tolist(), shades.tolist(), strict=True):
        spots = [f"{x:g},{y:g}" for x, y in corners]
        lines = "".join(f"M{spots[k]}L{spots[(k + 1) % 4]}" for k in range(4) if edges[k])
        faces.append(f'<path class="f{shade}" d="M{"L".join(spots)}z"/><path class="e" d="{lines}"/>')
    boxes = np.concatenate([flat.min(axis=1), flat.max(axis=1)], axis=1)
    return faces, boxes, boxes[:, :2].min(axis=0), boxes[:, 2:].max(axis=0)


def _flat(view: View, points: Array) -> Array:
    """Points (..., 3) on the page, (..., 2): x to the right, y down."""
    return view.flat(points) * [1.0, -1.0]


def _axes(view: View, reach: float) -> list[tuple[str, Array]]:
    """The axes at the datum that can be seen: the letter of each and where it stands."""
    ends = [(letter, _flat(view, np.array(axis) * reach)) for letter, axis in _AXES]
    return [(letter, end * 1.22) for letter, end in ends if np.linalg.norm(end) > reach * 0.1]


def _datum(axes: Iterable[tuple[str, Array]]) -> Iterator[str]:
    """The axes at the datum, each with its letter."""
    for letter, at in axes:
        x, y = at / 1.22
        yield f'<path class="a" d="M0,0L{x:.0f},{y:.0f}"/>'
        yield f'<text class="a" x="{at[0]:.0f}" y="{at[1]:.0f}">{letter}</text>'


def _badges(
    badges: Iterable[Badge], view: View, letter: float, tubes: Array, room: Room, drawn: Rect
) -> tuple[list[str], Rect]:
    """Badges beside their places with a line to them, off each other, and the window that holds all."""
    found, box = [], drawn
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
