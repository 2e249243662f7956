"""The tape-check sheet: which distances prove a bent pair right, with blanks for what is measured."""

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from exporters.sheets.part_view import extent
from exporters.sheets.scale import scale_to_fit, words
from exporters.sheets.stopped import found_by, stopped_labels
from exporters.sheets.typeset import SVG, Data, typeset
from exporters.sheets.words import MARGIN, POINT, Paper, head, paper_of, plain, tape, width_of
from exporters.views import PLAN, draw, svg
from railmodel.files import write_whole
from railmodel.findings import Finding
from railmodel.fitting.fit_job import feet_of
from railmodel.fitting.tape import SKEW, Spot, TapeCheck, TapeLine, tape_checks
from railmodel.frame import Frame
from railmodel.part import RailPart

_MARGIN = 20.0
"""Room round the sketch for letters, points."""

_LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
_TALLEST = 170.0
"""The sketch is no taller than this, points."""

_OUTLINE = 0.4
"""Width of the sketch's outlines, points."""


def write_tape_check(
    frame: Frame, path: Path, *, findings: Sequence[Finding] | None = None, paper: Paper | None = None
) -> None:
    """Write the tape-check sheet of a job as a PDF file, whole or not at all; see `write_bend_sheets`."""
    write_whole(path, typeset("tape_check", tape_sheet(frame, findings, paper)))


def tape_sheet(frame: Frame, findings: Sequence[Finding] | None = None, paper: Paper | None = None) -> Data:
    """What the tape-check sheet shows: a page for every pair, and which of them is stopped."""
    chosen = paper_of(frame, paper)
    stopped = stopped_labels(frame, found_by(frame, findings))
    return {
        **head(frame, "Tape check", chosen),
        "skew": frame.mark(SKEW) if frame.unit == "in" else frame.say(SKEW),
        "pages": [
            {
                **_page(frame, check, width_of(chosen)),
                "stopped": any(part.name == check.part and part.label in stopped for part in frame.parts),
            }
            for check in tape_checks(frame, feet_of(frame))
        ],
    }


def _page(frame: Frame, check: TapeCheck, width: float) -> Data:
    rails = [part for part in frame.parts if part.name == check.part]
    names = _spots(check)
    letters = {name: _LETTERS[i] if i < len(_LETTERS) else f"A{i}" for i, name in enumerate(names)}
    return {
        "part": check.part,
        "spots": [{"letter": letters[name], "name": name} for name in names],
        "sketch": _sketch(rails, check, letters, width),
        "lengths": _rows(frame, check, letters, [("length", names[0], name) for name in names[1:]]),
        "widths": _rows(frame, check, letters, [("width", name, name) for name in names]),
        "diagonals": _rows(frame, check, letters, _crossed(names)),
        "difference": frame.say(check.diagonal_difference),
    }


def _spots(check: TapeCheck) -> list[str]:
    """Names of the spots along the right rail, from its front."""
    along: dict[str, float] = {}
    for line in check.lines:
        for spot in (line.start, line.end):
            if spot.hand == "right":
                along[spot.name] = float(spot.at[0])
    return sorted(along, key=lambda name: along[name])


def _crossed(names: Sequence[str]) -> list[tuple[str, str, str]]:
    """The longest diagonals, and those between the outer feet where there are any."""
    outer = [(names[0], names[-1])] + ([(names[1], names[-2])] if len(names) > 3 else [])
    return [("diagonal", *pair) for pair in outer]


def _rows(
    frame: Frame, check: TapeCheck, letters: dict[str, str], wanted: Sequence[tuple[str, str, str]]
) -> list[Data]:
    """A row for each distance wanted, with how far its two twins come apart where one rail is ahead."""
    rows = []
    for kind, start, end in wanted:
        twins = [line for line in check.lines if line.kind == kind and {line.start.name, line.end.name} == {start, end}]
        rows.append(
            {
                "what": letters[start] if start == end else f"{letters[start]} to {letters[end]}",
                "distance": [plain(frame, twins[0].distance), tape(frame, twins[0].distance)],
                "apart": frame.say(_apart(twins)),
            }
        )
    return rows


def _apart(twins: Sequence[TapeLine]) -> float:
    shown = [line.skew_shows for line in twins]
    return max(shown) - min(shown)


def _sketch(rails: Sequence[RailPart], check: TapeCheck, letters: dict[str, str], width: float) -> Data:
    """Both rails from above, to scale, with the spots lettered and the diagonals drawn."""
    size = extent(rails, PLAN)
    room = width - 2 * _MARGIN
    scale = max(scale_to_fit(float(size[0]), room), scale_to_fit(float(size[1]), _TALLEST - 2 * _MARGIN))
    mm = scale * POINT
    picture = draw(rails, PLAN, line=_OUTLINE * mm)
    corner = np.array(picture.low) - _MARGIN * mm
    wide, high = np.subtract(picture.high, picture.low) / mm + 2 * _MARGIN

    def on_paper(spot: Spot) -> tuple[float, float]:
        x, y = (PLAN.flat(spot.at) * [1.0, -1.0] - corner) / mm
        return float(x), float(y)

    spots = {(spot.name, spot.hand): spot for line in check.lines for spot in (line.start, line.end)}
    middle = float(np.mean([on_paper(spot)[1] for spot in spots.values()]))
    labels = []
    for spot in spots.values():
        x, y = on_paper(spot)
        labels.append({"text": letters[spot.name], "x": x, "y": y + (11.0 if y > middle else -11.0), "away": 0.0})
    ends = [on_paper(spots[name, hand]) for name in (_spots(check)[0], _spots(check)[-1]) for hand in ("right", "left")]
    return {
        "picture": {SVG: svg(picture, width=float(wide) * POINT, margin=_MARGIN * mm, title="the pair from above")},
        "scale": words(scale),
        "width": float(wide),
        "height": float(high),
        "labels": labels,
        "spots": [on_paper(spot) for spot in spots.values()],
        "diagonals": [[ends[0], ends[3]], [ends[1], ends[2]]],
        "margin": MARGIN,
    }
