"""Nothing of the shop's own cost is in what the customer is given; the shop's files say what they are and add up.

Read with readers that are not the writers: pdfium, openpyxl, and the files' own bytes.
"""

import json
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import openpyxl
import pypdfium2 as pdfium
import pytest
from commands import DEMOS, HAULER, TRAILER, run
from sheet_sums import Sums

JOBS = [HAULER, TRAILER, DEMOS / "hay_rack" / "hay_rack.yaml"]
OWN_WORDS = ("margin", "internal", "per hour", "set-up", "layout", "stick", "left over", "test bend", "rests on")


class Quoted:
    """One quote with its files."""

    def __init__(self, job: Path, folder: Path) -> None:
        ran = run("quote", job, "--out", folder, "--date", "2031-02-28")
        assert (ran.status, ran.err) == (0, "")
        self.paper, self.sheet, self.data = (
            next(folder.glob(f"*{end}")) for end in ("offer.pdf", "internal_quote.xlsx", "internal_quote.json")
        )
        self.answer: dict[str, Any] = json.loads(self.data.read_text(encoding="utf-8"))

    def secrets(self) -> set[float]:
        """Amounts that only the shop knows."""
        own, told = self.answer["internal"], self.answer["offer"]
        amounts = {own["cost"], own["margin"], *(line["amount"] for line in own["lines"])}
        return amounts - {told[name] for name in ("frame", "packing_and_freight", "price", "tax", "total")} - {0.0}


@pytest.fixture(scope="module", params=JOBS, ids=lambda job: job.stem)
def quoted(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Quoted:
    return Quoted(request.param, tmp_path_factory.mktemp("out"))


def leaves(value: Any) -> Iterator[Any]:
    if isinstance(value, dict):
        for key, item in value.items():
            yield key
            yield from leaves(item)
    elif isinstance(value, list):
        for item in value:
            yield from leaves(item)
    else:
        yield value


def test_the_offers_text_and_properties_hold_nothing_of_the_split(quoted: Quoted) -> None:
    document = pdfium.PdfDocument(quoted.paper)
    assert document.count_attachments() == 0
    text = " ".join(page.get_textpage().get_text_bounded() for page in document)
    told = f"{text} {' '.join(document.get_metadata_dict().values())}".lower()
    raw = quoted.paper.read_bytes()
    for word in OWN_WORDS:
        assert word not in told
    assert b"margin" not in raw.lower()
    for amount in quoted.secrets():
        assert f" {amount:,.2f} " not in told.replace("\r\n", " ")
        assert f"{amount:.2f}".encode() not in raw
    assert b"/JavaScript" not in raw
    assert b"/EmbeddedFile" not in raw
    assert f"{quoted.answer['offer']['total']:,.2f}" in text


def test_the_offer_as_data_holds_nothing_of_the_split(quoted: Quoted) -> None:
    found = list(leaves(quoted.answer["offer"]))
    words = " ".join(str(value) for value in found).lower()
    for word in OWN_WORDS:
        assert word not in words
    assert not quoted.secrets() & {value for value in found if isinstance(value, float)}
    assert "licensed engineer" in quoted.answer["offer"]["not_ours"]


def test_files_with_the_split_say_that_they_are_the_shops_own(quoted: Quoted) -> None:
    assert "internal" in quoted.sheet.name
    assert "internal" in quoted.data.name
    assert "internal" not in quoted.paper.name
    book = openpyxl.load_workbook(quoted.sheet)
    assert "not for the customer" in str(book["quote"]["A2"].value)
    assert "not for the customer" in str(book.properties.description)


def test_the_sheet_hides_nothing(quoted: Quoted) -> None:
    book = openpyxl.load_workbook(quoted.sheet)
    assert book.sheetnames == ["quote"]
    (sheet,) = book.worksheets
    assert sheet.sheet_state == "visible"
    assert not book.defined_names
    assert not [row for row, size in sheet.row_dimensions.items() if size.hidden]
    assert not [column for column, size in sheet.column_dimensions.items() if size.hidden]
    assert not [cell for row in sheet.iter_rows() for cell in row if cell.comment]
    with zipfile.ZipFile(quoted.sheet) as packed:
        names = packed.namelist()
    for word in ("externalLink", "vbaProject", "comments", "customXml", "connections"):
        assert not [name for name in names if word in name]


def test_the_sheets_formulas_give_what_the_data_says(quoted: Quoted) -> None:
    sums = Sums(openpyxl.load_workbook(quoted.sheet)["quote"])
    own, told = quoted.answer["internal"], quoted.answer["offer"]
    for line in own["lines"]:
        row = sums.row(line["what"])
        for column, name in (("D", "quantity"), ("G", "amount")):
            assert sums.cells[f"{column}{row}"].startswith("=")
            assert sums.value(f"{column}{row}") == pytest.approx(line[name], abs=1e-9)
        assert sums.value(f"F{row}") == line["rate"]
    for name, amount in (("cost", own["cost"]), ("margin", own["margin"]), ("price", told["price"]),
                         ("tax", told["tax"]), ("total", told["total"])):  # fmt: skip
        assert sums.cells[f"G{sums.row(name)}"].startswith("=")
        assert sums.value(f"G{sums.row(name)}") == pytest.approx(amount, abs=1e-9)
    said = [str(value) for value in sums.cells.values()]
    assert any("licensed engineer" in words for words in said)
