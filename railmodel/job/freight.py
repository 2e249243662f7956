"""How a shop packs and ships, as its file says it. Lengths in mm, masses in kg once read."""

from typing import Annotated, Any, Self

from pydantic import BeforeValidator, Field, model_validator

from railmodel.job.fields import Distance, Model, Name, Size, number, shown
from railmodel.job.mass import Mass

MOST_MONEY = 1e9
"""No price or rate is larger than this, in any currency."""


def _money(value: Any) -> float:
    if not 0 <= (found := number(value)) <= MOST_MONEY:
        raise ValueError(f"found {shown(value)}; allowed: a price from 0 to {MOST_MONEY:.0f}")
    return found


def _percent(value: Any) -> float:
    if not 0 <= (found := number(value)) <= 100:
        raise ValueError(f"found {shown(value)}; allowed: per cent from 0 to 100")
    return found / 100


Money = Annotated[float, BeforeValidator(_money)]
"""0 or more, in the shop's currency."""

Percent = Annotated[float, BeforeValidator(_percent)]
"""A share; written in per cent."""


class Pallet(Model):
    """The largest crate that the shop packs.

    Args:
        length: mm.
        width: mm.
        height: mm.
        weight: most that it may weigh packed, kg.
    """

    length: Size
    width: Size
    height: Size
    weight: Mass


class FreightRow(Model):
    """One class of the carrier's table.

    Args:
        name: what the carrier calls it.
        length: longest crate of the class, mm.
        weight: heaviest, kg.
        price: of sending one.
    """

    name: Name
    length: Size
    weight: Mass
    price: Money


class Freight(Model):
    """Packing and freight.

    Args:
        clearance: timber and wrapping round the steel on every side, mm.
        between: padding between two parts, mm.
        dunnage: weight of timber, straps and wrapping as a share of the steel's (written in per cent).
        pallet: the largest crate that the shop packs; None = no limit is known.
        rows: the carrier's classes.
    """

    clearance: Distance
    between: Distance = 0.0
    dunnage: Percent
    pallet: Pallet | None = None
    rows: Annotated[tuple[FreightRow, ...], Field(min_length=1)]

    @model_validator(mode="after")
    def _check(self) -> Self:
        names = [row.name for row in self.rows]
        for name in names:
            if names.count(name) > 1:
                raise ValueError(f'found two rows named "{name}"; give each its own name')
        return self
