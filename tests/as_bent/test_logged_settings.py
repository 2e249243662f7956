"""A test bend that no tube can have made is not taken in."""

from math import radians
from pathlib import Path

import pytest

from railmodel.bending.bend_log import LoggedBend, read_bend_log
from railmodel.bending.bend_log_append import append_bend
from railmodel.errors import InputError

SAYS = "measured 15 degrees, less than half of the 61.6 set"


def test_a_bend_that_sprang_open_by_more_than_half_is_neither_written_nor_read(tmp_path: Path) -> None:
    """16.6 set and written down as 61.6; a tube gives back some degrees (common practice, no source)."""
    path = tmp_path / "bends.csv"
    bend = LoggedBend(die="hard 7", tube="main", set_angle=radians(61.6), measured_angle=radians(15))
    with pytest.raises(InputError, match=SAYS):
        append_bend(path, bend, "mm")
    assert not path.exists()
    path.write_text("die,tube,set_angle,measured_angle\nhard 7,main,61.6,15\nhard 7,main,16.6,15\nhard 7,main,5,1\n")
    read = read_bend_log(path, "mm")
    assert [one.line for one in read.bends] == [3, 4]  # a small one may give back most of it
    (finding,) = read.findings
    assert SAYS in finding.says
