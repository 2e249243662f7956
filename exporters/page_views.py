"""Views of a frame as SVG: small, coloured by what they stand in, with short badges. mm on the vehicle."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from operator import itemgetter

import numpy as np
from numpy.typing import NDArray

from exporters.mesh import plate_rims
from exporters.room import Rect, Room
from exporters.views import PICTORIAL, PLAN, SIDE, Picture, View, panels
from railmodel.geometry.rows import Array
from railmodel.part import RailPart
from railmodel.plates import Placing, Plate

VIEWS: tuple[View, ...] = (PICTORIAL, SIDE, PLAN)

LETTER = 0.027
"""Height of a badge's letters as a part of the picture's width: about 10 px on a phone."""

SHADES = 4
"""Tones of a face, from edge-on to facing."""

_TONES = ("#cdcdd0", "#d9d9dc", "#e6e6e8", "#f2f2f4")
"""Those tones on white paper, the edge-on one first."""

_SAME = 1e-3
"""What stands out of a plane by no more than this lies in it, mm."""

_TOUCH = 0.5
"""Faces that overlap by no more than this in the drawing only touch, mm."""

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
class Sheet:
    """A flat face of a plate, or a facet of its rim.

    Args:
        rims: the (m, 3) corners of its outside, then of each hole.
        normal: (3,) outward.
        wall: whether it is a facet of the rim: only its first and third side are drawn.
    """

    rims: tuple[Array, ...]
    normal: Array
    wall: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Facets:
    """What parts show of themselves.

    Args:
        corners: (n, 4, 3) of four-cornered facets, in order.
        normals: (n, 3) outward.
        edges: (n, 4) whether a line is drawn from each corner to the next.
        plates: the rim and the faces of each plate; what comes later hides what comes before.
    """

    corners: Array
    normals: Array
    edges: NDArray[np.bool_]
    plates: tuple[tuple[Sheet, ...], ...] = ()


def facets(parts: Iterable[RailPart], plates: Iterable[tuple[Plate, Placing]] = ()) -> Facets:
    """Every facet of some parts and placed plates, for all views."""
    found = [panel for part in parts for panel in panels(part)]
    return Facets(
        np.array([panel.corners for panel in found]).reshape(-1, 4, 3),
        np.array([panel.normal for panel in found]).reshape(-1, 3),
        np.array([(True, panel.ends, True, panel.begins) for panel in found], dtype=bool).reshape(-1, 4),
        tuple(_sheets(plate, placing) for plate, placing in plates),
    )


def _sheets(plate: Plate, placing: Placing) -> tuple[Sheet, ...]:
    rims = plate_rims(plate)
    back, face = (tuple(placing.points(rim, depth) for rim in rims) for depth in (0.0, plate.thickness))
    walls = []
    for low, high in zip(back, face, strict=True):
        for corners in np.stack([low, np.roll(low, -1, axis=0), np.roll(high, -1, axis=0), high], axis=1):
            walls.append(Sheet((corners,), np.cross(corners[1] - corners[0], placing.normal), wall=True))
    return (*walls, Sheet(back, -placing.normal), Sheet(face, placing.normal))


def picture_of(every: Facets, view: View) -> Picture:
    """Parts in a view by themselves, to be coloured by what they stand in, such as `paper_style`."""
    faces, _, low, high = _faces(every, view)
    return Picture(tuple(faces), (float(low[0]), float(low[1])), (float(high[0]), float(high[1])))


def paper_style(line: float) -> str:
    """The SVG element that colours a picture for white paper, its outlines `line` wide, mm on the vehicle."""
    style = f"path{{fill:none}}.e{{stroke:#000;stroke-width:{line:.3f};stroke-linecap:round}}"
    tones = (f".f{i}{{fill:{tone};fill-rule:evenodd}}" for i, tone in enumerate(_TONES))
    return f"<style>{style}{''.join(tones)}</style>"


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
    shown = shown[np.argsort((every.corners[shown] @ view.toward).mean(axis=1), kind="stable")]
    flat = np.round(_flat(view, every.corners[shown]), 1) + 0.0
    boxes = np.concatenate([flat.min(axis=1), flat.max(axis=1)], axis=1)
    painted: list[tuple[float, str]] = []
    for i, (corners, edges, looks) in enumerate(
        zip(flat.tolist(), every.edges[shown].tolist(), facing[shown].tolist(), strict=True)
    ):
        spots = [f"{x:g},{y:g}" for x, y in corners]
        lines = "".join(f"M{spots[k]}L{spots[(k + 1) % 4]}" for k in range(4) if edges[k])
        painted.append((i, _painted(f"M{'L'.join(spots)}z", lines, looks)))
    whole = [boxes]
    for plate in every.plates:
        turn = 0
        for sheet in plate:
            looks = float(sheet.normal @ view.toward / np.linalg.norm(sheet.normal))
            if looks <= 1e-6:
                continue
            rounds = [np.round(_flat(view, rim), 1) + 0.0 for rim in sheet.rims]
            box = np.concatenate([rounds[0].min(axis=0), rounds[0].max(axis=0)])
            over = _over(rounds[0], box, flat, boxes)
            turn = max(turn, _turn(sheet, every, shown, over))
            painted.append((turn - 0.5, _sheet(rounds, sheet.wall, looks)))
            whole.append(box[None])
    found = np.concatenate(whole)
    if not len(found):
        return [], found, np.zeros(2), np.ones(2)
    faces = [text for _, text in sorted(painted, key=itemgetter(0))]
    return faces, found, found[:, :2].min(axis=0), found[:, 2:].max(axis=0)


def _over(rim: Array, box: Array, flat: Array, boxes: Array) -> NDArray[np.int64]:
    """Which facets share more than a border with a sheet in the drawing, by separating lines along their sides.

    Args:
        rim: (m, 2) the sheet's outside.
        box: its (left, low, right, high).
        flat: (n, 4, 2) the facets.
        boxes: (n, 4) theirs.
    """
    near = np.flatnonzero(((boxes[:, :2] < box[2:] - _TOUCH) & (box[:2] + _TOUCH < boxes[:, 2:])).all(axis=1))
    sides = np.roll(flat[near], -1, axis=1) - flat[near]
    own = np.broadcast_to(np.roll(rim, -1, axis=0) - rim, (len(near), *rim.shape))
    along = np.concatenate([sides, own], axis=1)
    across = np.stack([-along[..., 1], along[..., 0]], axis=-1)
    across /= np.maximum(np.linalg.norm(across, axis=-1, keepdims=True), _SAME)
    facet = np.einsum("nkx,nmx->nkm", across, flat[near])
    sheet = np.einsum("nkx,mx->nkm", across, rim)
    gap = np.maximum(sheet.min(axis=-1) - facet.max(axis=-1), facet.min(axis=-1) - sheet.max(axis=-1))
    return np.asarray(near[gap.max(axis=1, initial=-np.inf) < -_TOUCH])


def _turn(sheet: Sheet, every: Facets, shown: NDArray[np.int64], over: NDArray[np.int64]) -> int:
    """Before which facet, in painting order, a sheet is painted: after all that lie behind it.

    Args:
        sheet: the sheet.
        every: the facets.
        shown: which of them are painted, in their order.
        over: which of those share some of the drawing with it.
    """
    which, outside = shown[over], sheet.rims[0]
    facet = (every.corners[which] - outside[0]) @ (sheet.normal / np.linalg.norm(sheet.normal))
    own = np.einsum("nmk,nk->nm", outside[None] - every.corners[which][:, :1], every.normals[which])
    hidden = (facet <= _SAME).all(axis=1) | (own >= -_SAME).all(axis=1)  # the facet cannot hide the sheet
    hiding = (facet >= -_SAME).all(axis=1) | (own <= _SAME).all(axis=1)  # the sheet cannot hide the facet
    behind = over[hidden & ~hiding]
    return int(behind.max()) + 1 if behind.size else 0


def _sheet(rims: Iterable[Array], wall: bool, looks: float) -> str:
    """A sheet with its lines, from its rims on the page."""
    spots = [[f"{x:g},{y:g}" for x, y in rim.tolist()] for rim in rims]
    area = "".join(f"M{'L'.join(rim)}z" for rim in spots)
    lines = "".join(f"M{a}L{b}M{c}L{d}" for a, b, c, d in spots) if wall else area
    return _painted(area, lines, looks)


def _painted(area: str, lines: str, looks: float) -> str:
    """A face and its lines; `looks` is the cosine between its normal and the way to the eye."""
    shade = min(int(looks * SHADES), SHADES - 1)
    return f'<path class="f{shade}" d="{area}"/><path class="e" d="{lines}"/>'


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
