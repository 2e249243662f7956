"""Adding a test bend to the record, which only ever grows."""

import csv
from collections.abc import Iterable, Iterator
from io import StringIO
from math import degrees, isfinite, radians
from pathlib import Path
from typing import Final

from railmodel.bending.bend_log import (
    COLUMNS,
    FORMULA,
    LENGTHS,
    TEXTS,
    LoggedBend,
    contradiction,
    decode,
    read_header,
    split_lines,
)
from railmodel.errors import InputError
from railmodel.files import append_synced
from railmodel.units import Unit, quoted, to_unit

_LONGEST_TEXT: Final = 500


def append_bend(path: Path, bend: LoggedBend, unit: Unit) -> None:
    """Add one test bend at the end of a record; never touches what is there.

    A new record is made with its header. An existing one keeps its own columns and line ends, and a last line that
    lost its line end gets it back. The line goes out in a single append and is on disk when this returns.

    Args:
        path: the CSV file.
        bend: what was measured; `line` is not used.
        unit: the unit bare lengths are written in.

    Raises:
        InputError: a value that is not plausible, a column the record lacks, or a file that cannot be written.
    """
    problems = list(_problems(bend))
    if problems:
        raise InputError([f"test bend not recorded: {problem}" for problem in problems])
    try:
        content = path.read_bytes() if path.exists() else b""
        block = _block(path, content, _cells(bend, unit))
        written = append_synced(path, block)
    except OSError as error:
        raise InputError(
            f"{path}: the test bend was not recorded ({error.strerror or error}); make room or check the folder"
        ) from None
    if written != len(block):
        raise InputError(f"{path}: the disk is full; the last line is incomplete: make room and add the bend again")


def _block(path: Path, content: bytes, cells: dict[str, str]) -> bytes:
    # a line end if one is missing, the header if there is none, and the bend
    text = decode(content)
    first = next((line for line in split_lines(text) if line.strip()), None)
    if first is None:
        return _line(COLUMNS, "\n") + _line([cells.get(name, "") for name in COLUMNS], "\n")
    header = read_header(path, first)
    lost = [name for name, cell in cells.items() if cell and name not in header]
    if lost:
        raise InputError(
            f"{path} line 1: the record has no column {', '.join(lost)}; "
            "add it to the end of the first line, or leave the value out"
        )
    ending = "\r\n" if "\r\n" in text else "\n"
    missing = b"" if content.endswith((b"\n", b"\r")) else ending.encode()
    return missing + _line([cells.get(name, "") for name in header], ending)


def _line(cells: Iterable[str], ending: str) -> bytes:
    out = StringIO()
    csv.writer(out, lineterminator=ending).writerow(cells)
    return out.getvalue().encode()


def _cells(bend: LoggedBend, unit: Unit) -> dict[str, str]:
    cells = {name: _guarded(str(getattr(bend, name) or "")) for name in TEXTS}
    cells |= {name: f"{degrees(getattr(bend, name)):.12g}" for name in ("set_angle", "measured_angle")}
    for name in LENGTHS:
        value = getattr(bend, name)
        cells[name] = "" if value is None else f"{to_unit(value, unit):.12g}"
    return cells


def _guarded(text: str) -> str:
    return "'" + text if text.startswith(FORMULA) else text


def _problems(bend: LoggedBend) -> Iterator[str]:
    for name in TEXTS:
        text = str(getattr(bend, name) or "")
        if not text.isprintable() or len(text) > _LONGEST_TEXT:
            yield f"{name} is {quoted(text)}; allowed: one line of plain text up to {_LONGEST_TEXT} letters"
        elif text != text.strip() or text.startswith("'"):
            yield f"{name} is {quoted(text)}; leave out blanks and apostrophes in front and blanks behind"
        elif name in ("die", "tube") and not text:
            yield f"{name} is empty; write the name the shop file uses"
    angles = (("set_angle", bend.set_angle), ("measured_angle", bend.measured_angle))
    wrong = [name for name, value in angles if not (isfinite(value) and 0 < value <= radians(180) + 1e-12)]
    for name in wrong:
        yield f"{name} is {degrees(getattr(bend, name)):g}; allowed: degrees above 0 and up to 180"
    for name in LENGTHS:
        value = getattr(bend, name)
        if value is not None and not 0 < value < 1e5:
            yield f"{name} is {value:g} mm; allowed: a length above 0 and below 100 m"
    clash = None if wrong else contradiction(bend)
    if clash:
        yield clash
