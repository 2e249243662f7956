"""Load cases: which way everything pulls, and what the supports give back; N, mm, kg.

Loads pull on the frame where it takes them, the frame's own steel along its tubes; supports push back by statics
(see `railmodel.loading.statics`), so that every case balances by itself.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from railmodel.geometry.rows import Array
from railmodel.geometry.section import STEEL_DENSITY
from railmodel.job.loads import Loads
from railmodel.job.mass import GRAVITY
from railmodel.loading.carried import Borne, Carried, Foothold
from railmodel.loading.skeleton import Skeleton
from railmodel.loading.statics import Reaction, reactions, shared, twisting, wrench

UNIT_TORQUE = 1.0e6
"""The torque that finds the torsional stiffness where the job asks for no torsion case, N mm."""

TORSION = "pure torsion"


@dataclass(frozen=True, slots=True)
class Case:
    """A case.

    Args:
        name: what it is called.
        says: what it is, in words.
        pull: (3,) the way that everything is pulled, in g; (0, 0, -1) is standing still.
        lift: name of the support of which one wheel rises.
        torque: N mm between the first and the last wide support, instead of everything else.
        shown: whether the job asks for it.
    """

    name: str
    says: str
    pull: tuple[float, float, float]
    lift: str | None = None
    torque: float | None = None
    shown: bool = True


@dataclass(frozen=True, eq=False)
class Pushed:
    """One case's forces on a skeleton.

    Args:
        case: the case.
        nodes: (n, 6) on its nodes, N and N mm.
        spread: (m, 3) along its pieces, N/mm.
        reactions: of the supports.
        total: (6,) wrench of everything but the supports.
    """

    case: Case
    nodes: Array
    spread: Array
    reactions: tuple[Reaction, ...]
    total: Array


def cases_of(loads: Loads, twistable: bool) -> list[Case]:
    """The cases that a job asks for, and the torsion that finds its stiffness where it can be twisted."""
    asked = loads.cases
    found = [Case("static", "everything at rest", (0.0, 0.0, -1.0))]
    if asked.dynamic is not None:
        says = f"{asked.dynamic:g} times the static load, as over a bump"
        found.append(Case("dynamic", says, (0.0, 0.0, -asked.dynamic)))
    if asked.braking is not None:
        found.append(Case("braking", f"static load and braking at {asked.braking:g} g", (-asked.braking, 0.0, -1.0)))
    if asked.cornering is not None:
        says = f"static load and a left turn at {asked.cornering:g} g"
        found.append(Case("cornering", says, (0.0, asked.cornering, -1.0)))
    if asked.one_wheel_up is not None:
        says = f"static load; the right wheel of {asked.one_wheel_up} rises until its twin, or a wheel elsewhere, hangs"
        found.append(Case("one wheel up", says, (0.0, 0.0, -1.0), lift=asked.one_wheel_up))
    if twistable:
        torque = UNIT_TORQUE if asked.torsion is None else asked.torsion * 1000
        says = "a torque between the first and the last support, nothing else"
        found.append(Case(TORSION, says, (0.0, 0.0, 0.0), torque=torque, shown=asked.torsion is not None))
    return found


def pushed(case: Case, skeleton: Skeleton, carried: Borne, ground: float) -> Pushed:
    """A case's forces on a skeleton."""
    nodes = np.zeros((len(skeleton.beams.nodes), 6))
    spread = np.zeros((len(skeleton.beams.pieces), 3))
    total = np.zeros(6)
    if case.torque is None:
        pull = np.array(case.pull) * GRAVITY
        total += _own(skeleton, pull, spread)
        for mass in carried.masses:
            total += _mass(skeleton, mass, pull, nodes, spread)
        given = reactions(total, carried.rests, ground, case.lift)
    else:
        given = twisting(case.torque, carried.rests)
    by_name = dict(zip((rest.name for rest in carried.rests), carried.feet, strict=True))
    for reaction in given:
        for foot, push in zip(by_name[reaction.rest.name], reaction.on_frame(ground), strict=True):
            _on_node(skeleton, foot, push, nodes)
    return Pushed(case, nodes, spread, tuple(given), total)


def _own(skeleton: Skeleton, pull: Array, spread: Array) -> Array:
    """The steel's own weight, spread along its pieces; its wrench."""
    numbers = [number for number, cut in enumerate(skeleton.cuts) if cut is not None]
    masses = np.array([
        skeleton.lines[cut.line].part.section.area * STEEL_DENSITY * float(cut.stations[1] - cut.stations[0])
        for cut in skeleton.cuts
        if cut is not None
    ])  # fmt: skip
    ends = np.array([_ends(skeleton, number) for number in numbers])
    lengths = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)
    spread[numbers] += (masses / lengths)[:, None] * pull
    return wrench(masses.sum() * pull, masses @ ends.mean(axis=1) / masses.sum())


def _mass(skeleton: Skeleton, mass: Carried, pull: Array, nodes: Array, spread: Array) -> Array:
    """A mass on its feet or its bed; its wrench."""
    total = wrench(mass.mass * pull, mass.at)
    if mass.feet:
        for foot, push in zip(mass.feet, shared(total, np.array([foot.at for foot in mass.feet])), strict=True):
            _on_node(skeleton, foot, push, nodes)
        return total
    pieces = list(_bed_pieces(skeleton, mass))
    ends = [_ends(skeleton, number) for number in pieces]
    lengths = np.array([float(np.linalg.norm(end - start)) for start, end in ends])
    per_length = mass.mass * pull / lengths.sum()
    left = total.copy()
    for number, length, (start, end) in zip(pieces, lengths, ends, strict=True):
        spread[number] += per_length
        left -= wrench(per_length * length, (start + end) / 2)
    used: dict[int, float] = {}
    for number, length in zip(pieces, lengths, strict=True):
        for node in (skeleton.beams.pieces[number].start, skeleton.beams.pieces[number].end):
            used[node] = used.get(node, 0.0) + length / 2
    places = skeleton.beams.nodes[list(used)]
    nodes[list(used)] += shared(left, places, np.array(list(used.values())))
    return total


def _bed_pieces(skeleton: Skeleton, mass: Carried) -> Iterator[int]:
    for number, cut in enumerate(skeleton.cuts):
        if cut is None:
            continue
        label, middle = skeleton.lines[cut.line].part.label, float(cut.stations.mean())
        if any(bed.label == label and bed.low <= middle <= bed.high for bed in mass.beds):
            yield number


def _on_node(skeleton: Skeleton, foot: Foothold, push: Array, nodes: Array) -> None:
    """Put a force and moment at a foot on its node."""
    node = skeleton.line(foot.label).node(foot.station)
    nodes[node, :3] += push[:3]
    nodes[node, 3:] += push[3:] + np.cross(foot.at - skeleton.beams.nodes[node], push[:3])


def _ends(skeleton: Skeleton, number: int) -> tuple[Array, Array]:
    piece = skeleton.beams.pieces[number]
    return skeleton.beams.nodes[piece.start], skeleton.beams.nodes[piece.end]


def stations_needed(carried: Borne) -> dict[str, list[float]]:
    """Stations that need a node, by label."""
    feet: Sequence[Foothold] = [foot for mass in carried.masses for foot in mass.feet]
    feet = [*feet, *(foot for some in carried.feet for foot in some)]
    found: dict[str, list[float]] = {}
    for foot in feet:
        found.setdefault(foot.label, []).append(foot.station)
    for bed in (bed for mass in carried.masses for bed in mass.beds):
        found.setdefault(bed.label, []).extend([bed.low, bed.high])
    return found
