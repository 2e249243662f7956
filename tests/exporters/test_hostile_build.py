"""Every file that a build writes, solids left out, of a job whose names try to be something else than text."""

import csv
import json
import xml.etree.ElementTree as ET
from pathlib import Path
from zipfile import ZipFile

import ezdxf
import pyogrio
import pytest
from openpyxl import load_workbook
from papers import HOSTILE, NASTY_READ, WIDE, frame_at, job_of, pages_of

from railmodel.app.build import plan_build, run_build
from railmodel.checks import run_checks

PLATES = """\
plates:
  - name: "=plate <script>alert(1)</script> 'q' #x שלום"
    thickness: 1/4
    grade: "=1+1 <b>"
    size: [3, 2]
    holes: [{at: [1, 1], diameter: 1/2}]
    place: {at: [60, 16, 18], normal: [0, 1, 0]}
    mirror: true
templates: {beyond: 6}
nesting: {sheet: [48, 24], gap: 1/4, edge: 1/2}
"""


@pytest.fixture(scope="module", params=["R2010", "R12"])
def built(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder; the second time only what the version of DXF changes."""
    folder = tmp_path_factory.mktemp("hostile")
    frame = frame_at(job_of(folder, HOSTILE + PLATES))
    steps = [
        step for step in plan_build(frame, run_checks(frame), dxf=request.param)
        if step.path.suffix == ".dxf" or (step.path.suffix != ".step" and request.param == "R2010")
    ]  # fmt: skip
    out = folder / "out"
    assert [outcome.problem for outcome in run_build(steps, out) if outcome.problem] == []
    return out


def files(built: Path, ending: str) -> list[Path]:
    return sorted(built.rglob(f"*.{ending}"))


def test_names_of_files_are_plain(built: Path) -> None:
    for path in built.rglob("*"):
        assert path.name.replace("_", "").replace(".", "").isalnum()
        assert path.name.isascii()
        assert len(path.name) < 120


def test_every_dxf_is_sound_and_gdal_reads_its_text(built: Path) -> None:
    found = files(built, "dxf")
    assert len(found) >= 8
    for path in found:
        document = ezdxf.readfile(path)
        audit = document.audit()
        assert (audit.errors, audit.fixes) == ([], [])
        assert {layer.dxf.name for layer in document.layers}.isdisjoint({"=1+1", NASTY_READ})
        info, _, _, columns = pyogrio.raw.read(path)
        read = columns[list(info["fields"]).index("Text")]
        said = "".join("".join(text.split()) for text in read if text)
        spaces = [document.modelspace(), *(layout for layout in document.layouts if layout.name != "Model")]
        own = "".join("".join(text.plain_text().split()) for space in spaces for text in space.query("TEXT"))
        assert "<b>1</b>" in said + own  # part of the job's name, on every drawing


def test_tables_hold_no_formula(built: Path) -> None:
    for path in files(built, "csv"):
        for row in csv.reader(path.read_text(encoding="utf-8-sig").splitlines()):
            for cell in row:
                assert cell[:1] not in ("=", "+", "@", "\t"), cell
                assert not cell.startswith("-") or float(cell) <= 0
    for path in files(built, "xlsx"):
        cells = [cell for sheet in load_workbook(path) for row in sheet.iter_rows() for cell in row]
        assert all(cell.data_type != "f" for cell in cells)
        assert all(cell.hyperlink is None for cell in cells)
        with ZipFile(path) as inside:
            assert not any("external" in name.lower() or "vba" in name.lower() for name in inside.namelist())


def test_pictures_and_answers_are_well_formed(built: Path) -> None:
    for path in files(built, "svg"):
        tags = {element.tag.rpartition("}")[2] for element in ET.parse(path).iter()}
        assert tags <= {"svg", "title", "g", "polygon", "path", "text", "circle", "rect", "line", "polyline", "tspan"}
    for path in files(built, "json"):
        json.loads(path.read_text(encoding="utf-8"))


def test_papers_have_their_fonts_and_no_way_out(built: Path) -> None:
    for path in files(built, "pdf"):
        pages = pages_of(path)
        assert pages
        for page in pages:
            assert page.fonts
            assert all(page.fonts.values())
            assert page.links == 0
        content = path.read_bytes()
        for name in (b"/URI", b"/JavaScript", b"/JS", b"/Launch", b"/EmbeddedFile", b"/OpenAction", b"/AA"):
            assert name not in content
        said = "".join(page.solid for page in pages)
        assert NASTY_READ[:16].replace(" ", "") in said
    if files(built, "pdf"):
        assert len(files(built, "pdf")) == 6
        sheets = "".join(page.solid for page in pages_of(built / "floor" / "bend_sheets.pdf"))
        assert WIDE in sheets
        assert "=plate<script>alert(1)</script>'q'#x" in sheets  # where the plate stands on the rail


def test_plain_texts_hold_no_control_characters(built: Path) -> None:
    for path in files(built, "txt"):
        said = path.read_text(encoding="utf-8")
        assert not [letter for letter in said if ord(letter) < 32 and letter != "\n"]
