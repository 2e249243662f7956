"""The vehicle's tree for the customer's CAD: rails, crossmembers and plates; keep-clear shapes on request."""

from collections.abc import Sequence

from exporters.bodies import Body, Branch, plate_bodies, shape_bodies
from exporters.shape_solids import Simple
from exporters.step import Model, assembly
from railmodel.errors import GeometryError, InputError
from railmodel.fitting.keep_clear import shapes_of
from railmodel.fitting.shapes import KeepClear
from railmodel.frame import Frame
from railmodel.plates import plates


def vehicle(frame: Frame, parts: Sequence[Body], *, keep_clear: bool) -> Model:
    """The assembly of a job, in the job's unit.

    Args:
        frame: the job.
        parts: every part that makes a solid.
        keep_clear: whether the shapes it must clear are in it, on a branch of their own beside the frame's.

    Raises:
        InputError: there is no room to write it.
    """
    inside = (*parts, *plate_bodies(plates(frame)))
    children: Sequence[Body | Branch] = inside
    if keep_clear and (shapes := shape_bodies(_shapes(frame)[0])):
        children = [Branch("frame", inside), Branch("keep clear", shapes)]
    return assembly(children, title=frame.job.job, unit=frame.unit)


def left_out(frame: Frame, *, keep_clear: bool) -> list[str]:
    """What is not in the assembly and why, a few words each."""
    words = [
        f"{plate.name} ({'stopped by the check' if plate.stops else 'no place given'})"
        for plate in plates(frame)
        if plate.stops or not plate.places
    ]
    if keep_clear:
        shapes, trouble = _shapes(frame)
        words += [f"{one.name} (a mesh)" for one in shapes if not isinstance(one.shape, Simple)]
        words += [f"keep-clear shapes ({trouble})"] if trouble else []
    return words


def _shapes(frame: Frame) -> tuple[list[KeepClear], str]:
    """The keep-clear shapes, or none and what is wrong with them; the check says so too, and stops."""
    try:
        return [shape for shape, _ in shapes_of(frame.source)], ""
    except (GeometryError, InputError) as error:
        return [], str(error)
