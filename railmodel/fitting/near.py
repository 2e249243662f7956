"""Clearances for the solver: least gaps over the whole travel, and how they change as a part moves.

The gap of a part to a shape changes, to first order, by the movement of the part's nearest point along the line from
the shape to it; where along the travel and along the part that point lies changes nothing to that order (the envelope
theorem for minima: J. M. Danskin, The Theory of Max-Min, 1967; from memory). A gap is worked out anew only where the
part has moved so far that it may have become too small: no gap shrinks by more than the largest movement of any point
of the part. Everything is worked out on right hands: the left hand against a shape is the right hand against the
shape's mirror image.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from railmodel.errors import GeometryError
from railmodel.fitting.bodies import rail_body
from railmodel.fitting.clearance import Gap, gaps
from railmodel.fitting.dual import Dual, dot, stack
from railmodel.fitting.keep_clear import shapes_of
from railmodel.fitting.lay_out import Laid, Plan, material_points
from railmodel.fitting.mirror import shape_key
from railmodel.fitting.shapes import KeepClear
from railmodel.fitting.wishes import Wish
from railmodel.frame import Frame
from railmodel.geometry.centreline import Centreline, Pose
from railmodel.geometry.rows import Array, BendRows, wrap
from railmodel.geometry.section import Section
from railmodel.part import RailPart
from railmodel.tolerances import LENGTH

MARGIN = 0.05
"""How much more than the wanted gap the solver aims for, mm: as much as a reported gap may lie below the true one."""

KEPT = 4
"""Nearest places remembered for each part and shape."""

_SHARES = (0.0, 0.25, 0.5, 0.75, 1.0)
_ROUND = 1.05
"""A bend's points move by at most this much more than the furthest of those looked at."""

_THIN = 0.02
"""Nearest points closer together than this say nothing about direction, mm."""


@dataclass(frozen=True, slots=True, eq=False)
class Witness:
    """A nearest place: gap = `gap` + normal . (movement of the material point from `at`).

    Args:
        gap: mm, with the part where it was looked at.
        normal: (3,) unit direction from the shape to the part.
        at: (3,) the material point then.
        stretch: index of its stretch.
        share: how far along the stretch, 0 to 1.
        s: place in the cross-section, mm.
        u: likewise.
    """

    gap: float
    normal: Array
    at: Array
    stretch: int
    share: float
    s: float
    u: float


@dataclass(eq=False)
class Pair:
    """One part's right hand against one shape, and what is known of it.

    Args:
        part: number of the part.
        shape: the shape.
        needs: least gap wanted, mm.
        wish: number of its wish.
        gap: least gap when last looked at, mm.
        skin: points of the part then; None before.
        witnesses: nearest places, the latest first.
    """

    part: int
    shape: KeepClear
    needs: float
    wish: int
    gap: float = np.inf
    skin: Array | None = None
    witnesses: list[Witness] = field(default_factory=list)

    def least(self, skin: Array) -> float:
        """The gap can be no less than this with the part as it is now, mm."""
        return -np.inf if self.skin is None else self.gap - _movement(skin, self.skin)


@dataclass(frozen=True, slots=True, eq=False)
class Clearances:
    """The clearance wishes of the parts that change.

    Args:
        plans: how each part is laid out, by its number.
        wishes: one for each part and shape, both hands and both sides together.
        names: the shapes of each wish, as `shapes_of` calls them.
        pairs: what is looked at.
    """

    plans: Mapping[int, Plan]
    wishes: tuple[Wish, ...]
    names: tuple[frozenset[str], ...]
    pairs: tuple[Pair, ...]

    def look(self, laid: Mapping[int, Laid], asked: NDArray[np.bool_], *, everything: bool = False) -> Array:
        """(w,) least gaps now; where a gap cannot have become too small, something that it is not below.

        Args:
            laid: the parts, with a batch of one.
            asked: (w,) the wishes that matter; the others come out infinite.
            everything: look anew at every part that has moved at all.
        """
        found = np.full(len(self.wishes), np.inf)
        for part in sorted({pair.part for pair in self.pairs if asked[pair.wish]}):
            mine = [pair for pair in self.pairs if pair.part == part and asked[pair.wish]]
            line = line_of(laid[part])
            if line is None:
                continue
            skin = _skin(laid[part], self.plans[part].real.section)
            stale = [pair for pair in mine if _stale(pair, skin, everything)]
            if stale:
                _look_at(stale, self.plans[part].real, line, skin)
            for pair in mine:
                found[pair.wish] = min(found[pair.wish], pair.least(skin))
        return found

    def group(self, asked: NDArray[np.bool_]) -> "NearPlaces":
        """The nearest places that are known, of the wishes (w,) that matter."""
        known = [(pair, witness) for pair in self.pairs if asked[pair.wish] for witness in pair.witnesses]
        numbers = tuple(pair.wish for pair, _ in known)
        return NearPlaces(numbers, tuple((pair.part, witness) for pair, witness in known))


@dataclass(frozen=True, slots=True, eq=False)
class NearPlaces:
    """Gaps at nearest places, to first order.

    Args:
        numbers: the wish of each place, counted among the clearances; several places may share one.
        places: part number and nearest place.
    """

    numbers: tuple[int, ...]
    places: tuple[tuple[int, Witness], ...]

    def measure(self, laid: Mapping[int, Laid]) -> Dual:
        """(b, n) the gaps."""
        columns: dict[int, Dual] = {}
        for part in dict.fromkeys(part for part, _ in self.places):
            mine = [i for i, (owner, _) in enumerate(self.places) if owner == part]
            places = [self.places[i][1] for i in mine]
            share, s, u, gap = (np.array([getattr(one, name) for one in places]) for name in ("share", "s", "u", "gap"))
            stretch = np.array([one.stretch for one in places])
            now = material_points(laid[part], stretch, share, s, u)
            moved = now - np.array([one.at for one in places])
            found = dot(moved, np.array([one.normal for one in places])) + gap
            columns |= {i: found[:, k] for k, i in enumerate(mine)}
        return stack([columns[i] for i in range(len(self.places))])


def clearances_of(frame: Frame, plans: Mapping[int, Plan], free: Iterable[int]) -> Clearances:
    """The clearance wishes of the parts that change.

    Raises:
        InputError: a mesh file that cannot be used.
        GeometryError: a shape or a travel that makes no sense.
    """
    shapes = shapes_of(frame.source)
    entries = [given.name for given in frame.job.keep_clear for _ in range(2 if given.mirror else 1)]
    wishes: list[Wish] = []
    shape_names: list[frozenset[str]] = []
    pairs: list[Pair] = []
    for part in sorted(index for index in free if index in plans):
        real = plans[part].real
        sides: dict[object, tuple[KeepClear, float]] = {}
        seen: dict[str, set[object]] = {}  # what each entry of the job is looked at with
        for (shape, needs), entry in zip(shapes, entries, strict=True):
            for one in [shape] if real.hand == "single" else [shape, shape.mirrored(shape.name)]:
                key = (needs, shape_key(one))
                sides.setdefault(key, (one, needs))
                seen.setdefault(entry, set()).add(key)
        alike: dict[frozenset[object], list[str]] = {}  # entries that are each other's mirror image are one wish
        for entry, keys in seen.items():
            alike.setdefault(frozenset(keys), []).append(entry)
        for both, names in alike.items():
            needs = max(sides[key][1] for key in both)
            name = f"{' and '.join(names)} to {real.name}"
            pairs += [Pair(part, *sides[key], len(wishes)) for key in sides if key in both]
            wishes.append(Wish(name=name, rule="clearance", low=needs, parts=(part,)))
            own = (shape.name for (shape, _), entry in zip(shapes, entries, strict=True) if entry in names)
            shape_names.append(frozenset(own))
    return Clearances(plans, tuple(wishes), tuple(shape_names), tuple(pairs))


def line_of(laid: Laid, lane: int = 0) -> Centreline | None:
    """The centreline of a part that is laid out; None where bends overlap or do not turn."""
    straights, angle = laid.straights.value[lane], laid.angle.value[lane]
    if straights.min() < -LENGTH or (angle <= 0).any():
        return None
    straights = np.maximum(straights, 0.0)
    rotation = wrap(np.diff(laid.roll.value[lane], prepend=0.0))
    rows = BendRows.of(straights[:-1], rotation, angle, laid.radius, straights[-1])
    at, t, u = (one.value[lane, 0] for one in (laid.at, laid.t, laid.u))
    return Centreline(rows, Pose(at, t, np.cross(u, t), u))


def _look_at(pairs: Sequence[Pair], real: RailPart, line: Centreline, skin: Array) -> None:
    """Work out the gaps of one part to some shapes."""
    try:
        body = rail_body(real.label, line, real.section)
    except GeometryError:
        return  # a bend tighter than the tube: the checks name it, and no gap can be measured
    for pair, gap in zip(pairs, gaps([body], [pair.shape for pair in pairs]), strict=True):
        pair.gap, pair.skin = gap.gap, skin
        witness = witness_of(gap, real, line, pair.witnesses[0].normal if pair.witnesses else None)
        others = [old for old in pair.witnesses if old.stretch != witness.stretch]
        pair.witnesses = [witness, *others][:KEPT]


def witness_of(gap: Gap, real: RailPart, line: Centreline, before: Array | None = None) -> Witness:
    """The nearest place of a part to a shape, from a gap that was looked at.

    Args:
        gap: the gap, and where it is.
        real: the part.
        line: its centreline from the front.
        before: (3,) the direction it had before, for a gap that says nothing about direction.
    """
    place = gap.place
    index = 2 * place.number - (place.kind == "bend")
    stretch = line.stretches[index]
    along = place.station - stretch.station
    pose = stretch.pose(along)
    on_part = np.array(gap.on_part)
    off = on_part - pose.at
    s, u = float(off @ pose.s), float(off @ pose.u)
    apart = on_part - np.array(gap.on_shape)
    size = float(np.linalg.norm(apart))
    if size > _THIN:
        normal = apart / (size if gap.gap > 0 else -size)
    elif before is not None:
        normal = before
    else:  # square to the face it lies on
        wide = abs(s) / real.section.width > abs(u) / real.section.height
        normal = -pose.s * np.sign(s) if wide else -pose.u * np.sign(u)
    at_end = place.station <= LENGTH or place.station >= line.length - LENGTH
    across = normal - pose.t * (normal @ pose.t)
    if not at_end and np.linalg.norm(across) > 0.1:
        normal = across / np.linalg.norm(across)  # what is left along the tube is the pieces' facets
    at = pose.at + s * pose.s + u * pose.u
    share = along / stretch.length if stretch.length > LENGTH else 0.0
    return Witness(gap.gap, normal, at, index, share, s, u)


def _skin(laid: Laid, section: Section) -> Array:
    """(m, 3) points along the edges of a part: both ends of each straight, five places of each bend.

    On a straight no point moves further than one of these; in a bend by little more (`_ROUND`).
    """
    stretches = range(laid.length.shape[1])
    spots = [(i, share) for i in stretches for share in (_SHARES if i % 2 else (0.0, 1.0))]
    stretch, share = np.repeat([i for i, _ in spots], 4), np.repeat([share for _, share in spots], 4)
    side = np.tile(np.array([1.0, 1.0, -1.0, -1.0]) * section.width / 2, len(spots))
    up = np.tile(np.array([1.0, -1.0, 1.0, -1.0]) * section.height / 2, len(spots))
    return np.asarray(material_points(laid, stretch, share, side, up).value[0])


def _stale(pair: Pair, skin: Array, everything: bool) -> bool:
    if pair.skin is None:
        return True
    return pair.least(skin) < pair.needs + MARGIN or (everything and _movement(skin, pair.skin) > LENGTH)


def _movement(now: Array, before: Array) -> float:
    return float(np.sqrt(((now - before) ** 2).sum(axis=-1).max())) * _ROUND
