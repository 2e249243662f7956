"""How the cut ends of crossmembers lie on their rails: bends that begin within their width, gaps, what hangs over."""

from collections.abc import Iterator

import numpy as np

from railmodel.end_cuts import to_cut
from railmodel.findings import Finding, Level
from railmodel.frame import Frame
from railmodel.geometry.outline import around
from railmodel.part import EndCut, RailPart

RULE = "crossmember"

SHOWN = 0.05
"""Less than this (mm) nobody can see."""

_PLACES = 400


def crossmember_ends(frame: Frame) -> Iterator[Finding]:
    """Ends of crossmembers that run into their rail, stand off it, or reach past it."""
    rails = {part.label: part for part in frame.parts}
    for part in frame.parts:
        for end, cut in zip(("front", "rear"), part.cuts or (), strict=False):
            yield from _end(frame, part, end, cut, rails[cut.rail])


def _end(frame: Frame, part: RailPart, end: str, cut: EndCut, rail: RailPart) -> Iterator[Finding]:
    start = part.line.start
    spots = around(part.section, np.linspace(0.0, part.section.girth, _PLACES, endpoint=False))
    base = start.at + spots @ np.array([start.s, start.u])
    rim = base + to_cut(cut, base, start.t)[:, None] * start.t
    station, _ = rail.line.closest(rim)
    pose = rail.line.pose_at(station)
    along, across, up = (np.sum((rim - pose.at) * way, axis=1) for way in (pose.t, pose.s, pose.u))
    size = rail.section
    off = (np.hypot(across, up) if size.round else np.abs(across)) - size.width / 2
    over, past, above = (float(value) for value in (-off.min(), np.abs(along).max(), np.abs(up).max()))
    who, name = f"{part.label}: its {end} end", rail.label

    def said(level: Level, says: str, found: float) -> Finding:
        x, y, z = (float(value) for value in cut.at)
        return Finding(
            rule=RULE, level=level, says=f"{who} {says}", part=part.name, hand=part.hand, where=(x, y, z),
            found=found, needs=0.0, unit="length",
        )  # fmt: skip

    if over > SHOWN:
        says = f"runs {frame.say(over)} into {name}, which bends within the tube's width; move it off the bend's ends"
        yield said("warn", says, over)
    elif cut.kind == "coped" and off.max() > SHOWN:
        says = (
            f"stands off {name} by up to {frame.say(float(off.max()))}, for the rail bends within the tube's width; "
            "move it off the bend's ends"
        )
        yield said("warn", says, float(off.max()))
    elif cut.gap > SHOWN:
        yield said("note", f"is cut {cut.kind} and leaves a gap of up to {frame.say(cut.gap)} to {name}", cut.gap)
    if past > SHOWN:
        yield said("warn", f"reaches {frame.say(past)} past the end of {name}; move it onto the rail", past)
    half, corner = size.height / 2, size.corner
    if size.round:
        return
    if above > half + SHOWN:
        yield said("note", f"stands {frame.say(above - half)} past the top or bottom face of {name}", above - half)
    elif (left := _rounding(above - half + corner, corner)) > SHOWN:
        says = f"reaches into the rounding of {name}, which leaves a gap of up to {frame.say(left)} there"
        yield said("note", says, left)


def _rounding(into: float, corner: float) -> float:
    """How far a rounded corner falls away, `into` (mm) past where it begins."""
    return 0.0 if into <= 0 else corner - float(np.sqrt(max(corner**2 - into**2, 0.0)))
