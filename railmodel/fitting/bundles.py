"""Bends as trees: thin slices bundled by four into thicker ones, so that a search opens only those that come near.

A bundle from angle -h to h of a bend is the square section drawn at both its ends, with the outer side stretched away
from the bend's axis by 1 / cos h: its outer side touches the true one in the middle, its inner side is a chord of it.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from railmodel.fitting.motion import Index
from railmodel.geometry.centreline import Centreline, Stretch
from railmodel.geometry.pieces import ConvexPiece
from railmodel.geometry.rows import Array

_BRANCHES = 4
"""Slices or bundles in a bundle."""

_SQUARE = 1e-6
"""A section whose corners stand off the two sides of a bend by more than this, mm, is not bundled."""

_WIDEST = 0.6
"""No bundle spans more of a bend than this, radians."""


@dataclass(frozen=True, slots=True, eq=False)
class Bundles:
    """Bundles of slices, to be counted on after the pieces.

    Args:
        vertices: (m, 8, 3) corners laid out as in `ConvexPiece.vertices`, mm.
        children: (m, 2) range of pieces or earlier bundles each holds.
        slack: (m,) how far it stands out from the bend, mm.
    """

    vertices: Array
    children: Index
    slack: Array


def bundles(line: Centreline, pieces: Sequence[ConvexPiece]) -> Bundles:
    """Bundles over the slices of all bends whose section has four corners, two on either side of the bend.

    Args:
        line: the centreline the pieces belong to.
        pieces: pieces in order from its start.
    """
    vertices, children, slack, made = [np.zeros((0, 8, 3))], [np.zeros((0, 2), dtype=np.int64)], [np.zeros(0)], 0
    which, corners = np.array([piece.stretch for piece in pieces]), [piece.vertices for piece in pieces]
    for index, stretch in enumerate(line.stretches):
        mine = np.flatnonzero(which == index)
        if stretch.kind == "straight" or len(mine) < 2 or len(corners[int(mine[0])]) != 8:
            continue
        rings = np.array([corners[i] for i in mine])
        out, away = _from_axis(stretch, rings)
        outer = out > (out[0].min() + out[0].max()) / 2
        if np.ptp(out[outer]) + np.ptp(out[~outer]) > _SQUARE:
            continue
        step, wide, begin, end = stretch.angle / len(mine), _BRANCHES, int(mine[0]), int(mine[-1]) + 1
        while end - begin > 1 and min(wide, len(mine)) * step <= _WIDEST:
            first = np.arange(0, len(mine), wide)
            last = np.minimum(first + wide, len(mine))
            half = (last - first) * step / 2
            stretched = (
                rings
                + (outer * (np.cos(step / 2) / np.cos(np.repeat(half, last - first)) - 1)[:, None])[..., None] * away
            )
            vertices.append(np.concatenate([stretched[first, :4], stretched[last - 1, 4:]], axis=1))
            slack.append(np.maximum(out.max() * (1 / np.cos(half) - 1), out.min() * (1 - np.cos(half))))
            number = np.arange(len(first)) * _BRANCHES
            children.append(np.stack([begin + number, np.minimum(begin + number + _BRANCHES, end)], axis=-1))
            begin, made, wide = len(pieces) + made, made + len(first), wide * _BRANCHES
            end = len(pieces) + made
    return Bundles(np.concatenate(vertices), np.concatenate(children), np.concatenate(slack))


def _from_axis(stretch: Stretch, points: Array) -> tuple[Array, Array]:
    """Distances (...) of points from a bend's axis, and the vectors (..., 3) from the axis to them."""
    off = points - stretch.centre
    away = off - (off @ stretch.axis)[..., None] * stretch.axis
    return np.linalg.norm(away, axis=-1), away
