"""Does anything touch: every part against the shapes to keep clear over their travel, and against other parts."""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from math import degrees

from railmodel.errors import GeometryError, InputError
from railmodel.findings import Finding
from railmodel.fitting.bodies import Body, rail_body
from railmodel.fitting.clearance import Gap, PartGap, gaps, part_gaps
from railmodel.fitting.keep_clear import shapes_of
from railmodel.fitting.meshes import MeshShape
from railmodel.fitting.motion import Position
from railmodel.frame import Frame
from railmodel.part import RailPart
from railmodel.tolerances import LENGTH

TOUCH = 0.05
"""Parts that come no nearer than this under each other's skin touch, and do not overlap, mm: the bound of the check."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Clearances:
    """What the clearance search found.

    Args:
        gaps: the least gap of every part to every shape, with the gap wanted (mm).
        between: the least gap of every two parts that do not meet in a joint.
        trouble: why shapes could not be used, as findings.
    """

    gaps: tuple[tuple[Gap, float], ...]
    between: tuple[PartGap, ...]
    trouble: tuple[Finding, ...]


def solid_parts(frame: Frame) -> list[RailPart]:
    """The parts that make a solid: no overlapping bends, none tighter than the tube, some length."""
    return [
        part
        for part in frame.parts
        if part.line.length > LENGTH
        and bool((part.line.rows.straights >= -LENGTH).all())
        and all(bend.radius > part.section.reach(bend.roll) + LENGTH for bend in part.line.bends)
    ]


@lru_cache(maxsize=8)
def clearances(frame: Frame) -> Clearances:
    """Every least gap of a frame."""
    parts = solid_parts(frame)
    trouble: list[Finding] = []
    try:
        shapes = shapes_of(frame.source)
    except (GeometryError, InputError) as error:
        says = f"{error}; no shape is checked until this is put right"
        trouble.append(Finding(rule="keep clear", level="stop", says=says))
        shapes = []
    trouble += [
        Finding(rule="keep clear", level="warn", says=f"{shape.name}: {warning}")
        for shape, _ in shapes
        if isinstance(shape.shape, MeshShape)
        for warning in shape.shape.warnings
    ]
    if not shapes and len(parts) < 2:
        return Clearances(gaps=(), between=(), trouble=tuple(trouble))
    bodies: list[Body] = [rail_body(part.label, part.line, part.section) for part in parts]
    found = gaps(bodies, [shape for shape, _ in shapes])
    wanted = [needs for _ in bodies for _, needs in shapes]
    return Clearances(
        gaps=tuple(zip(found, wanted, strict=True)),
        between=part_gaps(bodies, exempt(frame)),
        trouble=tuple(trouble),
    )


def exempt(frame: Frame) -> set[frozenset[str]]:
    """Labels of parts that may touch: named together in a joint, or a crossmember and its rails."""
    pairs = {
        frozenset((part.label, cut.rail)) for part in frame.parts if part.cuts is not None for cut in part.cuts
    }
    for joint in frame.job.joints:
        first, second = (labels_of(frame, end.part, end.hand) for end in joint.between)
        pairs |= {frozenset((one, other)) for one in first for other in second}
    return pairs


def labels_of(frame: Frame, name: str, hand: str | None) -> list[str]:
    """Labels of the parts of a name, of one hand or of all."""
    return [part.label for part in frame.parts if part.name == name and hand in (None, part.hand)]


def tightest(frame: Frame) -> list[tuple[Gap, float]]:
    """For every shape the part it comes nearest to, measured against the gap wanted; the tightest first."""
    best: dict[str, tuple[Gap, float]] = {}
    for gap, needs in clearances(frame).gaps:
        if gap.shape not in best or gap.gap - needs < best[gap.shape][0].gap - best[gap.shape][1]:
            best[gap.shape] = (gap, needs)
    return sorted(best.values(), key=lambda item: item[0].gap - item[1])


def clearance_findings(frame: Frame) -> Iterator[Finding]:
    """Shapes that come too near or touch, parts that run into each other."""
    found = clearances(frame)
    yield from found.trouble
    hands = {part.label: part for part in frame.parts}
    for gap, needs in found.gaps:
        if gap.gap >= needs:
            continue
        part = hands[gap.part]
        at = describe(frame, gap.at)
        where = f"{gap.place.kind} {gap.place.number} from the front end"
        if gap.gap < 0:
            says = f"{gap.shape} runs {frame.say(-gap.gap)} into {part.label} at {where}{at}"
        else:
            says = f"{gap.shape} comes within {frame.say(gap.gap)} of {part.label} at {where}{at}"
        says += f"; {frame.say(needs)} is wanted; move rail and shape {frame.say(needs - gap.gap)} or more apart"
        yield Finding(
            rule="clearance", level="stop", says=says, part=part.name, hand=part.hand, where=gap.on_part,
            found=gap.gap, needs=needs, unit="length",
        )  # fmt: skip
    for pair in found.between:
        if pair.gap >= -TOUCH:
            continue
        part = hands[pair.first]
        says = (
            f"{pair.first} and {pair.second} run {frame.say(-pair.gap)} into each other; move one of them, or name "
            "them together in a joint where they are meant to meet"
        )
        yield Finding(
            rule="parts touch", level="stop", says=says, part=part.name, hand=part.hand, where=pair.on_first,
            found=pair.gap, needs=0.0, unit="length",
        )  # fmt: skip


def describe(frame: Frame, at: Position) -> str:
    """A position of travel in words, empty where nothing moves."""
    words = []
    if at.up:
        words.append(f"{frame.say(abs(at.up))} {'up' if at.up > 0 else 'down'}")
    if at.roll:
        words.append(f"rolled {degrees(at.roll):+.1f} degrees")
    if at.turn:
        words.append(f"turned {degrees(at.turn):+.1f} degrees")
    if at.slide:
        words.append(f"slid {frame.say(at.slide)}")
    return f" with the shape {', '.join(words)}" if words else ""
