"""Papers for tests: jobs that try them, and their PDF files read by PDFium, which is not what wrote them."""

import ctypes
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property, lru_cache
from pathlib import Path

import numpy as np
import pypdfium2 as pdfium
import pypdfium2.raw as raw
import zxingcpp

from exporters.sheets.bend_sheet import write_bend_sheets
from exporters.sheets.cut_list import write_cut_list
from exporters.sheets.inspection import write_inspection
from exporters.sheets.setup_card import write_setup_cards
from exporters.sheets.tape_sheet import write_tape_check
from railmodel.frame import Frame, build_frame
from railmodel.job.reader import read_job

_HYPHEN = "\ufffe"
"""What PDFium makes of a hyphen at the end of a line."""

DEMOS = Path(__file__).resolve().parents[1] / "demo_jobs"
HAULER = DEMOS / "hillside_hauler" / "hauler.yaml"
RACK = DEMOS / "hay_rack" / "hay_rack.yaml"
TRAILER = DEMOS / "lake_trailer" / "trailer.yaml"
CANNOT_BEND = DEMOS / "cannot_bend" / "cannot_bend.yaml"

WRITERS: dict[str, Callable[..., None]] = {
    "bend sheets": write_bend_sheets,
    "set-up cards": write_setup_cards,
    "cut list": write_cut_list,
    "tape check": write_tape_check,
    "inspection": write_inspection,
}

TEN_BENDS = f"""\
job: Ten bends of all kinds
revision: C
units: in
shop: {DEMOS / "shop.yaml"}
tubes:
  main: {{height: 3, width: 2, wall: 3/16, corner: 3/8, grade: A500-B, seam_on: wide}}
parts:
  - name: wandering rail
    tube: main
    hand: pair
    seam: inboard
    start: {{at: [0, 15, 20]}}
    path:
      - straight: 12
      - bend: {{toward: top, angle: 12, die: hard 10}}
      - straight: 8
      - bend: {{toward: bottom, angle: 12, die: hard 10}}
      - straight: 10
      - bend: {{toward: outboard, angle: 15, die: easy 5}}
      - straight: 7
      - bend: {{toward: inboard, angle: 15, die: easy 5}}
      - straight: 12
      - bend: {{toward: bottom, angle: 20, die: hard 7}}
      - straight: 8
      - bend: {{toward: top, angle: 20, die: hard 7}}
      - straight: 14
      - bend: {{toward: top, angle: 20, die: hard 7}}
      - straight: 8
      - bend: {{toward: bottom, angle: 20, die: hard 7}}
      - straight: 10
      - bend: {{toward: inboard, angle: 10, die: easy 5}}
      - straight: 8
      - bend: {{toward: outboard, angle: 10, die: easy 5}}
      - straight: 14
"""

BACKSLASH, QUOTES = "\\\\", '\\"'  # as YAML writes them between double quotes
NASTY = f"""#let a = {QUOTES}x{QUOTES}; {BACKSLASH} $e$ [*] */ // = h <b>1</b> &amp; `g` @r _u_ ~ --- שלום عرب 'q'"""
WIDE = "W" * 200
HOSTILE = f"""\
job: "{NASTY} {"0123456789 " * 9}end"
revision: "=1+1 #panic() <i>"
units: in
shop: {DEMOS / "shop.yaml"}
tubes:
  "=main #x": {{height: 3, width: 2, wall: 3/16, corner: 3/8, grade: "A500-B $y$ #z", seam_on: wide}}
  cross: {{height: 2, width: 2, wall: 1/8, corner: 1/4}}
parts:
  - name: "{WIDE}"
    tube: "=main #x"
    hand: pair
    seam: inboard
    points:
      - [-26, 15, 24]
      - {{at: [12, 15, 24], die: hard 7}}
      - {{at: [30, 15, 19], die: hard 7}}
      - [72, 15, 19]
  - name: "{NASTY}"
    tube: "=main #x"
    start: {{at: [132, 15, 25]}}
    path: [{{straight: 4}}, {{bend: {{toward: left, angle: 90, die: easy 5}}}}, {{straight: 20}}]
crossmembers:
  - {{name: "=cross {NASTY}", tube: cross, between: ["{WIDE}"], x: -14}}
fit_points:
  - {{name: "#mount {NASTY}", at: [60, 15, 22], to: {{part: "{WIDE}", face: top}}, gap: {{want: 1 1/2, within: 1/8}}}}
"""
NASTY_READ = NASTY.replace(QUOTES, '"').replace(BACKSLASH, "\\")


@lru_cache(maxsize=16)
def frame_at(path: Path) -> Frame:
    """The frame of a job file; the same one every time, so that its plan is worked out once."""
    return build_frame(read_job(path))


@dataclass(frozen=True)
class Letter:
    """One letter of a page: what it is, its size in points, its box (left, low, right, high), and its font."""

    text: str
    size: float
    box: tuple[float, float, float, float]
    font: str


@dataclass(frozen=True)
class Page:
    """One page as PDFium reads it."""

    page: pdfium.PdfPage

    @cached_property
    def letters(self) -> list[Letter]:
        """What is printed, blanks left out."""
        text, found = self.page.get_textpage(), []
        for i in range(text.count_chars()):
            character = chr(raw.FPDFText_GetUnicode(text.raw, i))
            if raw.FPDFText_IsGenerated(text.raw, i) or character.isspace() or character == "\u200b":
                continue
            name = ctypes.create_string_buffer(200)
            raw.FPDFText_GetFontInfo(text.raw, i, name, 200, None)
            size = raw.FPDFText_GetFontSize(text.raw, i)
            found.append(Letter(character, round(size, 2), text.get_charbox(i), name.value.decode()))
        return found

    @cached_property
    def text(self) -> str:
        """What it says, a space wherever there is one or the line ends."""
        said = self.page.get_textpage().get_text_range().replace("\u200b", "")
        return " ".join(said.replace(_HYPHEN, "-").split())

    @property
    def solid(self) -> str:
        """What it says without any space: proof against the ends of lines."""
        return self.text.replace(" ", "")

    @property
    def large(self) -> str:
        """Everything of 14 points and more, without spaces."""
        return "".join(letter.text for letter in self.letters if letter.size >= 14)

    @property
    def size(self) -> tuple[float, float]:
        """Width and height, points."""
        width, height = self.page.get_size()
        return width, height

    @property
    def fonts(self) -> dict[str, bool]:
        """Fonts used, and whether each is in the file."""
        found = {}
        for thing in self.page.get_objects([raw.FPDF_PAGEOBJ_TEXT]):
            font, name = raw.FPDFTextObj_GetFont(thing.raw), ctypes.create_string_buffer(200)
            raw.FPDFFont_GetBaseFontName(font, name, 200)
            found[name.value.decode()] = bool(raw.FPDFFont_GetIsEmbedded(font))
        return found

    @property
    def boxes(self) -> list[tuple[float, float]]:
        """Width and height of every line and area drawn, points."""
        paths = self.page.get_objects([raw.FPDF_PAGEOBJ_PATH])
        return [(right - left, high - low) for left, low, right, high in (path.get_bounds() for path in paths)]

    @property
    def links(self) -> int:
        """How many links, buttons and other annotations are on it."""
        return int(raw.FPDFPage_GetAnnotCount(self.page.raw))

    def codes(self) -> list[str]:
        """The texts of all bar and QR codes on the page, read off its picture."""
        picture = self.page.render(scale=300 / 72, grayscale=True).to_numpy()
        return [found.text for found in zxingcpp.read_barcodes(np.ascontiguousarray(picture.squeeze()))]


def pages_of(path: Path) -> list[Page]:
    """The pages of a PDF file."""
    document = pdfium.PdfDocument(path)
    return [Page(document[i]) for i in range(len(document))]


def job_of(folder: Path, text: str) -> Path:
    """Write a job of its own."""
    path = folder / "job.yaml"
    path.write_text(text, encoding="utf-8")
    return path


def written(name: str, job: Path, folder: Path, **options: object) -> list[Page]:
    """A paper of a job, written and read back."""
    path = folder / f"{name}.pdf"
    WRITERS[name](frame_at(job), path, **options)
    return pages_of(path)
