"""The flat tube from its side, to scale, with everything that is marked on it before bending. Points on the paper."""

from collections.abc import Sequence
from dataclasses import dataclass

from exporters.room import spread
from exporters.sheets.scale import scale_to_fit, words
from exporters.sheets.typeset import Data
from exporters.sheets.words import POINT, plain
from railmodel.bending.mark_out import MarkOut
from railmodel.frame import Frame
from railmodel.tolerances import LENGTH

_LABEL = 38.0
"""Room of a mark's number with its length."""

_NUMBER = 12.0
"""Room of a number or a letter alone."""

_OVERHANG = 14.0
"""How far a label may stand out into the margin."""


@dataclass(frozen=True, slots=True)
class Place:
    """A place marked on the flat tube that is no bend.

    Args:
        letter: its short name.
        name: what it is.
        face: the face it is marked on, in words.
        at: from the leading cut end, mm.
        about: where it lies across the face and how far it reaches, in words.
    """

    letter: str
    name: str
    face: str
    at: float
    about: str = ""


def flat_view(frame: Frame, marks: MarkOut, places: Sequence[Place], width: float) -> Data:
    """What the template draws: x from the leading cut end at the left, points.

    Args:
        frame: the job.
        marks: the part marked out.
        places: further places to show.
        width: room across, points.
    """
    part = marks.reading.part
    scale = scale_to_fit(marks.cut_length, width)
    point = 1 / (scale * POINT)
    marked = [bend.mark * point for bend in marks.bends]
    wide = len(marked) * _LABEL <= width
    labels = _apart(marked, _LABEL if wide else _NUMBER, width)
    spots = sorted(places, key=lambda place: place.at)
    trims = (("leading trim", 0.0, marks.trim_lead), ("tail trim", marks.cut_length - marks.trim_tail, marks.trim_tail))
    return {
        "scale": words(scale),
        "length": marks.cut_length * point,
        "depth": part.section.height * point,
        "wide": wide,
        "lead": marks.reading.end,
        "tail": "rear" if marks.reading.end == "front" else "front",
        "bends": [
            {
                "n": bend.bend.number,
                "x": x,
                "used": bend.tube_use * point,
                "label": label,
                "at": plain(frame, bend.mark),
            }
            for bend, x, label in zip(marks.bends, marked, labels, strict=True)
        ],
        "trims": [
            {"name": name, "x": begin * point, "width": long * point} for name, begin, long in trims if long > LENGTH
        ],
        "places": [
            {"letter": place.letter, "x": place.at * point, "label": label}
            for place, label in zip(spots, _apart([p.at * point for p in spots], _NUMBER, width), strict=True)
        ],
    }


def _apart(places: Sequence[float], room: float, width: float) -> list[float]:
    """Labels as near over their places as they can stand beside each other on the page."""
    labels = spread(places, room)
    low, high = room / 2 - _OVERHANG, width - room / 2 + _OVERHANG
    for i, label in enumerate(labels):
        labels[i] = max(label, low + i * room)
    for i, label in enumerate(reversed(labels), start=1):
        labels[-i] = min(label, high - (i - 1) * room)
    return labels
