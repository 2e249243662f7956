"""What `measured` and `correct` answer, as plain data in the job's unit and degrees."""

from collections.abc import Sequence
from math import degrees
from typing import Any

from railmodel.app.answers import finding_answer
from railmodel.app.sure_answer import ANGULAR
from railmodel.as_bent.correct import NextPiece
from railmodel.as_bent.deviations import Deviation, Laying
from railmodel.as_bent.estimate import Known
from railmodel.as_bent.measured import Measured
from railmodel.as_bent.piece import Piece, measure_next
from railmodel.as_bent.to_bender import Logged, Rest
from railmodel.findings import Finding, stops
from railmodel.units import Unit, to_unit

Answer = dict[str, Any]

NEXT = 3
"""So many things to measure next are named."""


def measured_answer(piece: Piece, layings: Sequence[Laying], findings: Sequence[Finding]) -> Answer:
    """A piece as bent.

    Args:
        piece: the piece.
        layings: how far off it is, each way it was laid.
        findings: about the record and about the piece.
    """
    unit = piece.frame.unit
    return {
        **_head(piece, findings),
        "readings": readings(piece),
        "shape": [_known(one, unit) for one in piece.shape],
        "deviations": [_laying(laying, unit) for laying in layings],
        "measure_next": [
            {
                "what": one.name,
                "unit": "deg" if one.unit == "angle" else unit,
                "planned": shown(one.value, one.unit, unit),
                "sigma": shown(one.sigma, one.unit, unit),
            }
            for one in measure_next(piece, NEXT)
        ],
        "spread": list(piece.sources),
        "findings": [finding_answer(finding, unit) for finding in findings],
    }


def correct_answer(
    pieces: Sequence[Piece], findings: Sequence[Finding], *, following: NextPiece | None, rest: Rest | None,
    logged: Logged | None,
) -> Answer:  # fmt: skip
    """What to change: for the next piece of the last one's hand, or on a single one where it is half bent."""
    piece, unit = pieces[-1], pieces[-1].frame.unit
    return {
        **_head(piece, findings),
        "records": [{"record": one.name, "hand": one.part.hand} for one in pieces],
        "next_piece": None if following is None else _next(following, unit),
        "this_piece": None if rest is None else _rest(rest, unit),
        "logged": None if logged is None else _logged(logged),
        "findings": [finding_answer(finding, unit) for finding in findings],
    }


def _head(piece: Piece, findings: Sequence[Finding]) -> Answer:
    frame = piece.frame
    return {
        "job": frame.job.job, "revision": frame.job.revision or "", "units": {"length": frame.unit, "angle": "deg"},
        "record": piece.name, "part": piece.part.name, "hand": piece.part.hand,
        "leading_end": piece.part.leading_end, "bent": piece.bent, "working": piece.rail.working,
        "ok": piece.sifted is not None and not stops(findings),
    }  # fmt: skip


def shown(value: float, kind: str, unit: Unit) -> float:
    """A length (mm) in the job's unit, or an angle (radians) in degrees."""
    return degrees(value) if kind == "angle" else to_unit(value, unit)


def readings(piece: Piece) -> list[Answer]:
    """Every reading: as read, as the shape found has it, and whether it counts."""
    unit, sifted = piece.frame.unit, piece.sifted
    left_out = {} if sifted is None else {id(one): expected for one, expected, _ in sifted.dropped}
    found: dict[int, tuple[float, float]] = {}
    if sifted is not None:
        solution = sifted.solution
        for one, off, odd in zip(solution.readings.taken, solution.residuals, solution.oddness, strict=True):
            found[id(one)] = (one.value - float(off) * one.sigma, float(odd))
    return [_reading(one, found.get(id(one)), left_out.get(id(one)), unit) for one in piece.taken]


def _reading(one: Measured, found: tuple[float, float] | None, expected: float | None, unit: Unit) -> Answer:
    value = expected if found is None else found[0]
    return {
        "what": one.name, "at": one.at, "unit": "deg" if one.unit == "angle" else unit,
        "reads": shown(one.value, one.unit, unit), "sigma": shown(one.sigma, one.unit, unit),
        "found": None if value is None else shown(value, one.unit, unit),
        "off": None if value is None else shown(one.value - value, one.unit, unit),
        "oddness": None if found is None else found[1], "counts": found is not None,
    }  # fmt: skip


def _known(one: Known, unit: Unit) -> Answer:
    kind = "angle" if one.kind in ("angle", "turn") else "length"
    return {
        "what": one.kind, "number": one.number, "unit": "deg" if kind == "angle" else unit,
        "planned": shown(one.plan, kind, unit), "as_bent": shown(one.value, kind, unit),
        "off": shown(one.value - one.plan, kind, unit), "standard_error": shown(one.sigma, kind, unit),
        "spread_before": shown(one.before, kind, unit), "determined": one.learned,
    }  # fmt: skip


def _laying(laying: Laying, unit: Unit) -> Answer:
    return {
        "laid_on": laying.name,
        "rms": to_unit(laying.rms, unit),
        "places": [_deviation(one, unit) for one in laying.deviations],
    }


def _deviation(one: Deviation, unit: Unit) -> Answer:
    want = None if one.target.fit is None else one.target.fit.point.gap
    return {
        "name": one.target.name, "weight": one.target.weight,
        "moved": [to_unit(float(value), unit) for value in one.moved],
        "standard_error": [to_unit(float(value), unit) for value in one.sigma],
        "distance": to_unit(float(one.moved @ one.moved) ** 0.5, unit),
        "gap": None if one.gap is None else to_unit(one.gap, unit),
        "want": None if want is None else to_unit(want.want, unit),
        "within": None if want is None else to_unit(want.within, unit),
        "ok": one.ok,
    }  # fmt: skip


def _next(found: NextPiece, unit: Unit) -> Answer:
    return {
        "nothing_to_change": found.nothing,
        "pieces": found.pieces,
        "scatter": [
            {
                "field": one.field, "unit": "deg" if one.field in ANGULAR else unit,
                "sigma": shown(one.sigma, "angle" if one.field in ANGULAR else "length", unit),
                "shop_spread": shown(one.usual, "angle" if one.field in ANGULAR else "length", unit),
                "degrees_of_freedom": one.freedom,
            }
            for one in found.scatter
        ],
        "bends": [
            {
                "bend": one.bend, "measured": one.told, "error": degrees(one.error), "sigma": degrees(one.sigma),
                "taken_off": degrees(one.taken_off),
                "common_to_die": degrees(one.common), "set_was": degrees(one.set_was), "set_now": degrees(one.set_now),
                "mark_was": to_unit(one.mark_was, unit), "mark_now": to_unit(one.mark_now, unit),
                "plane_off": degrees(one.roll), "plane_corrected": one.roll_step, "turn_tube": degrees(one.turn),
                "shim": None if one.shim is None else to_unit(one.shim, unit),
            }
            for one in found.bends
        ],
        "straights": [
            {
                "straight": one.straight, "error": to_unit(one.error, unit), "sigma": to_unit(one.sigma, unit),
                "corrected": one.step,
            }
            for one in found.straights
        ],
        "cut_length_was": to_unit(found.cut_was, unit),
        "cut_length_now": to_unit(found.cut_now, unit),
    }  # fmt: skip


def _rest(rest: Rest, unit: Unit) -> Answer:
    found = rest.found
    return {
        "bends": [
            {
                "bend": one.bend, "angle": degrees(one.angle), "planned": degrees(one.planned),
                "set_angle": degrees(one.set_angle), "mark": to_unit(one.mark, unit),
                "mark_planned": to_unit(one.mark_planned, unit), "straight": to_unit(one.straight, unit),
            }
            for one in rest.commands
        ],
        "tail": to_unit(float(found.straight[-1]), unit),
        "trim": to_unit(rest.trim, unit),
        "error_before": to_unit(found.error_before, unit),
        "error_after": to_unit(found.error_after, unit),
        "removed": found.removed,
        "at_limit": list(found.at_limit),
    }  # fmt: skip


def _logged(logged: Logged) -> Answer:
    return {
        "added": [
            {
                "die": one.die, "tube": one.tube, "set_angle": degrees(one.set_angle),
                "measured_angle": degrees(one.measured_angle), "note": one.note,
            }
            for one in logged.added
        ],
        "passed_over": list(logged.passed),
    }  # fmt: skip
