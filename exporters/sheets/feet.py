"""Where crossmembers and fit points stand on a rail, to be marked on the flat tube before it is bent."""

from collections.abc import Iterable

from exporters.sheets.flat_view import Place
from railmodel.bending.flat_station import flat_station
from railmodel.bending.mark_out import MarkOut
from railmodel.frame import Frame
from railmodel.geometry.rows import Array
from railmodel.part import EndCut, Face, Reading

_LETTERS = "abcdefghijklmnopqrstuvwxyz"


def places_on(frame: Frame, marks: MarkOut) -> list[Place]:
    """The middle of every foot on a part, lettered from the leading end."""
    reading = marks.reading
    found = sorted(
        (flat_station(marks, _along(reading, cut)), name, _face(reading, cut.normal, cut.station))
        for name, cut in _cuts(frame)
        if cut.rail == reading.part.label
    )
    return [Place(_letter(i), name, face, at) for i, (at, name, face) in enumerate(found)]


def _cuts(frame: Frame) -> Iterable[tuple[str, EndCut]]:
    for part in frame.parts:
        for cut in part.cuts or ():
            yield part.name, cut


def _along(reading: Reading, cut: EndCut) -> float:
    """Finished distance from the leading end, mm."""
    return cut.station if reading.end == "front" else reading.part.line.length - cut.station


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
