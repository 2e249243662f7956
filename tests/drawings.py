"""Frame drawings for tests, each made once however many tests look at it."""

from functools import cache
from pathlib import Path

from papers import CANNOT_BEND, frame_at

from exporters.drawing.sheets import Drawing, make_drawing


@cache
def drawing(job: Path) -> Drawing:
    """The drawing of a job; one that cannot be bent is stopped."""
    return make_drawing(frame_at(job), ["the rail is wrong"] if job == CANNOT_BEND else [])
