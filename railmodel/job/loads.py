"""What a frame carries and what holds it up, as a job file says it. Lengths in mm, masses in kg once read."""

from collections.abc import Sequence
from typing import Annotated, Any, Self

from pydantic import BeforeValidator, Field, ValidationInfo, model_validator

from railmodel.job.fields import Length, Model, Name, Position, Size, number, shown, units_of
from railmodel.job.mass import Mass, Torque
from railmodel.units import parse_length

_MOST_G = 10.0
_LEAST = 1.0
"""A load is spread over more than this, mm."""


def _factor(value: Any) -> float:
    if not 0 < (found := number(value)) <= _MOST_G:
        raise ValueError(f"found {shown(value)}; allowed: a number above 0 and at most {_MOST_G:g}")
    return found


def _dynamic(value: Any) -> float:
    if (found := _factor(value)) < 1:
        raise ValueError(f"found {shown(value)}; allowed: 1 or more, the times by which a bump raises the static load")
    return found


def _stations(value: Any, info: ValidationInfo) -> tuple[float, float]:
    if isinstance(value, str) or not isinstance(value, Sequence) or len(value) != 2:
        raise ValueError(f"found {shown(value)}; allowed: two stations [from, to]")
    first, last = (parse_length(item, units_of(info)) for item in value)
    if first >= last:
        raise ValueError("found from not ahead of to; allowed: the smaller station first")
    if last - first <= _LEAST:
        raise ValueError(f"found stations {last - first:g} mm apart; allowed: more than {_LEAST:g} mm apart")
    return first, last


def _names_or_places(value: Any) -> Any:
    """A name, or a place [x, y, z], or a list of either.

    Raises:
        ValueError: neither.
    """
    if isinstance(value, str):
        return [{"name": value}]
    if not isinstance(value, Sequence):
        raise ValueError(f"found {shown(value)}; allowed: a list of fit points, parts, or places [x, y, z]")
    if len(value) == 3 and not any(isinstance(item, list) for item in value) and _place(value):
        value = [value]
    return [{"at": item} if isinstance(item, list | tuple) else {"name": item} for item in value]


def _place(value: Sequence[Any]) -> bool:
    return any(isinstance(item, int | float) for item in value)


class Hold(Model):
    """Something that takes a load: the fit point or part of a name, or a place on a tube.

    Args:
        name: a fit point, or a part or its label; a pair stands for both hands.
        at: (x, y, z), mm; it must lie on a tube or within a bracket's reach of one.
    """

    name: Name | None = None
    at: Position | None = None


Holds = Annotated[tuple[Hold, ...], BeforeValidator(_names_or_places), Field(min_length=1)]


class Support(Model):
    """What holds the frame up across the vehicle: an axle with its springs, or a coupling.

    Args:
        name: what it is.
        at: the fit points it holds the frame at.
        x: station of the wheels, or of the coupling, mm; None = the middle of its fit points.
        track: from wheel to wheel, mm; needed where one wheel is to rise.
        ball: Z of the ball, mm, where it is a coupling that turns freely: it holds no roll and pulls at that height.
    """

    name: Name
    at: Annotated[tuple[Name, ...], Field(min_length=1)]
    x: Length | None = None
    track: Size | None = None
    ball: Length | None = None

    @model_validator(mode="after")
    def _check(self) -> Self:
        if self.ball is not None and self.track is not None:
            raise ValueError("found track and ball together; allowed: track for wheels, or ball for a coupling")
        return self


class SprungMass(Model):
    """One mass that the frame carries.

    Args:
        name: what it is.
        mass: kg.
        at: its centre of mass (x, y, z), mm.
        on: where the frame takes it.
    """

    name: Name
    mass: Mass
    at: Position
    on: Holds


class Payload(Model):
    """A load spread evenly along parts, such as what lies on the bed.

    Args:
        name: what it is.
        mass: kg.
        on: the parts it lies on.
        x: the stations between which it lies, mm.
        height: Z of its centre of mass, mm.
        aside: Y of its centre of mass, mm.
    """

    name: Name = "payload"
    mass: Mass
    on: Annotated[tuple[Name, ...], Field(min_length=1)]
    x: Annotated[tuple[float, float], BeforeValidator(_stations)]
    height: Length
    aside: Length = 0.0


class Cases(Model):
    """The load cases to look at; one left out is not looked at. The static one always is.

    Args:
        dynamic: times the static load, as over a bump.
        braking: g.
        cornering: g, turning left.
        one_wheel_up: the support whose right wheel rises.
        torsion: torque between the first and the last support, N m.
    """

    dynamic: Annotated[float, BeforeValidator(_dynamic)] | None = None
    braking: Annotated[float, BeforeValidator(_factor)] | None = None
    cornering: Annotated[float, BeforeValidator(_factor)] | None = None
    one_wheel_up: Name | None = None
    torsion: Torque | None = None


HIGHEST_BALL = 2000.0
"""How far above the road a coupling's ball may be, mm: far above any (our choice)."""


class Loads(Model):
    """Everything `railmodel carry` needs.

    Args:
        ground: Z of the road, mm; needed for braking and cornering.
        supports: what holds the frame up, from the front to the rear.
        masses: what it carries at points.
        payload: what it carries spread out.
        cases: which cases to look at.
    """

    ground: Length | None = None
    supports: Annotated[tuple[Support, ...], Field(min_length=1)]
    masses: tuple[SprungMass, ...] = ()
    payload: tuple[Payload, ...] = ()
    cases: Cases = Cases()

    @model_validator(mode="after")
    def _check(self) -> Self:
        names = [support.name for support in self.supports]
        for name in names:
            if names.count(name) > 1:
                raise ValueError(f'found two supports named "{name}"; give each its own name')
        wanted = self.cases.one_wheel_up
        if wanted is not None:
            support = next((one for one in self.supports if one.name == wanted), None)
            if support is None:
                raise ValueError(f'found one_wheel_up "{wanted}"; allowed: {", ".join(names)}')
            if support.track is None:
                raise ValueError(f'found one_wheel_up "{wanted}" without its track; give that support a track')
        for case in ("braking", "cornering"):
            if getattr(self.cases, case) is not None and self.ground is None:
                raise ValueError(f"found {case} without ground; give ground, the height (Z) of the road")
        for one in self.supports:
            above = 1.0 if one.ball is None or self.ground is None else one.ball - self.ground
            if not 0 < above <= HIGHEST_BALL:
                found = f'found the ball of "{one.name}" {above:.0f} mm above ground'
                raise ValueError(f"{found}; allowed: above 0 and up to {HIGHEST_BALL:.0f} mm")
        return self
