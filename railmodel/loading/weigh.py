"""What a frame weighs and where it balances, from the volume of the tubes as they are bent and cut; mm, kg.

A bend's volume is its section's area times the length of its centreline (Pappus), and its metal's centre lies on the
circle of radius R + I / (A R) about the bend's centre, I the second moment of area in the bend's plane.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import lru_cache
from math import cos, sin

import numpy as np

from railmodel.end_cuts import to_cut
from railmodel.fitting.clear_job import solid_parts
from railmodel.frame import Frame
from railmodel.geometry.centreline import Stretch
from railmodel.geometry.flat_outline import Outline
from railmodel.geometry.outline import around
from railmodel.geometry.rows import Array
from railmodel.geometry.section import STEEL_DENSITY, Section
from railmodel.part import RailPart
from railmodel.plates import Plate, plates

_AROUND = 360
_POINTS, _WEIGHTS = np.polynomial.legendre.leggauss(12)
_RINGS = np.polynomial.legendre.leggauss(4)
"""Rings of fibres through a tube's wall."""
_SIDES = 4001
"""Places along a tube at which it is asked which side of the vehicle it lies on."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Weighed:
    """One piece of the frame.

    Args:
        label: the part's label, or the plate's name.
        kind: "tube" or "plate".
        mass: kg.
        centre: (x, y, z) of its centre of mass, mm.
        left: share of the mass on the vehicle's left (Y below 0); judged on a tube's centreline.
        length: of a tube's centreline between its cuts, mm; 0 for a plate.
    """

    label: str
    kind: str
    mass: float
    centre: tuple[float, float, float]
    left: float
    length: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Weight:
    """The whole frame.

    Args:
        pieces: everything that has its place in the vehicle.
        mass: kg.
        centre: (x, y, z) of the centre of mass, mm; None where there is nothing.
        left: kg on the vehicle's left.
        right: kg on its right.
        apart: plates that are cut but have no place in the vehicle: name, how many, kg of one.
        not_weighed: parts that make no shape.
    """

    pieces: tuple[Weighed, ...]
    mass: float
    centre: tuple[float, float, float] | None
    left: float
    right: float
    apart: tuple[tuple[str, int, float], ...]
    not_weighed: tuple[str, ...]


@lru_cache(maxsize=8)
def weigh(frame: Frame) -> Weight:
    """Weigh a frame."""
    tubes = [_tube(part) for part in solid_parts(frame)]
    made = plates(frame)
    placed = [piece for plate in made for piece in _plate(plate)]
    pieces = tuple(piece for piece in (*tubes, *placed) if piece.mass > 0)
    mass = sum(piece.mass for piece in pieces)
    left = sum(piece.mass * piece.left for piece in pieces)
    known = {piece.label for piece in tubes}
    return Weight(
        pieces=pieces, mass=mass, centre=_balance(pieces) if mass else None, left=left, right=mass - left,
        apart=tuple((p.name, p.count - len(p.places), p.mass()) for p in made if p.count > len(p.places)),
        not_weighed=(
            *(part.label for part in frame.parts if part.label not in known),
            *dict.fromkeys(fault.part for fault in frame.faults if fault.part is not None),
        ),
    )  # fmt: skip


def tube_mass(part: RailPart) -> float:
    """Mass of one tube as bent and cut, kg."""
    return _volume(part)[0] * STEEL_DENSITY


def _balance(pieces: Iterable[Weighed]) -> tuple[float, float, float]:
    masses, centres = zip(*((piece.mass, piece.centre) for piece in pieces), strict=True)
    x, y, z = np.array(masses) @ np.array(centres) / sum(masses)
    return float(x), float(y), float(z)


def _tube(part: RailPart) -> Weighed:
    volume, moment = _volume(part)
    x, y, z = (float(value) for value in moment / volume)
    low, high = 0.0, part.line.length
    if part.cuts is not None:
        start = part.line.start
        low, high = sorted(float((cut.at - start.at) @ start.t) for cut in part.cuts)
    across = part.line.pose_at(np.linspace(low, high, _SIDES)).at[:, 1]
    left = float(np.mean(across < -1e-9) + np.mean(np.abs(across) <= 1e-9) / 2)
    return Weighed(
        label=part.label, kind="tube", mass=volume * STEEL_DENSITY, centre=(x, y, z), left=left, length=high - low
    )


def _volume(part: RailPart) -> tuple[float, Array]:
    """Volume, mm^3, and its first moment (3,), mm^4."""
    if part.cuts is not None:
        return _between_cuts(part)
    volume, moment = 0.0, np.zeros(3)
    for stretch in part.line.stretches:
        volume += part.section.area * stretch.length
        moment += _moment(part.section, stretch)
    return volume, moment


def _moment(section: Section, stretch: Stretch) -> Array:
    """First moment of a stretch's metal, mm^4."""
    if stretch.kind == "straight":
        middle = stretch.start.at + stretch.length / 2 * stretch.start.t
        return np.asarray(section.area * stretch.length * middle)
    turn, roll = stretch.angle, stretch.roll
    inertia = section.inertia_s * cos(roll) ** 2 + section.inertia_u * sin(roll) ** 2
    away = sin(turn) * stretch.inward - (1 - cos(turn)) * stretch.start.t  # the inward directions of the bend, summed
    ring = section.area * stretch.radius**2 + inertia
    return np.asarray(section.area * stretch.length * stretch.centre - ring * away)


def _between_cuts(part: RailPart) -> tuple[float, Array]:
    """A crossmember: every fibre from the one cut to the other."""
    assert part.cuts is not None
    start = part.line.start
    spots, areas = _fibres(part.section)
    base = start.at + spots @ np.stack([start.s, start.u])
    ends = np.sort(np.stack([to_cut(cut, base, start.t) for cut in part.cuts]), axis=0)
    volumes = areas * (ends[1] - ends[0])
    middles = base + (ends.sum(axis=0) / 2)[:, None] * start.t
    return float(volumes.sum()), volumes @ middles


def _fibres(section: Section) -> tuple[Array, Array]:
    """Fibres of a section: places (m, 2) as (s, u) and the area of each, which add up to the section's, mm."""
    spots, areas = [], []
    for point, weight in zip(*_RINGS, strict=True):
        deep = section.wall * (1 + point) / 2
        ring = replace(
            section, height=section.height - 2 * deep, width=section.width - 2 * deep,
            wall=(section.wall - deep) / 2, corner=max(section.corner - deep, 0.0), inside=None,
        )  # fmt: skip
        girth = (np.arange(_AROUND) + 0.5) / _AROUND * ring.girth
        spots.append(around(ring, girth))
        areas.append(np.full(_AROUND, ring.girth / _AROUND * weight))
    whole = np.concatenate(areas)
    return np.concatenate(spots), whole / whole.sum() * section.area


def _plate(plate: Plate) -> list[Weighed]:
    """Every placed copy of a plate."""
    if not plate.area > 0:
        return []
    flat = plate_centre(plate)
    found = []
    for placing in plate.places:
        x, y, z = (float(value) for value in placing.points(flat, plate.thickness / 2))
        share = 0.5 if abs(y) < 1e-6 else float(y < 0)
        found.append(Weighed(label=plate.name, kind="plate", mass=plate.mass(), centre=(x, y, z), left=share))
    return found


def plate_centre(plate: Plate) -> Array:
    """(2,) centre of a plate's metal on its own axes, mm."""
    moment = outline_moment(plate.outline)
    for x, y, diameter in plate.holes:
        moment = moment - np.pi * diameter**2 / 4 * np.array([x, y])
    return np.asarray(moment / plate.area)


def outline_moment(outline: Outline) -> Array:
    """(2,) first moment of the area inside an outline, mm^3: Green's theorem, edge by edge."""
    total = np.zeros(2)
    for edge in outline.edges:
        at = edge.points((_POINTS + 1) / 2)
        if edge.turn:
            off = (at - edge.centre) * edge.turn / 2
            step = np.stack([-off[:, 1], off[:, 0]], axis=1)
        else:
            step = np.broadcast_to((edge.end - edge.start) / 2, at.shape)
        total += np.array([_WEIGHTS @ (at[:, 0] ** 2 * step[:, 1]), -_WEIGHTS @ (at[:, 1] ** 2 * step[:, 0])]) / 2
    return total
