"""The shop's sheet adds up by another reader's sums, and the customer's offer shows the price and not the split."""

from dataclasses import replace
from datetime import date
from functools import cache
from pathlib import Path
from time import sleep
from typing import Any

import openpyxl
import pypdfium2 as pdfium
import pytest
from commands import DEMOS, HAULER, TRAILER
from papers import TEN_BENDS
from sheet_sums import Sums

from exporters.quote_sheet import INTERNAL, write_quote_sheet
from exporters.sheets.offer import money, write_offer
from railmodel.frame import Frame, build_frame
from railmodel.job.reader import read_job
from railmodel.loading.quote import Quote, quote

DAY = date(2031, 2, 28)
RACK = DEMOS / "hay_rack" / "hay_rack.yaml"


@cache
def frame_of(path: Path) -> Frame:
    return build_frame(read_job(path))


def sheet_of(frame: Frame, found: Quote, folder: Path) -> Any:
    path = folder / "quote.xlsx"
    write_quote_sheet(frame, found, path)
    return openpyxl.load_workbook(path)["quote"]


@pytest.mark.parametrize("path", [HAULER, TRAILER, RACK])
def test_the_sheets_own_sums_give_the_quote(path: Path, tmp_path: Path) -> None:
    frame = frame_of(path)
    found = quote(frame, DAY)
    sums = Sums(sheet_of(frame, found, tmp_path))
    for name in ("cost", "margin", "price", "tax", "total"):
        assert sums.cells[f"G{sums.row(name)}"].startswith("=")
        assert sums.value(f"G{sums.row(name)}") == pytest.approx(getattr(found, name), abs=1e-9)
    for line in found.lines:
        assert sums.value(f"G{sums.row(line.what)}") == line.amount
    cached = openpyxl.load_workbook(tmp_path / "quote.xlsx", data_only=True)["quote"]
    assert cached[f"G{sums.row('total')}"].value == found.total


def test_a_changed_rate_changes_the_total_as_a_new_quote_would(tmp_path: Path) -> None:
    frame = frame_of(HAULER)
    assert frame.shop is not None
    sums = Sums(sheet_of(frame, quote(frame, DAY), tmp_path))
    dear = frame.shop.rates | {"hour": 117.31, "margin": 33.0, "tax": 8.25}
    again = quote(replace(frame, source=replace(frame.source, shop=frame.shop.model_copy(update={"rates": dear}))), DAY)
    sums.cells |= {"B4": 117.31, "B5": 33.0, "B6": 8.25}
    assert sums.value(f"G{sums.row('total')}") == pytest.approx(again.total, abs=1e-9)
    bends = sums.row("bending")
    sums.cells[f"B{bends}"] = 2 * sums.cells[f"B{bends}"]
    assert sums.value(f"G{sums.row('total')}") > again.total


def test_words_in_the_sheet_are_never_formulas(tmp_path: Path) -> None:
    frame = frame_of(HAULER)
    job = frame.job.model_copy(update={"job": "=1+1"})
    frame = replace(frame, source=replace(frame.source, job=job))
    sheet = sheet_of(frame, quote(frame, DAY), tmp_path)
    assert sheet["A1"].data_type == "s"
    assert sheet["A2"].value == INTERNAL


def text_of(path: Path) -> tuple[int, str]:
    document = pdfium.PdfDocument(path)
    pages = [page.get_textpage().get_text_bounded() for page in document]
    return len(pages), " ".join(" ".join(pages).replace("\ufffe", "-").split())


@pytest.mark.parametrize("path", [HAULER, TRAILER, RACK])
def test_the_offer_is_one_page_with_the_price_and_without_the_split(path: Path, tmp_path: Path) -> None:
    frame = frame_of(path)
    found = quote(frame, DAY)
    write_offer(frame, found, tmp_path / "offer.pdf")
    count, text = text_of(tmp_path / "offer.pdf")
    assert count == 1
    assert f"{money(found.total)} {found.rates.currency}" in text
    assert found.holds_until.isoformat() in text
    assert "licensed engineer" in text
    for part in frame.parts:
        assert part.name in text
    for word in ("margin", "hour", "set-up", "bending", "layout", "stick", "internal", "cost"):
        assert word not in text.lower()
    totals = {money(value) for value in (found.frame, found.sending, found.tax, found.total)}
    for line in found.lines:
        if money(line.amount) not in totals:
            assert f" {money(line.amount)} " not in text
    assert money(found.margin) not in text
    assert money(found.cost) not in text


def test_the_same_offer_on_the_same_day_is_the_same_file(tmp_path: Path) -> None:
    frame = frame_of(HAULER)
    for name in ("one.pdf", "two.pdf"):
        write_offer(frame, quote(frame, DAY), tmp_path / name)
    assert (tmp_path / "one.pdf").read_bytes() == (tmp_path / "two.pdf").read_bytes()


def test_the_sheet_of_the_same_day_is_the_same_bytes_whenever_it_is_written(tmp_path: Path) -> None:
    frame = frame_of(HAULER)
    for name in ("one.xlsx", "two.xlsx"):
        write_quote_sheet(frame, quote(frame, DAY), tmp_path / name)
        sleep(1.1)  # the kind of file keeps time in whole seconds
    assert (tmp_path / "one.xlsx").read_bytes() == (tmp_path / "two.xlsx").read_bytes()
    assert openpyxl.load_workbook(tmp_path / "one.xlsx").properties.created.date() == DAY


def test_a_job_of_many_parts_and_long_names_still_is_one_page(tmp_path: Path) -> None:
    extra = "".join(
        f"  - {{name: {i} {'long name of a spare ' * 9}, tube: main, points: [[{i}, 0, 60], [{40 + i}, 0, 60]]}}\n"
        for i in range(30)
    )
    path = tmp_path / "job.yaml"
    text = TEN_BENDS.rstrip("\n") + "\n"
    head, parts = text.split("parts:\n", 1)
    head = head.replace("grade: A500-B", f"grade: {'A500-B or better ' * 9}")
    head = head.replace("job: Ten bends of all kinds", f"job: {'Ten bends of all kinds ' * 8}")
    path.write_text(f"{head}customer: {'A very long name of a customer, ' * 6}\nparts:\n{extra}{parts}")
    frame = build_frame(read_job(path))
    write_offer(frame, quote(frame, DAY), tmp_path / "offer.pdf", paper="a4")
    count, text = text_of(tmp_path / "offer.pdf")
    assert count == 1
    assert "further parts" in text
