"""The section's outside outline by its girth, the way a flat layout unrolls it."""

import numpy as np
from numpy.typing import ArrayLike

from railmodel.geometry.rows import Array
from railmodel.geometry.section import Section

_OUT = np.array([(-1.0, 0.0), (0.0, 1.0), (1.0, 0.0), (0.0, -1.0)])  # out of the faces at -s, top, +s, bottom
_ON = np.roll(_OUT, -1, axis=0)  # along each of them, toward the next


def pieces_of(section: Section) -> Array:
    """(8,) lengths round the section: flat of the face at -s, corner, top, corner, +s, corner, bottom, corner, mm."""
    tall, wide = section.height - 2 * section.corner, section.width - 2 * section.corner
    arc = section.corner * np.pi / 2
    return np.array([tall, arc, wide, arc] * 2)


def borders(section: Section) -> Array:
    """(8,) girths where the pieces of `pieces_of` begin, counted as `around` does, rising, mm."""
    ends = np.cumsum(pieces_of(section))
    return np.concatenate([[0.0], ends[:-1]]) + section.corner * np.pi / 4


def around(section: Section, girth: ArrayLike) -> Array:
    """Points (m, 2) of the outline as (s, u), mm.

    Args:
        section: the section.
        girth: (m,) lengths round the outside from the middle of the corner between the bottom and the face at -s, up
            that face, over the top, down the face at +s, back under the bottom, mm.
    """
    lengths = pieces_of(section)
    ends = np.cumsum(lengths)
    along = np.mod(np.asarray(girth, dtype=float) - section.corner * np.pi / 4, section.girth)
    piece = np.minimum(np.searchsorted(ends, along, side="right"), 7)
    along = along - (ends - lengths)[piece]
    face = piece // 2
    reach = np.array([section.width, section.height] * 2)[face] / 2
    flat = lengths[2 * face]
    out, on = _OUT[face], _ON[face]
    turn = np.where(piece % 2 == 1, along / max(section.corner, 1e-300), 0.0)
    step = np.where(piece % 2 == 1, flat, along) - flat / 2
    straight = out * (reach - section.corner)[:, None] + on * step[:, None]
    return np.asarray(straight + section.corner * (out * np.cos(turn)[:, None] + on * np.sin(turn)[:, None]))
