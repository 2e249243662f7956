"""The surface that trims an end of a tube: a plane, or a cylinder where it follows a curved face. mm."""

import numpy as np

from railmodel.geometry.rows import Array
from railmodel.part import EndCut


def curved(cut: EndCut) -> bool:
    """Whether the end is cut to a cylinder."""
    return cut.kind == "coped" and cut.axis is not None


def to_cut(cut: EndCut, points: Array, along: Array) -> Array:
    """How far points must go to reach a cut.

    Args:
        cut: the cut.
        points: (m, 3), mm.
        along: (3,) unit direction, that of the tube or against it.

    Returns:
        (m,) signed lengths along the direction, mm; nan where it passes the curve by.
    """
    if not curved(cut):
        return np.asarray(((cut.at - points) @ cut.normal) / (along @ cut.normal))
    assert cut.axis is not None
    assert cut.direction is not None
    across = np.eye(3) - np.outer(cut.direction, cut.direction)
    off, step = (points - cut.axis) @ across, across @ along
    a, b, c = step @ step, off @ step, np.sum(off * off, axis=1) - cut.radius**2
    inside = b * b - a * c
    root = np.where(inside >= 0, np.sqrt(np.maximum(inside, 0.0)), np.nan)
    # going into the rail, a bulging face is met first and a hollow one last; coming out of it the other way round
    first = (along @ cut.normal < 0) != cut.hollow
    return np.asarray((-b - root if first else -b + root) / a)
