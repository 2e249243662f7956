"""What `carry` answers, as plain data: lengths in the job's unit, stresses in MPa, forces in N, masses in kg."""

from math import radians
from typing import Any

from railmodel.frame import Frame
from railmodel.job.mass import FOOT_POUND
from railmodel.loading.carry import DEFER, LEFT_OUT, SCREENING, CaseResult, PartStress, Place, Screening
from railmodel.loading.statics import Reaction
from railmodel.units import to_unit

Answer = dict[str, Any]


def carry_answer(frame: Frame, screening: Screening) -> Answer:
    """The whole screening as plain data."""
    stiffness, shown, unjudged = screening.stiffness, screening.convergence, screening.unjudged
    return {
        "job": frame.job.job,
        "revision": frame.job.revision or "",
        "screening_only": SCREENING,
        "left_out": list(LEFT_OUT),
        "decides": DEFER,
        "units": {"length": frame.unit, "stress": "MPa", "force": "N", "torque": "N m", "mass": "kg"},
        "carried": [{"name": name, "mass": mass} for name, mass in screening.masses],
        "plates": [{"name": name, "count": count, "mass_each": mass} for name, count, mass in screening.plates],
        "plates_not_carried": [
            {"name": plate.name, "count": plate.count, "mass_each": plate.mass, "why": plate.why}
            for plate in screening.left_out
        ],
        "cases": [_case(frame, result) for result in screening.results],
        "worst": {"case": screening.governing.case.name, **_stress(frame, screening.governing.worst)},
        "grade_not_known": None if unjudged is None else {"case": unjudged[0].case.name, **_stress(frame, unjudged[1])},
        "torsional_stiffness": None
        if stiffness is None or screening.between is None
        else {
            "between": list(screening.between),
            "newton_metres_per_degree": stiffness * radians(1),
            "foot_pounds_per_degree": stiffness * radians(1) / FOOT_POUND,
        },
        "convergence": {
            "pieces": shown.pieces,
            "pieces_twice_as_large": shown.coarser,
            "worst_stress_change": shown.stress,
            "movement_change": shown.moved,
            "stiffness_change": shown.stiffness,
        },
        "joined_to_nothing": list(screening.loose),
    }


def _case(frame: Frame, result: CaseResult) -> Answer:
    return {
        "case": result.case.name,
        "says": result.case.says,
        "supports": [_reaction(result, reaction) for reaction in result.reactions],
        "moved": to_unit(result.moved, frame.unit),
        "moved_at": _place(frame, result.moved_at),
        "parts": [_stress(frame, part) for part in result.parts],
        "balance": result.balance,
    }


def _reaction(result: CaseResult, reaction: Reaction) -> Answer:
    return {
        "support": reaction.rest.name, "along": reaction.along, "across": reaction.across, "up": reaction.up,
        "roll": reaction.roll / 1000,
        "held_down": [{"what": what or "all of it", "force": force} for what, force in result.held_down(reaction)],
    }  # fmt: skip


def _stress(frame: Frame, part: PartStress) -> Answer:
    return {
        **_place(frame, part.place), "stress": part.stress, "yield": part.yield_stress, "share_of_yield": part.share,
        "curved_beam_factor": part.curved,
    }  # fmt: skip


def _place(frame: Frame, place: Place) -> Answer:
    return {
        "part": place.label,
        "station": to_unit(place.station, frame.unit),
        "where": [to_unit(value, frame.unit) for value in place.at],
        "bend": place.bend,
        "inside_of_bend": place.inside,
    }
