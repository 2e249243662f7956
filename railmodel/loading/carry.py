"""Screening of a frame under its loads: how far it moves, how hard it is worked, how stiff it is in torsion.

A screening only, never a proof of strength; `LEFT_OUT` says what it does not look at. N, mm, MPa, kg.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import radians

import numpy as np

from railmodel.bending.grades import find_grade
from railmodel.errors import InputError
from railmodel.fitting.clear_job import solid_parts
from railmodel.frame import Frame
from railmodel.geometry.rows import Array
from railmodel.job.loads import Loads
from railmodel.loading.beams import Beams, held_by_three, solve
from railmodel.loading.carried import Borne, Carried, borne
from railmodel.loading.cases import TORSION, Case, Pushed, cases_of, pushed, stations_needed
from railmodel.loading.plate_loads import LeftOut, plate_loads
from railmodel.loading.skeleton import Mesh, Skeleton, skeleton
from railmodel.loading.statics import Reaction, Rest, held_down
from railmodel.loading.stress import SHARES, Stresses, stresses
from railmodel.loading.ties import Tie, reached, ties
from railmodel.part import RailPart

FINE = Mesh(radians(7.5), 400.0)
"""How finely a frame is cut up; pieces twice as large show what that does to the answer."""

SCREENING = "Screening only: not a proof of strength and no release for use on any road."

LEFT_OUT = (
    "welds and the heat beside them, holes, notches and brackets",
    "fatigue: steel under moving loads cracks far below yield",
    "dynamic road loads beyond the factors given, crashes, jacking, towing and lashing",
    "corrosion, and walls thinner than nominal",
    "buckling and denting of the tube's walls, their flattening in the bends, and what cold bending does to the steel",
    "shear deflection, and joints that give: every joint is taken as rigid",
    "plates, body, cab and engine as stiffeners, and the springs: supports share the load by statics",
)
"""What the screening does not look at."""

DEFER = (
    "Whether the frame is strong enough is for a licensed engineer to decide, under the vehicle rules of the place "
    "where it will be used."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """A place on a tube.

    Args:
        label: the part's label.
        station: along its centreline from the front, mm.
        at: (x, y, z), mm.
        bend: number of the bend from the leading end, None on a straight.
        inside: whether it is on the inside of the bend.
    """

    label: str
    station: float
    at: tuple[float, float, float]
    bend: int | None
    inside: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class PartStress:
    """The worst of one tube under one case.

    Args:
        place: where.
        stress: von Mises, MPa.
        yield_stress: least yield of its grade, MPa; None where the grade is not known.
        curved: Winkler's factor at the inside of the bend there; None on a straight.
    """

    place: Place
    stress: float
    yield_stress: float | None
    curved: float | None

    @property
    def share(self) -> float | None:
        """Stress over yield."""
        return None if self.yield_stress is None else self.stress / self.yield_stress


@dataclass(frozen=True, slots=True, kw_only=True)
class CaseResult:
    """One case's answer.

    Args:
        case: the case.
        reactions: of the supports.
        parts: the worst of every tube, the hardest worked first.
        moved: farthest that a point of the frame moves, from where its supports leave it, mm.
        moved_at: where.
        balance: what is left of the loads after the supports' answer, as a share of them; a check on the sums.
    """

    case: Case
    reactions: tuple[Reaction, ...]
    parts: tuple[PartStress, ...]
    moved: float
    moved_at: Place
    balance: float

    @property
    def worst(self) -> PartStress:
        """The hardest worked place; where no grade is known, the one with the greatest stress."""
        return self.parts[0]

    def held_down(self, reaction: Reaction) -> tuple[tuple[str, float], ...]:
        """What of a support would have to be held down; a torque by itself is no load that lifts anything."""
        return () if self.case.torque is not None else held_down(reaction)

    @property
    def unjudged(self) -> PartStress | None:
        """The greatest stress in a tube of no known grade, where it is greater than at the hardest worked place."""
        found = max((part for part in self.parts if part.share is None), key=lambda part: part.stress, default=None)
        return found if found is not None and found.stress > self.worst.stress else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Convergence:
    """What pieces twice as large would have said, as shares of the answer less one.

    Args:
        pieces: how many pieces the answer was found with.
        coarser: how many the other was.
        stress: change of the worst stress of the governing case.
        moved: change of its movement.
        stiffness: change of the torsional stiffness; None where there is none.
    """

    pieces: int
    coarser: int
    stress: float
    moved: float
    stiffness: float | None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Screening:
    """The whole answer.

    Args:
        results: of every case that the job asks for.
        stiffness: torsional stiffness between the first and the last wide support, N m/rad; None where there is none.
        between: names of those two supports.
        convergence: what a coarser cut would have said.
        loose: labels of tubes joined to nothing that is held up, which are left out.
        masses: what is carried, by name, kg.
        plates: the placed plates, which are carried as well: name, how many, kg of one.
        left_out: plates whose weight is not carried.
    """

    results: tuple[CaseResult, ...]
    stiffness: float | None
    between: tuple[str, str] | None
    convergence: Convergence
    loose: tuple[str, ...]
    masses: tuple[tuple[str, float], ...]
    plates: tuple[tuple[str, int, float], ...] = ()
    left_out: tuple[LeftOut, ...] = ()

    @property
    def governing(self) -> CaseResult:
        """The case that works the frame hardest."""
        return max(self.results, key=lambda result: _hardness(result.worst))

    @property
    def unjudged(self) -> tuple[CaseResult, PartStress] | None:
        """The case, and the greatest stress in a tube of no known grade, where it is greater than at the worst place.

        Whether it is worse nobody can tell without the grade.
        """
        found = [(result, part) for result in self.results for part in result.parts if part.share is None]
        worst = max(found, key=lambda one: one[1].stress, default=None)
        return worst if worst is not None and worst[1].stress > self.governing.worst.stress else None


@dataclass(frozen=True, eq=False)
class _Run:
    """One cut of the frame, solved."""

    skeleton: Skeleton
    pushed: tuple[Pushed, ...]
    moved: Array
    stresses: Stresses
    held: Array


def carry(frame: Frame, mesh: Mesh = FINE) -> Screening:
    """Screen a frame under the loads that its job gives.

    Raises:
        InputError: a job without loads, loads that lead nowhere, a frame that nothing holds up or together.
    """
    loads = frame.job.loads
    if loads is None:
        raise InputError(
            f"{frame.source.path.name}: loads is missing; it says what the frame carries and what holds it up; add "
            "loads: as the hillside hauler among the demo jobs has it"
        )
    parts = [part for part in solid_parts(frame) if part.line.length > 0]
    joined = ties(frame, parts)
    named = borne(frame, loads, parts)
    kept, loose = _held_together(frame, parts, joined, named)
    plates, left_out = plate_loads(frame, kept)
    carried = replace(named, masses=(*named.masses, *plates))
    own = [tie for tie in joined if {tie.one.label, tie.other.label} <= {part.label for part in kept}]
    twistable = sum(rest.wide for rest in carried.rests) >= 2
    cases = cases_of(loads, twistable)
    ground = _ground(loads, carried)
    fine = _run(kept, own, carried, cases, mesh, ground)
    results = tuple(_result(frame, fine, i) for i, case in enumerate(cases) if case.shown)
    stiffness = _stiffness(fine, carried)
    governing = max(results, key=lambda result: _hardness(result.worst))
    again = [case for case in cases if case is governing.case or case.name == TORSION]
    coarse = _run(kept, own, carried, again, mesh.coarser, ground)
    wide = [rest.name for rest in carried.rests if rest.wide]
    return Screening(
        results=results,
        stiffness=stiffness,
        between=(wide[0], wide[-1]) if twistable else None,
        convergence=_convergence(frame, fine, coarse, governing, stiffness, _stiffness(coarse, carried)),
        loose=tuple(loose),
        masses=tuple((mass.name, mass.mass) for mass in named.masses),
        plates=_counted_plates(plates),
        left_out=left_out,
    )


def _counted_plates(found: Sequence[Carried]) -> tuple[tuple[str, int, float], ...]:
    """Plates of one name and mass together."""
    counts: dict[tuple[str, float], int] = {}
    for plate in found:
        counts[plate.name, plate.mass] = counts.get((plate.name, plate.mass), 0) + 1
    return tuple((name, count, mass) for (name, mass), count in counts.items())


def _ground(loads: Loads, carried: Borne) -> float:
    """Z of the road; where no case needs it, the height of the feet, so that nothing turns about it."""
    if loads.ground is not None:
        return loads.ground
    return float(np.concatenate([rest.places[:, 2] for rest in carried.rests]).mean())


def _held_together(
    frame: Frame, parts: Sequence[RailPart], joined: Sequence[Tie], carried: Borne
) -> tuple[list[RailPart], list[str]]:
    """The tubes that hang together with the supports, and those that do not.

    Raises:
        InputError: supports on tubes that nothing joins, or a load on a tube that nothing holds up.
    """
    feet = [foot.label for some in carried.feet for foot in some]
    found = reached(feet[:1], joined)
    apart = [label for label in dict.fromkeys(feet) if label not in found]
    where = frame.source.where("loads")
    if apart:
        raise InputError(
            f"{where}: loads: {feet[0]} and {apart[0]} are both held up but nothing joins them, so that the frame is a "
            "mechanism; join them with crossmembers, or by joints whose ends meet"
        )
    for mass in carried.masses:
        labels = [*(foot.label for foot in mass.feet), *(bed.label for bed in mass.beds)]
        lost = [label for label in labels if label not in found]
        if lost:
            raise InputError(
                f"{where}: loads: {mass.name} rests on {lost[0]}, which is joined to nothing that is held up, so that "
                "it would fall; join it, or let another part carry the load"
            )
    kept = [part for part in parts if part.label in found]
    return kept, [part.label for part in parts if part.label not in found]


def _run(
    parts: Sequence[RailPart], joined: Sequence[Tie], carried: Borne, cases: Sequence[Case], mesh: Mesh, ground: float
) -> _Run:
    """Cut up, load and solve.

    Raises:
        InputError: sums that come to nothing.
    """
    cut = skeleton(parts, joined, stations_needed(carried), mesh)
    loads = tuple(pushed(case, cut, carried, ground) for case in cases)
    feet = sorted({cut.line(foot.label).node(foot.station) for some in carried.feet for foot in some})
    beams = Beams(cut.beams.nodes, cut.beams.pieces, held_by_three(cut.beams.nodes, feet))
    spread = np.array([load.spread for load in loads])
    solved = solve(beams, np.array([load.nodes for load in loads]), spread)
    if not np.isfinite(solved.moved).all():
        raise InputError("loads: the frame is a mechanism, part of it free to move; see that all its tubes are joined")
    still = np.array([_settled(cut, carried, moved) for moved in solved.moved])
    return _Run(cut, loads, still, stresses(cut, solved, spread), solved.held)


def _settled(cut: Skeleton, carried: Borne, moved: Array) -> Array:
    """Movements measured from where the supports leave the frame: the best rigid motion of their feet taken off."""
    nodes = sorted({cut.line(foot.label).node(foot.station) for some in carried.feet for foot in some})
    places = cut.beams.nodes
    middle = places[nodes].mean(axis=0)

    def rigid(off: Array) -> Array:
        """(k, 3, 6) shifts and turns about the middle as movements."""
        rows = np.zeros((len(off), 3, 6))
        rows[:, :, :3] = np.eye(3)
        rows[:, 0, 4], rows[:, 0, 5] = off[:, 2], -off[:, 1]
        rows[:, 1, 3], rows[:, 1, 5] = -off[:, 2], off[:, 0]
        rows[:, 2, 3], rows[:, 2, 4] = off[:, 1], -off[:, 0]
        return rows

    motion = np.linalg.lstsq(rigid(places[nodes] - middle).reshape(-1, 6), moved[nodes, :3].ravel(), rcond=1e-9)[0]
    found = moved.copy()
    found[:, :3] -= rigid(places - middle) @ motion
    found[:, 3:] -= motion[3:]
    return found


def _hardness(worst: PartStress) -> float:
    return worst.stress if worst.share is None else worst.share * 1e6


def _result(frame: Frame, run: _Run, case: int) -> CaseResult:
    by_line: dict[int, tuple[float, int, int]] = {}
    for number, cut in enumerate(run.skeleton.cuts):
        if cut is None:
            continue
        own = run.stresses.equivalent[case, number]
        if own.max() > by_line.get(cut.line, (-1.0, 0, 0))[0]:
            by_line[cut.line] = (float(own.max()), number, int(own.argmax()))
    found = [_part_stress(run, case, *worst) for worst in by_line.values()]
    size = np.linalg.norm(run.moved[case][:, :3], axis=1)
    node = int(np.argmax(size))
    load = run.pushed[case]
    pushing = float(np.abs(load.nodes[:, :3]).sum() + np.abs(load.total[:3]).sum())
    return CaseResult(
        case=load.case, reactions=load.reactions, parts=tuple(sorted(found, key=_hardness, reverse=True)),
        moved=float(size[node]), moved_at=_node_place(run.skeleton, node),
        balance=float(np.abs(run.held[case, :, :3]).max()) / max(pushing, 1e-12),
    )  # fmt: skip


def _part_stress(run: _Run, case: int, stress: float, number: int, place: int) -> PartStress:
    cut = run.skeleton.cuts[number]
    assert cut is not None
    part = run.skeleton.lines[cut.line].part
    grade = find_grade(part.grade)
    station, at = (ends[0] + SHARES[place] * (ends[1] - ends[0]) for ends in (cut.stations, cut.poses.at))
    return PartStress(
        place=Place(
            label=part.label, station=float(station), at=(float(at[0]), float(at[1]), float(at[2])),
            bend=_counted(part, cut.bend), inside=bool(run.stresses.inside[case, number, place]),
        ),
        stress=stress, yield_stress=None if grade is None else grade.yield_stress,
        curved=None if cut.bent is None else cut.bent.factor,
    )  # fmt: skip


def _counted(part: RailPart, bend: int | None) -> int | None:
    """A bend's number as the part's table counts it."""
    return part.line.rows.count + 1 - bend if bend is not None and part.leading_end == "rear" else bend


def _node_place(skeleton: Skeleton, node: int) -> Place:
    for line in skeleton.lines:
        for station, own in zip(line.stations, line.nodes, strict=True):
            if own == node:
                stretch = line.part.line.stretches[int(line.part.line.stretch_at(station))]
                bend = _counted(line.part, stretch.number) if stretch.kind == "bend" else None
                x, y, z = (float(value) for value in skeleton.beams.nodes[node])
                return Place(label=line.part.label, station=float(station), at=(x, y, z), bend=bend)
    raise AssertionError("every node belongs to a tube")


def _stiffness(run: _Run, carried: Borne) -> float | None:
    """Torsional stiffness, N m/rad, from the torsion case."""
    case = next((i for i, load in enumerate(run.pushed) if load.case.torque is not None), None)
    if case is None:
        return None
    wide = [i for i, rest in enumerate(carried.rests) if rest.wide]
    first, last = (_roll(run, carried, case, carried.rests[i], i) for i in (wide[0], wide[-1]))
    torque = run.pushed[case].case.torque
    assert torque is not None
    return torque / abs(first - last) / 1000


def _roll(run: _Run, carried: Borne, case: int, rest: Rest, number: int) -> float:
    """How far a support's feet have rolled, radians: the slope of their rise over their distance across."""
    rise = []
    for foot in carried.feet[number]:
        node = run.skeleton.line(foot.label).node(foot.station)
        moved = run.moved[case, node]
        rise.append(float(moved[2] + np.cross(moved[3:], foot.at - run.skeleton.beams.nodes[node])[2]))
    across = rest.places[:, 1] - rest.places[:, 1].mean()
    return float(across @ np.array(rise) / (across @ across))


def _convergence(
    frame: Frame, fine: _Run, coarse: _Run, governing: CaseResult, stiffness: float | None, rougher: float | None
) -> Convergence:
    number = next(i for i, load in enumerate(coarse.pushed) if load.case is governing.case)
    other = _result(frame, coarse, number)
    return Convergence(
        pieces=len(fine.skeleton.beams.pieces), coarser=len(coarse.skeleton.beams.pieces),
        stress=other.worst.stress / governing.worst.stress - 1, moved=other.moved / governing.moved - 1,
        stiffness=None if stiffness is None or rougher is None else rougher / stiffness - 1,
    )  # fmt: skip
