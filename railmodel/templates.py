"""Bend-check templates: flat plates that sit inside a finished bend and touch its inner face. Millimetres, radians.

A template's own axes: the straight before the bend lies along x and ends at (0, 0), the bend turns toward y. Its edge
follows the finished inner face: a straight, the arc of the face's own radius, a straight; its back follows at a depth.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from math import cos, sin, tan

import numpy as np

from railmodel.frame import Frame
from railmodel.geometry.flat_outline import Outline
from railmodel.geometry.rows import Array
from railmodel.part import Bend, Face, Hand, RailPart
from railmodel.tolerances import ANGLE, LENGTH

USUAL_DEPTH: float = 40.0
"""Depth of the band where the job gives none, mm: wide enough to hold in a glove (common practice, no source)."""

_SHARE = 0.6  # of the inner radius, the depth that always goes round a bend


@dataclass(frozen=True, kw_only=True, eq=False)
class Template:
    """A template for one bend, or for several bends of a part that are alike.

    Args:
        part: the part's name.
        hand: "right" stands for both hands of a pair: the left one's template is the same plate turned over.
        bends: numbers of the bends, from the leading end.
        faces: the face it lies on at each of them, the inner one.
        angle: finished angle, radians.
        radius: finished radius of the centreline, mm.
        inner: finished radius of the inner face, mm.
        before: straight before the bend that it lies on, mm.
        after: straight after it, mm.
        depth: of the band, mm.
        outline: what is cut.
    """

    part: str
    hand: Hand
    bends: tuple[int, ...]
    faces: tuple[Face, ...]
    angle: float
    radius: float
    inner: float
    before: float
    after: float
    depth: float
    outline: Outline

    @property
    def tangents(self) -> tuple[tuple[Array, Array], tuple[Array, Array]]:
        """Two lines (2,), (2,) across the band: where the bend begins and where it ends."""
        along = np.array([cos(self.angle), sin(self.angle)])
        inward = np.array([-along[1], along[0]])
        end = np.array([0.0, self.inner]) - self.inner * inward
        reach = min(self.depth, self.inner)
        return (np.zeros(2), np.array([0.0, reach])), (end, end + reach * inward)


def templates(frame: Frame) -> tuple[Template, ...]:
    """The templates a job asks for: one for each bend of each part, bends alike together; none where it asks not."""
    if frame.job.templates is None:
        return ()
    wanted = frame.job.templates
    depth = USUAL_DEPTH if wanted.depth is None else wanted.depth
    return tuple(
        template
        for part in frame.parts
        if part.hand != "left"
        for template in part_templates(part, beyond=wanted.beyond, depth=depth)
    )


def part_templates(part: RailPart, *, beyond: float, depth: float = USUAL_DEPTH) -> list[Template]:
    """The templates of one part.

    Args:
        part: the part; bends whose inner radius is not above 0 have none.
        beyond: straight on either side of a bend, mm; less where the tube's own straight is shorter.
        depth: of the band, mm.
    """
    found: list[Template] = []
    for template in _each(part, beyond, depth):
        alike = next((i for i, other in enumerate(found) if _alike(template, other)), None)
        if alike is None:
            found.append(template)
        else:
            found[alike] = _joined(found[alike], template)
    return found


def _each(part: RailPart, beyond: float, depth: float) -> Iterator[Template]:
    reading = part.read
    rows = reading.line.rows
    for i, bend in enumerate(reading.bends):
        angle, radius = float(rows.angle[i]), float(rows.radius[i])
        inner = radius - part.depth_toward(bend.toward) / 2
        before, after = (min(beyond, max(float(rows.straights[k]), 0.0)) for k in (i, i + 1))
        if inner > LENGTH:
            yield _template(part, bend, angle, radius, inner, before, after, depth)


def _template(
    part: RailPart, bend: Bend, angle: float, radius: float, inner: float, before: float, after: float, depth: float
) -> Template:
    if inner <= depth and min(before, after) < (depth - inner) * tan(angle / 2) + LENGTH:
        depth = _SHARE * inner  # the back's two straights would not meet
    return Template(
        part=part.name, hand=part.hand, bends=(bend.number,), faces=(bend.toward,), angle=angle, radius=radius,
        inner=inner, before=before, after=after, depth=depth, outline=_band(angle, inner, before, after, depth),
    )  # fmt: skip


def _band(angle: float, inner: float, before: float, after: float, depth: float) -> Outline:
    """A band along the inner face, its back parallel to it."""
    along = np.array([cos(angle), sin(angle)])
    inward = np.array([-along[1], along[0]])
    centre = np.array([0.0, inner])
    end = centre - inner * inward
    points, bulges = [np.array([-before, 0.0])], [0.0]
    if before > LENGTH:
        points.append(np.zeros(2))
        bulges.append(0.0)
    bulges[-1] = tan(angle / 4)
    points.append(end)
    bulges.append(0.0)
    if after > LENGTH:
        points.append(end + after * along)
        bulges.append(0.0)
    points.append(end + after * along + depth * inward)
    bulges.append(0.0)
    back = inner - depth
    if back > LENGTH:
        points += [centre - back * inward, np.array([0.0, depth])]
        bulges += [-tan(angle / 4), 0.0]
    else:  # the offset straights meet before they reach the bend
        points.append(np.array([back * tan(angle / 2), depth]))
        bulges.append(0.0)
    points.append(np.array([-before, depth]))
    bulges.append(0.0)
    after_each = [*points[1:], points[0]]
    kept = [i for i, point in enumerate(points) if bulges[i] or np.linalg.norm(after_each[i] - point) > LENGTH]
    return Outline.of(np.array([points[i] for i in kept]), [bulges[i] for i in kept])


def _alike(one: Template, other: Template) -> bool:
    return abs(one.angle - other.angle) <= ANGLE and all(
        abs(getattr(one, name) - getattr(other, name)) <= LENGTH for name in ("inner", "before", "after", "depth")
    )


def _joined(one: Template, other: Template) -> Template:
    return replace(one, bends=(*one.bends, *other.bends), faces=(*one.faces, *other.faces))
