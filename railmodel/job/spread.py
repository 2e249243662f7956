"""How far off a shop's bends come out, where it says so itself in its file. mm and radians once read."""

from railmodel.job.fields import Distance, Limit, Model


class SpreadGiven(Model):
    """Standard deviations: two pieces in three come out within one, nineteen in twenty within two.

    Args:
        angle: of a bend about what was asked for, radians; used where no test bends tell it.
        distance: of a mark, and of the cut length, mm.
        rotation: of the turn from one bend to the next, where the shop turns the tube from bend to bend, radians.
        roll: of a bend on the tube itself, where each bend is set on the tube's own faces, radians.
        radius: of a centreline radius, mm.
    """

    angle: Limit | None = None
    distance: Distance | None = None
    rotation: Limit | None = None
    roll: Limit | None = None
    radius: Distance | None = None
