"""Findings as lines to read."""

from collections.abc import Iterable, Iterator

from railmodel.findings import Finding

MARKS = {"stop": "STOP", "warn": "WARN", "note": "note"}


def finding_lines(findings: Iterable[Finding]) -> Iterator[str]:
    """Findings as lines, one a finding; what is said of both hands of a pair in the same words is said once."""
    said: dict[str, list[Finding]] = {}
    for finding in findings:
        words = finding.says
        if finding.part and finding.hand in ("left", "right"):
            words = words.replace(f"{finding.part} {finding.hand}: ", f"{finding.part}: ", 1)
        said.setdefault(f"{MARKS[finding.level]:<5} {finding.rule}: {words}", []).append(finding)
    for line, same in said.items():
        hands = [finding.hand for finding in same if finding.hand in ("left", "right")]
        which = f" ({' and '.join(dict.fromkeys(str(hand) for hand in hands))} hand)" if hands else ""
        yield line + which
