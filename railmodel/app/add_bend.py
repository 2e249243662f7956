"""Adding a test bend from the command line."""

from datetime import date as day
from math import radians
from pathlib import Path

from railmodel.app.calibrate import die_of
from railmodel.bending.bend_log import LoggedBend
from railmodel.bending.bend_log_append import append_bend
from railmodel.errors import InputError
from railmodel.job.shop import Shop
from railmodel.units import LengthError, Unit, parse_length


def add_bend(
    shop: Shop,
    record: Path,
    *,
    die: str | None,
    tube: str | None,
    set_angle: float | None,
    measured: float | None,
    tube_used: str | None,
    wall: str | None,
    grade: str,
    heat: str,
    date: str | None,
    note: str,
) -> str:
    """Append one test bend to the shop's record; angles in degrees, lengths as read on a tape.

    Returns:
        One sentence that says what was done.

    Raises:
        InputError: something is missing or not plausible.
    """
    given = {"--die": die, "--tube": tube, "--set": set_angle, "--measured": measured}
    missing = [name for name, value in given.items() if value is None]
    if missing or die is None or tube is None or set_angle is None or measured is None:
        raise InputError(f"--add: a test bend needs {', '.join(missing)}; nothing was recorded")
    bend = LoggedBend(
        die=die,
        tube=tube,
        set_angle=radians(set_angle),
        measured_angle=radians(measured),
        date=date or day.today().isoformat(),
        wall=_length("--wall", wall, shop.units),
        grade=grade,
        heat=heat,
        tube_used=_length("--tube-used", tube_used, shop.units),
        note=note,
    )
    append_bend(record, bend, shop.units)
    warning = "" if die_of(shop, die) else f"; note that the shop file lists no die {die!r}"
    return f"{record}: test bend of die {die} added{warning}"


def _length(option: str, text: str | None, unit: Unit) -> float | None:
    if text is None:
        return None
    try:
        return parse_length(text, unit)
    except LengthError as error:
        raise InputError(f"{option}: {error}; nothing was recorded") from None
