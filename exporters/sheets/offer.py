"""The customer's offer on one page: what is made, what it ships as, the price, until when, and a picture.

The shop's own split of the cost is not on it.
"""

from pathlib import Path

from exporters.page_views import facets, paper_style, picture_of
from exporters.sheets.scale import scale_to_fit
from exporters.sheets.typeset import SVG, Data, shortened, typeset
from exporters.sheets.words import POINT, Paper, head, paper_of, section_words, width_of
from exporters.views import PICTORIAL, svg
from railmodel.files import write_whole
from railmodel.frame import Frame
from railmodel.job.mass import POUND
from railmodel.loading.quote import NOT_OURS, Quote
from railmodel.loading.weigh import tube_mass
from railmodel.plates import placed_plates, plates

_TALLEST = 190.0
"""The picture is no taller than this, points."""

_MARGIN = 4.0
_MOST = 11
"""Rows of parts that the page has room for."""

_SHOP, _SHORT, _LONG = 40, 60, 90
"""Letters of the shop's name, of another, and of a line, that the page has room for."""


def write_offer(frame: Frame, quote: Quote, path: Path, *, paper: Paper | None = None) -> None:
    """Write the offer as a PDF file, whole or not at all."""
    write_whole(path, typeset("offer", offer(frame, quote, paper)))


def offer(frame: Frame, quote: Quote, paper: Paper | None = None) -> Data:
    """What the offer shows."""
    chosen, rows = paper_of(frame, paper), _parts(frame)
    length, width, height = (frame.say(value) for value in quote.crate.size)
    shop = frame.shop.shop if frame.shop is not None else ""
    more = len(rows) - _MOST
    return {
        **head(frame, "Offer", chosen),
        "cautions": [],
        "shop": shortened(shop, _SHOP),
        "customer": shortened(frame.job.customer or "-", _LONG),
        "made": quote.made.isoformat(),
        "until": quote.holds_until.isoformat(),
        "lead_time": shortened(quote.rates.words.get("lead_time", "to be agreed"), _LONG),
        "terms": shortened(quote.rates.words.get("terms", ""), 2 * _LONG),
        "parts": rows if more <= 0 else [*rows[: _MOST - 1], _rest(rows[_MOST - 1 :])],
        "crate": f"{length} x {width} x {height}, {_mass(frame, quote.crate.mass)} packed",
        "class": quote.crate.row.name if quote.crate.row is not None else "-",
        "money": [
            {"what": "Frame parts as listed, cut, bent and inspected", "amount": money(quote.frame)},
            {"what": "Packing and freight", "amount": money(quote.sending)},
            {"what": f"Tax, {quote.rates['tax']:g} per cent", "amount": money(quote.tax)},
        ],
        "total": money(quote.total),
        "currency": quote.rates.currency,
        "picture": _picture(frame, width_of(chosen)),
        "not_ours": NOT_OURS,
    }


def money(amount: float) -> str:
    """Money as papers show it, `1,234.50`."""
    return f"{amount:,.2f}"


def _mass(frame: Frame, mass: float) -> str:
    return f"{mass / POUND:.0f} lb" if frame.unit == "in" else f"{mass:.0f} kg"


def _parts(frame: Frame) -> list[Data]:
    """A row for each part, both hands of a pair in one, then the plates."""
    rows = []
    for name in dict.fromkeys(part.name for part in frame.parts):
        own = [part for part in frame.parts if part.name == name]
        rows.append(
            {
                "count": str(len(own)),
                "what": shortened(f"{name}, right and left" if len(own) > 1 else name, _SHORT),
                "section": shortened(section_words(frame, own[0]), _LONG),
                "bends": str(own[0].line.rows.count),
                "length": frame.say(own[0].line.length),
                "mass": _mass(frame, sum(tube_mass(part) for part in own)),
            }
        )
    for plate in plates(frame):
        made_of = f"plate {frame.say(plate.thickness)}" + (f", {plate.grade}" if plate.grade else "")
        rows.append(
            {
                "count": str(plate.count), "what": shortened(plate.name, _SHORT), "section": shortened(made_of, _LONG),
                "bends": "-", "length": "-", "mass": _mass(frame, plate.mass() * plate.count),
            }
        )  # fmt: skip
    return rows


def _rest(rows: list[Data]) -> Data:
    count = sum(int(row["count"]) for row in rows)
    return {"count": str(count), "what": "further parts", "section": "as on the drawing", "bends": "", "length": "",
            "mass": ""}  # fmt: skip


def _picture(frame: Frame, width: float) -> Data:
    """All parts, and the plates that have their place, in one pictorial view."""
    picture = picture_of(facets(frame.parts, placed_plates(frame)), PICTORIAL)
    wide, high = (b - a for a, b in zip(picture.low, picture.high, strict=True))
    scale = max(scale_to_fit(wide, width - 2 * _MARGIN), scale_to_fit(high, _TALLEST - 2 * _MARGIN))
    mm = scale * POINT
    size = [wide / mm + 2 * _MARGIN, high / mm + 2 * _MARGIN]
    over = [paper_style(0.5 * mm)]
    shown = svg(picture, width=size[0] * POINT, margin=_MARGIN * mm, title="the frame", over=over)
    return {"width": size[0], "height": size[1], "picture": {SVG: shown}, "labels": []}
