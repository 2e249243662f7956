"""The job file: one vehicle or trailer."""

from typing import Annotated, Any

from pydantic import BeforeValidator, Field

from railmodel.job.crossmember import Crossmember
from railmodel.job.fields import FilePath, Model, Name, Text, UnitName, shown
from railmodel.job.fit import FitPoint, Joint, KeepClear, Motion
from railmodel.job.free import Plumb
from railmodel.job.loads import Loads
from railmodel.job.parts import Part, Tube
from railmodel.job.plate import Nesting, Plate, Templates


def _angle_step(value: Any) -> float:
    if isinstance(value, bool) or value not in (1, 0.5):
        raise ValueError(f"found {shown(value)}; allowed: 1, 0.5 (whole or half degrees)")
    return float(value)


class Job(Model):
    """A whole job; lengths in mm and angles in radians, whatever `units` the file was written in.

    Args:
        job: its name.
        revision: as written ("1.10" stays "1.10").
        customer: free text, like `address` and `note`.
        units: of bare numbers in the file, and of everything shown to its reader.
        datum: where the origin is, in words.
        tolerances: what the customer's drawing says of them, in words, such as a standard and its class.
        shop: path of the shop file as written.
        tubes: by name.
        parts: in the order written.
        crossmembers: straight tubes from rail to rail.
        plates: flat plates and gussets.
        templates: bend-check templates; None = none are made.
        nesting: plates laid out together on sheets; None = each in a file of its own only.
        joints: part ends that must meet.
        fit_points: where the vehicle holds on.
        motions: by name, shared by the shapes that name them.
        keep_clear: shapes the rails must not touch.
        plumb: places where a top face must not be rolled.
        loads: what the frame carries and what holds it up; None = nothing is said.
        angles_to: the step on which the solver lands free angles, degrees.
    """

    job: Name
    revision: Name | None = None
    customer: Text | None = None
    address: Text | None = None
    note: Text | None = None
    units: UnitName
    datum: Text | None = None
    tolerances: Text | None = None
    shop: FilePath | None = None
    tubes: Annotated[dict[Name, Tube], Field(min_length=1)]
    parts: Annotated[tuple[Part, ...], Field(min_length=1)]
    crossmembers: tuple[Crossmember, ...] = ()
    plates: tuple[Plate, ...] = ()
    templates: Templates | None = None
    nesting: Nesting | None = None
    joints: tuple[Joint, ...] = ()
    fit_points: tuple[FitPoint, ...] = ()
    motions: dict[Name, Motion] = Field(default_factory=dict)
    keep_clear: tuple[KeepClear, ...] = ()
    plumb: tuple[Plumb, ...] = ()
    loads: Loads | None = None
    angles_to: Annotated[float, BeforeValidator(_angle_step)] | None = None
