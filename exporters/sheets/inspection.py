"""The inspection record: what each part should measure, with blanks for what it does measure."""

from collections.abc import Sequence
from math import degrees
from pathlib import Path

import numpy as np

from exporters.sheets.measure_first import measure_first
from exporters.sheets.stopped import found_by, stops_of, unbuilt
from exporters.sheets.typeset import Data, typeset
from exporters.sheets.words import Paper, finished_angle, hand_of, head, paper_of, plain, section_words
from railmodel.bending.plan import PartPlan, plan_job
from railmodel.bending.set_angle import set_angle
from railmodel.files import write_whole
from railmodel.findings import Finding
from railmodel.frame import Frame
from railmodel.part import Bend, RailPart


def write_inspection(
    frame: Frame, path: Path, *, findings: Sequence[Finding] | None = None, paper: Paper | None = None
) -> None:
    """Write the inspection record of a job as a PDF file, whole or not at all; see `write_bend_sheets`."""
    write_whole(path, typeset("inspection", inspection(frame, findings, paper)))


def inspection(frame: Frame, findings: Sequence[Finding] | None = None, paper: Paper | None = None) -> Data:
    """What the record shows: a page for every bent part and hand, and one for all that are straight."""
    findings = found_by(frame, findings)
    parts = [part for part in plan_job(frame).parts if not stops_of(part.marks.reading.part, findings)]
    stopped = [part for part in frame.parts if stops_of(part, findings)]
    return {
        **head(frame, "Inspection record", paper_of(frame, paper)),
        "pages": [_page(frame, part) for part in parts if part.marks.bends],
        "straight": [_straight(frame, part) for part in parts if not part.marks.bends],
        "stopped": [part.label for part in stopped] + [part.name for part in unbuilt(frame)],
    }


def _page(frame: Frame, plan: PartPlan) -> Data:
    marks, reading = plan.marks, plan.marks.reading
    part, rows = reading.part, reading.line.rows
    bends = [
        {
            "n": marked.bend.number,
            "angle": finished_angle(marked.finished_angle),
            "set": set_angle(frame, marked.set_angle),
            "plane": f"{degrees(float(rows.rotation[i])):.0f}" if i else "",
            "toward": marked.bend.toward,
            "depth": plain(frame, part.depth_toward(marked.bend.toward)),
            "width": plain(frame, _across(part, marked.bend)),
        }
        for i, marked in enumerate(marks.bends)
    ]
    return {
        "part": part.name,
        "hand": hand_of(part),
        "tube": section_words(frame, part),
        "lead": f"{reading.end} end",
        "seam": "not given" if part.seam is None else f"on the {part.seam} face",
        "bends": bends,
        "lengths": _lengths(frame, plan),
        "first": measure_first(frame, part),
    }


def _across(part: RailPart, bend: Bend) -> float:
    """The section's size across the plane of a bend, mm."""
    size = part.section
    return size.width if bend.toward in ("top", "bottom") else size.height


def _lengths(frame: Frame, plan: PartPlan) -> list[Data]:
    """Straights between tangents, and how far apart the middles of the two ends lie."""
    line = plan.marks.reading.line
    count = line.rows.count
    names = ["leading end to bend 1", *(f"bend {i} to bend {i + 1}" for i in range(1, count)), f"bend {count} to tail"]
    found = [
        {"name": f"straight, {name}", "nominal": plain(frame, float(length))}
        for name, length in zip(names, line.rows.straights, strict=True)
    ]
    apart = float(np.linalg.norm(line.end.at - line.start.at))
    return [*found, {"name": "middle of one end to middle of the other", "nominal": plain(frame, apart)}]


def _straight(frame: Frame, plan: PartPlan) -> Data:
    part = plan.marks.reading.part
    ends = " and ".join(dict.fromkeys(cut.kind for cut in part.cuts or ())) or "square"
    return {"part": part.label, "nominal": plain(frame, plan.marks.cut_length), "ends": f"ends {ends}"}
