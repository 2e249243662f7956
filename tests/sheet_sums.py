"""Spreadsheet formulas worked out by a reader that is not the writer."""

import re
from typing import Any


class Sums:
    """A small reader of spreadsheet formulas: products, sums, SUM over a column, ROUND to two places."""

    def __init__(self, sheet: Any) -> None:
        every = [cell for row in sheet.iter_rows() for cell in row]
        self.cells = {cell.coordinate: cell.value for cell in every if cell.value is not None}

    def value(self, name: str) -> Any:
        held = self.cells[name]
        if not (isinstance(held, str) and held.startswith("=")):
            return held
        text = re.sub(r"SUM\(([A-Z])(\d+):\1(\d+)\)", self._sum, held[1:].replace("$", ""))
        text = re.sub(r"\b[A-Z]\d+\b", lambda found: repr(float(self.value(found[0]))), text)
        assert re.fullmatch(r"[-+*/(),.\deROUND]*", text), text
        return eval(text.replace("ROUND", "_round"), {"_round": half_up})

    def _sum(self, found: re.Match[str]) -> str:
        column, first, last = found[1], int(found[2]), int(found[3])
        return f"({'+'.join(f'{column}{row}' for row in range(first, last + 1))})"

    def row(self, name: str) -> int:
        return next(int(at[1:]) for at, held in self.cells.items() if at[0] == "A" and held == name)


def half_up(value: float, places: float) -> float:
    """Half away from zero, as spreadsheets round, of a value whose digits beyond the ninth are noise."""
    scaled = round(abs(value) * 10**places, 6)
    whole = int(scaled) + (1 if scaled - int(scaled) >= 0.5 else 0)
    return (whole if value >= 0 else -whole) / 10**places
