"""Places where a top face must look straight up: brackets and crossmembers stand there without a wedge. mm, radians."""

from collections.abc import Iterator
from dataclasses import dataclass
from math import degrees, sin

from railmodel.crossmembers import NoMeeting, crossing
from railmodel.findings import Finding
from railmodel.frame import Frame
from railmodel.geometry.centreline import Stretch
from railmodel.geometry.roll import plumb
from railmodel.job.free import Plumb
from railmodel.part import RailPart
from railmodel.tolerances import ANGLE


@dataclass(frozen=True, slots=True, kw_only=True)
class Level:
    """One plumb place on one part.

    Args:
        place: as written.
        name: what it is called.
        part: the part and hand it was measured on.
        station: length along the part from its front end, mm.
        at: (x, y, z) of the centreline there, mm.
        roll: of the top face from plumb; None where the tube stands upright.
    """

    place: Plumb
    name: str
    part: RailPart
    station: float
    at: tuple[float, float, float]
    roll: float | None

    @property
    def ok(self) -> bool:
        """Whether the top face is level enough."""
        return self.roll is not None and abs(self.roll) <= self.place.within + ANGLE


def plumb_findings(frame: Frame) -> Iterator[Finding]:
    """Places that a part does not reach, or where its top face is rolled too far."""
    for place in frame.job.plumb:
        for part in (part for part in frame.parts if part.name == place.part):
            try:
                level = level_at(frame, place, part)
            except NoMeeting as error:
                says = f"{place_name(frame, place)}: {error}; correct its x"
                yield Finding(rule="plumb", level="stop", says=says, part=part.name, hand=part.hand)
                continue
            if not level.ok:
                yield _finding(frame, level)


def level_at(frame: Frame, place: Plumb, part: RailPart) -> Level:
    """The roll of a part's top face at a plumb place.

    Raises:
        NoMeeting: the part does not pass that station.
    """
    station, at = crossing(part, place.x, frame.say)
    pose = part.line.pose_at(station)
    here = Stretch("straight", 0, station, 0.0, type(pose)(pose.at[0], pose.t[0], pose.s[0], pose.u[0]))
    return Level(
        place=place, name=place_name(frame, place), part=part, station=station,
        at=(float(at[0]), float(at[1]), float(at[2])), roll=plumb(here),
    )  # fmt: skip


def place_name(frame: Frame, place: Plumb) -> str:
    """What a plumb place is called."""
    return place.name or f"{place.part} at X {frame.say(place.x)}"


def _finding(frame: Frame, level: Level) -> Finding:
    part, allowed = level.part, degrees(level.place.within)
    if level.roll is None:
        says = f"{level.name}: {part.label} stands upright there, so that its top face cannot be level; move the place"
    else:
        drop = part.section.width * abs(sin(level.roll))
        says = (
            f"{level.name}: the top face of {part.label} is rolled {degrees(level.roll):+.2f} degrees there "
            f"({frame.say(drop)} across its width) and {allowed:g} is allowed; finish the bends of one plane before "
            "starting the other, let railmodel fit move them, or plan a wedge"
        )
    return Finding(
        rule="plumb", level="stop", says=says, part=part.name, hand=part.hand, where=level.at, found=level.roll,
        needs=0.0, unit="angle",
    )  # fmt: skip
