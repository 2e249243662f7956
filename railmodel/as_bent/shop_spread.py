"""How far the shop's work comes out, from the records of pieces measured before: a field of the bend table at a time.

Every record is laid out as a piece; what its readings leave of each value's plan is compared with what they could have
found, and the spread of a field is set so that both agree (variance components by their redundancies: F. R. Helmert,
Die Ausgleichungsrechnung, 1907; W. Foerstner, Allgemeine Vermessungs-Nachrichten 86, 1979; from memory). The shares of
redundancy are the degrees of freedom it is found with. mm, radians.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from railmodel.as_bent.estimate import Sifted
from railmodel.as_bent.piece import Piece, read_piece
from railmodel.as_bent.rail import Rail
from railmodel.errors import InputError
from railmodel.frame import Frame
from railmodel.geometry.rows import Array
from railmodel.job.source import printable
from railmodel.sureness.screws import FIELDS, Field, Working
from railmodel.sureness.spread import SET_BY_SHOP, WORDS, Sigma

FOLDER: Final = "measured"
"""Where records lie, beside the job."""

ENOUGH: Final = 6.0
"""Degrees of freedom from which records tell of a field; fewer, or one piece alone, say next to nothing of a spread."""

MOST: Final = 40
"""Records that are read, the last by name."""

_ROUNDS: Final = 60
_ALIKE: Final = 1e-4
_WIDEST: Final = 20.0


@dataclass(frozen=True, eq=False, kw_only=True)
class Recorded:
    """What inspection records tell of the shop's spread.

    Args:
        fields: of each field that they tell enough of.
        notes: what they do not tell, and why records were passed over, a sentence each.
    """

    fields: Mapping[Field, Sigma]
    notes: tuple[str, ...]


def recorded_spread(frame: Frame, working: Working = "marks fixed", folder: Path | None = None) -> Recorded:
    """The shop's spread from the records beside a job, those of pieces of the job as it is.

    Args:
        frame: the job.
        working: how the shop works.
        folder: where the records lie; None = the folder `measured` beside the job.
    """
    place = folder or frame.source.path.parent / FOLDER
    try:
        found = sorted(one for one in place.iterdir() if one.suffix.lower() in (".yaml", ".yml", ".csv"))[-MOST:]
    except OSError:
        return Recorded(fields={}, notes=())
    pieces, notes = list[Piece](), list[str]()
    for path in found:
        name = f"{place.name}/{printable(path.name)}"
        try:
            piece = read_piece(frame, path, working=working)
        except InputError as error:
            notes.append(f"{name} is passed over: {error.problems[0]}")
            continue
        why = _unfit(piece)
        if why:
            notes.append(f"{name} is passed over: {why}")
        else:
            pieces.append(piece)
    if not pieces:
        return Recorded(fields={}, notes=tuple(notes))
    known = components([Told.of(piece.sifted, piece.rail) for piece in pieces if piece.sifted is not None])
    source = f"from {_many(len(pieces))}"
    fields: dict[Field, Sigma] = {
        field: Sigma(value=value, dof=dof, source=source)
        for field, (value, dof) in known.items()
        if field in SET_BY_SHOP and dof >= ENOUGH
    }
    few = [WORDS[field] for field in ("distance", "roll", "radius") if field not in fields]
    if few:
        tell = "tells" if len(pieces) == 1 else "tell"
        notes.append(f"{_many(len(pieces))} {tell} too little of {', '.join(few)} to count; measure more pieces")
    return Recorded(fields=fields, notes=tuple(notes))


def _many(count: int) -> str:
    return "1 inspection record" if count == 1 else f"{count} inspection records"


def _unfit(piece: Piece) -> str | None:
    """Why a piece tells nothing of the shop's spread, in words."""
    if piece.sifted is None:
        return next(finding.says for finding in piece.findings if finding.level == "stop")
    odd = len(piece.sifted.dropped) + len(piece.sifted.off_plan)
    if 3 * odd > len(piece.taken):
        return "more than a third of it does not go with the job as it is"
    return None


@dataclass(frozen=True, eq=False)
class Told:
    """A piece to first order about its shape: what its readings say of the values of its bend table.

    Args:
        slopes: (m, u) of readings, in their standard deviations, by what is unknown, in units of `scale`.
        values: (m,) what was read less what was planned, likewise.
        scale: (u,) standard deviations as the shop's record and settings have them.
        fields: (u,) number of the field of each, in the order of `FIELDS`; -1 = none that counts.
    """

    slopes: Array
    values: Array
    scale: Array
    fields: NDArray[np.intp]

    @classmethod
    def of(cls, sifted: Sifted, rail: Rail) -> "Told":
        """What a piece tells, but for values that came out far off: those have a reason of their own."""
        found, n, odd = sifted.solution, rail.columns.bends, set(sifted.off_plan)
        scale = found.readings.scale
        fields = np.full(len(scale), -1)
        for k, column in enumerate(rail.free.tolist()):
            if column not in odd:
                fields[k] = 0 if column == rail.columns.tail else column // n
        return cls(found.slopes, found.residuals + found.slopes @ found.unknowns, scale, fields)


def components(parts: Sequence[Told]) -> dict[Field, tuple[float, float]]:
    """For each field that readings tell of, its standard deviation, mm or radians, and degrees of freedom."""
    factors = np.ones(len(FIELDS))
    for _ in range(_ROUNDS):
        squares, freedom, _ = (np.array(one) for one in zip(*_sums(parts, factors), strict=True))
        told = freedom > 0.05
        better = np.ones(len(FIELDS))
        better[told] = np.sqrt(squares[told] / freedom[told])
        better = np.clip(factors * better, 1 / _WIDEST, _WIDEST)
        still = np.abs(np.log(better / factors)).max() < _ALIKE
        factors = better
        if still:
            break
    return {
        field: (float(factor * size), float(dof))
        for field, factor, (_, dof, size) in zip(FIELDS, factors, _sums(parts, factors), strict=True)
        if dof > 0
    }


def _sums(parts: Sequence[Told], factors: Array) -> Iterator[tuple[float, float, float]]:
    """For each field: squares found over the spread assumed, how many of them were free, and the usual spread."""
    found = []
    for part in parts:
        wide = np.where(part.fields >= 0, factors[part.fields], 1.0)
        slopes = part.slopes * wide
        covariance = np.linalg.inv(np.eye(slopes.shape[1]) + slopes.T @ slopes)
        found.append((covariance @ (slopes.T @ part.values), 1.0 - np.diag(covariance)))
    for i in range(len(FIELDS)):
        mine = [part.fields == i for part in parts]
        squares = sum(float(np.sum(at[own] ** 2)) for own, (at, _) in zip(mine, found, strict=True))
        free = sum(float(np.sum(left[own])) for own, (_, left) in zip(mine, found, strict=True))
        sizes = np.concatenate([part.scale[own] for own, part in zip(mine, parts, strict=True)])
        yield squares, free, float(np.sqrt(np.mean(sizes**2))) if len(sizes) else 0.0
