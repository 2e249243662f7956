"""Lines and arcs on a flat view, and making one of many that lie on each other. Millimetres and radians."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import atan2, cos, pi, sin
from typing import Literal

import numpy as np

from railmodel.geometry.rows import Array

_PLACE = 1e-2  # mm; lines no farther apart than this are one
_SLOPE = 1e-5  # radians, likewise
_SHIFT = 0.31831  # of a step: keeps round numbers away from where rounding turns over
_LEAST = 1e-3  # mm or, over the radius, radians; shorter pieces are dropped


@dataclass(frozen=True, slots=True)
class LinePiece:
    """A straight line from a (2,) to b (2,)."""

    a: Array
    b: Array

    @property
    def length(self) -> float:
        """Its length."""
        return float(np.linalg.norm(self.b - self.a))

    @property
    def box(self) -> tuple[Array, Array]:
        """Least and greatest x, y."""
        return np.minimum(self.a, self.b), np.maximum(self.a, self.b)

    def at(self, shares: Array) -> Array:
        """Points (m, 2) at shares (m,) of its length."""
        return np.asarray(self.a + shares[:, None] * (self.b - self.a))

    def part(self, begin: float, end: float) -> "LinePiece":
        """The piece between two shares of its length."""
        a, b = self.at(np.array([begin, end]))
        return LinePiece(a, b)

    def crossing(self, normals: Array, offsets: Array) -> Array:
        """Shares (m,) of its length where `normals . point = offsets` (m, 2), (m,)."""
        return np.asarray((offsets - normals @ self.a) / (normals @ (self.b - self.a)))


@dataclass(frozen=True, slots=True)
class ArcPiece:
    """An arc about a centre (2,), counter-clockwise from angle `begin` to `end`."""

    centre: Array
    radius: float
    begin: float
    end: float

    @property
    def length(self) -> float:
        """Its length."""
        return self.radius * (self.end - self.begin)

    @property
    def box(self) -> tuple[Array, Array]:
        """A box about the whole circle."""
        return self.centre - self.radius, self.centre + self.radius

    def at(self, shares: Array) -> Array:
        """Points (m, 2) at shares (m,) of its length."""
        angle = self.begin + shares * (self.end - self.begin)
        return np.asarray(self.centre + self.radius * np.stack([np.cos(angle), np.sin(angle)], axis=-1))

    def part(self, begin: float, end: float) -> "ArcPiece":
        """The piece between two shares of its length."""
        span = self.end - self.begin
        return ArcPiece(self.centre, self.radius, self.begin + begin * span, self.begin + end * span)

    def crossing(self, normals: Array, offsets: Array) -> Array:
        """Shares (2 m,) of its length where `normals . point = offsets` (m, 2), (m,); outside 0 to 1: not on it."""
        size = np.linalg.norm(normals, axis=-1)
        off = np.arccos((offsets - normals @ self.centre) / (self.radius * size))
        look = np.arctan2(normals[:, 1], normals[:, 0])
        angle = np.concatenate([look + off, look - off])
        share = np.mod(angle - self.begin, 2 * pi) / (self.end - self.begin)
        return np.nan_to_num(share, nan=-1.0, posinf=-1.0, neginf=-1.0)


Curve = LinePiece | ArcPiece
Style = Literal["visible", "tangent", "hidden"]


@dataclass(frozen=True, slots=True)
class Drawn:
    """A curve and how it is drawn."""

    curve: Curve
    style: Style


def merged(outlines: Iterable[Curve], tangents: Iterable[Curve], hidden: Iterable[Curve]) -> list[Drawn]:
    """Every place of the paper drawn once: outlines first, then what tangents and hidden edges they leave."""
    spans: dict[tuple[int, ...], dict[Style, list[tuple[float, float]]]] = {}
    bases: dict[tuple[int, ...], Curve] = {}
    styles: tuple[Style, ...] = ("visible", "tangent", "hidden")
    for style, curves in zip(styles, (outlines, tangents, hidden), strict=True):
        for curve in curves:
            key, base, pieces = _on_base(curve)
            bases.setdefault(key, base)
            spans.setdefault(key, {}).setdefault(style, []).extend(pieces)
    found = []
    for key, by_style in spans.items():
        taken: list[tuple[float, float]] = []
        for style in styles:
            own = _less(_union(by_style.get(style, ())), taken)
            found += [Drawn(_curve(bases[key], begin, end), style) for begin, end in own]
            taken = _union([*taken, *own])
    return found


def _on_base(curve: Curve) -> tuple[tuple[int, ...], Curve, list[tuple[float, float]]]:
    """The whole line or circle a curve lies on, by a key, and the stretch of it that it covers."""
    if isinstance(curve, ArcPiece):
        key = (1, *(_step(value, _PLACE) for value in (*curve.centre, curve.radius)))
        begin = curve.begin % (2 * pi)
        end = begin + (curve.end - curve.begin)
        over = [(begin, min(end, 2 * pi))] + ([(0.0, end - 2 * pi)] if end > 2 * pi else [])
        return key, curve, [(a * curve.radius, b * curve.radius) for a, b in over]
    along = curve.b - curve.a
    slope = atan2(float(along[1]), float(along[0])) % pi
    if pi - slope < _SLOPE / 2:
        slope -= pi
    ahead = np.array([cos(slope), sin(slope)])
    off = float(ahead[0] * curve.a[1] - ahead[1] * curve.a[0])
    begin, end = sorted((float(curve.a @ ahead), float(curve.b @ ahead)))
    foot = curve.a - ahead * float(curve.a @ ahead)
    return (0, _step(slope, _SLOPE), _step(off, _PLACE)), LinePiece(foot, foot + ahead), [(begin, end)]


def _step(value: float, step: float) -> int:
    return round(value / step + _SHIFT)


def _curve(base: Curve, begin: float, end: float) -> Curve:
    if isinstance(base, ArcPiece):
        return ArcPiece(base.centre, base.radius, begin / base.radius, end / base.radius)
    return LinePiece(*base.at(np.array([begin, end])))


def _union(spans: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    found: list[tuple[float, float]] = []
    for begin, end in sorted(spans):
        if found and begin <= found[-1][1] + _LEAST:
            found[-1] = (found[-1][0], max(found[-1][1], end))
        else:
            found.append((begin, end))
    return found


def _less(spans: Sequence[tuple[float, float]], taken: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """What of some spans is not taken."""
    found = []
    for begin, end in spans:
        at = begin
        for a, b in taken:
            if b <= at or a >= end:
                continue
            if a - at > _LEAST:
                found.append((at, a))
            at = max(at, b)
        if end - at > _LEAST:
            found.append((at, end))
    return found
