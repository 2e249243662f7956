"""What is written on a flat layout: complete, legible, and inert whatever the job says."""

from itertools import pairwise
from math import degrees
from pathlib import Path

import ezdxf
import ezdxf.bbox
import pyogrio
import pytest
from ezdxf import recover
from flats import CAP, CLOSE, PARTS, STRAIGHT, VERSIONS, line, side_rail, write
from hypothesis import given
from hypothesis import strategies as st

from exporters.dxf_text import LONGEST, inert, lines_of
from exporters.flat_layout import CAUTION, LENGTHS
from exporters.room import Rect, Room, spread
from railmodel.part import RailPart

HOSTILE = {
    "control codes": "100%%d %%u%%o %%nnn %%%%d",
    "carets": "^J^M^I caret ^ and ^",
    "line breaks": "first\nsecond\r\nthird\u2028fourth\x85fifth",
    "group codes": "  0\nSECTION\n  2\nENTITIES\n  0\nEOF\n",
    "escapes": r"\U+0041 \M+182A0 \P \S1/2; {\fArial;x} C:\temp\U+0042",
    "right to left": "abc\u202edef\u2066ghi\u200f שלום مرحبا",
    "controls": "nul\x00 bell\x07 escape\x1b delete\x7f bom\ufeff",
    "wide": "Käfer Ü½ Жигули 車 😀 \udc80",
    "long": "x" * 200,
    "long and wide": "車" * 200,
    "words": "word " * 40,
    "blanks": " " * 300,
    "nothing": "",
}


def texts(path: Path, layer: str = "TEXT") -> list[str]:
    """Texts of a layer as ezdxf shows them, from the top of the paper down."""
    found = ezdxf.readfile(path).modelspace().query(f'TEXT[layer=="{layer}"]')
    return [text.plain_text() for text in sorted(found, key=lambda text: -text.dxf.insert.y)]


def boxes(path: Path) -> list[tuple[str, Rect]]:
    """Every text of the sheet and of its dimensions with the rectangle it takes up, measured by ezdxf."""
    document = ezdxf.readfile(path)
    space = document.modelspace()
    found = [*space.query("TEXT")]
    for dimension in space.query("DIMENSION"):
        found += dimension.get_geometry_block().query("TEXT")
    measured = [(text.dxf.text, ezdxf.bbox.extents([text])) for text in found]
    return [(words, Rect(*box.extmin.vec2, *box.extmax.vec2)) for words, box in measured if box.has_data]


def across(drawn: RailPart, face: str) -> float:
    """How wide a face is, mm."""
    return drawn.section.width if face in ("top", "bottom") else drawn.section.height


@pytest.mark.parametrize("version", VERSIONS)
@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_names_are_inert(tmp_path, name, version):
    words = HOSTILE[name]
    drawn = side_rail(name=words, tube=words, dies=(words,) * 4)
    plain = write(tmp_path, side_rail(), version=version)
    path = write(tmp_path, drawn, version=version, job=words, revision=words, stops=[words])
    document = ezdxf.readfile(path)
    auditor = document.audit()
    assert not auditor.errors
    assert not auditor.fixes
    assert len(document.modelspace().query("DIMENSION")) == len(ezdxf.readfile(plain).modelspace().query("DIMENSION"))
    stored = path.read_bytes().decode("cp1252" if version == "R12" else "utf-8").splitlines()
    assert len(stored) % 2 == 0
    assert stored[-2:] == ["  0", "EOF"]
    assert all(code.strip().isdigit() for code in stored[::2])
    assert max(len(value.encode()) for value in stored) <= 255  # DXF reference, strings of R12
    info, _, _, columns = pyogrio.raw.read(path)
    read_elsewhere = columns[list(info["fields"]).index("Text")]
    assert sum(text is not None and text.startswith("DO NOT CUT") for text in read_elsewhere) == 1


@pytest.mark.parametrize("version", VERSIONS)
@pytest.mark.parametrize("name", HOSTILE)
def test_names_come_back_or_stand_visibly_for_themselves(tmp_path, name, version):
    words = HOSTILE[name]
    path = write(tmp_path, STRAIGHT, version=version, job=words)
    document, _ = recover.readfile(path)  # decodes \U+XXXX, as CAD programs do and ezdxf.readfile does not
    found = sorted(document.modelspace().query('TEXT[layer=="TEXT"]'), key=lambda text: -text.dxf.insert.y)
    shown = [text.plain_text() for text in found]
    start = next(i for i, text in enumerate(shown) if text.startswith("Job:"))
    stop = next(i for i, text in enumerate(shown) if text.startswith("Revision:"))
    assert "".join(shown[start:stop]).rstrip() == f"Job: {expected(words, version)}".rstrip()


def expected(words: str, version: str) -> str:
    """Each unseen character by its number; a blank inside each code; R12 has four digits of Unicode."""
    shown = ""
    for character in words:
        number = ord(character)
        unseen = (not character.isprintable() and not character.isspace()) or character in "\n\r\x85\u2028"
        if unseen or (version == "R12" and number > 0xFFFF):
            shown += f"[U+{number:04X}]"
        else:
            shown += " %" if shown.endswith("%") and character == "%" else character
    return shown.replace("\\U+", "\\ U+").replace("\\M+", "\\ M+")


@given(st.text(max_size=400), st.integers(20, 110), st.sampled_from(VERSIONS))
def test_lines_keep_every_character_and_fit(words, room, version):
    lines = lines_of(words, room, version)
    assert "".join(lines) == words
    assert all(len(inert(one, version).encode()) <= LONGEST + 10 for one in lines)
    for one in lines:
        assert "%%" not in inert(one, version)
        assert version == "R2010" or inert(one, version).isascii() or inert(one, version).encode("cp1252")


@pytest.mark.parametrize("version", VERSIONS)
@pytest.mark.parametrize("drawn", PARTS.values(), ids=PARTS)
def test_no_text_lies_on_another(tmp_path, drawn, version):
    found = boxes(write(tmp_path, drawn, version=version, stops=["bend 2 has no room to grip"]))
    assert len(found) > 20
    for i, (words, box) in enumerate(found):
        for other, elsewhere in found[i + 1 :]:
            assert not box.meets(elsewhere), (words, other)


@pytest.mark.parametrize("drawn", [side_rail(), CAP, CLOSE], ids=["side rail", "cap", "close"])
def test_every_bend_is_named_on_the_face_it_bends_toward(tmp_path, drawn):
    path = write(tmp_path, drawn)
    found = boxes(path)
    places = {text.dxf.text: text.get_placement()[1] for text in ezdxf.readfile(path).modelspace().query("TEXT")}
    turns = zip(drawn.read.bends, drawn.read.line.bends, strict=True)
    for bend, arc in turns:
        begin, end = arc.station / 25.4, (arc.station + arc.length) / 25.4
        middle, half = places[bend.toward.upper()].y, across(drawn, bend.toward) / 2 / 25.4
        assert any(
            words.startswith(f"BEND {bend.number}") and box.within(Rect(begin, middle - half, end, middle + half))
            for words, box in found
        )
        words = " ".join(words for words, _ in found)
        assert f"BEND {bend.number} INSIDE" in words
        assert f"{degrees(arc.angle):.2f} deg" in words
        assert f"toward {bend.toward}" in words
        assert f"{bend.way} way" in words
        assert f"R {arc.radius / 25.4:.3f}" in words


@pytest.mark.parametrize("drawn", PARTS.values(), ids=PARTS)
def test_faces_are_named_again_and_again(tmp_path, drawn):
    found = texts(write(tmp_path, drawn), "FACE_NAME")
    for face in ("top", "bottom", *drawn.sides):
        assert found.count(face.upper()) == 2
        assert found.count(f"{face.upper()} FACE") >= drawn.line.length // 1000 + 1


def test_ends_and_title(tmp_path):
    found = texts(write(tmp_path, side_rail()))
    for words in (
        "Job: Hillside hauler", "Revision: B", "Part: side rail", "Hand: right", "Tube: tube",
        "3 high x 2 wide x 0.1875 wall, corner radius 0.375; all lengths in inches", LENGTHS,
        "LEADING END", "front of the part", "TAIL", "rear of the part",
    ):  # fmt: skip
        assert words in found
    assert CAUTION in "".join(found)  # over two lines
    assert "not a structural certification" in CAUTION
    assert "licensed" in CAUTION
    assert "Scale 1:1" in " ".join(found)
    assert "structural certification" in CAUTION
    found = texts(write(tmp_path, CAP))
    assert "Hand: none, a single part" in found
    ends = {text.dxf.text: text.get_placement()[1].x for text in ezdxf.readfile(write(tmp_path, CAP)).query("TEXT")}
    assert ends["rear of the part"] < 0 < ends["front of the part"]
    assert "Revision: not given" in texts(write(tmp_path, CAP, revision=None))


def test_reasons_not_to_cut_stand_large_on_their_own_layer(tmp_path):
    reasons = ["bend 2 has no room to grip", "the rail hits the axle"]
    path = write(tmp_path, side_rail(), stops=reasons)
    assert texts(path, "STOP") == ["DO NOT CUT", *(f"- {reason}" for reason in reasons)]
    sizes = {text.dxf.layer: text.dxf.height for text in ezdxf.readfile(path).query("TEXT")}
    largest = max(text.dxf.height for text in ezdxf.readfile(path).query("TEXT") if text.dxf.layer != "STOP")
    assert max(t.dxf.height for t in ezdxf.readfile(path).query('TEXT[layer=="STOP"]')) > 1.2 * largest
    assert "STOP" in sizes
    assert not texts(write(tmp_path, side_rail()), "STOP")


@pytest.mark.parametrize("straights", [[6, -2, 3, 8], [-3, 4, 4, 8], [6, 4, 4, -9], [1, -9, -9, -9]])
def test_bends_that_overlap_are_drawn_and_stopped(tmp_path, straights):
    drawn: RailPart = side_rail(line=line(straights, [0, 180, 0], [30, 30, 20], 7), dies=())
    for version in VERSIONS:
        path = write(tmp_path, drawn, version=version)
        assert not ezdxf.readfile(path).audit().fixes
        found = texts(path, "STOP")
        assert found[0] == "DO NOT CUT"
        assert f"straight {straights.index(min(straights))} comes out" in found[1] or min(straights) == -9
        assert len(found) == 1 + sum(length < 0 for length in straights)


def test_a_long_die_name_stands_in_full_in_the_title(tmp_path):
    name = "hard way seven inch with the long wiper and the new ball mandrel"
    found = texts(write(tmp_path, side_rail(dies=(name, None, None, None))))
    assert f"Die of bend 1: {name}" in found
    assert "die hard way seven inch w..." in found


def test_lines_leave_out_texts():
    room = Room(texts=[Rect(2, -1, 4, 1), Rect(3, -1, 5, 1), Rect(9, 5, 10, 6)])
    assert list(room.pieces((0.0, 0.0), (10.0, 0.0), 0.1)) == [((0.0, 0.0), (2.0, 0.0)), ((5.0, 0.0), (10.0, 0.0))]
    assert list(room.pieces((2.0, 0.0), (4.0, 0.0), 0.1)) == []


@given(st.lists(st.floats(-1000, 1000), max_size=30), st.floats(0.1, 50))
def test_labels_are_spread_in_order(places, apart):
    places = sorted(places)
    labels = spread(places, apart)
    assert all(b - a >= apart - 1e-6 for a, b in pairwise(labels))
    if all(b - a >= apart for a, b in pairwise(places)):
        assert labels == pytest.approx(places)
    assert sum(labels) == pytest.approx(sum(places), abs=1e-6 * (1 + len(places)))
