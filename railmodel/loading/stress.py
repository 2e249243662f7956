"""Stress in tubes from the forces and moments in beam pieces; N, N mm, MPa.

A straight is taken at the corner of its box as if it were sharp; a bend at its innermost and outermost fibre by
Winkler's theory, with the outer wall thinned. Shear is that of the torque (EN 10219's torsional modulus) and the mean
over the two walls that run with the force. Both together as von Mises has them: above what either place sees alone.
"""

from dataclasses import dataclass

import numpy as np

from railmodel.geometry.rows import Array
from railmodel.geometry.section import Section
from railmodel.loading.beams import Solved
from railmodel.loading.skeleton import Cut, Skeleton


@dataclass(frozen=True, eq=False)
class Stresses:
    """Stress at both ends of every piece of tube.

    Args:
        equivalent: (cases, m, 2) von Mises stress, MPa; 0 for links.
        normal: (cases, m, 2) the largest stress along the tube, MPa.
        inside: (cases, m, 2) whether that is on the inside of a bend.
        inner: (cases, m, 2, 6) force (along, s, u) and moment (torque, about s, about u) on the section.
    """

    equivalent: Array
    normal: Array
    inside: Array
    inner: Array


def stresses(skeleton: Skeleton, solved: Solved) -> Stresses:
    """Stress from solved pieces."""
    cases = len(solved.ends)
    shape = (cases, len(skeleton.cuts), 2)
    normal, equivalent, inside = np.zeros(shape), np.zeros(shape), np.zeros(shape, dtype=bool)
    inner = np.zeros((*shape, 6))
    for number, cut in enumerate(skeleton.cuts):
        if cut is None:
            continue
        section = skeleton.lines[cut.line].part.section
        piece = skeleton.beams.pieces[number]
        inner[:, number] = _inner(cut, skeleton.beams.nodes[[piece.start, piece.end]], solved.ends[:, number])
        normal[:, number], inside[:, number] = _normal(section, cut, inner[:, number])
        shear = _shear(section, cut, inner[:, number])
        equivalent[:, number] = np.sqrt(normal[:, number] ** 2 + 3 * shear**2)
    return Stresses(equivalent, normal, inside, inner)


def _inner(cut: Cut, nodes: Array, ends: Array) -> Array:
    """(cases, 2, 6) what the metal ahead of each end does to that behind it, at the section's centroid and in its axes.

    Pull is positive; a positive moment about s pulls the top.
    """
    sign = np.array([-1.0, 1.0])[:, None]
    force, moment = sign * ends[..., :3], sign * ends[..., 3:]
    moment = moment + np.cross(nodes - cut.centres, force)
    axes = np.stack([cut.poses.t, cut.poses.s, cut.poses.u], axis=1)
    return np.concatenate([np.einsum("eij,cej->cei", axes, force), np.einsum("eij,cej->cei", axes, moment)], axis=2)


def _normal(section: Section, cut: Cut, inner: Array) -> tuple[Array, Array]:
    """(cases, 2) largest stress along the tube, and whether it is on the inside of a bend."""
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
    """(cases, 2) shear stress."""
    modulus, wall = section.torsion_modulus, section.wall
    if cut.bent is not None:  # the thinned wall carries the same shear flow
        modulus = modulus * cut.bent.outer_wall / wall
    walls = 2 * section.wall * np.array([section.width, section.height])
    direct = np.hypot(inner[..., 1] / walls[0], inner[..., 2] / walls[1])
    return np.asarray(np.abs(inner[..., 3]) / modulus + direct)

