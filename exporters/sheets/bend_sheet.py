"""The bend sheet: a page for every part and hand, to be read at arm's length beside the bender."""

from collections.abc import Sequence
from itertools import groupby
from math import degrees
from pathlib import Path

from exporters.sheets.feet import places_on
from exporters.sheets.flat_view import Place, flat_view
from exporters.sheets.hands import Differences, differences
from exporters.sheets.part_view import part_views
from exporters.sheets.steps import sweep, turn_words
from exporters.sheets.stopped import Unbuilt, found_by, stops_of, unbuilt, warnings_of
from exporters.sheets.typeset import Data, typeset
from exporters.sheets.words import (
    Paper,
    adding_up,
    finished_angle,
    hand_of,
    head,
    listed,
    paper_of,
    plain,
    section_words,
    tape,
    width_of,
)
from railmodel.bending.mark_out import MarkedBend, MarkOut
from railmodel.bending.orders import STANDING
from railmodel.bending.plan import PartPlan, plan_job
from railmodel.bending.set_angle import set_angle
from railmodel.bending.work import shop_work
from railmodel.files import write_whole
from railmodel.findings import Finding
from railmodel.frame import Frame
from railmodel.tolerances import LENGTH

_MOST_PLACES = 24
"""Places listed on a page; what more there are stands on the flat layout."""


def write_bend_sheets(
    frame: Frame, path: Path, *, findings: Sequence[Finding] | None = None, paper: Paper | None = None
) -> None:
    """Write the bend sheets of a job as a PDF file, whole or not at all.

    Args:
        frame: the job.
        path: the file.
        findings: what the checks say of the job; left out, the checks are run.
        paper: size of the pages; left out, letter for jobs in inches and A4 for those in millimetres.
    """
    write_whole(path, typeset("bend_sheet", bend_sheets(frame, findings, paper)))


def bend_sheets(frame: Frame, findings: Sequence[Finding] | None = None, paper: Paper | None = None) -> Data:
    """What the bend sheets show, a page for every part and hand and for every part that makes no shape."""
    findings = found_by(frame, findings)
    paper, plan = paper_of(frame, paper), plan_job(frame)
    others = {part.marks.reading.part.label: part for part in plan.parts}
    pages = [_page(frame, part, _other_hand(part, others), findings, width_of(paper)) for part in plan.parts]
    return {
        **head(frame, "Bend sheet", paper),
        "standing": STANDING,
        "sense": shop_work(frame).sense,
        "pages": [*pages, *(_no_shape(part) for part in unbuilt(frame))],
    }


def _other_hand(part: PartPlan, others: dict[str, PartPlan]) -> PartPlan | None:
    own = part.marks.reading.part
    other = {"right": "left", "left": "right"}.get(own.hand)
    return None if other is None else others.get(f"{own.name} {other}")


def _page(
    frame: Frame, part: PartPlan, other: PartPlan | None, findings: Sequence[Finding], width: float
) -> Data:  # fmt: skip
    marks, rail = part.marks, part.marks.reading.part
    stops = stops_of(rail, findings)
    places = [] if stops else places_on(frame, marks)
    differ = None if other is None or stops else differences(part, other, lambda bend: _marked(frame, bend))
    many = len(marks.bends) > 6
    return {
        "part": rail.name,
        "hand": hand_of(rail),
        "stops": stops,
        "warnings": [*([] if stops else _untested(frame, part)), *warnings_of(rail, findings)],
        "tube": section_words(frame, rail),
        "lead": f"{marks.reading.end} end" if marks.bends else "-",
        "seam": _seam(part),
        "dies": _dies(frame, marks),
        "cut": [plain(frame, marks.cut_length), tape(frame, marks.cut_length)],
        "trims": _trims(frame, marks),
        "flat": None if stops else flat_view(frame, marks, places, width),
        "views": part_views(rail, width, *((52.0, 1) if many else (116.0, 2))) if marks.bends else [],
        "gauge": any(abs(bend.mark_at_gauge - bend.mark) > LENGTH for bend in marks.bends),
        "steps": [] if stops else _steps(frame, part, differ),
        "differs": None if differ is None else {"other": differ.other, "says": differ.says},
        "places": [_place(frame, place) for place in places[:_MOST_PLACES]],
        "more_places": max(len(places) - _MOST_PLACES, 0),
        "sum": _sum(frame, marks),
        "sweep": _sweep(frame, part),
        "ends": _ends(frame, part),
    }


def _no_shape(part: Unbuilt) -> Data:
    """A page for a part of which there is nothing but why."""
    return {"part": part.name, "hand": part.hand, "stops": part.reasons}


def _steps(frame: Frame, part: PartPlan, differ: Differences | None) -> list[Data]:
    found: list[Data] = []
    before = None
    for marked, order, tooling in zip(part.marks.bends, part.orders.bends, _tooling(frame, part.marks), strict=True):
        turn = turn_words(part, order)
        found.append(
            {
                "n": marked.bend.number,
                "turn": turn[:1].upper() + turn[1:],
                "change": f"Change to {tooling}." if found and tooling != before else "",
                "mark": [plain(frame, marked.mark), tape(frame, marked.mark)],
                "gauge": [plain(frame, marked.mark_at_gauge), tape(frame, marked.mark_at_gauge)],
                "face": order.face_on_die,
                "up": order.face_up,
                "set": set_angle(frame, marked.set_angle),
                "finished": finished_angle(marked.finished_angle),
                "differs": sorted(differ.cells.get(marked.bend.number, ())) if differ is not None else [],
            }
        )
        before = tooling
    return found


def _tooling(frame: Frame, marks: MarkOut) -> list[str]:
    """What each bend is made on, in words."""
    radii = marks.reading.line.rows.radius
    return [_tool_words(frame, bend.bend.die, float(radius)) for bend, radius in zip(marks.bends, radii, strict=True)]


def _tool_words(frame: Frame, die: str | None, radius: float) -> str:
    return f"radius {frame.say(radius)}" if die is None else f"die {die}"


def _untested(frame: Frame, plan: PartPlan) -> list[str]:
    """Which set angles do not come from test bends of their own die and tube, a sentence each way."""
    part, used = plan.marks.reading.part, set(_tooling(frame, plan.marks))
    untested: dict[str, list[str]] = {}
    for tool in shop_work(frame).tools:
        name = _tool_words(frame, tool.name, tool.radius)
        if tool.tube == part.tube and name in used:
            untested.setdefault(tool.springback.kind, []).append(name)
    said = {
        "estimate": "the set angles of {} are estimates: make test bends first",
        "none": "the springback of {} is not known and not in the set angles: make test bends first",
    }
    return [words.format(listed(untested[kind])) for kind, words in said.items() if kind in untested]


def _marked(frame: Frame, bend: MarkedBend) -> str:
    return f"{plain(frame, bend.mark)} at {set_angle(frame, bend.set_angle)} degrees"


def _seam(part: PartPlan) -> str:
    """Where the weld seam lies as the tube is loaded."""
    seam, rail = part.orders.seam_when_loaded, part.marks.reading.part
    return f"{seam} (ends up {rail.seam})" if seam else "not given" if rail.seam is None else f"on the {rail.seam} face"


def _dies(frame: Frame, marks: MarkOut) -> str:
    """The dies in the order they are put on."""
    names = [tooling.removeprefix("die ") for tooling in _tooling(frame, marks)]
    said = ", then ".join(name for name, _ in groupby(names)) or "none: nothing is bent"
    return said if all(bend.bend.die for bend in marks.bends) else f"{said}; no die named where a radius stands"


def _trims(frame: Frame, marks: MarkOut) -> str:
    given = [f"{frame.mark(trim)} at the {end}" for end, trim in marks.cut_off]
    return f"cut off after bending: {' and '.join(given)}" if given else "none"


def _sum(frame: Frame, marks: MarkOut) -> str:
    """The marks once more, added up another way."""
    if not marks.bends:
        return ""
    last, tail = marks.bends[-1], float(marks.reading.line.rows.tail)
    summands = [("last mark", last.mark), ("tube use", last.tube_use), ("tail", tail), ("tail trim", marks.trim_tail)]
    texts = adding_up(frame, [length for _, length in summands], marks.cut_length, 2)
    told = " + ".join(f"{name} {text}" for (name, length), text in zip(summands, texts, strict=True) if length > LENGTH)
    return f"{told} = {plain(frame, marks.cut_length)} {frame.unit}, the cut length"


def _sweep(frame: Frame, part: PartPlan) -> str:
    arc = sweep(part)
    if arc is None:
        return (
            "" if not part.marks.bends else "not worked out: the shop file does not describe the bender's surroundings"
        )
    return f"keep people out of {frame.say(arc.radius)} about the die axis, and of the tube's own lane"


def _place(frame: Frame, place: Place) -> Data:
    return {
        "letter": place.letter,
        "name": place.name,
        "face": place.face,
        "at": [plain(frame, place.at), tape(frame, place.at)],
        "about": place.about,
    }


def _ends(frame: Frame, part: PartPlan) -> list[str]:
    """How a crossmember's ends are cut."""
    words = []
    for end, cut in zip(("front", "rear"), part.marks.reading.part.cuts or (), strict=False):
        how = f"{end} end {cut.kind}, against {cut.rail}"
        if cut.kind != "square" and degrees(cut.angle) >= 0.005:
            how += f", {degrees(cut.angle):.2f} degrees off square"
        elif cut.gap > LENGTH:
            how += f", gap of {frame.say(cut.gap)} at one side"
        words.append(how)
    return words
