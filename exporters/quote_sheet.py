"""The shop's own quote as a spreadsheet whose sums work: change a count or a rate and the total follows."""

from datetime import datetime, time
from pathlib import Path
from typing import Any

from railmodel.files import replacing
from railmodel.frame import Frame
from railmodel.loading.quote import NOT_OURS, Line, Quote

INTERNAL = "Internal: cost split, not for the customer"

_CLOCK = time(12)  # the file says the quote's day; of the clock nothing, so that it is the same bytes on each writing

HEADS = ("line", "count", "each", "quantity", "unit", "rate", "amount", "rests on")


def write_quote_sheet(frame: Frame, quote: Quote, path: Path) -> None:
    """Write the quote as an XLSX file, whole or not at all; text is written as text, never as a formula."""
    import xlsxwriter

    with replacing(path) as temporary, xlsxwriter.Workbook(str(temporary), {"in_memory": True}) as book:
        book.set_properties({"title": f"Quote {frame.job.job}", "comments": INTERNAL, "created": _made(quote)})
        bold = book.add_format({"bold": True})
        head = book.add_format({"bold": True, "bottom": 1})
        money = book.add_format({"num_format": "#,##0.00"})
        strong = book.add_format({"num_format": "#,##0.00", "bold": True, "top": 1})
        sheet = book.add_worksheet("quote")
        sheet.set_column(0, 0, 28)
        sheet.set_column(1, 6, 11)
        sheet.set_column(7, 7, 46)
        sheet.set_landscape()
        sheet.fit_to_pages(1, 0)
        sheet.write_string("A1", f"{frame.job.job}, revision {frame.job.revision or '-'}", bold)
        sheet.write_string("A2", INTERNAL, bold)
        for row, (name, value) in enumerate(
            (("hour", quote.rates["hour"]), ("margin, per cent", quote.rates["margin"]),
             ("tax, per cent", quote.rates["tax"])), start=3,
        ):  # fmt: skip
            sheet.write_string(row, 0, name)
            sheet.write_number(row, 1, value, money)
        sheet.write_string("A7", "currency")
        sheet.write_string("B7", quote.rates.currency)
        sheet.write_string("A8", "holds until")
        sheet.write_string("B8", quote.holds_until.isoformat())
        for column, name in enumerate(HEADS):
            sheet.write_string(9, column, name, head)
        for row, line in enumerate(quote.lines, start=10):
            _line(sheet, row, line, money)
        last = 10 + len(quote.lines)
        _totals(sheet, last, quote, strong)
        sheet.merge_range(last + 6, 0, last + 6, len(HEADS) - 1, "", book.add_format({"text_wrap": True}))
        sheet.write_string(last + 6, 0, NOT_OURS, book.add_format({"text_wrap": True, "valign": "top"}))
        sheet.set_row(last + 6, 32)


def _made(quote: Quote) -> datetime:
    return datetime.combine(quote.made, _CLOCK)


def _line(sheet: Any, row: int, line: Line, money: Any) -> None:
    number = row + 1
    sheet.write_string(row, 0, line.what)
    sheet.write_number(row, 1, line.count)
    sheet.write_number(row, 2, line.each)
    sheet.write_formula(row, 3, f"=B{number}*C{number}", None, line.quantity)
    sheet.write_string(row, 4, line.unit)
    if line.unit == "h":
        sheet.write_formula(row, 5, "=$B$4", money, line.rate)
    else:
        sheet.write_number(row, 5, line.rate, money)
    sheet.write_formula(row, 6, f"=ROUND(D{number}*F{number},2)", money, line.amount)
    sheet.write_string(row, 7, line.note)


def _totals(sheet: Any, row: int, quote: Quote, strong: Any) -> None:
    first = row + 1
    for step, (name, formula, value) in enumerate(
        (
            ("cost", f"=SUM(G11:G{row})", quote.cost),
            ("margin", f"=ROUND(G{first}*$B$5/100,2)", quote.margin),
            ("price", f"=G{first}+G{first + 1}", quote.price),
            ("tax", f"=ROUND(G{first + 2}*$B$6/100,2)", quote.tax),
            ("total", f"=G{first + 2}+G{first + 3}", quote.total),
        )
    ):
        sheet.write_string(row + step, 0, name, strong)
        sheet.write_formula(row + step, 6, formula, strong, value)
