"""Stress in tubes from the forces and moments in beam pieces; N, N mm, MPa.

A straight is taken at the corner of its box as if it were sharp; a bend at its innermost and outermost fibre by
Winkler's theory, with the outer wall thinned. Shear is that of the torque (EN 10219's torsional modulus) and the mean
over the two walls that run with the force. Both together as von Mises has them: above what either place sees alone.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from railmodel.geometry.rows import Array
from railmodel.geometry.section import Section
from railmodel.loading.beams import Solved
from railmodel.loading.skeleton import Cut, Skeleton

SHARES = np.array([0.0, 0.25, 0.5, 0.75, 1.0])
"""Where along a piece stress is looked at; in a bend at its two ends only."""


@dataclass(frozen=True, eq=False)
class Stresses:
    """Stress at places along every piece of tube, as `SHARES` has them.

    Args:
        equivalent: (cases, m, k) von Mises stress, MPa; 0 for links, and between the ends of a piece of a bend.
        normal: (cases, m, k) the largest stress along the tube, MPa.
        inside: (cases, m, k) whether that is on the inside of a bend.
    """

    equivalent: Array
    normal: Array
    inside: NDArray[np.bool_]


def stresses(skeleton: Skeleton, solved: Solved, spread: Array | None = None) -> Stresses:
    """Stress from solved pieces; `spread` as they were solved with."""
    shape = (len(solved.ends), len(skeleton.cuts), len(SHARES))
    normal, equivalent, inside = np.zeros(shape), np.zeros(shape), np.zeros(shape, dtype=bool)
    for number, cut in enumerate(skeleton.cuts):
        if cut is None:
            continue
        section = skeleton.lines[cut.line].part.section
        piece = skeleton.beams.pieces[number]
        nodes = skeleton.beams.nodes[[piece.start, piece.end]]
        if cut.bent is None:
            even = np.zeros((shape[0], 3)) if spread is None else spread[:, number]
            where, inner = slice(None), _along(cut, nodes, solved.ends[:, number, 0], even)
        else:
            where, inner = slice(None, None, len(SHARES) - 1), _ends(cut, nodes, solved.ends[:, number])
        worst, within = _normal(section, cut, inner)
        normal[:, number, where], inside[:, number, where] = worst, within
        equivalent[:, number, where] = np.sqrt(worst**2 + 3 * _shear(section, cut, inner) ** 2)
    return Stresses(equivalent, normal, inside)


def _ends(cut: Cut, nodes: Array, ends: Array) -> Array:
    """(cases, 2, 6) what the metal ahead of each end does to that behind it, at the section's centroid and in its axes.

    Pull is positive; a positive moment about s pulls the top.
    """
    sign = np.array([-1.0, 1.0])[:, None]
    force, moment = sign * ends[..., :3], sign * ends[..., 3:]
    moment = moment + np.cross(nodes - cut.centres, force)
    axes = np.stack([cut.poses.t, cut.poses.s, cut.poses.u], axis=1)
    return np.concatenate([np.einsum("eij,cej->cei", axes, force), np.einsum("eij,cej->cei", axes, moment)], axis=2)


def _along(cut: Cut, nodes: Array, start: Array, even: Array) -> Array:
    """(cases, k, 6) the same along a straight, from what its start feels and what is spread along it."""
    whole = nodes[1] - nodes[0]
    length = float(np.linalg.norm(whole))
    gone = (SHARES * length)[:, None]
    force = -start[:, None, :3] - gone * even[:, None]
    moment = -start[:, None, 3:] + np.cross(SHARES[:, None] * whole, start[:, None, :3])
    moment = moment + gone**2 / 2 * np.cross(whole / length, even)[:, None]
    axes = np.array([cut.poses.t[0], cut.poses.s[0], cut.poses.u[0]])
    return np.concatenate([force @ axes.T, moment @ axes.T], axis=2)


def _normal(section: Section, cut: Cut, inner: Array) -> tuple[Array, NDArray[np.bool_]]:
    """(cases, k) largest stress along the tube, and whether it is on the inside of a bend."""
    pull, about_s, about_u = inner[..., 0], inner[..., 4], inner[..., 5]
    if cut.bent is None:
        if section.round:
            bending = np.hypot(about_s, about_u) / section.elastic_modulus_s
        else:
            bending = np.abs(about_s) / section.elastic_modulus_s + np.abs(about_u) / section.elastic_modulus_u
        return np.abs(pull) / section.area + bending, np.zeros(pull.shape, dtype=bool)
    bent, axis = cut.bent, np.cross(cut.poses.t, cut.inward)  # a positive moment about `axis` presses the inside
    on_s, on_u = np.sum(axis * cut.poses.s, axis=1), np.sum(axis * cut.poses.u, axis=1)
    closing = about_s * on_s + about_u * on_u
    across = about_u * on_s - about_s * on_u
    upright = abs(float(on_s[0])) > abs(float(on_u[0]))
    reach = (section.width if upright else section.height) / 2
    aside = np.abs(across) * reach / bent.across
    inner_fibre = np.abs(pull / bent.area - closing * bent.inside) + aside
    outer_fibre = np.abs(pull / bent.area + closing * bent.outside) + aside
    return np.maximum(inner_fibre, outer_fibre), inner_fibre >= outer_fibre


def _shear(section: Section, cut: Cut, inner: Array) -> Array:
    """(cases, k) shear stress."""
    modulus, wall = section.torsion_modulus, section.wall
    if cut.bent is not None:  # the thinned wall carries the same shear flow
        modulus = modulus * cut.bent.outer_wall / wall
    walls = 2 * section.wall * np.array([section.width, section.height])
    direct = np.hypot(inner[..., 1] / walls[0], inner[..., 2] / walls[1])
    return np.asarray(np.abs(inner[..., 3]) / modulus + direct)
