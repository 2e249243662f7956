"""What holds for every paper: whole, readable, on the page, inert whatever the job says, the same every time."""

import subprocess
import sys
import tomllib
from collections.abc import Sequence
from fnmatch import fnmatch
from pathlib import Path

import numpy as np
import pytest
from commands import ROOT, environment
from papers import (
    CANNOT_BEND,
    HAULER,
    HOSTILE,
    NASTY_READ,
    RACK,
    TEN_BENDS,
    TRAILER,
    WIDE,
    WRITERS,
    Letter,
    Page,
    frame_at,
    job_of,
    written,
)
from pypdfium2 import raw

from exporters.sheets.typeset import TEMPLATES, inert
from railmodel.bending.cautions import FIRST, NO_CERTIFICATE
from railmodel.fingerprint import fingerprint, short

LETTER, A4 = (612.0, 792.0), (595.276, 841.89)
"""Points: 8 1/2 x 11 in (ANSI/ASME Y14.1, size A) and 210 x 297 mm (ISO 216, A4)."""
EDGE = 18.0
"""A quarter of an inch, which any printer leaves white."""


@pytest.fixture(scope="module", params=["hauler", "rack", "trailer", "cannot bend", "ten bends", "hostile"])
def job(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    own = {"ten bends": TEN_BENDS, "hostile": HOSTILE}
    if request.param in own:
        return job_of(tmp_path_factory.mktemp("job"), own[request.param])
    return {"hauler": HAULER, "rack": RACK, "trailer": TRAILER, "cannot bend": CANNOT_BEND}[request.param]


@pytest.mark.parametrize("paper", WRITERS)
def test_every_page_is_whole_numbered_marked_and_has_nothing_over_its_edge_or_over_itself(
    paper: str, job: Path, tmp_path: Path
) -> None:
    frame = frame_at(job)
    pages = written(paper, job, tmp_path)
    assert pages
    for number, page in enumerate(pages, start=1):
        assert page.size == pytest.approx(LETTER if frame.unit == "in" else A4, abs=0.01)
        assert f"page {number} of {len(pages)}" in page.text
        assert f"fingerprint {short(fingerprint(frame))}" in page.text
        assert NO_CERTIFICATE in page.text
        assert page.fonts
        assert all(page.fonts.values()), page.fonts
        assert page.links == 0
        width, height = page.size
        out = [letter for letter in page.letters if not inside(letter, width, height)]
        assert out == []
        assert printed_over(page.letters) == []


def inside(letter: Letter, width: float, height: float) -> bool:
    left, low, right, high = letter.box
    return left >= EDGE and low >= EDGE and right <= width - EDGE and high <= height - EDGE


def printed_over(letters: Sequence[Letter]) -> list[tuple[str, str]]:
    """Letters of which one covers most of another."""
    box = np.array([letter.box for letter in letters])
    size = np.prod(np.maximum(box[:, 2:] - box[:, :2], 1e-6), axis=1)
    found = []
    for i in range(len(letters)):
        common = np.minimum(box[i, 2:], box[i + 1 :, 2:]) - np.maximum(box[i, :2], box[i + 1 :, :2])
        share = np.prod(np.maximum(common, 0.0), axis=1) / np.minimum(size[i], size[i + 1 :])
        found += [(letters[i].text, letters[i + 1 + k].text) for k in np.flatnonzero(share > 0.5)]
    return [pair for pair in found if not any("\u0590" <= text <= "\u06ff" for text in pair)]  # marks under letters


@pytest.mark.parametrize("paper", WRITERS)
def test_a_job_text_is_shown_as_it_is_and_never_read_as_markup(paper: str, tmp_path: Path) -> None:
    job = job_of(tmp_path, HOSTILE)
    said = "".join(page.solid for page in written(paper, job, tmp_path))
    for part in ['#leta="x";', "\\$e$[*]*///=h<b>1</b>&amp;`g`@r_u_~---"]:
        assert part in said
    assert "=1+1#panic()<i>" in said
    if paper != "set-up cards":
        assert WIDE in said
    if paper in ("bend sheets", "cut list", "inspection"):
        assert NASTY_READ.replace(" ", "").split("שלום")[0] in said
    content = (tmp_path / f"{paper}.pdf").read_bytes()
    for name in (b"/URI", b"/JavaScript", b"/JS", b"/Launch", b"/EmbeddedFile", b"/OpenAction", b"/AA"):
        assert name not in content


TWELVE = """\
job: Twelve bends
revision: C
units: in
shop: {shop}
tubes: {{main: {{height: 3, width: 2, wall: 3/16, corner: 3/8}}}}
parts:
- name: rail that snakes
  tube: main
  hand: pair
  start: {{at: [0, 15, 0]}}
  path:
  - straight: 20
{bends}
"""


def twelve_bends(folder: Path) -> Path:
    bends = "".join(
        f"  - {{bend: {{toward: {'top' if i % 2 else 'bottom'}, angle: 20, die: hard 7}}}}\n  - straight: 12\n"
        for i in range(12)
    )
    return job_of(folder, TWELVE.format(shop=HAULER.parent.parent / "shop.yaml", bends=bends))


def test_steps_of_a_part_of_twelve_bends_are_in_large_type_words_and_all(tmp_path: Path) -> None:
    pages = written("bend sheets", twelve_bends(tmp_path), tmp_path)
    assert len(pages) == 2
    for page in pages:
        assert page.large.count("Turnthetubeover,180degrees") == 11


def test_a_second_page_of_a_part_says_whose_it_is_and_heads_stand_clear_of_their_rule(tmp_path: Path) -> None:
    pages = written("inspection", twelve_bends(tmp_path), tmp_path)
    assert len(pages) == 4
    for page, hand in zip(pages, ("right", "right", "left", "left"), strict=True):
        letters = [letter for letter in page.letters if letter.box[1] > page.size[1] - 40]
        head = "".join(letter.text for letter in letters)
        assert head.startswith("Inspectionrecord")
        assert "Twelvebends" in head
        whose = f"railthatsnakes,{hand}hand,continued"
        assert (whose in head) == (page in (pages[1], pages[3]))
        low = min(letter.box[1] for letter in letters)
        rules = [
            box for box in (path.get_bounds() for path in page.page.get_objects([raw.FPDF_PAGEOBJ_PATH]))
            if box[1] > page.size[1] - 45 and box[2] - box[0] > 400
        ]  # fmt: skip
        assert rules
        assert all(box[3] < low for box in rules)


def test_unseen_characters_are_shown_and_long_words_may_break() -> None:
    assert inert("a\u202eb\u0007") == "a[U+202E]b[U+0007]"
    assert inert({"name": ["two words"], "svg": "\u0007"}) == {"name": ["two words"], "svg": "\u0007"}
    assert inert("x" * 40).replace("\u200b", "") == "x" * 40
    assert inert("x" * 40).count("\u200b") == 39


@pytest.mark.parametrize("paper", WRITERS)
def test_the_same_job_gives_the_same_bytes_whenever_and_wherever_it_is_written(paper: str, tmp_path: Path) -> None:
    written(paper, HAULER, tmp_path)
    first = (tmp_path / f"{paper}.pdf").read_bytes()
    written(paper, HAULER, tmp_path)
    assert (tmp_path / f"{paper}.pdf").read_bytes() == first
    assert b"/CreationDate" not in first
    assert b"/ModDate" not in first
    other = tmp_path / "other.pdf"
    code = (
        "from pathlib import Path\nfrom papers import HAULER, WRITERS, frame_at\n"
        f"WRITERS[{paper!r}](frame_at(HAULER), Path({str(other)!r}))"
    )
    paths = f"{ROOT}:{ROOT / 'tests'}"
    subprocess.run([sys.executable, "-c", code], check=True, env=environment(PYTHONPATH=paths, PYTHONHASHSEED="3"))
    assert other.read_bytes() == first


@pytest.mark.parametrize("paper", WRITERS)
def test_the_size_of_the_paper_can_be_chosen(paper: str, tmp_path: Path) -> None:
    (first, *_) = written(paper, HAULER, tmp_path, paper="a4")
    assert first.size == pytest.approx(A4, abs=0.01)
    (first, *_) = written(paper, TRAILER, tmp_path, paper="letter")
    assert first.size == pytest.approx(LETTER, abs=0.01)


@pytest.mark.parametrize("paper", ["bend sheets", "set-up cards", "cut list", "tape check"])
def test_the_cautions_are_on_every_sheet_that_goes_to_a_machine(paper: str, tmp_path: Path) -> None:
    pages: list[Page] = written(paper, HAULER, tmp_path)
    assert all(FIRST in page.text for page in pages)


def test_the_templates_go_into_the_package() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    (pattern,) = project["tool"]["setuptools"]["package-data"]["exporters.sheets"]
    files = [path.relative_to(TEMPLATES.parent).as_posix() for path in TEMPLATES.iterdir()]
    assert files
    assert all(fnmatch(name, pattern) for name in files)
