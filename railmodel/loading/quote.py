"""What a job costs and what to ask for it: every line a quantity times a rate of the shop's.

Money is rounded to the cent line by line, half away from zero, so that a sheet that multiplies and adds says the same.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import ROUND_HALF_UP, Decimal

from railmodel.bending.plan import JobPlan, plan_job
from railmodel.bending.work import shop_work
from railmodel.errors import InputError
from railmodel.frame import Frame
from railmodel.job.shop import Shop
from railmodel.loading.packing import Crate, pack
from railmodel.loading.rates import Rates, read_rates
from railmodel.plates import Plate, plates

NOT_OURS = (
    "The price is for parts bent to the customer's approved drawing. The shop is not responsible for the design of the "
    "vehicle; whether the frame is strong enough and may be used on the road is for a licensed engineer and the rules "
    "of the place where it will be used."
)
"""What every quote says beside its price."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One line of the cost.

    Args:
        group: "work", "material" or "freight".
        what: in words.
        count: how many there are.
        each: how many of the unit one takes: hours for a bend.
        unit: what the rate is for, "h" or a stick or a crate.
        rate: money for one unit.
        note: what it rests on.
    """

    group: str
    what: str
    count: float
    each: float = 1.0
    unit: str
    rate: float
    note: str = ""

    @property
    def quantity(self) -> float:
        """How many of the unit."""
        return self.count * self.each

    @property
    def amount(self) -> float:
        """Money, to the cent."""
        return cents(self.quantity * self.rate)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Quote:
    """A whole quote; money in the shop's currency.

    Args:
        lines: the cost, line by line; never for the customer.
        rates: the shop's.
        crate: what it ships in.
        made: the day it was made.
    """

    lines: tuple[Line, ...]
    rates: Rates
    crate: Crate
    made: date

    @property
    def cost(self) -> float:
        """Sum of all lines."""
        return cents(sum(line.amount for line in self.lines))

    @property
    def margin(self) -> float:
        """What is put on the cost."""
        return cents(self.cost * self.rates["margin"] / 100)

    @property
    def price(self) -> float:
        """Cost and margin."""
        return cents(self.cost + self.margin)

    @property
    def tax(self) -> float:
        """Tax on the price."""
        return cents(self.price * self.rates["tax"] / 100)

    @property
    def total(self) -> float:
        """What the customer pays."""
        return cents(self.price + self.tax)

    @property
    def sending(self) -> float:
        """The part of the price that is crate and freight, its margin in it."""
        own = sum(line.amount for line in self.lines if line.group == "freight")
        return cents(own * (1 + self.rates["margin"] / 100))

    @property
    def frame(self) -> float:
        """The rest of the price."""
        return cents(self.price - self.sending)

    @property
    def holds_until(self) -> date:
        """The last day it holds."""
        return self.made + timedelta(days=round(self.rates["valid_days"]))


def cents(money: float) -> float:
    """Money to the cent, half away from zero, as spreadsheets round.

    >>> cents(2.675), cents(1.005), cents(-0.125)
    (2.68, 1.01, -0.13)
    """
    exact = Decimal(repr(round(money, 9)))
    return float(exact.quantize(Decimal("0.01"), rounding=ROUND_HALF_UP))


def quote(frame: Frame, made: date) -> Quote:
    """Quote a job.

    Args:
        frame: the job; nothing in it may stop it.
        made: the day the quote is made.

    Raises:
        InputError: no shop, rates or prices that are missing, dies without a time, work that cannot be planned.
    """
    shop, path = frame.shop, frame.source.shop_path
    if shop is None or path is None:
        raise InputError(f"{frame.source.path.name}: shop is missing; a quote needs the shop's rates; add shop:")
    made_plates = [plate for plate in plates(frame) if plate.area > 0]
    problems: list[str] = []
    rates: Rates | None = None
    try:
        rates = read_rates(shop, path.name, plates=bool(made_plates))
    except InputError as error:
        problems += error.problems
    plan = plan_job(frame)
    problems += _unplanned(frame, shop, plan, path.name)
    crate = pack(frame).crate
    if shop.freight is None:
        problems.append(f"{path.name}: freight is missing; it says how the shop packs and what the carrier asks")
    elif crate is None:
        problems.append(f"{frame.source.path.name}: there is nothing to ship; see railmodel check")
    elif crate.row is None:
        problems += [f"{path.name}: freight: {says}" for says in crate.too_much]
    if problems or rates is None or crate is None:
        raise InputError(problems)
    lines = (*_work(frame, rates, plan), *_material(frame, plan), *_plates(rates, made_plates), *_sending(rates, crate))
    return Quote(lines=lines, rates=rates, crate=crate, made=made)


def _unplanned(frame: Frame, shop: Shop, plan: JobPlan, name: str) -> Iterator[str]:
    """What of the work has no price or no time."""
    for label in plan.no_die:
        yield f"{frame.source.path.name}: {label} has a bend on no die of the shop's, so its set-up has no time"
    used = {stage.die for stage in plan.changeovers.stages} if plan.changeovers is not None else set()
    for die in sorted(used):
        if shop.dies[die].change_over is None:
            yield f"{name}: dies {die}: change_over is missing; add the time it takes to fit it"
    for tube in plan.no_stock:
        yield f"{name}: stock: no stick of tube {tube} is listed, so that it has no price; add one"
    for tube, cuts in plan.cuts.items():
        for piece in cuts.left_out:
            yield f"{name}: stock: {piece.label} of tube {tube} is longer than every stick; list a longer one"
        for kind in dict.fromkeys(stick.stock.name for stick in cuts.sticks if stick.stock.price is None):
            yield f"{name}: stock: {kind} has no price; add price"


def _work(frame: Frame, rates: Rates, plan: JobPlan) -> Iterator[Line]:
    hour = rates["hour"]

    def hours(what: str, count: float, each: str, note: str) -> Line:
        return Line(group="work", what=what, count=count, each=rates[each], unit="h", rate=hour, note=note)

    changes = plan.changeovers
    bends = sum(len(marks.bends) for marks in shop_work(frame).mark_outs)
    cuts = sum(stick.cuts for one in plan.cuts.values() for stick in one.sticks)
    sticks = sum(one.count for one in plan.cuts.values())
    yield hours("engineering and layout", 1, "layout_hours", "once a job")
    if changes is not None and changes.stages:
        dies = len({stage.die for stage in changes.stages})
        yield Line(
            group="work", what="set-up", count=changes.minutes / 60, unit="h", rate=hour,
            note=f"{_counted(changes.setups, 'set-up')} in the planned order",
        )  # fmt: skip
        tests = dies * rates["test_bends"]
        note = f"{_counted(round(tests), 'test bend')} on {_counted(dies, 'die set')}"
        yield hours("test bends", tests, "test_bend_hours", note)
    yield hours("bending", bends, "bend_hours", _counted(bends, "bend"))
    note = f"{_counted(cuts, 'cut')} and the squared ends of {_counted(sticks, 'stick')}"
    yield hours("cutting", cuts + sticks, "cut_hours", note)
    yield hours("inspection", len(frame.parts), "inspect_hours", _counted(len(frame.parts), "part"))


def _material(frame: Frame, plan: JobPlan) -> Iterator[Line]:
    """Whole sticks, with what is left of them."""
    for cuts in plan.cuts.values():
        for name in dict.fromkeys(stick.stock.name for stick in cuts.sticks):
            sticks = [stick for stick in cuts.sticks if stick.stock.name == name]
            price = sticks[0].stock.price
            assert price is not None  # looked at before
            drops = ", ".join(frame.say(stick.drop) for stick in sticks)
            yield Line(
                group="material", what=f"tube {name}", count=float(len(sticks)), unit="stick", rate=price,
                note=f"left over: {drops}",
            )  # fmt: skip


def _plates(rates: Rates, made: Sequence[Plate]) -> Iterator[Line]:
    if made:
        mass = sum(plate.mass() * plate.count for plate in made)
        metres = sum(plate.cut_length * plate.count for plate in made) / 1000
        count = sum(plate.count for plate in made)
        yield Line(
            group="material", what="plate", count=round(mass, 3), unit="kg", rate=rates["plate_kg"],
            note=_counted(count, "plate"),
        )  # fmt: skip
        yield Line(
            group="material", what="plate cutting", count=round(metres, 3), unit="m", rate=rates["plate_cut_metre"]
        )


def _sending(rates: Rates, crate: Crate) -> Iterator[Line]:
    assert crate.row is not None  # looked at before
    hour = rates["hour"]
    yield Line(group="freight", what="packing", count=1.0, each=rates["crate_hours"], unit="h", rate=hour)
    yield Line(group="freight", what="crate", count=1.0, unit="crate", rate=rates["crate_material"])
    yield Line(
        group="freight", what="freight", count=1.0, unit="crate", rate=crate.row.price,
        note="; ".join([f"class {crate.row.name}, {crate.mass:.0f} kg", *crate.too_much]),
    )  # fmt: skip


def _counted(count: int, what: str) -> str:
    return f"{count} {what}{'' if count == 1 else 's'}"
