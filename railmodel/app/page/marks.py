"""Lengths on the marks that the shop's tape has."""

from railmodel.job.reader import JobFile
from railmodel.units import format_tape

DEFAULT_STEP = 16
"""Marks to the inch where the job names no shop."""


def tape_step(source: JobFile) -> int:
    """Marks to the inch."""
    return DEFAULT_STEP if source.shop is None else source.shop.tape_step


def snap(source: JobFile) -> float:
    """The distance between two marks: a fraction of an inch, or a millimetre; mm."""
    return 25.4 / tape_step(source) if source.job.units == "in" else 1.0


def as_marked(mm: float, source: JobFile) -> str:
    """A length on the nearest mark, as it is written in a job file."""
    if source.job.units == "in":
        return format_tape(mm, tape_step(source)).rstrip('"')
    return f"{round(mm)}"
