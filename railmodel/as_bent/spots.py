"""Places on a bent tube that a shop can put a tape or a table to, by name. mm, radians."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import cos, tan

import numpy as np

from railmodel.errors import InputError
from railmodel.geometry.centreline import Centreline
from railmodel.geometry.rows import Array
from railmodel.job.fields import not_among
from railmodel.part import OPPOSITE, End, Face, Reading
from railmodel.sureness.screws import Movers, Place, moved, place_at
from railmodel.units import quoted

ALLOWED = (
    "front end, rear end, apex 2, start of bend 2, end of bend 2, middle of straight 1, foot of a fit point, each with "
    "a face behind a comma where it is not the middle of the tube"
)
_NUMBERED = re.compile(r"(apex|start of bend|end of bend|middle of straight) ([0-9]{1,3})")


@dataclass(frozen=True, slots=True)
class Spot:
    """A place that is carried along as the tube changes.

    Args:
        name: what it is called.
        place: where it stands on the tube, read from its leading end.
        s: in the cross-section there, mm.
        u: likewise.
        apex: whether it is the apex of the bend that `place` starts instead: where the two lines through (s, u) of the
            straights beside the bend meet.
    """

    name: str
    place: Place
    s: float = 0.0
    u: float = 0.0
    apex: bool = False


def spot_at(name: str, line: Centreline, point: Array) -> Spot:
    """The spot that a point near a tube belongs to."""
    station = float(line.closest(point)[0][0])
    pose = line.pose_at(station)
    off = np.asarray(point, dtype=float) - pose.at[0]
    return Spot(name, place_at(line, station), float(off @ pose.s[0]), float(off @ pose.u[0]))


def where(line: Centreline, spots: Sequence[Spot]) -> Array:
    """(m, 3) where spots are on a tube."""
    found = np.empty((len(spots), 3))
    for i, spot in enumerate(spots):
        stretch = line.stretches[spot.place.stretch]
        pose = stretch.pose(0.0 if spot.apex else stretch.length * spot.place.share)
        found[i] = pose.at + spot.s * pose.s + spot.u * pose.u
        if spot.apex:
            inner = float((found[i] - pose.at) @ stretch.inward)
            found[i] += (stretch.radius - inner) * tan(stretch.angle / 2) * pose.t
    return found


def slopes(line: Centreline, movers: Movers, spots: Sequence[Spot], at: Array) -> Array:
    """(m, x, 3) movement of spots for each value of the bend table, the leading end still; `at` is `where`."""
    found = moved(movers.at([spot.place for spot in spots]), at[:, None])
    n = len(line.bends)
    for i, spot in enumerate(spots):
        if not spot.apex:
            continue
        bend = spot.place.bend
        assert bend is not None
        stretch = line.bends[bend]
        pose = stretch.pose(0.0)
        off = spot.s * pose.s + spot.u * pose.u
        half, inner = stretch.angle / 2, float(off @ stretch.inward)
        aside = float(off @ np.cross(pose.t, stretch.inward))  # how fast `inner` grows as the bend rolls on the tube
        by_angle, by_radius, by_roll = (movers.mix[:, k * n + 1 + bend] for k in (1, 2, 3))
        ahead = (stretch.radius - inner) / 2 / cos(half) ** 2 * by_angle + tan(half) * (by_radius - aside * by_roll)
        found[i] += np.outer(ahead, pose.t)
    return found


def apex(bend: int) -> Place:
    """The place of an apex; bends count from 0."""
    return Place(2 * bend + 1, 0.0)


def find_spot(text: str, reading: Reading, feet: Mapping[str, Spot], counted_from: End) -> Spot:
    """A spot by its name.

    Args:
        text: as written.
        reading: the part, read from its leading end.
        feet: spots of the feet of fit points, by the names of the fit points.
        counted_from: the end that the name counts from.

    Raises:
        InputError: a name that is none, or a number or a face the part does not have.
    """
    given = " ".join(text.split())
    if given.lower().startswith("foot of "):
        name = given[8:].strip()
        if name not in feet:
            raise InputError(f"foot of a fit point: {not_among(name, list(feet))}")
        return feet[name]
    word, _, face = (part.strip().lower() for part in given.partition(","))
    s, u = _face(face, reading) if face else (0.0, 0.0)
    place, is_apex = _place(word, given, reading, counted_from)
    return Spot(given, place, s, u, is_apex)


def _place(word: str, given: str, reading: Reading, counted_from: End) -> tuple[Place, bool]:
    n = reading.line.rows.count
    turned = counted_from != reading.end
    if word in ("front end", "rear end"):
        leads = word.split()[0] == reading.end
        return (Place(0, 0.0) if leads else Place(2 * n, 1.0)), False
    match = _NUMBERED.fullmatch(word)
    if match is None:
        raise InputError(f"found {quoted(given)}; allowed: {ALLOWED}")
    kind, number = match[1], int(match[2])
    if kind == "middle of straight":
        straight = straight_index(number, n, turned)
        return Place(2 * straight, 0.5), False
    bend = bend_index(number, n, turned)
    if kind == "apex":
        return apex(bend), True
    first = (kind == "start of bend") != turned
    return (Place(2 * bend, 1.0) if first else Place(2 * bend + 2, 0.0)), False


def bend_index(number: int, count: int, turned: bool) -> int:
    """A bend from 0 in reading order, by its number in the record.

    Raises:
        InputError: there is no such bend.
    """
    if not 1 <= number <= count:
        allowed = f"1 to {count}" if count else "none; this part is straight"
        raise InputError(f"found bend {number}; allowed: {allowed}")
    return count - number if turned else number - 1


def straight_index(number: int, count: int, turned: bool) -> int:
    """A straight from 0 in reading order, by its number in the record.

    Raises:
        InputError: there is no such straight.
    """
    if not 0 <= number <= count:
        raise InputError(f"found straight {number}; allowed: 0 to {count}; straight 0 lies before bend 1")
    return count - number if turned else number


def _face(face: str, reading: Reading) -> tuple[float, float]:
    """(s, u) of the middle of a face, mm.

    Raises:
        InputError: no face of this part.
    """
    size = reading.part.section
    faces: dict[str, tuple[float, float]] = {
        "top": (0.0, size.height / 2), "bottom": (0.0, -size.height / 2),
        reading.sides[0]: (size.width / 2, 0.0), reading.sides[1]: (-size.width / 2, 0.0),
    }  # fmt: skip
    if face not in faces:
        raise InputError(f"face: {not_among(face, list(faces))}")
    return faces[face]


def across(spot: Spot, reading: Reading) -> Spot | None:
    """The same place on the face across the tube; None where it stands on no face."""
    word, comma, face = (part.strip() for part in spot.name.partition(","))
    if not comma:
        return None
    other: Face = OPPOSITE[face.lower()]  # type: ignore[index]
    return Spot(f"{word}, {other}", spot.place, -spot.s, -spot.u, spot.apex)
