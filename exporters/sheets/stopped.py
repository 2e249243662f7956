"""What must not be cut, and what to look at first."""

from collections.abc import Sequence
from dataclasses import dataclass

from exporters.sheets.words import NO_HAND
from railmodel.findings import Finding, Level
from railmodel.frame import Frame
from railmodel.part import RailPart


@dataclass(frozen=True, slots=True)
class Unbuilt:
    """A part of the job that makes no shape: its name, its hand in words, and why not, a sentence each."""

    name: str
    hand: str
    reasons: list[str]


def found_by(frame: Frame, findings: Sequence[Finding] | None) -> Sequence[Finding]:
    """The findings given; where none are, those of the checks."""
    if findings is not None:
        return findings
    from railmodel.checks import run_checks

    return run_checks(frame)


def stops_of(part: RailPart, findings: Sequence[Finding]) -> list[str]:
    """What stops a part, a sentence each; what stops the job as a whole stops all of its parts."""
    return [*_said(part, findings, "stop"), *_of_the_job(findings, "stop")]


def warnings_of(part: RailPart, findings: Sequence[Finding]) -> list[str]:
    """What to look at before a part is cut, a sentence each, without the part's name in front."""
    said = _said(part, findings, "warn")
    return [says.removeprefix(part.label).removeprefix(":").strip() for says in said]


def stopped_labels(frame: Frame, findings: Sequence[Finding]) -> set[str]:
    """Labels of the parts that must not be cut."""
    return {part.label for part in frame.parts if stops_of(part, findings)}


def unbuilt(frame: Frame) -> list[Unbuilt]:
    """The parts that make no shape, in the job's order."""
    found: dict[str, Unbuilt] = {}
    for fault in frame.faults:
        name = fault.part or frame.job.job
        pair = any(part.name == name and part.hand == "pair" for part in frame.job.parts)
        found.setdefault(name, Unbuilt(name, "both hands" if pair else NO_HAND, [])).reasons.append(fault.says)
    return list(found.values())


def _said(part: RailPart, findings: Sequence[Finding], level: Level) -> list[str]:
    own = [f for f in findings if f.level == level and f.part == part.name and f.hand in (None, part.hand)]
    return list(dict.fromkeys(finding.says for finding in own))


def _of_the_job(findings: Sequence[Finding], level: Level) -> list[str]:
    return list(dict.fromkeys(f.says for f in findings if f.level == level and f.part is None))
