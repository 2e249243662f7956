"""What a draft of measurements tells, by the functions of `railmodel measured` and `railmodel correct`."""

import re
from base64 import b64encode
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np

from railmodel.app.page.bench_draft import Draft, Entries, data_of, tree_of
from railmodel.app.page.bench_parts import bent_only, first_of, suggestions
from railmodel.app.page.mesh_bank import pack, part_mesh
from railmodel.app.piece_answer import NEXT, correct_answer, measured_answer
from railmodel.app.piece_command import changes, laid
from railmodel.app.piece_words import (
    NEXT_HEADS,
    REST_HEADS,
    next_notes,
    next_rows,
    rest_notes,
    rest_rows,
    shape_rows,
)
from railmodel.as_bent.align import rigid
from railmodel.as_bent.deviations import Laying
from railmodel.as_bent.piece import Piece, measure_next, read_piece
from railmodel.as_bent.spots import where
from railmodel.as_bent.words import deviation_words, set_unsaid
from railmodel.errors import GeometryError, InputError, Loc
from railmodel.findings import Finding
from railmodel.frame import Frame
from railmodel.geometry.centreline import Centreline, Pose
from railmodel.job.yaml_tree import Tree

Answer = dict[str, Any]

MEASURED = ("legs", "angles", "turns", "distances", "table")

ROUNDS = 60
"""Lines that cannot be read are left aside one after another; no more than so many."""

TIMES = (1, 10)
"""How many times as far off as it is a piece may be drawn."""


def piece_from(frame: Frame, tree: Tree) -> Piece:
    """The piece of a record, read as the command line reads it.

    Raises:
        InputError: it does not read, or is no record of this job.
    """
    with TemporaryDirectory(prefix="railmodel-") as folder:
        path = Path(folder) / tree.name
        path.write_text(tree.text, encoding="utf-8", newline="")
        return read_piece(frame, path)


def look(frame: Frame, draft: Draft, name: str, base: Tree | None, times: int) -> Answer:
    """Everything the page shows of a draft.

    Args:
        frame: the job.
        draft: as typed; what cannot be read of it is named and left aside.
        name: of its file.
        base: the file it was opened from.
        times: how many times as far off the piece is drawn.

    Raises:
        InputError: it is no draft.
    """
    problems: list[Answer] = []
    without: set[Loc] = set()
    for _ in range(ROUNDS):
        data, entries = data_of(draft, without)
        known = _first(frame, data)
        if not any(section in data for section in MEASURED):
            return {"empty": True, "problems": problems, "first": known, "problem": None}
        try:
            tree = tree_of(data, name, base)
            piece = piece_from(frame, tree)
        except InputError as error:
            found = placed(error, name, entries, base, data)
            fresh = [one for one in found if one["at"] is not None and _away(one["at"]) not in without]
            problems += found if fresh else []
            if not fresh:
                return {"empty": True, "problems": problems, "first": known, "problem": "; ".join(error.problems)}
            without |= {_away(one["at"]) for one in fresh}
            continue
        return {"empty": False, "problems": problems, "first": known, "problem": None,
                **_told(piece, tree, entries, times)}  # fmt: skip
    return {"empty": True, "problems": problems, "first": [], "problem": "too much of it cannot be read"}


def whole(frame: Frame, draft: Draft, name: str, base: Tree | None) -> tuple[Tree, Piece]:
    """The file of a draft, and its piece.

    Raises:
        InputError: anything in it cannot be read, each with its place in the draft.
    """
    data, entries = data_of(draft)
    tree = tree_of(data, name, base)
    try:
        return tree, piece_from(frame, tree)
    except InputError as error:
        found = placed(error, name, entries, base, data)
        fields = [(tuple(one["at"]), one["says"]) for one in found if one["at"] is not None]
        raise InputError([one["says"] for one in found], fields) from None


def placed(error: InputError, name: str, entries: Entries, base: Tree | None, data: dict[str, Any]) -> list[Answer]:
    """Problems of a record with their places in the draft it was typed in."""
    if error.fields:
        return [{"says": says, "at": _in_draft(loc, entries)} for loc, says in error.fields]
    lines = {}
    tree = tree_of(data, name, base)
    for loc in entries:
        line, column = tree.place(loc)
        lines[f"{name}:{line}:{column}: "] = loc
    found: list[Answer] = []
    for says in error.problems:
        start = next((start for start in lines if says.startswith(start)), None)
        if start is not None:
            tail = says.removeprefix(start)
            key = re.match(r"(from|to|place): ", tail)
            loc = (*lines[start], key[1]) if key else lines[start]
            found.append({"says": tail.removeprefix(key[0]) if key else tail, "at": _in_draft(loc, entries)})
            continue
        head = re.match(re.escape(name) + r": (\w+): ", says)
        tail = says.removeprefix(head[0] if head else f"{name}: ")
        found.append({"says": tail, "at": [head[1]] if head else None})
    return found


def _in_draft(loc: Loc, entries: Entries) -> list[str | int]:
    own = entries.get(loc[:2])
    return list(loc if own is None else (*own, *loc[2:]))


def _away(at: Sequence[str | int]) -> Loc:
    """What is left aside for a problem: an entry, a tool, or a key of the head."""
    return tuple(at[:2])


def _first(frame: Frame, data: dict[str, Any]) -> list[Answer]:
    """What to measure first; nothing where it is not known of which part."""
    part = _part_of(frame, data)
    if part is None:
        return []
    bent = int(data["bent"]) if str(data.get("bent", "")).isdecimal() else None
    count = part.line.rows.count
    made = None if bent is None or bent >= count else bent
    try:
        return first_of(frame, part, made, data.get("numbered_from", part.leading_end) != part.leading_end)
    except InputError:
        return []


def _part_of(frame: Frame, data: dict[str, Any]) -> Any:
    named = [one for one in frame.parts if one.line.rows.count and one.name == data.get("part")]
    return next((one for one in named if one.hand in (data.get("hand"), "single")), None)


def _told(piece: Piece, tree: Tree, entries: Entries, times: int) -> Answer:
    """Shape, deviations, corrections, in numbers and in words."""
    layings, findings = laid(piece)
    answer: Answer = {"measured": measured_answer(piece, layings, findings)}
    said: Answer = {"part": piece.part.label}
    try:
        following, rest = changes(piece)
    except InputError as error:
        answer["correct"], said["corrections"] = None, {"problem": error.problems[0]}
    else:
        answer["correct"] = correct_answer([piece], piece.findings, following=following, rest=rest, logged=None)
        said["corrections"] = _corrections(piece, following, rest)
    said["layings"] = [
        {"name": laying.name, "rms": piece.frame.say(laying.rms),
         "rows": [list(deviation_words(piece, one)) for one in laying.deviations]}
        for laying in reversed(layings)
    ]  # fmt: skip
    said["shape"] = [list(row) for row in shape_rows(piece)]
    said["spread"] = list(piece.sources)
    places = {f"{tree.name}:{line}:{column}": loc for loc in entries for line, column in [tree.place(loc)]}
    said["findings"] = [_finding(finding, places) for finding in findings]
    turned = (piece.record.numbered_from or piece.part.leading_end) != piece.part.leading_end
    said["next"] = suggestions(piece.frame, measure_next(piece, NEXT), piece.rail.columns.bends, turned)
    left_out = [] if piece.sifted is None else [one.at for one, _, _ in piece.sifted.dropped]
    said["left_out"] = [_in_draft(places[at], entries) for at in dict.fromkeys(left_out) if at in places]
    return {**answer, "said": said, "mesh": _mesh(piece, layings, times)}


def _corrections(piece: Piece, following: Any, rest: Any) -> Answer:
    if rest is not None:
        return {
            "problem": None, "title": f"What is left to do on this {piece.part.label}", "heads": list(REST_HEADS),
            "rows": [list(row) for row in rest_rows(piece, rest)], "notes": list(rest_notes(piece, rest)),
        }  # fmt: skip
    unsaid = set_unsaid([piece])
    return {
        "problem": None, "title": f"For the next {piece.part.label}", "heads": list(NEXT_HEADS),
        "rows": [list(row) for row in next_rows(piece, following)],
        "notes": [*([unsaid] if unsaid else []), *next_notes(piece, following)],
    }  # fmt: skip


def _finding(finding: Finding, places: dict[str, Loc]) -> Answer:
    """A finding without where its reading stands in the file: the page marks the field."""
    says = finding.says
    for start in places:
        says = says.removeprefix(f"{start}: ")
    return {"level": finding.level, "says": says}


def _mesh(piece: Piece, layings: Sequence[Laying], times: int) -> Answer | None:
    """The piece as bent, laid as well as it fits, as text; None where there is no shape."""
    if piece.sifted is None:
        return None
    solution = piece.sifted.solution
    fits = any(laying.name == "best fit" for laying in layings)
    for drawn in dict.fromkeys((times, 1)):
        try:
            part = bent_only(piece.part, piece.rail, solution.off * drawn)
            if fits:
                part = replace(part, line=_laid(piece, part.line))
            packed = pack(part_mesh(part))
        except (GeometryError, ArithmeticError):
            continue
        return {
            "id": f"bent {piece.part.label}", "part": piece.part.label, "times": drawn,
            "laid_on": "as well as it fits" if fits else f"on its {piece.part.leading_end} end",
            "points": b64encode(packed.points).decode(), "normals": b64encode(packed.normals).decode(),
            "triangles": b64encode(packed.triangles).decode(), "vertices": packed.vertices, "count": packed.count,
            "index": "uint32" if packed.wide else "uint16",
        }  # fmt: skip
    return None


def _laid(piece: Piece, line: Centreline) -> Centreline:
    """A line, written from the front end, laid on the places that matter as well as it fits."""
    read = line if piece.part.leading_end == "front" else line.reversed()
    chosen = piece.targets
    at = where(read, [one.spot for one in chosen])
    turn, shift = rigid(at, np.array([one.at for one in chosen]), np.array([one.weight for one in chosen]))
    start = line.start
    return Centreline(line.rows, Pose(turn @ start.at + shift, turn @ start.t, turn @ start.s, turn @ start.u))
