"""What a bent part is laid against when it is fitted: an end of it, or one of its straights."""

from collections.abc import Sequence
from dataclasses import dataclass

from railmodel.errors import InputError
from railmodel.geometry.centreline import Centreline
from railmodel.part import RailPart
from railmodel.sureness.screws import Place

MAIN = "main"
BEST = "best fit"


@dataclass(frozen=True, slots=True)
class Datum:
    """A datum for every part, or for one.

    Args:
        where: "front", "rear", "main" (the longest straight), "straight 2" counted from the leading end, or "best fit".
        part: name of the part it is for; None for all.
    """

    where: str
    part: str | None = None


def parse_datum(text: str, names: Sequence[str]) -> Datum:
    """A datum as written: `main`, `front`, `rear`, `straight 2`, or one of these behind the name of a part and a dot.

    Raises:
        InputError: anything else.
    """
    given = " ".join(text.split())
    part, dot, where = given.rpartition(".")
    part, where = part.strip(), where.strip().lower()
    word, _, number = where.partition(" ")
    right = where in ("front", "rear", MAIN, BEST) or (word == "straight" and number.isascii() and number.isdigit())
    if not right:
        raise InputError(
            f'--datum: found "{text}"; allowed: main (the longest straight), front, rear, best fit, or a straight by '
            'its number from the leading end such as "straight 2"; for one part alone, "side rail.straight 2"'
        )
    if dot and part not in names:
        from railmodel.job.fields import not_among  # only when something is wrong

        raise InputError(f"--datum: {not_among(part, names)}")
    return Datum(f"straight {int(number)}" if word == "straight" else where, part or None)


def datum_for(part: RailPart, data: Sequence[Datum]) -> Datum:
    """The datum of a part: the last that names it, else the last that names none, else its main straight."""
    own = [one for one in data if one.part == part.name] or [one for one in data if one.part is None]
    return own[-1] if own else Datum(MAIN)


def datum_place(part: RailPart, datum: Datum) -> tuple[Place, str]:
    """Where on a part, read from its leading end, the datum lies, and in words.

    A straight is laid with its middle where it belongs, along its direction and with its top face up. A tube that is
    laid as well as it fits is held by its main straight where nothing else holds it.

    Raises:
        InputError: the part has no straight of that number.
    """
    line = part.read.line
    last = 2 * line.rows.count
    if datum.where in ("front", "rear"):
        leads = datum.where == part.leading_end
        return (Place(0, 0.0) if leads else Place(last, 1.0)), f"its {datum.where} end"
    number = main_straight(line) if datum.where in (MAIN, BEST) else int(datum.where.split()[1])
    if not 0 <= number <= line.rows.count:
        raise InputError(
            f"--datum: {part.name} has no straight {number}; allowed: straight 0 to straight {line.rows.count}, "
            "counted from its leading end"
        )
    longest = ", its longest" if datum.where == MAIN and line.rows.count else ""
    return Place(2 * number, 0.5), f"the middle of straight {number}{longest}"


def main_straight(line: Centreline) -> int:
    """Number of the longest straight; the first of several."""
    straights = [straight.length for straight in line.straights]
    return max(range(len(straights)), key=lambda number: straights[number])
