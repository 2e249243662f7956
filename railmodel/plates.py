"""Plates made real: outlines with rounded corners and holes, gussets set between faces, and what is wrong with them.

Millimetres and radians. A plate's own axes: x and y on its face, seen from the face; its thickness goes along its
normal, x cross y.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from math import cos, pi, sin

import numpy as np
from numpy.typing import ArrayLike

from railmodel.findings import Finding
from railmodel.frame import Frame
from railmodel.geometry.flat_outline import Outline, crossings, doubled, rounded, tight_edges, turns
from railmodel.geometry.rows import Array
from railmodel.geometry.section import STEEL_DENSITY
from railmodel.gussets import NoCorner, Setting, settings
from railmodel.job.plate import Gusset, Hole
from railmodel.job.plate import Plate as Written
from railmodel.nesting import fits
from railmodel.tolerances import ANGLE, LENGTH

Say = Callable[[float], str]


@dataclass(frozen=True, slots=True)
class Placing:
    """Where one copy of a plate lies in the vehicle; right-handed, directions of unit length.

    Args:
        at: (3,) the plate's own (0, 0) on its back, mm.
        across: (3,) the way its x goes.
        up: (3,) the way its y goes.
    """

    at: Array
    across: Array
    up: Array

    @property
    def normal(self) -> Array:
        """(3,) the way its thickness goes."""
        return np.cross(self.across, self.up)

    def points(self, flat: ArrayLike, depth: float = 0.0) -> Array:
        """Points (..., 2) of the plate in vehicle axes (..., 3), `depth` above its back, mm."""
        flat = np.asarray(flat, dtype=float)
        on_back = self.at + flat[..., :1] * self.across + flat[..., 1:] * self.up
        return np.asarray(on_back + depth * self.normal)

    def mirrored(self, thickness: float) -> "Placing":
        """The mirror image through the vehicle's centre plane: the same plate turned over, so face and back change."""
        flip = np.array([1.0, -1.0, 1.0])
        return Placing((self.at + thickness * self.normal) * flip, self.across * flip, self.up * flip)


@dataclass(frozen=True, kw_only=True, eq=False)
class Plate:
    """A plate cut flat.

    Args:
        name: its name in the job.
        thickness: mm.
        outline: its outside.
        holes: round holes, each its centre (x, y) and diameter, mm.
        grade: steel grade, free text.
        count: how many are cut.
        places: where they lie in the vehicle; empty where the job does not say.
        stops: why it must not be cut as it stands.
    """

    name: str
    thickness: float
    outline: Outline
    holes: tuple[tuple[float, float, float], ...] = ()
    grade: str | None = None
    count: int = 1
    places: tuple[Placing, ...] = ()
    stops: tuple[str, ...] = ()

    @property
    def area(self) -> float:
        """Area of metal, mm^2: inside the outline, less the holes."""
        return self.outline.area - sum(pi * diameter**2 / 4 for _, _, diameter in self.holes)

    @property
    def size(self) -> tuple[float, float]:
        """Width and height of the box about it, mm."""
        left, low, right, high = self.outline.box
        return right - left, high - low

    @property
    def cut_length(self) -> float:
        """Length of all cuts, mm."""
        return self.outline.length + sum(pi * diameter for _, _, diameter in self.holes)

    def mass(self, density: float = STEEL_DENSITY) -> float:
        """Mass of one, kg, for a density in kg/mm^3."""
        return self.area * self.thickness * density


def plates(frame: Frame) -> tuple[Plate, ...]:
    """Every plate of a job that has an outline at all."""
    return tuple(plate for written in frame.job.plates for plate in _made(written, frame)[0])


def placed_plates(frame: Frame) -> list[tuple[Plate, Placing]]:
    """Every copy of a plate that has its place in the vehicle, and the place."""
    return [(plate, placing) for plate in plates(frame) for placing in plate.places]


def plate_findings(frame: Frame) -> Iterator[Finding]:
    """What is wrong with the plates of a job."""
    for written in frame.job.plates:
        made, said = _made(written, frame)
        yield from said
        yield from (_too_large(written, plate, frame) for plate in made if not fits_its_sheet(plate, frame))


def fits_its_sheet(plate: Plate, frame: Frame) -> bool:
    """Whether a plate fits on the sheets that the job nests on; true where it nests on none."""
    nesting = frame.job.nesting
    return nesting is None or fits(plate.size, nesting.sheet, nesting.edge)


def _too_large(written: Written, plate: Plate, frame: Frame) -> Finding:
    wide, high = (frame.say(length) for length in plate.size)
    says = f"{plate.name}: {wide} by {high} does not fit on a sheet of the nesting; use a larger sheet, or cut it alone"
    return replace(_finding(written, says), level="warn")


def _made(written: Written, frame: Frame) -> tuple[list[Plate], list[Finding]]:
    """A plate as written, made real, and its findings; a gusset may come out as one for each hand."""
    if written.gusset is None:
        points, radii = _corners(written)
        placed = _placed(written)
        return _cut(written, written.name, points, radii, placed, frame)
    if written.gusset.between is None:
        angle = pi / 2 if written.gusset.angle is None else written.gusset.angle
        points = gusset_corners(written.gusset, angle)
        return _cut(written, written.name, points, np.full(len(points), written.corner), _placed(written), frame)
    try:
        found = list(settings(written.name, written.gusset, frame))
    except NoCorner as error:
        return [], [_finding(written, str(error))]
    made: list[Plate] = []
    said: list[Finding] = []
    for hand, group in _by_angle(found):
        points = gusset_corners(written.gusset, group[0].angle)
        radii = np.full(len(points), written.corner)
        places = tuple(
            Placing(one.corner - written.thickness / 2 * np.cross(one.first, one.up), one.first, one.up)
            for one in group
        )
        name = f"{written.name} {hand}" if hand else written.name
        plates_made, findings = _cut(written, name, points, radii, places, frame)
        made += plates_made
        said += findings
        said += [replace(_finding(written, says), level="warn") for one in group for says in one.warnings]
    return made, said


def gusset_corners(gusset: Gusset, angle: float) -> Array:
    """(3 or 4, 2) corners of a gusset's triangle, its corner clipped; x along the first leg, mm.

    >>> gusset_corners(Gusset(legs=(60, 40), clip=10), pi / 2).round(6) + 0.0
    array([[10.,  0.],
           [60.,  0.],
           [ 0., 40.],
           [ 0., 10.]])
    """
    first, second = np.array([1.0, 0.0]), np.array([cos(angle), sin(angle)])
    tips = [gusset.legs[0] * first, gusset.legs[1] * second]
    return np.array([gusset.clip * first, *tips, gusset.clip * second] if gusset.clip > LENGTH else [0 * first, *tips])


def _by_angle(found: Sequence[Setting]) -> list[tuple[str, list[Setting]]]:
    """Both hands together where their angles are the same, else each for itself with its hand's name."""
    if all(abs(one.angle - found[0].angle) <= ANGLE**0.5 for one in found):
        return [("", list(found))]
    return [(one.hand, [one]) for one in found]


def _corners(written: Written) -> tuple[Array, Array]:
    """Corners (n, 2) and their radii (n,)."""
    if written.size is not None:
        width, height = written.size
        return np.array([(0.0, 0.0), (width, 0.0), (width, height), (0.0, height)]), np.full(4, written.corner)
    assert written.outline is not None  # the job file allows one of the three and needs one
    radii = [written.corner if corner.corner is None else corner.corner for corner in written.outline]
    return np.array([corner.at for corner in written.outline]), np.array(radii)


def _placed(written: Written) -> tuple[Placing, ...]:
    if written.place is None:
        return ()
    normal = np.array(written.place.normal) / np.linalg.norm(written.place.normal)
    up = np.array(written.place.up) / np.linalg.norm(written.place.up)
    up = up - normal * np.dot(up, normal)
    if np.linalg.norm(up) < 1e-6:
        return ()  # a finding of its own
    up = up / np.linalg.norm(up)
    first = Placing(np.array(written.place.at), np.cross(up, normal), up)
    return (first, first.mirrored(written.thickness)) if written.mirror else (first,)


def _cut(
    written: Written, name: str, points: Array, radii: Array, places: tuple[Placing, ...], frame: Frame
) -> tuple[list[Plate], list[Finding]]:
    faults = list(_faults(points, radii, frame.say))
    if faults:
        return [], [_finding(written, f"{name}: {says}") for says in faults]
    outline = rounded(points, radii)
    holes = tuple((*hole.at, hole.diameter) for hole in written.holes)
    stops = tuple(f"{name}: {says}" for says in _hole_faults(outline, written.holes, frame.say))
    findings = [_finding(written, says) for says in stops]
    if written.place is not None and not places:
        findings.append(_finding(written, f"{name}: place: up looks along normal; give an up that is square to it"))
    count = written.count or max(1, len(places))
    if count < len(places):
        says = f"{name}: {count} cut but {len(places)} placed in the vehicle; raise count, or leave it out"
        findings.append(replace(_finding(written, says), level="warn"))
    plate = Plate(
        name=name, thickness=written.thickness, outline=outline, holes=holes, grade=written.grade, count=count,
        places=places, stops=stops,
    )  # fmt: skip
    return [plate], findings


def _faults(points: Array, radii: Array, say: Say) -> Iterator[str]:
    """What keeps corners and radii from making an outline."""
    same = doubled(points)
    if same:
        for i in same:
            yield f"corners {i + 1} and {(i + 1) % len(points) + 1} lie on one spot; take one out"
        return
    crossed = list(crossings(points))
    if crossed:
        for i, j in crossed:
            yield f"its outline crosses itself: side {_side(i, points)} meets side {_side(j, points)}; move a corner"
        return
    if not np.any(np.abs(turns(points)) > ANGLE):
        yield "its corners lie on one line; move one"
    for tight in tight_edges(points, radii):
        rounded_ones = [i for i in sorted({tight.first, tight.second}) if radii[i] > 0]
        at = ("corners " if len(rounded_ones) > 1 else "corner ") + " and ".join(str(i + 1) for i in rounded_ones)
        most = tight.share * max(radii[i] for i in rounded_ones)
        yield (
            f"the radius at {at} does not fit side {_side(tight.first, points)}, which is {say(tight.has)} long "
            f"and would lose {say(tight.needs)} to it; use at most {say(most)}, or a longer side"
        )


def _side(i: int, points: Array) -> str:
    return f"{i + 1} to {(i + 1) % len(points) + 1}"


def _hole_faults(outline: Outline, holes: Sequence[Hole], say: Say) -> Iterator[str]:
    for i, hole in enumerate(holes):
        room = outline.inside(hole.at) - hole.diameter / 2
        if room < LENGTH:
            where = "lies off the plate" if room <= -hole.diameter else f"breaks through the edge by {say(-room)}"
            yield f"hole {i + 1} {where if room < -LENGTH else 'touches the edge'}; move it, or make it smaller"
        for k in range(i):
            other = holes[k]
            web = float(np.linalg.norm(np.subtract(hole.at, other.at))) - (hole.diameter + other.diameter) / 2
            if web < LENGTH:
                yield f"holes {k + 1} and {i + 1} run into each other by {say(max(-web, 0.0))}; move one"


def _finding(written: Written, says: str) -> Finding:
    return Finding(rule="plate", level="stop", says=says, part=written.name)

