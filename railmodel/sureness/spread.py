"""Where the shop's spread comes from, and what it moves: independent causes, each with its effect on the bend tables.

Test bends tell how single bends scatter about the springback line, and how well the line itself is known. The scatter
is each bend's own. What is not known of the line is the same for every bend of that die, and for both hands of a pair,
which are bent to one set of angles: it is drawn once for all of them. A shop that calibrates anew for each hand has it
drawn for each hand apart. Standard deviations found from few test bends are not known well either: they are drawn too,
so that a bend follows Student's t (W. S. Gosset, Biometrika 6, 1908; the predictive distribution of normal samples).
The measuring gauge's own scatter is in the test bends' and stays in. mm, radians.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import degrees, inf, sqrt
from typing import Final, Literal

import numpy as np

from railmodel.bending.work import ToolKey, ToolUse
from railmodel.errors import InputError
from railmodel.frame import Frame
from railmodel.geometry.rows import Array
from railmodel.sureness.screws import Field, Working
from railmodel.sureness.sensitivity import Bent, tool_key, tools_of

Hands = Literal["together", "apart"]
"""Whether both hands of a pair are bent to one springback line, or each to one of its own."""

SET_BY_SHOP: Final[tuple[Field, ...]] = ("angle", "distance", "rotation", "roll", "radius")

WORDS: Final[dict[Field, str]] = {
    "distance": "mark", "rotation": "rotation", "angle": "angle", "radius": "radius", "roll": "roll",
    "tube use": "tube use",
}  # fmt: skip
"""What a builder calls a field of a bend."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sigma:
    """A standard deviation.

    Args:
        value: mm or radians.
        dof: how many degrees of freedom it was found with, above 2; infinite when it is given.
        source: what it rests on.

    Raises:
        ValueError: 2 degrees of freedom or fewer, from which no spread can be told.
    """

    value: float
    dof: float = inf
    source: str

    def __post_init__(self) -> None:
        if not self.dof > 2:
            raise ValueError(f"{self.dof} degrees of freedom tell no spread; more than 2 are needed")

    @property
    def predictive(self) -> float:
        """Standard deviation of one new piece, with what is not known of `value` in it."""
        return self.value if self.dof == inf else self.value * sqrt(self.dof / (self.dof - 2))


@dataclass(frozen=True, slots=True, kw_only=True)
class Cause:
    """Something that goes wrong by itself.

    Args:
        owner: what it belongs to: "bend 3", "cut length", or "springback of die hard 7".
        label: the part it is on; None for what is common to several.
        bend: number of the bend from the leading end; None where it is not one bend's.
        field: which value of the bend table it moves.
        sigma: how far it goes, one standard deviation.
        pool: causes of one pool were found from the same measurements.
        hits: by label of a part, which columns of its bend table it moves, and by how much for one `sigma.value`'s
            unit.
    """

    owner: str
    label: str | None
    bend: int | None
    field: Field
    sigma: Sigma
    pool: str
    hits: Mapping[str, tuple[tuple[int, float], ...]]

    @property
    def common(self) -> bool:
        """Whether it moves several bends at once."""
        return self.bend is None and self.label is None


@dataclass(frozen=True, kw_only=True, eq=False)
class Spread:
    """Everything that goes wrong in a shop, on the parts of a job.

    Args:
        causes: independent of each other but for the scale that those of one pool share.
        sources: where it is known from, a sentence each.
        unknown: what nobody knows of and is counted as none, so that chances come out too good.
    """

    causes: tuple[Cause, ...]
    sources: tuple[str, ...]
    unknown: tuple[str, ...] = ()


def spread_of(
    frame: Frame,
    bent: Mapping[str, Bent],
    working: Working,
    *,
    hands: Hands = "together",
    recorded: Mapping[Field, Sigma] | None = None,
) -> Spread:
    """The shop's spread on the parts of a job.

    Args:
        frame: the job.
        bent: its bent parts.
        working: how the shop works; tube use matters only to marks that are fixed.
        hands: whether both hands of a pair are bent to one springback line.
        recorded: what inspection records tell of a field; goes before the shop file.

    Raises:
        InputError: nothing is known at all.
    """
    tools = tools_of(frame)
    given = {field: sigma for field in SET_BY_SHOP if (sigma := _given(frame, field)) is not None}
    given |= dict(recorded or {})
    causes = [cause for one in bent.values() for cause in _own(one, tools, given, working)]
    causes += _common(bent, tools, hands, working)
    if not any(cause.sigma.value > 0 for cause in causes):
        raise InputError(_nothing(frame))
    unknown = tuple(_unknown(frame, bent, given))
    return Spread(causes=tuple(causes), sources=tuple(_sources(frame, bent, given, working)), unknown=unknown)


def _given(frame: Frame, field: Field) -> Sigma | None:
    spread = frame.shop.spread if frame.shop is not None else None
    value = None if spread is None else getattr(spread, field)
    return None if value is None else Sigma(value=value, source="the shop's own setting, not measured")


def _tested(tool: ToolUse) -> Sigma | None:
    """Scatter of finished angles about the springback line, where test bends tell."""
    found = tool.springback
    if found.kind not in ("fit", "one angle"):
        return None
    return Sigma(value=found.scatter / (1 + found.proportional), dof=found.dof, source=found.source)


def _own(
    bent: Bent, tools: Mapping[ToolKey, ToolUse], given: Mapping[Field, Sigma], working: Working
) -> Iterator[Cause]:
    """What each bend does by itself."""
    columns, label = bent.columns, bent.part.label

    def cause(field: Field, bend: int, sigma: Sigma, pool: str) -> Cause:
        hits = {label: ((columns.of(field, bend), 1.0),)}
        return Cause(owner=f"bend {bend}", label=label, bend=bend, field=field, sigma=sigma, pool=pool, hits=hits)

    for bend in range(1, columns.bends + 1):
        tool = tools[tool_key(bent.part, bend - 1)]
        name = _name(tool)
        tested = _tested(tool)
        angle = tested or given.get("angle")
        if angle is not None:
            yield cause("angle", bend, angle, f"springback {name}" if tested else "angle")
        for field in ("distance", "rotation", "roll", "radius"):
            if field in given:
                yield cause(field, bend, given[field], field)
        if working == "marks fixed" and not tool.tube_use.assumed:
            use = tool.tube_use
            sigma = Sigma(value=use.scatter, dof=use.dof, source=use.source)
            yield cause("tube use", bend, sigma, f"tube use {name}")
    if "distance" in given:
        yield Cause(
            owner="cut length", label=label, bend=None, field="distance", sigma=given["distance"], pool="distance",
            hits={label: ((columns.tail, 1.0),)},
        )  # fmt: skip


def _common(
    bent: Mapping[str, Bent], tools: Mapping[ToolKey, ToolUse], hands: Hands, working: Working
) -> Iterator[Cause]:
    """What is not known of springback and stretch: the same at every bend of a die."""
    used: dict[tuple[ToolKey, str], list[tuple[str, int]]] = {}
    for label, one in bent.items():
        lot: str = one.part.hand if hands == "apart" else ""
        for i in range(one.columns.bends):
            used.setdefault((tool_key(one.part, i), lot), []).append((label, i))
    for (key, lot), places in used.items():
        tool = tools[key]
        yield from _line(tool, bent, places, lot)
        if working == "marks fixed" and not tool.tube_use.assumed:
            yield _stretch(tool, bent, places, lot)


def _line(tool: ToolUse, bent: Mapping[str, Bent], places: Sequence[tuple[str, int]], lot: str) -> Iterator[Cause]:
    """The springback line of a tool: two independent causes that make up what is not known of it."""
    found = tool.springback
    if _tested(tool) is None:
        return
    fixed, both, slope = found.covariance
    sizes, ways = np.linalg.eigh(np.array([[fixed, both], [both, slope]]))
    for size, way in zip(sizes, ways.T, strict=True):
        if size <= 0:
            continue
        step = sqrt(size) * way / (1 + found.proportional)

        def moves(angle: float, step: Array = step) -> float:  # more springback, less angle
            return float(-(step[0] + step[1] * angle))

        hits = _hits(bent, places, "angle", {place: moves(_angle(bent, place)) for place in places})
        sigma = Sigma(value=1.0, dof=found.dof, source=found.source)
        yield Cause(
            owner=f"springback of {_name(tool)}{_lot(lot)}", label=None, bend=None, field="angle", sigma=sigma,
            pool=f"springback {_name(tool)}", hits=hits,
        )  # fmt: skip


def _stretch(tool: ToolUse, bent: Mapping[str, Bent], places: Sequence[tuple[str, int]], lot: str) -> Cause:
    use = tool.tube_use
    arcs = {place: -tool.radius * _angle(bent, place) for place in places}
    sigma = Sigma(value=use.error, dof=use.dof, source=use.source)
    return Cause(
        owner=f"stretch of {_name(tool)}{_lot(lot)}", label=None, bend=None, field="tube use", sigma=sigma,
        pool=f"tube use {_name(tool)}", hits=_hits(bent, places, "tube use", arcs),
    )  # fmt: skip


def _angle(bent: Mapping[str, Bent], place: tuple[str, int]) -> float:
    return float(bent[place[0]].line.rows.angle[place[1]])


def _hits(
    bent: Mapping[str, Bent], places: Sequence[tuple[str, int]], field: Field, by: Mapping[tuple[str, int], float]
) -> dict[str, tuple[tuple[int, float], ...]]:
    return {
        label: tuple((bent[label].columns.of(field, i + 1), by[(label, i)]) for other, i in places if other == label)
        for label in dict.fromkeys(label for label, _ in places)
    }


def _name(tool: ToolUse) -> str:
    return f"die {tool.name} on {tool.tube}" if tool.name else f"bends without a die on {tool.tube}"


def _lot(lot: str) -> str:
    return f" ({lot} hand)" if lot in ("left", "right") else ""


def _sources(frame: Frame, bent: Mapping[str, Bent], given: Mapping[Field, Sigma], working: Working) -> Iterator[str]:
    """Where each field's spread is known from, or that it is not."""
    for tool in _used(frame, bent):
        tested, angle = _tested(tool), given.get("angle")
        name = _name(tool)
        if tested is not None:
            yield f"angle, {name}: {degrees(tested.value):.2f} degrees from {tested.source}"
        elif angle is not None:
            yield f"angle, {name}: {degrees(angle.value):.2f} degrees, {angle.source}; no test bends tell"
        else:
            yield f"angle, {name}: not known, counted as none; make test bends, or give spread: {{angle: ...}}"
        use = tool.tube_use
        if working == "marks fixed" and not use.assumed:
            yield f"tube use, {name}: {frame.say(use.scatter)} from {use.source}"
    for field in ("distance", "rotation", "roll", "radius"):
        if field in given:
            sigma = given[field]
            angular = field in ("rotation", "roll")
            size = f"{degrees(sigma.value):.2f} degrees" if angular else frame.say(sigma.value)
            yield f"{WORDS[field]}: {size}, {sigma.source}"
    missing = list(_not_given(given))
    if missing:
        yield f"{', '.join(missing)}: not known, counted as none; give them under spread: in the shop file"


def _used(frame: Frame, bent: Mapping[str, Bent]) -> list[ToolUse]:
    tools = tools_of(frame)
    used = dict.fromkeys(tool_key(one.part, i) for one in bent.values() for i in range(one.columns.bends))
    return [tools[key] for key in used]


def _unknown(frame: Frame, bent: Mapping[str, Bent], given: Mapping[Field, Sigma]) -> Iterator[str]:
    """What is counted as none because nobody knows of it."""
    if "angle" not in given:
        yield from (f"angle, {_name(tool)}" for tool in _used(frame, bent) if _tested(tool) is None)
    yield from _not_given(given)


def _not_given(given: Mapping[Field, Sigma]) -> Iterator[str]:
    for field in ("distance", "roll", "radius"):
        if field not in given and not (field == "roll" and "rotation" in given):
            yield WORDS[field]


def _nothing(frame: Frame) -> str:
    if frame.shop is None:
        return (
            f"{frame.source.path.name}: the job names no shop, so how far off its bends come out is not known; add "
            "shop: with a file that has test_bends: or spread:"
        )
    path = frame.source.shop_path
    return (
        f"{path.name if path else 'the shop file'}: how far off bends come out is not known: no test bends of this "
        "job's dies and no spread: section; record test bends, or add spread: {angle: 0.3, distance: 1/32}"
    )
