"""One kind of finding for every check."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

Level = Literal["stop", "warn", "note"]
"""stop: do not cut; warn: look before you cut; note: good to know."""

_ORDER: dict[Level, int] = {"stop": 0, "warn": 1, "note": 2}


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """What one check has to say.

    Args:
        rule: name of the rule, one or two plain words.
        level: "stop", "warn" or "note".
        says: one sentence a builder can act on.
        part: part name, where it belongs to one.
        hand: "left", "right" or "single".
        bend: bend number counted from the leading end.
        where: (x, y, z) in vehicle axes, mm.
        found: the number found, in `unit`: lengths mm, angles radians; converted at the edges.
        needs: the number needed, likewise.
        unit: "length", "angle" or "" for a plain number.
    """

    rule: str
    level: Level
    says: str
    part: str | None = None
    hand: str | None = None
    bend: int | None = None
    where: tuple[float, float, float] | None = None
    found: float | None = None
    needs: float | None = None
    unit: Literal["length", "angle", ""] = ""


def worst_first(findings: Iterable[Finding]) -> list[Finding]:
    """Findings sorted by level, otherwise in the order they were made."""
    return sorted(findings, key=lambda finding: _ORDER[finding.level])


def stops(findings: Iterable[Finding]) -> bool:
    """Whether any finding stops the job."""
    return any(finding.level == "stop" for finding in findings)
