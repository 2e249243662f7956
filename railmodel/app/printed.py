"""How things are printed for a person: a console and plain tables."""

import sys
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable

    from rich.console import Console
    from rich.table import Table

PLAIN_WIDTH = 120
"""Columns where the output is no terminal."""


def printer() -> "Console":
    """A console that never breaks words of the job into markup or colour."""
    from rich.console import Console

    return Console(highlight=False, width=None if sys.stdout.isatty() else PLAIN_WIDTH)


def text_of(show: "Callable[[Console], object]") -> str:
    """What a function prints on a console, as plain text."""
    from io import StringIO

    from rich.console import Console

    out = StringIO()
    show(Console(file=out, highlight=False, width=PLAIN_WIDTH))
    return "\n".join(line.rstrip() for line in out.getvalue().splitlines()) + "\n"


def grid(*columns: str) -> "Table":
    """A plain table with the given headings."""
    from rich import box
    from rich.table import Table

    table = Table(box=box.SIMPLE_HEAD)
    for column in columns:
        table.add_column(column)
    return table
