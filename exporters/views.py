"""Views of parts as flat drawings: side, plan and a pictorial one, in millimetres on the drawing's own axes.

A part is drawn as its four faces with sharp corners. Faces that look away are left out and the rest are painted from
the far side to the near one, so what lies in front covers what lies behind.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from html import escape
from math import ceil, radians

import numpy as np

from railmodel.end_cuts import to_cut
from railmodel.geometry.rows import Array
from railmodel.part import RailPart

FACET = radians(4)
"""A bend is drawn in facets of at most this."""

RUN = 100.0
"""A straight is painted in runs of at most this, mm, so that what crosses it in front or behind is told apart."""


@dataclass(frozen=True, slots=True)
class View:
    """Where a drawing looks from.

    Args:
        name: what it is called on paper.
        across: (3,) vehicle direction that runs to the right on the paper.
        up: (3,) vehicle direction that runs up on the paper.
    """

    name: str
    across: tuple[float, float, float]
    up: tuple[float, float, float]

    @property
    def toward(self) -> Array:
        """(3,) from the drawing toward the eye."""
        return np.cross(self.across, self.up)

    def flat(self, points: Array) -> Array:
        """Points (..., 3) on the paper, (..., 2), mm."""
        return np.stack([points @ np.array(self.across), points @ np.array(self.up)], axis=-1)


def _pictorial() -> View:
    turn, tilt = radians(35), radians(28)
    across = (np.cos(turn), np.sin(turn), 0.0)
    back = np.array([np.sin(turn) * np.cos(tilt), -np.cos(turn) * np.cos(tilt), np.sin(tilt)])
    up = np.cross(back, across)
    return View("pictorial view", (float(across[0]), float(across[1]), 0.0), (float(up[0]), float(up[1]), float(up[2])))


SIDE = View("side view from the left", (1.0, 0.0, 0.0), (0.0, 0.0, 1.0))
"""X to the right, Z up: seen from the vehicle's left side (-Y)."""

PLAN = View("plan view from above", (1.0, 0.0, 0.0), (0.0, 1.0, 0.0))
"""X to the right, the vehicle's right side up: seen from above (+Z), the vehicle heads to the left."""

PICTORIAL = _pictorial()


@dataclass(frozen=True, slots=True)
class Panel:
    """One facet of a part's face in space.

    Args:
        corners: (4, 3) in order.
        normal: (3,) outward.
        begins: whether a line is drawn where it begins (an end, or the start or end of a bend).
        ends: likewise where it ends.
    """

    corners: Array
    normal: Array
    begins: bool
    ends: bool


def panels(part: RailPart) -> list[Panel]:
    """The four faces of a part in facets, and its two ends, those of a crossmember cut as they are at its edges."""
    half_s, half_u = part.section.width / 2, part.section.height / 2
    around = ((1, 1), (-1, 1), (-1, -1), (1, -1))
    ends: list[Panel] = []
    for end, (pose, way) in enumerate(((part.line.start, -1.0), (part.line.end, 1.0))):
        ring = np.array([pose.at + a * half_s * pose.s + b * half_u * pose.u for a, b in around])
        normal = way * pose.t
        if part.cuts is not None:
            ring = ring + np.nan_to_num(to_cut(part.cuts[end], ring, pose.t))[:, None] * pose.t
            normal = -part.cuts[end].normal
        ends.append(Panel(ring, normal, True, True))
    found: list[Panel] = []
    for stretch in part.line.stretches:
        if stretch.length <= 0:
            continue
        count = max(1, ceil(stretch.length / RUN if stretch.kind == "straight" else stretch.angle / FACET))
        pose = stretch.pose(np.linspace(0.0, stretch.length, count + 1))
        rings = np.stack([pose.at + a * half_s * pose.s + b * half_u * pose.u for a, b in around], axis=1)
        if part.cuts is not None:  # straight from cut to cut
            share = np.linspace(0.0, 1.0, count + 1)[:, None, None]
            rings = (1 - share) * ends[0].corners + share * ends[1].corners
        normals = (pose.u, -pose.s, -pose.u, pose.s)
        for i in range(count):
            for k in range(4):
                corners = np.array([rings[i, k], rings[i + 1, k], rings[i + 1, (k + 1) % 4], rings[i, (k + 1) % 4]])
                normal = normals[k][i] + normals[k][i + 1]
                found.append(Panel(corners, normal / np.linalg.norm(normal), i == 0, i == count - 1))
    return found + ends


@dataclass(frozen=True, slots=True)
class Picture:
    """A drawing as SVG elements.

    Args:
        elements: SVG elements; the paper's y runs down, so up on the drawing is -y. mm.
        low: least (x, y) of what is drawn, in the SVG's own axes.
        high: greatest (x, y).
    """

    elements: tuple[str, ...]
    low: tuple[float, float]
    high: tuple[float, float]


def draw(parts: Sequence[RailPart], view: View, *, line: float = 1.0) -> Picture:
    """Parts in a view.

    Args:
        parts: what is drawn.
        view: where it is seen from.
        line: width of the outlines, mm on the vehicle.
    """
    shown: list[tuple[float, str]] = []
    corners: list[Array] = []
    eye = view.toward
    for part in parts:
        for panel in panels(part):
            facing = float(panel.normal @ eye)
            if facing <= 1e-6:
                continue
            flat = view.flat(panel.corners) * [1.0, -1.0]
            corners.append(flat)
            shown.append((float((panel.corners @ eye).mean()), _panel(flat, panel, facing, line)))
    if not corners:
        return Picture((), (0.0, 0.0), (1.0, 1.0))
    every = np.concatenate(corners)
    low, high = every.min(axis=0), every.max(axis=0)
    elements = tuple(text for _, text in sorted(shown, key=lambda item: item[0]))
    return Picture(elements, (float(low[0]), float(low[1])), (float(high[0]), float(high[1])))


def _panel(flat: Array, panel: Panel, facing: float, line: float) -> str:
    shade = round(200 + 48 * facing)
    fill = f"rgb({shade},{shade},{min(shade + 3, 255)})"
    edges = [(0, 1), (2, 3)] + ([(3, 0)] if panel.begins else []) + ([(1, 2)] if panel.ends else [])
    path = " ".join(f"M{_xy(flat[a])}L{_xy(flat[b])}" for a, b in edges)
    points = " ".join(_xy(point) for point in flat)
    return (
        f'<polygon points="{points}" fill="{fill}" stroke="{fill}" stroke-width="{line * 0.3:.3f}"/>'
        f'<path d="{path}" fill="none" stroke="black" stroke-width="{line:.3f}" stroke-linecap="round"/>'
    )


def _xy(point: Array) -> str:
    return f"{point[0]:.2f},{point[1]:.2f}"


def svg(picture: Picture, *, width: float, margin: float, title: str, over: Iterable[str] = ()) -> str:
    """A picture as an SVG document.

    Args:
        picture: what to show.
        width: of the document, mm on paper.
        margin: around the drawing, mm on the vehicle.
        title: for readers that speak it.
        over: SVG elements drawn on top, in the picture's own axes.
    """
    x, y = picture.low[0] - margin, picture.low[1] - margin
    w, h = picture.high[0] - picture.low[0] + 2 * margin, picture.high[1] - picture.low[1] + 2 * margin
    return "\n".join(
        [
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{x:.2f} {y:.2f} {w:.2f} {h:.2f}" '
            f'width="{width:.1f}mm" height="{width * h / w:.1f}mm" role="img" font-family="sans-serif">',
            f"<title>{escape(title)}</title>",
            *picture.elements,
            *over,
            "</svg>",
            "",
        ]
    )
