"""Set angles in words, with the digits that the controller takes."""

from math import degrees

from railmodel.frame import Frame


def set_places(frame: Frame) -> int:
    """Digits behind the point that show a set angle whole: those of the controller's step, one at the least."""
    step = degrees(frame.shop.bender.set_angle_step) if frame.shop is not None else 0.1
    return next((places for places in (1, 2, 3) if step and abs(round(step, places) - step) < 1e-9), 2)


def set_angle(frame: Frame, angle: float) -> str:
    """A set angle (radians) in degrees, as the controller takes it."""
    return f"{degrees(angle):.{set_places(frame)}f}"
