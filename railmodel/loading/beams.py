"""Straight beam pieces in space, solved by PyNite; mm, N, N mm, MPa.

Pieces bend and twist and stretch (Euler and Bernoulli; no shear deflection) and are joined rigidly where they share a
node. Where the loads of a case balance by themselves, what the held nodes feel is a measure of how well they do.
"""

import sys
from collections.abc import Sequence
from dataclasses import dataclass
from types import ModuleType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from railmodel.geometry.rows import Array

YOUNG: float = 200_000.0
"""Steel's modulus of elasticity, MPa (29,000 ksi in AISC 360 is 199,948)."""

SHEAR: float = YOUNG / 2.6
"""Steel's shear modulus, MPa: Poisson's ratio 0.3."""

_DIRECTIONS = ("FX", "FY", "FZ", "MX", "MY", "MZ")
_MOMENTS = np.tile([1.0] * 3 + [1e3] * 3, 2)
"""N and N mm of what is N and N m."""
_SHIFTS = np.tile([1e-3] * 3 + [1.0] * 3, 2)
"""Metres and radians of what is mm and radians."""
_GRID = 1e-6
"""Node places are rounded to this, so that a level piece is level to the solver."""


@dataclass(frozen=True, slots=True)
class Piece:
    """One straight piece.

    Args:
        start: node it begins at.
        end: node it ends at.
        area: mm^2.
        inertia_s: second moment of area about its s axis (bending toward u), mm^4.
        inertia_u: about its u axis, mm^4.
        torsion: torsion constant, mm^4.
        up: (3,) the section's u; made square to the piece.
        aside: (3,) from the piece to the line about which it twists, mm; None where it is the piece itself.
    """

    start: int
    end: int
    area: float
    inertia_s: float
    inertia_u: float
    torsion: float
    up: Array
    aside: Array | None = None


@dataclass(frozen=True, eq=False)
class Beams:
    """Pieces joined at nodes.

    Args:
        nodes: (n, 3) places, mm.
        pieces: the pieces.
        held: node to hold still in every way, or several with which of the six ways: {node: (dx, dy, dz, rx, ry, rz)}.
    """

    nodes: Array
    pieces: tuple[Piece, ...]
    held: dict[int, tuple[bool, ...]]


@dataclass(frozen=True, eq=False)
class Solved:
    """What the pieces do under each case.

    Args:
        moved: (cases, n, 6) shifts, mm, and turns, radians, of every node.
        ends: (cases, m, 2, 6) force and moment that each piece feels at its start and its end, in vehicle axes.
        held: (cases, k, 6) what each held node feels, N and N mm.
    """

    moved: Array
    ends: Array
    held: Array


def solve(beams: Beams, forces: Array, spread: Array | None = None) -> Solved:
    """Solve pieces under loads.

    Args:
        beams: the pieces.
        forces: (cases, n, 6) forces and moments on the nodes, N and N mm.
        spread: (cases, m, 3) forces spread evenly along the pieces, N/mm, or None.
    """
    even = np.zeros((len(forces), len(beams.pieces), 3)) if spread is None else spread
    which, times = _times(np.concatenate([forces.reshape(len(forces), -1), even.reshape(len(forces), -1)], axis=1))
    kept = sorted(set(which.tolist()))
    found = _solve(beams, forces[kept], even[kept])
    place = np.array([kept.index(case) for case in which])
    return Solved(*(
        part[place] * times.reshape(-1, *(1,) * (part.ndim - 1)) for part in (found.moved, found.ends, found.held)
    ))  # fmt: skip


def _times(loads: Array) -> tuple[NDArray[np.int64], Array]:
    """For each case the first that it is a multiple of, and how many times that."""
    which, times = np.arange(len(loads)), np.ones(len(loads))
    for case, load in enumerate(loads):
        for earlier in range(case):
            size = float(loads[earlier] @ loads[earlier])
            share = float(load @ loads[earlier]) / size if size else 0.0
            if share and float(np.abs(load - share * loads[earlier]).max()) <= 1e-12 * float(np.abs(load).max()):
                which[case], times[case] = earlier, share
                break
    return which, times


def _solve(beams: Beams, forces: Array, spread: Array) -> Solved:
    frames, lengths = _frames(beams)
    at_nodes = forces.copy()
    fixed = _fixed_ends(frames, lengths, spread)
    starts, ends = np.array([(piece.start, piece.end) for piece in beams.pieces]).T
    for case in range(len(forces)):
        np.add.at(at_nodes[case], starts, -fixed[case, :, :6])
        np.add.at(at_nodes[case], ends, -fixed[case, :, 6:])
    moved, stiffness = _pynite(beams, frames, at_nodes)
    of_pieces = np.concatenate([moved[:, starts], moved[:, ends]], axis=2)
    given = np.einsum("mij,cmj->cmi", stiffness, of_pieces)
    left = -at_nodes
    for case in range(len(forces)):
        np.add.at(left[case], starts, given[case, :, :6])
        np.add.at(left[case], ends, given[case, :, 6:])
    return Solved(moved, (given + fixed).reshape(len(forces), -1, 2, 6), left[:, list(beams.held)])


def _frames(beams: Beams) -> tuple[Array, Array]:
    """(m, 3, 3) directions along each piece, u and square to both, and (m,) lengths."""
    nodes = np.round(beams.nodes / _GRID) * _GRID
    along = np.array([nodes[piece.end] - nodes[piece.start] for piece in beams.pieces]).reshape(-1, 3)
    lengths = np.linalg.norm(along, axis=1)
    along = along / lengths[:, None]
    up = np.array([piece.up for piece in beams.pieces]).reshape(-1, 3)
    up = up - along * np.sum(along * up, axis=1, keepdims=True)
    up = up / np.linalg.norm(up, axis=1, keepdims=True)
    return np.stack([along, up, np.cross(along, up)], axis=1), lengths


def _fixed_ends(frames: Array, lengths: Array, spread: Array) -> Array:
    """(cases, m, 12) forces and moments, in vehicle axes, that hold the ends of pieces still under even loads."""
    half = -spread * lengths[:, None] / 2
    moment = -np.cross(frames[:, 0], spread) * lengths[:, None] ** 2 / 12
    return np.concatenate([half, moment, half, -moment], axis=2)


def _pynite(beams: Beams, frames: Array, forces: Array) -> tuple[Array, Array]:
    """Nodes' movement (cases, n, 6) and the pieces' stiffness in vehicle axes (m, 12, 12).

    The model is in metres, in which shifts and turns are of one size and the sums keep more of their digits.
    """
    model = _model()
    model.add_material("steel", YOUNG * 1e6, SHEAR * 1e6, 0.3, 0.0)
    for name, place in enumerate(np.round(beams.nodes / _GRID) * _GRID / 1000):
        model.add_node(str(name), *(float(value) for value in place))
    sections: dict[tuple[float, ...], str] = {}
    own = np.empty((len(beams.pieces), 12, 12))
    for name, piece in enumerate(beams.pieces):
        # PyNite's local y is the section's u, so bending toward u is about its z
        size = (piece.area / 1e6, *(value / 1e12 for value in (piece.inertia_u, piece.inertia_s, piece.torsion)))
        if size not in sections:
            sections[size] = f"section {len(sections)}"
            model.add_section(sections[size], *size)
        model.add_member(str(name), str(piece.start), str(piece.end), "steel", sections[size])
        own[name] = model.members[str(name)].ke()
    turned = _in_axes(beams, frames)
    stiffness = np.swapaxes(turned, 1, 2) @ own @ turned
    model.whole = _assembled(beams, stiffness)
    for held, fixed in beams.held.items():
        model.def_support(str(held), *fixed)
    for case, load in enumerate(forces):
        for node, way in zip(*np.nonzero(load), strict=True):
            model.add_node_load(str(node), _DIRECTIONS[way], float(load[node, way] / _MOMENTS[way]), case=str(case))
        model.add_load_combo(str(case), {str(case): 1.0})
    model.analyze_linear(sparse=True, check_stability=False)  # a stiff link costs digits that its own check wants
    ways = ("DX", "DY", "DZ", "RX", "RY", "RZ")
    cases = [str(case) for case in range(len(forces))]
    moved = _read(list(model.nodes.values()), ways, cases) / _SHIFTS[:6]
    return moved, _MOMENTS[:, None] * stiffness * _SHIFTS


def _in_axes(beams: Beams, frames: Array) -> Array:
    """(m, 12, 12) movements of each piece in its own axes, of the line it twists about, from those of its nodes."""
    aside = np.array([np.zeros(3) if piece.aside is None else piece.aside for piece in beams.pieces]) / 1000
    off = np.einsum("mij,mj->mi", frames, aside.reshape(-1, 3))
    turned = np.zeros((len(frames), 12, 12))
    for first in (0, 3, 6, 9):
        turned[:, first : first + 3, first : first + 3] = frames
    for first in (0, 6):  # a twist moves that line sideways; what bends or stretches the piece is about its own axis
        turned[:, first + 1, first + 3 : first + 6] -= off[:, 2, None] * frames[:, 0]
        turned[:, first + 2, first + 3 : first + 6] += off[:, 1, None] * frames[:, 0]
    return turned


def _assembled(beams: Beams, stiffness: Array) -> Any:
    """The whole frame's stiffness (6 n, 6 n), sparse."""
    from scipy.sparse import coo_matrix

    ends = np.array([(piece.start, piece.end) for piece in beams.pieces])
    ways = (6 * ends[:, :, None] + np.arange(6)).reshape(-1, 12)
    rows, columns = np.repeat(ways, 12, axis=1).ravel(), np.tile(ways, (1, 12)).ravel()
    size = 6 * len(beams.nodes)
    return coo_matrix((stiffness.ravel(), (rows, columns)), shape=(size, size))


def _model() -> Any:
    """An empty model of PyNite's, without what nothing here uses and what takes most of its time.

    Its shear walls bring a plotting library with them, half a second of every command; no load lies on a member here
    (what is spread along a piece stands at its nodes already), so no member is asked for what its loads do. Its
    members' stiffness is put together here, for it knows none that twist about another line than they lie on.
    """
    package = "Pynite.ShearWall"
    spared = "Pynite" not in sys.modules
    if spared:
        empty: Any = ModuleType(package)
        empty.ShearWall = object
        sys.modules[package] = empty
    try:
        from Pynite.FEModel3D import FEModel3D
    finally:
        if spared:
            del sys.modules[package]

    class Loaded(FEModel3D):  # type: ignore[misc]
        """A model with loads at its nodes only, and its stiffness given as a whole."""

        whole: Any = None

        def Ke(self, *_: object, **__: object) -> Any:  # noqa: N802
            """Its stiffness, (6 n, 6 n)."""
            return self.whole

        def FER(self, combo_name: str = "") -> Array:  # noqa: N802
            """(6 n, 1) what members would hold against loads on them: nothing."""
            return np.zeros((6 * len(self.nodes), 1))

    return Loaded()


def _read(nodes: list[Any], ways: Sequence[str], cases: Sequence[str]) -> Array:
    """(cases, n, 6) numbers that a solved model keeps with its nodes."""
    found = [[[float(getattr(node, way)[case]) for way in ways] for node in nodes] for case in cases]
    return np.array(found).reshape(len(cases), len(nodes), len(ways))


def held_still(node: int) -> dict[int, tuple[bool, ...]]:
    """One node held in all six ways."""
    return {node: (True,) * 6}


def held_by_three(nodes: Array, among: Sequence[int]) -> dict[int, tuple[bool, ...]]:
    """Three of some nodes that hold a body still without straining it: six ways in all.

    Args:
        nodes: (n, 3) places of all nodes.
        among: the nodes to choose from; where they lie on one line, seen from above, one holds in all six ways.
    """
    places = nodes[list(among)]
    first, second = int(np.argmin(places[:, 0])), int(np.argmax(places[:, 0]))
    along = (places[second] - places[first])[:2]
    off = places[:, :2] - places[first, :2]
    aside = np.abs(along[0] * off[:, 1] - along[1] * off[:, 0])
    third = int(np.argmax(aside))
    if aside[third] <= float(along @ along) * 1e-3 or not along.any():
        return held_still(among[first])
    turns = (False, False, False)
    return {
        among[first]: (True, True, True, *turns),
        among[second]: (False, True, True, *turns),
        among[third]: (False, False, True, *turns),
    }


def chain(count: int, start: int = 0) -> Sequence[tuple[int, int]]:
    """Pairs of neighbouring nodes along a line of a number of pieces."""
    return [(start + i, start + i + 1) for i in range(count)]
