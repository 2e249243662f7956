"""Reading and writing a record of measurements: YAML, or lines of a spreadsheet saved as CSV."""

import codecs
import csv
from collections.abc import Mapping
from io import StringIO
from math import degrees
from pathlib import Path
from typing import Any, Final

from pydantic import ValidationError

from railmodel.as_bent.record import SECTIONS, Record
from railmodel.errors import InputError
from railmodel.job.fields import not_among
from railmodel.job.problems import SHOWN, from_validation, label, raise_problems
from railmodel.job.source import decoded, printable, read_bytes
from railmodel.job.yaml_tree import Loc, RawFloat, read_tree
from railmodel.units import Unit, quoted

LIMIT: Final = 200_000
"""Most bytes of a record."""

_NOTHING: Final = (b"", b"---", b"...", b"~", b"null", b"--- ~", b"--- null")
"""Lines that hold nothing."""

HEADS: Final = ("part", "hand", "of_job", "numbered_from", "units", "date", "heat", "measured_by", "note", "bent")
COLUMNS: Final = ("what", "at", "to", "reads", "sure_to", "x", "y", "z")
"""Columns of a spreadsheet. `what` is one of leg, angle, turn, distance, table, set, tool, weight, or a key of the
head such as part or hand, whose value then stands under `reads`. `at` says where ("straight 1", "bend 2", a place, a
fit point); `to` says to what (tangents or apexes, another place)."""


def read_record(path: Path, unit: Unit) -> tuple[Record, Mapping[Loc, str]]:
    """A record as read.

    Args:
        path: the file; one that ends in .csv is read as a spreadsheet, all else as YAML.
        unit: the job's, for bare lengths of a record that names none.

    Returns:
        The record, and for the place of every entry in it where it stands in the file: ("legs", 0): "rail.yaml:9:5".

    Raises:
        InputError: it cannot be read or is not valid, a sentence for every problem.
    """
    data = read_bytes(path, LIMIT)
    name = printable(path.name)
    return _from_csv(data, name, unit) if path.suffix.lower() == ".csv" else _from_yaml(data, name, unit)


def _from_yaml(data: bytes, name: str, unit: Unit) -> tuple[Record, Mapping[Loc, str]]:
    bare = [line.partition(b"#")[0].strip() for line in data.removeprefix(codecs.BOM_UTF8).splitlines()]
    if all(line in _NOTHING or line.startswith(b"%") for line in bare):
        raise InputError(
            f"{name}: the file is empty; a record of measurements starts with part: and holds legs, angles, turns, "
            "distances or table"
        )
    tree = read_tree(data, name)
    raw = tree.root.data
    if not isinstance(raw, dict):
        raise InputError(
            f"{name}:1:1: found no keys with values; allowed: part:, hand:, legs:, angles:, distances: ..."
        )
    try:
        record = Record.model_validate(raw, context={"units": raw.get("units") or unit})
    except ValidationError as error:
        raise_problems(tree, from_validation(error, Record))
        raise  # raise_problems has raised
    places: dict[Loc, str] = {}
    for section in dict.fromkeys(SECTIONS.values()):
        entries = raw.get(section)
        for i in range(len(entries) if isinstance(entries, list) else 0):
            line, column = tree.place((section, i))
            places[section, i] = f"{name}:{line}:{column}"
    return _filled(record, name), places


def _filled(record: Record, name: str) -> Record:
    if record.empty:
        raise InputError(
            f"{name}: holds no measurement; allowed: at least one of legs, angles, turns, distances, table"
        )
    return record


def _from_csv(data: bytes, name: str, unit: Unit) -> tuple[Record, Mapping[Loc, str]]:
    rows = list(csv.reader(StringIO(decoded(data, name), newline="")))
    at = next((i for i, row in enumerate(rows) if any(cell.strip() for cell in row)), None)
    if at is None:
        raise InputError(f"{name}: the file is empty; allowed: a first line {','.join(COLUMNS)} and lines below it")
    head = [cell.strip().lower().replace(" ", "_") for cell in rows[at]]
    unknown = [cell for cell in head if cell and cell not in COLUMNS]
    if "what" not in head or "reads" not in head or unknown:
        found = f"found {quoted(unknown[0])}" if unknown else "found no column what or reads"
        raise InputError(f"{name} line {at + 1}: {found}; allowed: the columns {', '.join(COLUMNS)}")
    raw: dict[str, Any] = {}
    lines: dict[Loc, int] = {}
    problems: list[str] = []
    for number, row in enumerate(rows[at + 1 :], at + 2):
        cells = {key: cell.strip() for key, cell in zip(head, row, strict=False) if key}
        if any(cells.values()):
            try:
                _take(cells, number, raw, lines)
            except ValueError as error:
                problems.append(f"{name} line {number}: {error}")
    try:
        record = Record.model_validate(raw, context={"units": raw.get("units") or unit})
    except ValidationError as error:
        for problem in from_validation(error, Record):
            line = lines.get(problem.loc[:2], lines.get(problem.loc[:1], at + 1))
            problems.append(f"{name} line {line}: {label(raw, problem.loc[2:])}{problem.says}")
        raise InputError(problems[:SHOWN]) from None
    if problems:
        raise InputError(problems[:SHOWN])
    return _filled(record, name), {loc: f"{name} line {line}" for loc, line in lines.items()}


def _take(cells: dict[str, str], number: int, raw: dict[str, Any], lines: dict[Loc, int]) -> None:
    """Put one line of a spreadsheet where it belongs.

    Raises:
        ValueError: a line that is nothing of a record.
    """
    what = cells.get("what", "").lower().replace(" ", "_")
    reads = cells.get("reads", "")
    if what in HEADS:
        if what in raw:
            raise ValueError(f"{what} stands twice; take one out")
        raw[what] = int(reads) if what == "bent" and reads.isdecimal() else reads
        lines[(what,)] = number
        return
    if what not in SECTIONS:
        raise ValueError(f"what: {not_among(what, [*SECTIONS, *HEADS])}")
    section = SECTIONS[what]
    if section in ("weights", "tools"):
        raw.setdefault(section, {})[cells.get("at", "")] = _number(reads)
        return
    if what == "set" and not cells.get("at"):
        raw[section] = reads
        return
    entry = _entry(what, cells, reads)
    if cells.get("sure_to"):
        entry["sure_to"] = _number(cells["sure_to"])
    entries = raw.setdefault(section, [])
    lines[section, len(entries)] = number
    entries.append(entry)


def _entry(what: str, cells: dict[str, str], reads: str) -> dict[str, Any]:
    at, to = cells.get("at", ""), cells.get("to", "")
    if what == "leg":
        return {"straight": _counted(at, "straight"), "between": to.lower() or "tangents", "reads": _number(reads)}
    if what == "distance":
        return {"from": at, "to": to, "reads": _number(reads)}
    if what == "table":
        return {"place": at, "at": [_number(cells[axis]) if cells.get(axis) else None for axis in "xyz"]}
    return {"bend": _counted(at, "bend"), ("angle" if what == "set" else "reads"): _number(reads)}


def _counted(cell: str, word: str) -> Any:
    """The number in "bend 2" or in "2"; anything else as it stands."""
    text = cell.lower().removeprefix(word).strip()
    return int(text) if text.isdecimal() else cell


def _number(cell: str) -> Any:
    """A plain number with how it was written; anything else as text."""
    text = cell.removesuffix("°").strip()
    try:
        found = RawFloat(text)
    except ValueError:
        return cell
    found.raw = text
    return found if text.replace("_", "") == text else cell


def record_csv(record: Record) -> str:
    """A record as a spreadsheet; every length carries its unit, mm, unless it stands as it was written."""
    out = StringIO()
    writer = csv.DictWriter(out, COLUMNS, lineterminator="\n")
    writer.writeheader()
    for key in HEADS:
        if (value := getattr(record, key)) is not None:
            writer.writerow({"what": key, "reads": value})
    for row in _rows(record):
        writer.writerow(row)
    return out.getvalue()


def _rows(record: Record) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = []
    for name, value in _tools(record).items():
        found.append({"what": "tool", "at": name, "reads": value})
    for leg in record.legs:
        base = {"what": "leg", "at": f"straight {leg.straight}", "to": leg.between, "sure_to": _mm(leg.sure_to)}
        found += [{**base, "reads": one.text} for one in leg.reads]
    for what, entries in (("angle", record.angles), ("turn", record.turns)):
        for entry in entries:
            base = {"what": what, "at": f"bend {entry.bend}", "sure_to": _deg(entry.sure_to)}
            found += [{**base, "reads": one.text} for one in entry.reads]
    for tape in record.distances:
        base = {"what": "distance", "at": tape.start, "to": tape.end, "sure_to": _mm(tape.sure_to)}
        found += [{**base, "reads": one.text} for one in tape.reads]
    for point in record.table:
        axes = {axis: one.text for axis, one in zip("xyz", point.at, strict=True) if one is not None}
        found.append({"what": "table", "at": point.place, "sure_to": _mm(point.sure_to), **axes})
    if record.set == "as planned":
        found.append({"what": "set", "reads": "as planned"})
    else:
        found += [{"what": "set", "at": f"bend {one.bend}", "reads": _deg(one.angle)} for one in record.set or ()]
    found += [{"what": "weight", "at": name, "reads": f"{weight:.12g}"} for name, weight in record.weights.items()]
    return found


def _tools(record: Record) -> dict[str, Any]:
    given = {key: getattr(record.tools, key) for key in ("tape", "protractor", "level", "grid")}
    return {key: _mm(value) if key in ("tape", "grid") else degrees(value) for key, value in given.items() if value}


def _mm(value: float | None) -> str:
    return "" if value is None else f"{value:.9g} mm"


def _deg(value: float | None) -> str:
    return "" if value is None else f"{degrees(value):.12g}"


def record_yaml(record: Record) -> str:
    """A record as YAML, read back to the same record."""
    from ruamel.yaml import YAML

    out = StringIO()
    yaml = YAML()
    yaml.default_flow_style = None
    yaml.width = 120
    yaml.dump(_plain(record), out)
    return out.getvalue()


def _plain(record: Record) -> dict[str, Any]:
    def reads(given: Any) -> Any:
        texts = [_scalar(one.text) for one in given]
        return texts[0] if len(texts) == 1 else texts

    def sure(entry: Any, shown: Any) -> dict[str, Any]:
        return {} if entry.sure_to is None else {"sure_to": shown(entry.sure_to)}

    found: dict[str, Any] = {key: getattr(record, key) for key in HEADS if getattr(record, key) is not None}
    found["tools"] = _tools(record)
    found["legs"] = [
        {"straight": one.straight, "between": one.between, "reads": reads(one.reads), **sure(one, _mm)}
        for one in record.legs
    ]
    for key, entries in (("angles", record.angles), ("turns", record.turns)):
        found[key] = [{"bend": one.bend, "reads": reads(one.reads), **sure(one, degrees)} for one in entries]
    found["distances"] = [
        {"from": one.start, "to": one.end, "reads": reads(one.reads), **sure(one, _mm)} for one in record.distances
    ]
    found["table"] = [
        {"place": one.place, "at": [None if a is None else _scalar(a.text) for a in one.at], **sure(one, _mm)}
        for one in record.table
    ]
    if record.set is not None:
        planned = record.set == "as planned"
        found["set"] = (
            record.set if planned else [{"bend": one.bend, "angle": degrees(one.angle)} for one in record.set]  # type: ignore[union-attr]
        )
    found["weights"] = dict(record.weights)
    return {key: value for key, value in found.items() if value not in ({}, [])}


def _scalar(text: str) -> Any:
    """A plain number where the text is one, so that it is not written in quotes; the same digits either way."""
    try:
        found = float(text)
    except ValueError:
        return text
    return int(text) if text.isdecimal() and str(int(text)) == text else found if repr(found) == text else text
