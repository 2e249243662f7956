"""What stands round a view: the datum and its axes, stations, heights, widths, sizes over all. mm on paper."""

from collections.abc import Sequence

from exporters.drawing import dimensions as dims
from exporters.drawing.features import half_widths, heights, stations, widths
from exporters.drawing.figure import Work
from exporters.drawing.marks import TEXT, Arc, Line, Text, head, text_width
from exporters.dxf import Point
from exporters.room import Rect, spread
from exporters.views import PLAN, SIDE
from railmodel.geometry.rows import Array

PITCH = 1.6 * TEXT
"""Between ordinates that stand side by side."""

MOST_ACROSS, MOST_UP = 60, 16
"""Ordinates along a view and beside it; those beyond stand in the table of points only."""

NEAR = 6.0
"""From a view to the first dimension beside it."""

NEXT = 6.0
"""From one dimension line to the next."""

_TOUCH = 0.05  # a point this near to the frame's edge is on it
_LATER = 0.08  # lines under a text that a place is worth over the next one
_AXIS = 12.0  # length of the datum's axes
_FULL = 6.283185307179586


def datum(work: Work, extent: Rect) -> None:
    """The datum with its axes, the plane through it, and in the plan the vehicle's centreline."""
    work.draw(Arc((0.0, 0.0), 1.5, 0.0, _FULL, "DATUM"))
    up = "Z up" if work.view is SIDE else "Y right"
    for end in ((_AXIS, 0.0), (0.0, _AXIS)):
        work.draw(Line((0.0, 0.0), end, "DATUM"), head(end, end, "DATUM"))
    plane = "datum plane, Z 0" if work.view is SIDE else "vehicle centreline, Y 0"
    left, right = extent.left - 3.0, extent.right + 3.0
    work.draw(Line((left, 0.0), (right, 0.0), "DATUM_PLANE"))
    under, on = -TEXT - 1.2, 1.2
    _say(work, up, [(1.5, _AXIS - TEXT), (-1.5, _AXIS - TEXT), (1.5, _AXIS + 1.0), (-1.5, _AXIS + 1.0)])
    _say(work, "datum", [(x, y) for y in (under, on, 2 * under, 3 * under, -on * 12) for x in (-2.5, 2.5)])
    _say(
        work,
        "X rearward",
        [(x, y) for x in (_AXIS + 1.5, 3.0, _AXIS + 6.0, 20.0, 30.0, 45.0) for y in (under, on, 2 * under, 4 * under)],
    )
    long = text_width(plane, TEXT)
    shares = (0.98, 0.75, 0.5, 0.25, 0.9, 0.6, 0.4)
    along = [(left + share * (right - left - long), y) for share in shares for y in (on, under)]
    _say(work, plane, [*along[:6], (right + 1.5, -TEXT / 2), *along[6:]])


def _say(work: Work, words: str, tries: Sequence[Point]) -> None:
    """Words at an early free place over few lines, else nowhere; they run left from a negative x."""
    texts = [Text(words, at, TEXT, "DATUM", "right" if -5.0 < at[0] < 0 else "left") for at in tries]
    costs = [work.floor.crossed(text.box) + _LATER * i for i, text in enumerate(texts)]
    for _, best in sorted(zip(costs, texts, strict=True), key=lambda pair: pair[0]):
        if work.floor.free(best.box):
            work.draw(best)
            return


def ordinates_across(work: Work, extent: Rect) -> float:
    """Stations: under the side view, over the plan.

    Returns:
        The y beyond which nothing of them stands.
    """
    points = stations(work.frame, work.view)[:MOST_ACROSS]
    over = work.view is PLAN
    row = extent.high + 3.0 if over else extent.low - 3.0
    if not points:
        return row
    features = [work.at(point) for point in points]
    labels, lean = _spread([x for x, _ in features])
    for point, feature, label in zip(points, features, labels, strict=True):
        work.dimension(dims.ordinate_across(feature, label, row, lean, work.say(float(point[0]))))
    boxes = [one.box for one in work.found if one.kind == "across"]
    return max(box.high for box in boxes) if over else min(box.low for box in boxes)


def widths_up(work: Work, extent: Rect) -> tuple[float, float]:
    """Widths over and inside the rails: in the plan, the front ones left, the last ones right, others between.

    Returns:
        The x at the left and at the right beyond which nothing of them stands.
    """
    left, right = extent.left - 2.0, extent.right + 2.0
    if work.view is not PLAN:
        return left, right
    found = widths(work.frame)
    for i, width in enumerate(found):
        x = width.x / work.denominator
        if i == 0:
            left = _pair_of_widths(work, width.inside, width.over, x, left - NEAR + 2.0, -1.0)
        elif i == len(found) - 1:
            right = _pair_of_widths(work, width.inside, width.over, x, right + NEAR - 2.0, 1.0)
        else:
            _pair_of_widths(work, width.inside, width.over, x, x, 1.0)
    return left, right


def _pair_of_widths(work: Work, inside: float, over: float, x: float, at: float, away: float) -> float:
    """Both widths of one place, each on a line of its own; gives where they end."""
    for words, size in ((f"{work.say(inside)} inside", inside), (f"{work.say(over)} over", over)):
        half = size / 2 / work.denominator
        work.dimension(dims.distance((x, -half), (x, half), at, words, upright=True))
        at += away * NEXT
    return at - away * (NEXT - 3.0)


def ordinates_up(work: Work, left: float, right: float) -> tuple[float, float]:
    """Heights beside the side view, distances from the vehicle's centre plane beside the plan.

    Args:
        work: the view.
        left: where those at the left may begin.
        right: where those at the right may begin.

    Returns:
        The x at the left and at the right beyond which nothing of them stands.
    """
    groups = (heights if work.view is SIDE else half_widths)(work.frame)[:MOST_UP]
    middle = (left + right) / 2
    sides: dict[float, list[tuple[Point, Array]]] = {-1.0: [], 1.0: []}
    for same in groups:
        spots = sorted((work.at(point), i) for i, point in enumerate(same))
        away = -1.0 if spots[0][0][0] < middle else 1.0
        place, i = spots[0] if away < 0 else spots[-1]
        sides[away].append((place, same[i]))
    for away, column in ((-1.0, left), (1.0, right)):
        features = [place for place, _ in sides[away]]
        labels, lean = _spread([y for _, y in features])
        for (feature, point), label in zip(sides[away], labels, strict=True):
            value = float(point[2] if work.view is SIDE else point[1])
            work.dimension(dims.ordinate_up(feature, label, column, lean, work.say(value)))
    boxes = [one.box for one in work.found if one.kind == "up"]
    return min([left, *(box.left for box in boxes)]), max([right, *(box.right for box in boxes)])


def over_all(work: Work, sizes: tuple[tuple[float, float], tuple[float, float]], extent: Rect, right: float) -> None:
    """Length over all above the side view, height over all at its right; width over all right of the plan.

    Args:
        work: the view.
        sizes: least and greatest x and y of the finished frame in the view, mm at true size.
        extent: of what is drawn.
        right: where dimensions at the right may begin.
    """
    (left, far), (low, high) = ([value / work.denominator for value in pair] for pair in sizes)
    lines = [mark for mark in work.marks if isinstance(mark, Line) and mark.layer == "VISIBLE"]
    ends = [point for line in lines for point in (line.a, line.b)]
    if work.view is SIDE:
        words = f"{work.say(sizes[0][1] - sizes[0][0])} over all"
        upper = [max((y for x, y in ends if abs(x - edge) < _TOUCH), default=high) for edge in (left, far)]
        work.dimension(dims.distance((left, upper[0]), (far, upper[1]), extent.high + 4.0 + NEAR, words))
    told = {f"{value} over all" for one in work.found if (value := one.text.removesuffix(" over")) != one.text}
    words = f"{work.say(sizes[1][1] - sizes[1][0])} over all"
    if words in told:
        return  # as wide as over the rails
    outer = [max((x for x, y in ends if abs(y - edge) < _TOUCH), default=far) for edge in (low, high)]
    work.dimension(dims.distance((outer[0], low), (outer[1], high), right + NEAR, words, upright=True))


def _spread(places: Sequence[float]) -> tuple[list[float], float]:
    """Where labels of rising places stand, and the room their leaders need to lean over to them."""
    labels = spread(places, PITCH)
    most = max((abs(label - place) for label, place in zip(labels, places, strict=True)), default=0.0)
    return labels, 0.0 if most < 0.05 else max(2.0, 0.6 * most)
