"""Which pieces are cut from which stick: fewest sticks, then the most useful drop. Lengths in millimetres.

One saw cut a piece, except one that ends flush with the usable end of its stick; `end_trim` comes off every stick
once (its own saw cut is part of it). The order of wishes: fewest sticks bought (what is on the rack is used first),
fewest sticks in all, least money for what is bought (where every kind to buy has a price), least length of sticks
used, and then as much of what is left as possible in one long drop rather than many short ones.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from railmodel.bending.cut_patterns import MISSING, ON_RACK, TO_BUY, Cutting, Pattern
from railmodel.bending.cut_solver import solve
from railmodel.errors import GeometryError
from railmodel.findings import Finding

RULE: Final = "cut plan"
_UNIT: Final = 1_000_000  # nanometres in a millimetre: whole numbers, so that flush is flush


@dataclass(frozen=True, slots=True, kw_only=True)
class Stock:
    """One kind of stick.

    Args:
        length: full length, mm.
        kerf: width of a saw cut, mm, 0 or more.
        end_trim: taken off each stick once, mm, 0 or more.
        count: how many are on the rack; None for as many as are bought.
        price: of one stick, any money.
        keep_drop: a drop this long or longer is worth keeping, mm.
        name: for messages, "20 ft".

    Raises:
        GeometryError: a length that is not positive, or a kerf, trim or count below 0.
    """

    length: float
    kerf: float
    end_trim: float
    count: int | None = None
    price: float | None = None
    keep_drop: float = 0.0
    name: str = ""

    def __post_init__(self) -> None:
        if not 0 < self.length < float("inf"):
            raise GeometryError(f"stock length {self.length:g} is not a length: it must be above 0")
        for what, value in (("kerf", self.kerf), ("end trim", self.end_trim), ("count", self.count or 0)):
            if not 0 <= value < float("inf"):
                raise GeometryError(f"{what} {value:g} of stock {self.label} must be 0 or more")

    @property
    def label(self) -> str:
        """Its name, or its length in millimetres."""
        return self.name or f"{self.length:g} mm"

    @property
    def usable(self) -> float:
        """Length that pieces can come out of, mm."""
        return self.length - self.end_trim


@dataclass(frozen=True, slots=True)
class Piece:
    """One piece to cut.

    Args:
        label: what it is for: part and hand, or "test piece".
        length: mm.

    Raises:
        GeometryError: a length that is not positive.
    """

    label: str
    length: float

    def __post_init__(self) -> None:
        if not 0 < self.length < float("inf"):
            raise GeometryError(f"piece {self.label}: length {self.length:g} is not a length: it must be above 0")


@dataclass(frozen=True, slots=True, kw_only=True)
class Stick:
    """One stick and what is cut from it, longest piece first.

    Args:
        stock: the kind of stick.
        pieces: the pieces in the order they are cut.
        cuts: saw cuts, the end trim's not counted.
        drop: what is left over, mm; 0 where the last piece ends flush.
        missing: the rack does not have this stick; it must be found or bought.
    """

    stock: Stock
    pieces: tuple[Piece, ...]
    cuts: int
    drop: float
    missing: bool = False

    @property
    def bought(self) -> bool:
        """Whether this stick is not on the rack."""
        return self.missing or self.stock.count is None

    @property
    def keep(self) -> bool:
        """Whether the drop is worth keeping."""
        return self.drop > 0 and self.drop >= self.stock.keep_drop


@dataclass(frozen=True, slots=True, kw_only=True)
class CutPlan:
    """Every piece on its stick.

    Args:
        sticks: the sticks to cut.
        bound: no plan that buys as few sticks uses fewer.
        proven: whether no plan buys fewer sticks, and none that buys as few uses fewer.
        drop_proven: whether cost and longest drop are proven best for that number, too.
        left_out: pieces longer than any stick.
        findings: what stops the job.
    """

    sticks: tuple[Stick, ...]
    bound: int
    proven: bool
    drop_proven: bool
    left_out: tuple[Piece, ...] = ()
    findings: tuple[Finding, ...] = ()

    @property
    def count(self) -> int:
        """Sticks used."""
        return len(self.sticks)

    @property
    def bought(self) -> int:
        """Sticks to buy, those missing from the rack among them."""
        return sum(stick.bought for stick in self.sticks)

    @property
    def missing(self) -> int:
        """Sticks the rack lacks."""
        return sum(stick.missing for stick in self.sticks)

    @property
    def longest_drop(self) -> float:
        """Longest piece left over, mm."""
        return max((stick.drop for stick in self.sticks), default=0.0)

    @property
    def price(self) -> float | None:
        """Price of all sticks used, None where one has none."""
        prices = [stick.stock.price for stick in self.sticks]
        return None if None in prices else sum(price for price in prices if price is not None)

    @property
    def says(self) -> str:
        """One sentence for the sheet."""
        if not self.sticks:
            return "Nothing to cut."
        sticks = "1 stick" if self.count == 1 else f"{self.count} sticks"
        rack = self.count - self.bought
        where = f"{rack} from the rack, {self.bought} to buy"
        proof = "no plan needs fewer" if self.proven else f"at least {self.bound} are needed"
        return f"{sticks} ({where}; {proof})."


def plan_cuts(stocks: Sequence[Stock], pieces: Sequence[Piece], *, seconds: float = 8.0) -> CutPlan:
    """Put pieces of one tube on sticks of that tube.

    Pieces longer than every stick are left out with a finding. Where the rack runs out and nothing can be bought the
    plan goes on with sticks of the longest kind, marked as missing, and a finding says how many.

    Args:
        stocks: kinds of stick of this tube.
        pieces: what is to be cut.
        seconds: time it may take; beyond it the best plan so far with the bound that could be proven.
    """
    offered = [stock for stock in stocks if stock.count != 0 and _whole(stock.usable) > 0]
    longest = max((_whole(stock.usable) for stock in offered), default=0)
    fitting = [piece for piece in pieces if _whole(piece.length) <= longest]
    left_out = tuple(piece for piece in pieces if _whole(piece.length) > longest)
    findings = [_too_long(piece, offered) for piece in left_out]
    if not fitting:
        return CutPlan(sticks=(), bound=0, proven=True, drop_proven=True, left_out=left_out, findings=tuple(findings))
    need = max(_whole(piece.length) for piece in fitting)
    if not any(stock.count is None and _whole(stock.usable) >= need for stock in offered):
        spare = max(offered, key=lambda stock: stock.usable)
        offered.append(replace(spare, count=None))
        sources = [*(ON_RACK if stock.count is not None else TO_BUY for stock in offered[:-1]), MISSING]
    else:
        sources = [ON_RACK if stock.count is not None else TO_BUY for stock in offered]
    cutting = _cutting(offered, sources, fitting)
    solved = solve(cutting, seconds)
    waiting: dict[int, list[Piece]] = {}
    for piece in reversed(fitting):
        waiting.setdefault(_whole(piece.length), []).append(piece)
    sticks = tuple(_stick(offered, sources, cutting, pattern, waiting) for pattern in solved.sticks)
    plan = CutPlan(
        sticks=sticks,
        bound=solved.sticks_bound,
        proven=solved.proven,
        drop_proven=solved.drop_proven,
        left_out=left_out,
    )
    if plan.missing:
        findings.append(_not_enough(plan, offered[-1]))
    return replace(plan, findings=tuple(findings))


def _whole(length: float) -> int:
    return round(length * _UNIT)


def _cutting(stocks: Sequence[Stock], sources: Sequence[int], pieces: Sequence[Piece]) -> Cutting:
    lengths = sorted({_whole(piece.length) for piece in pieces}, reverse=True)
    demand = [sum(_whole(piece.length) == length for piece in pieces) for length in lengths]
    priced = all(stock.price is not None for stock in stocks if stock.count is None)
    price = tuple((stock.price or 0.0) if stock.count is None else 0.0 for stock in stocks)
    return Cutting(
        lengths=tuple(lengths),
        demand=tuple(demand),
        usable=tuple(_whole(stock.usable) for stock in stocks),
        kerf=tuple(_whole(stock.kerf) for stock in stocks),
        limit=tuple(stock.count for stock in stocks),
        source=tuple(sources),
        cost=(*((price,) if priced else ()), tuple(stock.length for stock in stocks)),
    )


def _stick(
    stocks: Sequence[Stock],
    sources: Sequence[int],
    cutting: Cutting,
    pattern: Pattern,
    waiting: dict[int, list[Piece]],
) -> Stick:
    kind, counts = pattern
    pieces = tuple(
        waiting[length].pop() for length, count in zip(cutting.lengths, counts, strict=True) for _ in range(count)
    )
    drop = cutting.drop(pattern) / _UNIT
    bare = sum(_whole(piece.length) for piece in pieces) + (len(pieces) - 1) * cutting.kerf[kind]
    flush = bare == cutting.usable[kind]
    return Stick(
        stock=stocks[kind],
        pieces=pieces,
        cuts=len(pieces) - flush,
        drop=drop,
        missing=sources[kind] == MISSING,
    )


def _too_long(piece: Piece, stocks: Sequence[Stock]) -> Finding:
    longest = max(stocks, key=lambda stock: stock.usable, default=None)
    most = 0.0 if longest is None else longest.usable
    against = (
        "there is no stock to cut it from"
        if longest is None
        else f"the longest stick ({longest.label}) gives {most:.1f}"
    )
    return Finding(
        rule=RULE,
        level="stop",
        says=f"{piece.label} is {piece.length:.1f} mm long and {against}; get longer stock, or splice where allowed",
        found=piece.length,
        needs=most,
        unit="length",
    )


def _not_enough(plan: CutPlan, stock: Stock) -> Finding:
    sticks = "1 stick" if plan.missing == 1 else f"{plan.missing} sticks"
    return Finding(
        rule=RULE,
        level="stop",
        says=f"the rack is {sticks} of {stock.label} short of what the job needs; get them before starting",
        found=float(plan.count - plan.missing),
        needs=float(plan.count),
    )
