"""Side and plan pictures of a frame with the shapes it must clear, the least gaps marked by number and told in words.

States are told in words and marks, never in colour alone: a clear gap has a round badge, one that is too near a square.
"""

from html import escape
from pathlib import Path

import numpy as np

from exporters.views import PLAN, SIDE, Picture, View, draw, svg
from railmodel.files import write_whole
from railmodel.fitting.clear_job import describe, tightest
from railmodel.fitting.clearance import Gap
from railmodel.fitting.keep_clear import shapes_of
from railmodel.fitting.meshes import MeshShape
from railmodel.fitting.motion import Position
from railmodel.fitting.shapes import Box, Capsule, Cylinder, KeepClear, Sphere, turned
from railmodel.frame import Frame
from railmodel.geometry.rows import Array

WIDTH = 270.0
"""Width of the picture on paper, mm."""

AS_DRAWN = Position()


def write_fit_pictures(frame: Frame, folder: Path, stem: str) -> list[Path]:
    """Write `<stem>_side.svg` and `<stem>_plan.svg` into a folder."""
    paths = []
    for view, name in ((SIDE, "side"), (PLAN, "plan")):
        path = folder / f"{stem}_{name}.svg"
        write_whole(path, fit_picture(frame, view))
        paths.append(path)
    return paths


def fit_picture(frame: Frame, view: View) -> str:
    """One view as an SVG document."""
    picture = draw(frame.parts, view, line=2.0)
    shapes = {shape.name: shape for shape, _ in shapes_of(frame.source)}
    gaps = tightest(frame)
    outlines = [view.flat(_hull(view, outline(shape, AS_DRAWN))) * [1, -1] for shape in shapes.values()]
    under = [_path(points, dashed=False) for points in outlines]
    for gap, _ in gaps:
        if gap.at != AS_DRAWN:
            moved = view.flat(_hull(view, outline(shapes[gap.shape], gap.at))) * [1, -1]
            outlines.append(moved)
            under.append(_path(moved, dashed=True))
    low = np.min([picture.low, *(points.min(axis=0) for points in outlines)], axis=0)
    high = np.max([picture.high, *(points.max(axis=0) for points in outlines)], axis=0)
    size = float(high[0] - low[0]) / 70
    over = [_mark(view, gap, needs, i + 1, size) for i, (gap, needs) in enumerate(gaps)]
    legend = [_legend(frame, gap, needs, i + 1) for i, (gap, needs) in enumerate(gaps)]
    top = float(high[1]) + 3 * size
    heading = f"{frame.job.job}, revision {frame.job.revision or '-'}: {view.name}"
    words = [_words(low[0], top, 1.3 * size, heading, bold=True)]
    words += [_words(low[0], top + (i + 2) * 1.7 * size, size, line) for i, line in enumerate(legend)]
    foot = "Drawn line: shape as drawn. Dashed: where it comes nearest. Square badge: nearer than wanted."
    words.append(_words(low[0], top + (len(legend) + 2) * 1.7 * size, size, foot))
    bottom = top + (len(legend) + 3) * 1.7 * size
    whole = Picture((*under, *picture.elements), (float(low[0]), float(low[1])), (float(high[0]), bottom))
    return svg(whole, width=WIDTH, margin=2 * size, title=heading, over=(*over, *words))


def outline(shape: KeepClear, at: Position) -> Array:
    """Points (n, 3) that span a shape at a position of its travel, mm."""
    return shape.motion.carry(_points(shape), at)


def _points(shape: KeepClear) -> Array:
    given = shape.shape
    if isinstance(given, Box):
        signs = np.array([[a, b, c] for a in (-1, 1) for b in (-1, 1) for c in (-1, 1)], dtype=float)
        return np.asarray(given.at + (signs * np.array(given.size) / 2) @ turned(given.turn).T)
    if isinstance(given, Sphere):
        return given.at + _ball() * given.diameter / 2
    if isinstance(given, Capsule):
        return np.concatenate([end + _ball() * given.diameter / 2 for end in (given.start, given.end)])
    if isinstance(given, Cylinder):
        start, end = np.array(given.start), np.array(given.end)
        along = (end - start) / np.linalg.norm(end - start)
        x = np.cross(np.eye(3)[int(np.argmin(np.abs(along)))], along)
        x /= np.linalg.norm(x)
        turn = np.linspace(0, 2 * np.pi, 49)[:, None]
        rim = (np.cos(turn) * x + np.sin(turn) * np.cross(along, x)) * given.diameter / 2
        return np.concatenate([start + rim, end + rim])
    assert isinstance(given, MeshShape)
    return given.triangles.reshape(-1, 3)


def _ball() -> Array:
    turn, tilt = np.meshgrid(np.linspace(0, 2 * np.pi, 37), np.linspace(-np.pi / 2, np.pi / 2, 19))
    return np.stack([np.cos(tilt) * np.cos(turn), np.cos(tilt) * np.sin(turn), np.sin(tilt)], axis=-1).reshape(-1, 3)


def _hull(view: View, points: Array) -> Array:
    """The points (k, 3) whose places on the paper span all of them, in order round it."""
    from scipy.spatial import ConvexHull

    return np.asarray(points[ConvexHull(view.flat(points)).vertices])


def _path(points: Array, *, dashed: bool) -> str:
    style = 'stroke="#555" stroke-dasharray="12 9"' if dashed else 'stroke="#555"'
    corners = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
    return f'<polygon points="{corners}" fill="#f3efe2" fill-opacity="0.45" stroke-width="1.4" {style}/>'


def _mark(view: View, gap: Gap, needs: float, number: int, size: float) -> str:
    ends = view.flat(np.array([gap.on_part, gap.on_shape])) * [1, -1]
    (a, b), (c, d) = ends
    x, y = ends.mean(axis=0) + [0.9 * size, -0.9 * size]
    line = f'<path d="M{a:.1f},{b:.1f}L{c:.1f},{d:.1f}" stroke="black" stroke-width="{size / 8:.2f}"/>'
    style = f'fill="white" stroke="black" stroke-width="{size / 10:.2f}"'
    if gap.gap >= needs:
        badge = f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{0.8 * size:.1f}" {style}/>'
    else:
        badge = (
            f'<rect x="{x - 0.8 * size:.1f}" y="{y - 0.8 * size:.1f}" width="{1.6 * size:.1f}" '
            f'height="{1.6 * size:.1f}" {style}/>'
        )
    text = (
        f'<text x="{x:.1f}" y="{y + 0.35 * size:.1f}" font-size="{size:.1f}" text-anchor="middle" '
        f'font-weight="bold">{number}</text>'
    )
    return line + badge + text


def _legend(frame: Frame, gap: Gap, needs: float, number: int) -> str:
    where = describe(frame, gap.at)
    if gap.gap < 0:
        state = f"RUNS INTO IT by {frame.say(-gap.gap)}"
    elif gap.gap < needs:
        state = f"TOO NEAR, {frame.say(gap.gap)}"
    else:
        state = f"clear, {frame.say(gap.gap)}"
    return f"{number}  {gap.shape} to {gap.part}: {state} ({frame.say(needs)} wanted){where}"


def _words(x: float, y: float, size: float, text: str, *, bold: bool = False) -> str:
    weight = ' font-weight="bold"' if bold else ""
    return f'<text x="{x:.1f}" y="{y:.1f}" font-size="{size:.1f}"{weight}>{escape(text)}</text>'
