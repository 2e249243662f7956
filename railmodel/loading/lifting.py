"""Cautions of lifting: what one person should not lift alone."""

from collections.abc import Iterator

from railmodel.job.mass import POUND
from railmodel.loading.packing import Crate
from railmodel.loading.weigh import Weight

ALONE = 23.0
"""More than this (kg) is no lift for one person: the load constant of the revised NIOSH lifting equation, for a lift
close to the body under the best conditions (DHHS (NIOSH) publication 94-110; from memory)."""


def _say(mass: float) -> str:
    return f"{mass:.0f} kg ({mass / POUND:.0f} lb)"


def lifting(weight: Weight, crate: Crate | None) -> Iterator[str]:
    """The cautions that belong to lifting a frame's pieces and its crate, a sentence each; none where all is light."""
    heavy = [piece.label for piece in weight.pieces if piece.mass > ALONE]
    heavy += [name for name, _, mass in weight.apart if mass > ALONE]
    heavy = list(dict.fromkeys(heavy))
    if heavy:
        yield (
            f"Two people or a hoist: {', '.join(heavy)} {'is' if len(heavy) == 1 else 'are'} above "
            f"{_say(ALONE)}, the most that one person should lift even close to the body."
        )
    lifted = max(weight.mass, 0.0 if crate is None else crate.mass)
    if lifted > ALONE:
        yield (
            f"Sling on both sides of the centre of mass, with slings and hoist rated for more than {_say(lifted)}; "
            "nobody under what hangs. The shop's training and local rules come before this."
        )
