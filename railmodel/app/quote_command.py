"""`railmodel quote`: the cost line by line for the shop, and the customer's offer without it."""

import json
from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from railmodel.app.finding_lines import finding_lines
from railmodel.app.names import file_stem
from railmodel.checks import run_checks
from railmodel.errors import InputError
from railmodel.files import writable_folder, write_whole
from railmodel.frame import Frame, build_frame
from railmodel.job.reader import read_job
from railmodel.loading.quote import NOT_OURS, Quote, quote
from railmodel.units import quoted, to_unit

if TYPE_CHECKING:
    from rich.console import Console

Answer = dict[str, Any]


def made_on(text: str | None) -> date:
    """The day of a quote: today, or the one asked for.

    Raises:
        InputError: text that is no date.
    """
    if text is None:
        return date.today()
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise InputError(f"--date: found {quoted(text)}; allowed: a date such as 2031-02-28") from None


def quote_answer(frame: Frame, found: Quote) -> Answer:
    """The whole quote as plain data; `offer` is all of it that the customer sees."""
    return {
        "job": frame.job.job,
        "revision": frame.job.revision or "",
        "currency": found.rates.currency,
        "made": found.made.isoformat(),
        "holds_until": found.holds_until.isoformat(),
        "internal": {
            "lines": [
                {
                    "group": line.group, "what": line.what, "count": line.count, "each": line.each,
                    "quantity": line.quantity, "unit": line.unit, "rate": line.rate, "amount": line.amount,
                    "rests_on": line.note,
                }
                for line in found.lines
            ],
            "cost": found.cost,
            "margin_per_cent": found.rates["margin"],
            "margin": found.margin,
        },
        "offer": {
            "frame": found.frame,
            "packing_and_freight": found.sending,
            "price": found.price,
            "tax_per_cent": found.rates["tax"],
            "tax": found.tax,
            "total": found.total,
            "not_ours": NOT_OURS,
            "crate": {
                "size": [to_unit(value, frame.unit) for value in found.crate.size], "unit": frame.unit,
                "mass_kg": found.crate.mass,
                "class": None if found.crate.row is None else found.crate.row.name,
            },
        },
    }  # fmt: skip


def run_quote(job: Path, *, as_json: bool, out: Path | None, day: str | None) -> tuple[int, list[str]]:
    """Quote a job and write its files.

    Args:
        job: the job file.
        as_json: print JSON.
        out: folder for the offer and the shop's own sheet; None = only print.
        day: the day it is made; None = today.

    Returns:
        Exit status and lines for standard error: 1 and what stops the job, where something does.

    Raises:
        InputError: anything missing that the quote needs, or a folder that cannot be written to.
    """
    import typer

    made = made_on(day)
    frame = build_frame(read_job(job))
    stopping = [finding for finding in run_checks(frame) if finding.level == "stop"]
    if stopping:
        return 1, [*finding_lines(stopping), "no quote: first put right what stops the job"]
    found = quote(frame, made)
    written = [] if out is None else _write(frame, found, out)
    if as_json:
        typer.echo(json.dumps(quote_answer(frame, found), indent=2, ensure_ascii=False, allow_nan=False))
    else:
        from railmodel.app.printed import printer

        show_quote(frame, found, printer())
        for path in written:
            typer.echo(str(path))
    return 0, []


def _write(frame: Frame, found: Quote, out: Path) -> Sequence[Path]:
    from exporters.quote_sheet import write_quote_sheet
    from exporters.sheets.offer import write_offer

    writable_folder(out)
    stem = file_stem(frame.job.job, "job")
    paper, sheet, data = (out / f"{stem}_{end}" for end in ("offer.pdf", "internal_quote.xlsx", "internal_quote.json"))
    write_offer(frame, found, paper)
    write_quote_sheet(frame, found, sheet)
    write_whole(data, json.dumps(quote_answer(frame, found), indent=2, ensure_ascii=False, allow_nan=False) + "\n")
    return [paper, sheet, data]


def show_quote(frame: Frame, found: Quote, console: "Console") -> None:
    """Print the shop's own quote."""
    from rich.text import Text

    from railmodel.app.printed import grid

    currency = found.rates.currency
    console.print(Text(f"{frame.job.job}, revision {frame.job.revision or '-'}: quote, internal", style="bold"))
    table = grid("line", "quantity", "rate", f"amount, {currency}", "rests on")
    for line in found.lines:
        cells = (line.what, f"{line.quantity:.3g} {line.unit}", f"{line.rate:.2f}", f"{line.amount:,.2f}", line.note)
        table.add_row(*(Text(cell) for cell in cells))
    console.print(table)
    for name, amount in (
        ("cost", found.cost), (f"margin {found.rates['margin']:g} %", found.margin), ("price", found.price),
        (f"tax {found.rates['tax']:g} %", found.tax), ("total", found.total),
    ):  # fmt: skip
        console.print(Text(f"{name:>14}  {amount:>12,.2f} {currency}"))
    console.print(Text(f"Holds until {found.holds_until.isoformat()}."))
    console.print(Text(NOT_OURS))
