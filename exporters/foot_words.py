"""What stands on a tube, in letters and words, alike on the bend sheet and on the flat layout."""

from collections.abc import Callable
from dataclasses import dataclass
from math import asin

from railmodel.fitting.footprints import Footprint, beside, half_width
from railmodel.part import Face, Reading
from railmodel.tolerances import LENGTH

_LETTERS = "abcdefghijklmnopqrstuvwxyz"


@dataclass(frozen=True, slots=True, kw_only=True)
class Spot:
    """One place to be marked on a tube.

    Args:
        letter: its short name.
        name: what it is.
        face: the face it is marked on.
        along: finished length from the leading end, mm.
        across: off the middle of the face, mm, as `Footprint.at` counts.
        span: from where to where its footprint reaches along the tube, mm, where it has one.
        foot: what it belongs to.
        hole: whether it is a hole's centre.
    """

    letter: str
    name: str
    face: Face
    along: float
    across: float
    span: tuple[float, float] | None
    foot: Footprint
    hole: bool = False


def spots(feet: list[Footprint], say: Callable[[float], str]) -> list[Spot]:
    """Footprints and their holes, lettered from the leading end.

    Args:
        feet: what stands on the tube.
        say: a length in words.
    """
    found: list[tuple[float, float, str, Footprint, bool]] = []
    for foot in feet:
        found.append((*foot.at, foot.name, foot, False))
        for along, across, diameter in foot.holes:
            found.append((along, across, f"hole {say(diameter)} of {foot.name}", foot, True))
    found.sort(key=lambda one: (one[0], one[2], one[1]))
    return [
        Spot(
            letter=_letter(i), name=name, face=foot.face, along=along, across=across,
            span=None if hole else foot.span, foot=foot, hole=hole,
        )
        for i, (along, across, name, foot, hole) in enumerate(found)
    ]  # fmt: skip


def across_words(reading: Reading, spot: Spot, say: Callable[[float], str]) -> str:
    """How far across its face a place lies: from an edge, as a square measures it; round the tube where it is round.

    Args:
        reading: the part.
        spot: the place.
        say: a length in words.
    """
    neighbours, half = beside(reading, spot.face), half_width(reading.part, spot.face)
    if reading.part.section.round:
        if abs(spot.across) <= LENGTH:
            return "on the middle of the face"
        round_by = half * asin(max(-1.0, min(1.0, spot.across / half)))
        return f"{say(abs(round_by))} round from its middle toward the {neighbours[round_by > 0]}"
    edge = next(face for face in ("top", "outboard", "left") if face in neighbours)
    off = half - spot.across if neighbours[1] == edge else half + spot.across
    return f"{say(off)} from the {edge} edge"


def _letter(number: int) -> str:
    """A to z, then aa, ab and so on."""
    return _letter(number // 26 - 1) + _LETTERS[number % 26] if number >= 26 else _LETTERS[number]
