"""The few things to measure that tell the most about a bent part, for the inspection record."""

from math import degrees

from exporters.sheets.typeset import Data
from exporters.sheets.words import finished_angle, plain
from railmodel.as_bent.choose import candidates, choose
from railmodel.as_bent.deviations import targets
from railmodel.as_bent.measured import TWENTIETH
from railmodel.as_bent.prior import rail_of
from railmodel.errors import InputError
from railmodel.frame import Frame
from railmodel.part import RailPart
from railmodel.units import format_decimal


def measure_first(frame: Frame, part: RailPart) -> list[Data]:
    """Rows of what to measure, the most telling first; none for a part without bends, or one that makes no solid."""
    if not part.line.rows.count:
        return []
    try:
        rail, _ = rail_of(frame, part, "marks fixed")
    except InputError:
        return []
    spots = [one.spot for one in targets(frame, part, {})]
    rows = []
    for one in choose(rail, candidates(rail), spots=spots).measures:
        angular, sure = one.unit == "angle", TWENTIETH * one.sigma
        rows.append(
            {
                "what": one.name.removesuffix(" between tangents"),
                "nominal": f"{finished_angle(one.value)}°" if angular else plain(frame, one.value),
                "sure": f"{degrees(sure):.1f}°" if angular else format_decimal(sure, frame.unit),
            }
        )
    return rows
