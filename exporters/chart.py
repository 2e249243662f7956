"""Plain line charts as SVG text: what a calibration shows. Black on white, readable without colour."""

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from re import sub

_WIDTH, _HEIGHT = 720, 420
_LEFT, _RIGHT, _TOP, _BOTTOM = 64, 16, 44, 52
_LONGEST = 78
"""Characters of a title that fit over the chart."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Chart:
    """A line with its band and the points it was fitted to, in plain numbers.

    Args:
        title: one line above.
        across: name of the horizontal axis, with its unit.
        up: name of the vertical axis, with its unit.
        points: measured (x, y).
        line: fitted (x, y), in order.
        band: (x, low, high), in order.
    """

    title: str
    across: str
    up: str
    points: Sequence[tuple[float, float]]
    line: Sequence[tuple[float, float]]
    band: Sequence[tuple[float, float, float]]


def chart_svg(chart: Chart) -> str:
    """The chart as an SVG document."""
    xs = [x for x, _ in chart.line] + [x for x, _ in chart.points]
    ys = [y for _, low, high in chart.band for y in (low, high)] + [y for _, y in (*chart.points, *chart.line)]
    x_ticks, y_ticks = ticks(0.0, max(xs)), ticks(min(0.0, *ys), max(ys))
    right, low, high = x_ticks[-1], y_ticks[0], y_ticks[-1]

    def at(x: float, y: float) -> str:
        return (
            f"{_LEFT + x / right * (_WIDTH - _LEFT - _RIGHT):.1f},"
            f"{_HEIGHT - _BOTTOM - (y - low) / (high - low) * (_HEIGHT - _TOP - _BOTTOM):.1f}"
        )

    title, across, up = (escape(_plain(text)) for text in (chart.title, chart.across, chart.up))
    shown = escape(_plain(chart.title) if len(chart.title) <= _LONGEST else f"{_plain(chart.title[:_LONGEST])}...")
    edge = [at(x, top) for x, _, top in chart.band] + [at(x, bottom) for x, bottom, _ in reversed(chart.band)]
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDTH} {_HEIGHT}" width="{_WIDTH}" '
        f'height="{_HEIGHT}" font-family="sans-serif" font-size="13" role="img">',
        f"<title>{title}</title>",
        f'<rect width="{_WIDTH}" height="{_HEIGHT}" fill="white"/>',
        f'<text x="{_LEFT}" y="24" font-size="15" font-weight="bold">{shown}</text>',
        f'<polygon points="{" ".join(edge)}" fill="#e6e6e6"/>',
    ]
    for value in x_ticks:
        x, y = at(value, low).split(",")
        lines.append(f'<path d="M{x},{y} v{-(_HEIGHT - _TOP - _BOTTOM)}" stroke="#d0d0d0" stroke-width="0.6"/>')
        lines.append(f'<text x="{x}" y="{float(y) + 18:.1f}" text-anchor="middle">{value:g}</text>')
    for value in y_ticks:
        x, y = at(0, value).split(",")
        lines.append(f'<path d="M{x},{y} h{_WIDTH - _LEFT - _RIGHT}" stroke="#d0d0d0" stroke-width="0.6"/>')
        lines.append(f'<text x="{float(x) - 8:.1f}" y="{float(y) + 4:.1f}" text-anchor="end">{value:g}</text>')
    path = " ".join(at(x, y) for x, y in chart.line)
    lines.append(f'<polyline points="{path}" fill="none" stroke="black" stroke-width="1.8"/>')
    for x, y in (at(*point).split(",") for point in chart.points):
        lines.append(f'<circle cx="{x}" cy="{y}" r="4.5" fill="white" stroke="black" stroke-width="1.6"/>')
    middle = _LEFT + (_WIDTH - _LEFT - _RIGHT) / 2
    lines.append(f'<text x="{middle:.0f}" y="{_HEIGHT - 12}" text-anchor="middle">{across}</text>')
    lines.append(
        f'<text transform="translate(18,{(_HEIGHT - _BOTTOM + _TOP) / 2:.0f}) rotate(-90)" text-anchor="middle">'
        f"{up}</text>"
    )
    return "\n".join([*lines, "</svg>", ""])


def _plain(text: str) -> str:
    """The text without the characters that XML 1.0 cannot hold."""
    return sub("[^\\t\\n\\r\\x20-\\ud7ff\\ue000-\\ufffd\\U00010000-\\U0010ffff]", "\ufffd", text)


def ticks(low: float, high: float, most: int = 8) -> list[float]:
    """Round values that span a range, at most `most` steps of 1, 2 or 5 times a power of ten.

    >>> ticks(0, 92)
    [0.0, 20.0, 40.0, 60.0, 80.0, 100.0]
    """
    from math import ceil, floor, log10

    span = max(high - low, 1e-9)
    power = 10.0 ** floor(log10(span / most))
    step = next(power * factor for factor in (1, 2, 5, 10, 20) if span / (power * factor) <= most)
    first, last = floor(low / step + 1e-9), ceil(high / step - 1e-9)
    return [round(i * step, 12) for i in range(first, max(last, first + 1) + 1)]
