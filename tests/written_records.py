"""Records as a shop would write them down: the demo's rails as planned, read with a little noise."""

from copy import deepcopy
from functools import cache
from typing import Any

import numpy as np
from commands import HAULER

from railmodel.as_bent.measured import measured
from railmodel.as_bent.piece import Piece, piece_of
from railmodel.as_bent.prior import rail_of
from railmodel.as_bent.rail import Readings
from railmodel.as_bent.record import Record
from railmodel.frame import Frame, build_frame
from railmodel.job.reader import job_from, read_job
from railmodel.units import to_unit

THINGS: dict[str, Any] = {
    "part": "side rail",
    "hand": "right",
    "angles": [{"bend": i, "reads": 1} for i in (1, 2, 3, 4)],
    "legs": [{"straight": i, "reads": 1} for i in (0, 1, 2, 3)],
    "distances": [
        {"from": "front end", "to": "rear end", "reads": 1},
        {"from": "front end, top", "to": "end of bend 2, top", "reads": 1},
        {"from": "end of bend 2, top", "to": "rear end, top", "reads": 1},
    ],
}


@cache
def hauler(turned: bool = False) -> Frame:
    """The demo; where `turned`, its rails step aside as well as up, so that they have a hand."""
    if not turned:
        return build_frame(read_job(HAULER))
    text = HAULER.read_text().replace("- [132, 15, 25]", "- {at: [124, 15, 25], die: easy 5}\n      - [160, 22, 25]")
    text = text.split("\ncrossmembers:")[0]
    return build_frame(job_from(text.encode(), HAULER))


def read_well(frame: Frame, things: dict[str, Any] = THINGS, seed: int = 1) -> dict[str, Any]:
    """Those things as they read on a piece as planned, with a little noise."""
    data = deepcopy(things)
    record = Record.model_validate(data, context={"units": "in"})
    part = next(one for one in frame.parts if one.label == f"{record.part} {record.hand}")
    taken = measured(record, part.read, {}, {})
    readings = Readings.of(rail_of(frame, part, "marks fixed")[0], taken)
    values = readings.look(np.zeros(readings.unknowns))[0]
    values = values + 0.3 * readings.sigmas * np.random.default_rng(seed).normal(size=len(values))
    shown = [
        round(float(np.degrees(value)), 2) if one.unit == "angle" else round(to_unit(float(value), "in"), 3)
        for one, value in zip(taken, values, strict=True)
    ]
    entries = [entry for section in ("legs", "angles", "turns", "distances") for entry in data.get(section, [])]
    for entry, value in zip(entries, shown, strict=True):
        entry["reads"] = value
    return data


def piece(frame: Frame, data: dict[str, Any], **more: Any) -> Piece:
    record = Record.model_validate(data, context={"units": data.get("units", "in")})
    return piece_of(frame, record, {}, "rail.yaml", **more)


def handed() -> dict[str, Any]:
    things = deepcopy(THINGS)
    things["angles"].append({"bend": 5, "reads": 1})
    things["turns"] = [{"bend": i, "reads": 1} for i in (2, 3, 4, 5)]
    return things
