"""The rates that a quote is made from, read from the shop's file; what is missing is named and nothing is guessed."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from railmodel.errors import InputError
from railmodel.job.fields import not_among
from railmodel.job.freight import MOST_MONEY
from railmodel.job.shop import Shop
from railmodel.units import quoted

NEEDED: dict[str, str] = {
    "currency": "how money is called, such as USD",
    "hour": "money for an hour at the bench",
    "layout_hours": "hours of engineering and layout for a job",
    "test_bends": "test bends made for each die set a job uses",
    "test_bend_hours": "hours for one test bend",
    "bend_hours": "hours for one bend",
    "cut_hours": "hours for one saw cut, deburred",
    "inspect_hours": "hours to inspect one part",
    "crate_hours": "hours to pack a crate",
    "crate_material": "money for a crate's timber and straps",
    "margin": "per cent put on the cost",
    "tax": "per cent put on the price",
    "valid_days": "days that an offer holds",
}
"""Every rate that a quote needs."""

FOR_PLATES: dict[str, str] = {
    "plate_kg": "money for a kilogram of plate",
    "plate_cut_metre": "money for a metre of cut in plate",
}
"""Needed where the job has plates."""

WORDS: dict[str, str] = {
    "lead_time": "when it would be ready, in words",
    "terms": "terms of payment, in words",
}
"""Printed where given."""

_MOST: dict[str, float] = {
    "layout_hours": 10_000.0, "test_bends": 1000, "test_bend_hours": 1000, "bend_hours": 1000, "cut_hours": 1000,
    "inspect_hours": 1000, "crate_hours": 1000, "margin": 1000, "tax": 100, "valid_days": 3650,
}  # fmt: skip
"""Rates that cannot be larger than this; others are money."""

_LONGEST = {"currency": 12, "lead_time": 200, "terms": 500}
"""Letters."""


@dataclass(frozen=True, slots=True)
class Rates:
    """A shop's rates.

    Args:
        numbers: by name, as `NEEDED` and `FOR_PLATES` describe them; margin and tax in per cent.
        words: by name: the currency, and whatever of `WORDS` the shop gives.
    """

    numbers: Mapping[str, float]
    words: Mapping[str, str]

    def __getitem__(self, name: str) -> float:
        return self.numbers[name]

    @property
    def currency(self) -> str:
        """How money is called."""
        return self.words["currency"]


def read_rates(shop: Shop, name: str, *, plates: bool) -> Rates:
    """The rates of a shop.

    Args:
        shop: the shop.
        name: of its file, for messages.
        plates: whether the job has plates.

    Raises:
        InputError: rates that are missing, not numbers, or below 0, and names that are not known.
    """
    needed = NEEDED | FOR_PLATES if plates else NEEDED
    problems = list(_problems(shop.rates, needed, name))
    if problems:
        raise InputError(problems)
    numbers = {key: value for key, value in shop.rates.items() if isinstance(value, float)}
    words = {key: value for key, value in shop.rates.items() if isinstance(value, str)}
    return Rates(numbers, words)


def _problems(given: Mapping[str, float | str], needed: Mapping[str, str], name: str) -> Iterator[str]:
    known: Sequence[str] = [*NEEDED, *FOR_PLATES, *WORDS]
    for key in given:
        if key not in known:
            yield f"{name}: rates {quoted(key)}: {not_among(key, known)}"
    for key, what in needed.items():
        if key not in given:
            yield f"{name}: rates: {key} is missing; add {key}: {what}"
    for key, value in given.items():
        if key not in known:
            continue
        most = _MOST.get(key, MOST_MONEY)
        if key in WORDS or key == "currency":
            if not isinstance(value, str):
                yield f"{name}: rates {key}: found {value:g}; allowed: words"
            elif not (value.strip() and value.isprintable() and len(value) <= _LONGEST[key]):
                allowed = f"one line of words, 1 to {_LONGEST[key]} letters"
                yield f"{name}: rates {key}: found {quoted(value)}; allowed: {allowed}"
        elif not isinstance(value, float):
            yield f"{name}: rates {key}: found {quoted(value)}; allowed: a number, {(NEEDED | FOR_PLATES)[key]}"
        elif not 0 <= value <= most:
            yield f"{name}: rates {key}: found {value:g}; allowed: from 0 to {most:.0f}, {(NEEDED | FOR_PLATES)[key]}"
        elif key == "test_bends" and value != int(value):
            yield f"{name}: rates {key}: found {value:g}; allowed: a whole number"
