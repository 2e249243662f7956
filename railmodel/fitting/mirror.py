"""Keys that are equal for keep-clear shapes that are the same solid with the same travel, however they are written."""

from railmodel.fitting.motion import Motion, Turning, Vector
from railmodel.fitting.shapes import Box, Capsule, Cylinder, KeepClear, Sphere

_DIGITS = 9


def shape_key(given: KeepClear) -> object:
    """A key: two shapes with equal keys are the same; a mesh is the same as itself only."""
    shape = given.shape
    if isinstance(shape, Box):
        solid: object = ("box", _rounded(shape.at), _rounded(shape.size), _rounded(shape.turn))
    elif isinstance(shape, Sphere):
        solid = ("sphere", _rounded(shape.at), shape.diameter)
    elif isinstance(shape, Cylinder | Capsule):
        ends = sorted((_rounded(shape.start), _rounded(shape.end)))
        solid = (type(shape).__name__, *ends, shape.diameter)
    else:
        return id(shape)
    return solid, _motion_key(given.motion)


def _motion_key(motion: Motion) -> object:
    free = not motion.ties  # tied travels run together, so that it matters which way each runs
    lift = None if motion.lift is None else (motion.lift.start, motion.lift.end)
    slide = None
    if motion.slide is not None:
        slide = (_rounded(motion.slide.direction), motion.slide.span.start, motion.slide.span.end)
    return _turn_key(motion.turn, free), _turn_key(motion.roll, free), slide, lift, motion.ties


def _turn_key(turning: Turning | None, free: bool) -> object:
    if turning is None:
        return None
    axis, start, end = _rounded(turning.axis), turning.span.start, turning.span.end
    leading = next(one for one in axis if one)
    if free and leading < 0:  # the same turns about the axis looked at from its other end
        axis, start, end = _rounded((-axis[0], -axis[1], -axis[2])), -end, -start
    return _rounded(turning.through), axis, start, end


def _rounded(vector: Vector) -> Vector:
    x, y, z = (round(one, _DIGITS) + 0.0 for one in vector)
    return x, y, z
