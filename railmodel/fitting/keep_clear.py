"""The job's keep-clear shapes with their travel, as the clearance search takes them. mm, radians."""

from math import hypot

from railmodel.errors import GeometryError
from railmodel.fitting.motion import STILL, Motion, Sliding, Span, Turning, Variable, Vector
from railmodel.fitting.shapes import Box, Capsule, Cylinder, KeepClear, Shape, Sphere
from railmodel.job import fit as written
from railmodel.job.reader import JobFile

TRAVELS: dict[str, Variable] = {"turns": "turn", "roll": "roll", "slide": "slide", "up": "lift"}
"""What the job file calls a travel, and what the search does."""


def shapes_of(source: JobFile) -> list[tuple[KeepClear, float]]:
    """Every keep-clear shape of a job with the gap it wants, mirrored ones under a name of their own.

    Raises:
        InputError: a mesh file that cannot be used.
        GeometryError: a shape or a travel that makes no sense, named.
    """
    found = []
    for given in source.job.keep_clear:
        try:
            shape = _shape(given.shape, source)
            own = source.job.motions[given.motion] if given.motion is not None else given.own_motion()
            motion = STILL if own is None else _motion(own, _middle(shape), given.motion or "")
        except GeometryError as error:
            raise GeometryError(f"{given.name}: {error}") from None
        clear = KeepClear(name=given.name, shape=shape, motion=motion)
        found.append((clear, given.gap))
        if given.mirror:
            found.append((clear.mirrored(f"{given.name} (other side)"), given.gap))
    return found


def _shape(given: written.Shape, source: JobFile) -> Shape:
    if given.box is not None:
        return Box(at=given.box.at, size=given.box.size, turn=given.box.turn)
    if given.sphere is not None:
        return Sphere(at=given.sphere.at, diameter=given.sphere.diameter)
    if given.cylinder is not None:
        one = given.cylinder
        return Cylinder(start=one.start, end=one.end, diameter=one.diameter)
    if given.capsule is not None:
        one = given.capsule
        return Capsule(start=one.start, end=one.end, diameter=one.diameter)
    from railmodel.fitting.mesh_files import load_mesh

    assert given.mesh is not None
    assert given.units is not None
    mesh = load_mesh(source.resolve(given.mesh), given.units)
    place = given.place or written.Place()
    return mesh.placed(place.at, place.turn)


def _middle(shape: Shape) -> Vector:
    """The centre of a shape: what it turns about where the job names no place."""
    if isinstance(shape, Box | Sphere):
        return shape.at
    if isinstance(shape, Cylinder | Capsule):
        (a, b, c), (d, e, f) = shape.start, shape.end
        return (a + d) / 2, (b + e) / 2, (c + f) / 2
    low, high = shape.extent  # type: ignore[attr-defined]
    x, y, z = (low + high) / 2
    return float(x), float(y), float(z)


def _motion(given: written.Motion, middle: Vector, name: str) -> Motion:
    lift = Span(-given.down, given.up) if hypot(given.up, given.down) > 0 else None
    return Motion(
        turn=_turning(given.turns, middle),
        roll=_turning(given.rolls, middle),
        slide=None if given.slide is None else Sliding(given.slide.along, Span(given.slide.start, given.slide.end)),
        lift=lift,
        ties=tuple((TRAVELS[one], TRAVELS[other]) for one, other in given.tied_to.items()),
        name=name,
    )


def _turning(given: written.Swing | None, middle: Vector) -> Turning | None:
    if given is None:
        return None
    return Turning(given.about.at or middle, given.about.axis, Span(given.start, given.end))
