"""Scales of drawings on paper: the usual ones, the largest that fits."""

from exporters.sheets.words import POINT

_USUAL = (1.0, 2.0, 2.5, 5.0, 10.0, 15.0, 20.0, 25.0, 30.0, 40.0, 50.0, 60.0, 75.0)


def scale_to_fit(size: float, room: float) -> float:
    """How many times smaller than life a drawing must be, so that a size (mm) fits into some room (points).

    >>> scale_to_fit(4000.0, 540.0)
    25.0
    """
    least, times = size / (room * POINT), 1.0
    while True:
        for usual in _USUAL:
            if usual * times >= least:
                return usual * times
        times *= 10


def words(scale: float) -> str:
    """A scale as drawings state it.

    >>> words(25.0), words(2.5)
    ('1:25', '1:2.5')
    """
    return f"1:{scale:g}"
