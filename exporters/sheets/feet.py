"""Where crossmembers, plates, holes and fit points stand on a rail, marked on the flat tube before it is bent."""

from exporters.foot_words import across_words, spots
from exporters.sheets.flat_view import Place
from railmodel.bending.flat_station import flat_station
from railmodel.bending.mark_out import MarkOut
from railmodel.fitting.footprints import footprints
from railmodel.frame import Frame
from railmodel.units import format_decimal


def places_on(frame: Frame, marks: MarkOut) -> list[Place]:
    """Every place to be marked on a part, lettered from the leading end, with the stock that bends use taken in."""

    def say(length: float) -> str:
        return format_decimal(length, frame.unit)

    reading = marks.reading
    found = []
    for spot in spots(footprints(frame, reading), say):
        about = [across_words(reading, spot, say)]
        if spot.span is not None:
            begin, end = (say(flat_station(marks, along)) for along in spot.span)
            about.append(f"covers {begin} to {end}")
        at = flat_station(marks, spot.along)
        found.append(Place(spot.letter, spot.name, spot.face, at, ", ".join(about)))
    return found
