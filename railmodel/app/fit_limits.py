"""What the shop can bend, for the solver: the largest finished angle at a bend, springback allowed for."""

from math import inf, pi

from railmodel.bending.work import shop_work
from railmodel.fitting.wish_groups import LargestAngle
from railmodel.frame import Frame
from railmodel.part import RailPart

_ROUNDS = 60


def largest_angles(frame: Frame) -> LargestAngle:
    """The largest finished angle (radians) that a die's greatest set angle leaves, bend by bend."""
    tools = {(tool.name, tool.tube, tool.way, tool.radius): tool for tool in shop_work(frame).tools}
    dies = frame.shop.dies if frame.shop is not None else {}

    def largest(part: RailPart, bend: int) -> float:
        name = part.dies[bend] if part.dies else None
        die = dies.get(name or "")
        if die is None or die.max_angle is None:
            return inf
        own = part.read_from("front")
        key = (name, part.tube, own.bends[bend].way, float(part.line.rows.radius[bend]))
        if key not in tools:
            return die.max_angle
        low, high = 0.0, pi
        for _ in range(_ROUNDS):  # what must be set grows with what is wanted
            middle = (low + high) / 2
            low, high = (middle, high) if tools[key].springback.set_angle(middle) <= die.max_angle else (low, middle)
        return low

    return largest
