"""Where crossmembers and fit points stand on a rail, to be marked on the flat tube before it is bent."""

from collections.abc import Iterable

from exporters.sheets.flat_view import Place
from railmodel.bending.flat_station import flat_station
from railmodel.bending.mark_out import MarkOut
from railmodel.fitting.fit_job import fit_work
from railmodel.frame import Frame
from railmodel.geometry.rows import Array
from railmodel.part import Face, Reading

_LETTERS = "abcdefghijklmnopqrstuvwxyz"


def places_on(frame: Frame, marks: MarkOut) -> list[Place]:
    """The middle of every foot on a part, lettered from the leading end."""
    reading = marks.reading
    found = sorted(
        (flat_station(marks, along if reading.end == "front" else reading.line.length - along), name, face)
        for along, name, face in (*_crossmembers(frame, reading), *_fit_points(frame, reading))
    )
    return [Place(_letter(i), name, face, at) for i, (at, name, face) in enumerate(found)]


def _crossmembers(frame: Frame, reading: Reading) -> Iterable[tuple[float, str, Face]]:
    """How far from the front end along the finished part (mm) crossmembers stand, their names, the faces."""
    for part in frame.parts:
        for cut in part.cuts or ():
            if cut.rail == reading.part.label:
                yield cut.station, part.name, _face(reading, cut.normal, cut.station)


def _fit_points(frame: Frame, reading: Reading) -> Iterable[tuple[float, str, Face]]:
    """The same of fit points."""
    for fit in fit_work(frame).fits:
        if fit.part.label == reading.part.label:
            yield fit.foot.along, fit.point.name, fit.point.to.face


def _face(reading: Reading, normal: Array, station: float) -> Face:
    """The face that looks along a normal at a station from the front."""
    pose, sides = reading.part.line.pose_at(station), reading.part.sides
    across, up = float(normal @ pose.s[0]), float(normal @ pose.u[0])
    if abs(across) >= abs(up):
        return sides[0] if across > 0 else sides[1]
    return "top" if up > 0 else "bottom"


def _letter(number: int) -> str:
    """A to z, then aa, ab and so on."""
    return _letter(number // 26 - 1) + _LETTERS[number % 26] if number >= 26 else _LETTERS[number]
