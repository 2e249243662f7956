"""Which distances prove a bent pair with a tape measure, and what skew would show. mm.

Two equal diagonals alone do not prove a frame square (a trapezoid has them too), so widths are measured as well; none
of them sees twist, which wants a level. For rails of length l apart, spaced so that the diagonal is d, one rail ahead
by s makes the diagonals differ by about 2 l s / d (derived; common practice of the trade).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from railmodel.frame import Frame
from railmodel.geometry.rows import Array
from railmodel.part import RailPart

SKEW = 25.4 / 16
"""The skew whose mark on the diagonals is given: one sixteenth of an inch, mm."""


@dataclass(frozen=True, slots=True)
class Spot:
    """A place that can be marked on a rail: what it is called, on which hand, and where, (3,), mm."""

    name: str
    hand: str
    at: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class TapeLine:
    """One distance to measure.

    Args:
        kind: "length", "width" or "diagonal".
        start: first spot.
        end: second spot.
        distance: straight between them, mm.
        skew_shows: how much the distance changes when the left rail lies `SKEW` further back, mm.
    """

    kind: str
    start: Spot
    end: Spot
    distance: float
    skew_shows: float


@dataclass(frozen=True, slots=True, kw_only=True)
class TapeCheck:
    """The distances of one pair.

    Args:
        part: name of the pair.
        lines: lengths first, then widths, then diagonals in twos that should be equal.
        diagonal_difference: how far the long diagonals differ when one rail lies `SKEW` ahead, mm.
    """

    part: str
    lines: tuple[TapeLine, ...]
    diagonal_difference: float


def tape_checks(frame: Frame, feet: Mapping[str, Sequence[Spot]] | None = None) -> tuple[TapeCheck, ...]:
    """What to measure on every pair of a job.

    Args:
        frame: the job.
        feet: by part name, further spots on both hands, such as the feet of fit points.
    """
    found = []
    for right in frame.parts:
        if right.hand != "right":
            continue
        left = next(part for part in frame.parts if part.name == right.name and part.hand == "left")
        more = (feet or {}).get(right.name, ())
        found.append(_pair(right, left, more))
    return tuple(found)


def ends(part: RailPart) -> tuple[Spot, Spot]:
    """The middle of the top face at both cut ends."""
    up = part.section.height / 2
    first, last = part.line.start, part.line.end
    return (
        Spot("front end, middle of the top face", part.hand, first.at + up * first.u),
        Spot("rear end, middle of the top face", part.hand, last.at + up * last.u),
    )


def _pair(right: RailPart, left: RailPart, more: Sequence[Spot]) -> TapeCheck:
    spots = {hand: [*ends(part), *(spot for spot in more if spot.hand == hand)] for hand, part in
             (("right", right), ("left", left))}  # fmt: skip
    lengths, widths, diagonals = [], [], []
    for hand in ("right", "left"):
        for i, one in enumerate(spots[hand]):
            lengths += [_line("length", one, other) for other in spots[hand][i + 1 :]]
    for one, other in zip(spots["right"], spots["left"], strict=True):
        widths.append(_line("width", one, other))
    count = len(spots["right"])
    for i in range(count):
        for k in range(i + 1, count):
            diagonals.append(_line("diagonal", spots["right"][i], spots["left"][k]))
            diagonals.append(_line("diagonal", spots["left"][i], spots["right"][k]))
    first, second = diagonals[0], diagonals[1]
    return TapeCheck(
        part=right.name,
        lines=(*lengths, *widths, *diagonals),
        diagonal_difference=abs(first.skew_shows - second.skew_shows),
    )


def _line(kind: str, start: Spot, end: Spot) -> TapeLine:
    distance = float(np.linalg.norm(end.at - start.at))
    back = np.array([SKEW, 0.0, 0.0])
    moved = end.at - start.at + back * ((end.hand == "left") - float(start.hand == "left"))
    return TapeLine(
        kind=kind, start=start, end=end, distance=distance, skew_shows=float(np.linalg.norm(moved)) - distance
    )
