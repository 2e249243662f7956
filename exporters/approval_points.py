"""What is pointed at in the pictures of an approval page: bends, fit points, joints and findings. mm."""

from collections.abc import Mapping
from typing import Any

import numpy as np

from exporters.page_views import Badge
from railmodel.frame import Frame
from railmodel.part import RailPart
from railmodel.units import from_unit

LETTERS = "ABCDEGHKLMNPQRSTUVWXYZ"
"""Letters for parts: without F and J, which stand for fit points and joints, and without I and O."""

Spot = tuple[float, float, float]


def letters(frame: Frame) -> dict[str, str]:
    """A letter or two for every part name, in the order of the job; both hands share them."""
    found: dict[str, str] = {}
    for part in frame.parts:
        if part.name not in found:
            count, last = divmod(len(found), len(LETTERS))
            found[part.name] = (LETTERS[count - 1] if count else "") + LETTERS[last]
    return found


def bend_spots(part: RailPart, letter: str) -> list[tuple[str, Spot, str]]:
    """Badge, place and words of every bend, on the outside of its middle; a part without bends: of itself."""
    line = part.read.line
    if not line.bends:
        middle = line.pose_at(line.length / 2).at[0]
        return [(letter, _spot(middle), part.label)]
    found = []
    for bend, stretch in zip(part.read.bends, line.bends, strict=True):
        middle = stretch.pose(stretch.length / 2).at
        out = (middle - stretch.centre) / stretch.radius
        place = middle + out * part.depth_toward(bend.toward) / 2
        turn = f"{np.degrees(stretch.angle):.2f} degrees toward {bend.toward}"
        found.append((f"{letter}{bend.number}", _spot(place), f"{part.label}, bend {bend.number}: {turn}"))
    return found


def fit_spots(frame: Frame) -> list[tuple[str, Spot, str]]:
    """Badge, place and name of every fit point, for both hands where it stands for both."""
    pairs = {part.name for part in frame.job.parts if part.hand == "pair"}
    found = []
    for i, point in enumerate(frame.job.fit_points, start=1):
        x, y, z = point.at
        if point.to.part not in pairs or point.hand == "right":
            found.append((f"F{i}", (x, y, z), point.name))
            continue
        if point.hand is None:
            found.append((f"F{i}", (x, y, z), f"{point.name}, right"))
        found.append((f"F{i}", (x, -y + 0.0, z) if point.hand is None else (x, y, z), f"{point.name}, left"))
    return found


def joint_spots(frame: Frame) -> list[tuple[str, Spot, str]]:
    """Badge, place and words of every joint."""
    found = []
    for i, joint in enumerate(frame.job.joints, start=1):
        first = joint.between[0]
        for part in frame.parts:
            if part.name == first.part and first.hand in (None, part.hand):
                end = part.line.start if first.end == "front" else part.line.end
                found.append((f"J{i}", _spot(end.at), f"joint at the {first.end} end of {part.label}"))
    return found


def badges(frame: Frame, named: Mapping[str, str]) -> list[Badge]:
    """Badges for the pictures, the ones that matter most first."""
    bends = [spot for part in frame.parts for spot in bend_spots(part, named[part.name])]
    return [
        Badge(text, at, kind)
        for kind, spots in (("fit", fit_spots(frame)), ("bend", bends), ("joint", joint_spots(frame)))
        for text, at, _ in spots
    ]


def points(frame: Frame, answer: Mapping[str, Any], named: Mapping[str, str]) -> list[dict[str, Any]]:
    """Points of interest for the 3D view."""
    bends = [spot for part in frame.parts for spot in bend_spots(part, named[part.name])]
    return [
        {"badge": text, "at": [round(value, 2) for value in at], "words": words, "kind": kind}
        for kind, spots in (("fit", fit_spots(frame)), ("joint", joint_spots(frame)), ("bend", bends))
        for text, at, words in spots
    ]


def states(frame: Frame, answer: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Findings that can be pointed at, for the 3D view; notes are left to the page."""
    found = []
    for finding in answer["findings"]:
        if finding["level"] == "note":
            continue
        whose = next((p.label for p in frame.parts if (p.name, p.hand) == (finding["part"], finding["hand"])), None)
        at = finding["where"] and [round(from_unit(value, frame.unit), 2) for value in finding["where"]]
        word = "Stop" if finding["level"] == "stop" else "Look"
        says = f"{word}: {finding['says']}"
        found.append({"part": whose, "level": finding["level"], "badge": word, "at": at, "words": says})
    return found


def _spot(at: "np.ndarray[Any, Any]") -> Spot:
    return float(at[0]), float(at[1]), float(at[2])
