"""What the bender was set to for a piece, and whether that goes with what its protractor read. Radians."""

import hashlib
import re
from collections.abc import Iterator, Mapping, Sequence
from math import degrees, radians
from typing import Final

import numpy as np

from railmodel.as_bent.measured import Measured
from railmodel.as_bent.record import Record
from railmodel.as_bent.record_file import record_yaml
from railmodel.bending.bend_log import LoggedBend
from railmodel.bending.springback import Springback
from railmodel.bending.work import shop_work
from railmodel.frame import Frame
from railmodel.job.yaml_tree import Loc
from railmodel.part import RailPart
from railmodel.sureness.sensitivity import tool_key, tools_of

FAR: Final = radians(10)
"""A bend further than this from what it was set to, less springback, was set or read otherwise than written (common
practice, no source)."""

_NOTED: Final = ", record "
"""How the record of test bends notes from which record of measurements a line came."""

_DAY = re.compile(r"\d{4}-\d\d-\d\d")


def digest_of(record: Record) -> str:
    """A short name of what a record holds, whatever its file is called."""
    return hashlib.sha256(record_yaml(record).encode()).hexdigest()[:8]


def note_of(part: RailPart, index: int, record: Record) -> str:
    """What the record of test bends notes of a bend, counted from 0 at the leading end."""
    return f"{part.label} bend {index + 1}{_NOTED}{digest_of(record)}"


def logged_bends(frame: Frame, part: RailPart, record: Record) -> dict[int, LoggedBend]:
    """The lines of the record of test bends that came from a record of measurements, by bend as in `note_of`."""
    lines = {bend.note: bend for bend in shop_work(frame).log.bends if _NOTED in bend.note}
    if not lines:
        return {}
    notes = {i: note_of(part, i, record) for i in range(part.read.line.rows.count)}
    return {i: lines[note] for i, note in notes.items() if note in lines}


def index_of(part: RailPart, record: Record, bend: int) -> int:
    """A bend as a record counts it, counted from 0 at the leading end."""
    turned = (record.numbered_from or part.leading_end) != part.leading_end
    return part.read.line.rows.count - bend if turned else bend - 1


def at_odds(springback: Springback, set_angle: float, read: float) -> str | None:
    """Why a bend cannot have been set and read so, in words."""
    finished = springback.finished(set_angle)
    if abs(finished - read) <= FAR:
        return None
    return (
        f"{degrees(set_angle):.4g} degrees set, which less springback bends to {degrees(finished):.1f}, and the "
        f"protractor read {degrees(read):.1f}; expected: within {degrees(FAR):.0f} degrees of each other, so about "
        f"{degrees(springback.set_angle(read)):.1f} set; correct the one that is wrong"
    )


def read_by_protractor(taken: Sequence[Measured], index: int) -> float | None:
    """The mean of the readings of a bend's angle; None where there are none."""
    read = [one.value for one in taken if (one.kind, one.index) == ("angle", index)]
    return float(np.mean(read)) if read else None


def contrary(
    frame: Frame, part: RailPart, record: Record, places: Mapping[Loc, str], name: str, taken: Sequence[Measured]
) -> Iterator[str]:
    """Each bend that a record says was set otherwise than it can have been, a sentence each.

    Args:
        frame: the job.
        part: which part it is.
        record: what was measured.
        places: where every entry of the record stands in its file.
        name: what messages call the record.
        taken: the readings that count.
    """
    tools = tools_of(frame)
    for i, one in enumerate(record.set if isinstance(record.set, tuple) else ()):
        index = index_of(part, record, one.bend)
        read = read_by_protractor(taken, index)
        why = None if read is None else at_odds(tools[tool_key(part, index)].springback, one.angle, read)
        if why:
            yield f"{places.get(('set', i), name)}: set: bend {one.bend}: found {why}, or take it out of set:"


def sheet_has_changed(frame: Frame, part: RailPart, record: Record, bends: int) -> str | None:
    """That "as planned" may mean another bend sheet than today's, in words.

    Args:
        frame: the job.
        part: which part it is.
        record: what was measured.
        bends: bends made.
    """
    if record.set != "as planned":
        return None
    tools = tools_of(frame)
    unsaid = [tools[tool_key(part, i)] for i in set(range(bends)) - set(logged_bends(frame, part, record))]
    own = {(tool.name, tool.tube) for tool in unsaid}
    log = [bend for bend in shop_work(frame).log.bends if (bend.die, bend.tube) in own]
    day = record.date if record.date is not None and _DAY.fullmatch(record.date) else None
    since = sum(_later(bend, day) for bend in log)
    if not since:
        return None
    when = f"since {day}" if day else "by records of measurements"
    return (
        "set: as planned means today's bend sheet, and the record of test bends has grown by "
        f"{since} bend{'s' if since > 1 else ''} {when}, so it may have said otherwise when this was bent; write down "
        "the angles that were set instead, such as - {bend: 1, angle: 16.2}"
    )


def _later(bend: LoggedBend, day: str | None) -> bool:
    """Whether a line of the record of test bends came after a piece was bent, as far as the two tell."""
    measured = _NOTED in bend.note
    if day is None or not _DAY.fullmatch(bend.date):
        return measured
    return bend.date > day or (measured and bend.date == day)
