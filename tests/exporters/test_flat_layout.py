"""The flat layout's geometry, read back with ezdxf and with GDAL (through pyogrio)."""

import os
import subprocess
import sys
from collections import Counter, defaultdict
from fractions import Fraction
from pathlib import Path

import ezdxf
import numpy as np
import pyogrio
import pytest
from flats import CAP, CLOSE, PARTS, STRAIGHT, TUBE, VERSIONS, line, side_rail, write
from hypothesis import given, settings
from hypothesis import strategies as st
from rails import part, random_legal_line, random_section

from exporters.flat_layout import LAYERS
from railmodel.geometry.section import Section
from railmodel.part import RailPart


def lines_by_layer(path: Path) -> dict[str, list[np.ndarray]]:
    """Every line GDAL finds, (n, 2) points, by layer."""
    info, _, shapes, columns = pyogrio.raw.read(path)
    layer = columns[list(info["fields"]).index("Layer")]
    found = defaultdict(list)
    for name, shape in zip(layer, shapes, strict=True):
        kind = int.from_bytes(shape[1:5], "little")  # well-known binary, ISO 19125-1: 2 = line, 1002 = with z
        if kind in (2, 1002, 0x80000002):
            count = int.from_bytes(shape[5:9], "little")
            found[name].append(np.frombuffer(shape, float, offset=9).reshape(count, -1)[:, :2])
    return found


def total(lines: list[np.ndarray]) -> float:
    return sum(float(np.linalg.norm(np.diff(points, axis=0), axis=1).sum()) for points in lines)


def stations(drawn: RailPart) -> list[tuple[float, float]]:
    """Start and end of each bend from the leading end, mm, added up from the table row by row."""
    rows, at, found = drawn.read.line.rows, 0.0, []
    for distance, angle, radius in zip(rows.distance, rows.angle, rows.radius, strict=True):
        at += distance
        found.append((at, at + angle * radius))
        at += angle * radius
    return found


@pytest.mark.parametrize("unit", ["in", "mm"])
@pytest.mark.parametrize("version", VERSIONS)
@pytest.mark.parametrize("drawn", PARTS.values(), ids=PARTS)
def test_another_reader_finds_the_unrolled_tube(tmp_path, drawn, version, unit):
    found = lines_by_layer(write(tmp_path, drawn, unit=unit, version=version))
    size = 25.4 if unit == "in" else 1.0
    length, girth, bends = drawn.line.length / size, drawn.section.girth / size, drawn.line.rows.count
    (cut,) = found["CUT"]
    assert np.allclose([cut.min(axis=0), cut.max(axis=0)], [[0, 0], [length, girth]], rtol=0, atol=1e-9)
    assert np.allclose(cut[0], cut[-1])
    assert total(found["BEND_START"]) == pytest.approx(bends * girth, rel=1e-12)
    assert total(found["BEND_END"]) == pytest.approx(bends * girth, rel=1e-12)
    assert total(found["FACE_EDGE"]) == pytest.approx(3 * length, rel=1e-12)
    assert total(found["CORNER"]) == pytest.approx(8 * length, rel=1e-12)
    for layer, which in (("BEND_START", 0), ("BEND_END", 1)):
        places = sorted(points[0, 0] for points in found[layer])
        assert np.allclose(places, [pair[which] / size for pair in stations(drawn)], rtol=0, atol=1e-9)
    for begin, end in zip(found["BEND_START"], found["BEND_END"], strict=True):
        assert np.ptp(begin[:, 0]) == np.ptp(end[:, 0]) == 0
    shade = np.concatenate(found["BEND_ZONE"]) if bends else np.empty((0, 2))
    inside = [(shade[:, 0] > a / size - 1e-9) & (shade[:, 0] < b / size + 1e-9) for a, b in stations(drawn)]
    assert np.all(np.any(inside, axis=0)) if bends else not len(shade)


def test_girth_is_the_surface_area_of_the_standards_table(tmp_path):
    # EN 10219-2, dimensions and properties of rectangular hollow sections: 100 x 50 x 4, 0.286 m2 per m (from memory)
    drawn = part(line([20], [], [], 7), Section(height=100, width=50, wall=4, corner=8))
    (cut,) = lines_by_layer(write(tmp_path, drawn, unit="mm"))["CUT"]
    assert np.ptp(cut[:, 1]) / 1000 == pytest.approx(0.286, abs=0.0005)


def test_strips_are_flats_and_half_corners(tmp_path):
    found = lines_by_layer(write(tmp_path, STRAIGHT, unit="mm"))
    quarter = TUBE.corner * np.pi / 2  # one corner's arc
    tall, wide = TUBE.height - 2 * TUBE.corner, TUBE.width - 2 * TUBE.corner
    edges, at = [0.0], quarter / 2
    for flat in (tall, wide, tall, wide):
        edges += [at, at + flat, at + flat + quarter / 2]
        at += flat + quarter
    corners = sorted(points[0, 1] for points in found["CORNER"])
    assert np.allclose(corners, [y for i, y in enumerate(edges) if i % 3], rtol=0, atol=1e-9)
    assert np.allclose(sorted(points[0, 1] for points in found["FACE_EDGE"]), edges[3:-1:3], rtol=0, atol=1e-9)


def names_at_left(path: Path) -> list[str]:
    """The faces named beside the leading end, from the bottom of the paper upward."""
    texts = ezdxf.readfile(path).modelspace().query('TEXT[layer=="FACE_NAME"]')
    ends = [(text.dxf.insert.y, text.dxf.text) for text in texts if text.get_placement()[1].x < 0]
    return [name for _, name in sorted(ends)]


@pytest.mark.parametrize("end", ["front", "rear"])
def test_faces_stand_as_seen_from_outside(tmp_path, end):
    """Seen from outside with travel to the right, the next face up looks along the face's normal x travel."""
    looks = {"TOP": (0, 0, 1), "BOTTOM": (0, 0, -1), "RIGHT": (0, 1, 0), "LEFT": (0, -1, 0)}
    names = names_at_left(write(tmp_path, part(line([20], [], [], 7), TUBE, leading_end=end)))
    travel = (1, 0, 0) if end == "front" else (-1, 0, 0)
    assert sorted(names) == sorted(looks)
    for face, above in zip(names, [*names[1:], names[0]], strict=True):
        assert tuple(np.cross(looks[face], travel)) == looks[above]


def test_the_left_hand_exchanges_the_sides_and_nothing_else(tmp_path):
    right, left = side_rail(), side_rail().mirrored()
    paths = write(tmp_path, right), write(tmp_path, left)
    assert names_at_left(paths[0]) == ["INBOARD", "TOP", "OUTBOARD", "BOTTOM"]
    assert names_at_left(paths[1]) == ["OUTBOARD", "TOP", "INBOARD", "BOTTOM"]
    of_right, of_left = (lines_by_layer(path) for path in paths)
    for layer in ("CUT", "BEND_START", "BEND_END", "FACE_EDGE", "CORNER"):
        assert np.allclose(of_right[layer], of_left[layer], rtol=0, atol=1e-9)
    seams = [np.concatenate(found["SEAM"])[:, 1] for found in (of_right, of_left)]
    strip = TUBE.height - 2 * TUBE.corner + TUBE.corner * np.pi / 2
    wide = TUBE.width - 2 * TUBE.corner + TUBE.corner * np.pi / 2
    assert np.allclose(seams[0], strip / 2 / 25.4)
    assert np.allclose(seams[1], (strip + wide + strip / 2) / 25.4)


def test_the_seam_runs_the_whole_length_but_for_texts(tmp_path):
    found = lines_by_layer(write(tmp_path, side_rail()))["SEAM"]
    points = np.concatenate(found)
    length = side_rail().line.length / 25.4
    assert (points[:, 0].min(), points[:, 0].max()) == pytest.approx((0, length))
    assert 0.6 * length < total(found) < length
    assert not lines_by_layer(write(tmp_path, CAP))["SEAM"]


def counted(path: Path) -> Counter[tuple[str, str, str]]:
    """Entities by place, layer and type; what R12 must spell otherwise is counted as the same."""
    same = {"POLYLINE": "LWPOLYLINE"}
    document, found = ezdxf.readfile(path), Counter()
    for place in (document.modelspace(), *document.blocks):
        if place.name.upper().startswith("*D") or place is document.modelspace():
            kind = "sheet" if place is document.modelspace() else "dimension"
            found.update((kind, e.dxf.layer.upper(), same.get(e.dxftype(), e.dxftype())) for e in place)
    return found


@pytest.mark.parametrize("drawn", PARTS.values(), ids=PARTS)
def test_nothing_is_dropped_in_r12(tmp_path, drawn):
    new, old = (counted(write(tmp_path, drawn, version=version, stops=["no"])) for version in VERSIONS)
    assert new == old
    assert {kind for _, _, kind in new} <= {"LINE", "TEXT", "LWPOLYLINE", "DIMENSION", "INSERT", "POINT", "SOLID"}
    used = {layer for place, layer, _ in new if place == "sheet"}
    assert used <= {layer.name for layer in LAYERS}
    assert used >= {"CUT", "FACE_EDGE", "CORNER", "FACE_NAME", "TEXT", "DIMENSION", "STOP"}


@pytest.mark.parametrize("unit", ["in", "mm"])
@pytest.mark.parametrize("version", VERSIONS)
def test_the_file_is_sound_and_says_its_unit(tmp_path, version, unit):
    path = write(tmp_path, CLOSE, version=version, unit=unit)
    document = ezdxf.readfile(path)
    auditor = document.audit()
    assert not auditor.errors
    assert not auditor.fixes
    # DXF reference: AC1009 = R11 and R12, AC1024 = R2010; $INSUNITS 1 inches, 4 mm; $MEASUREMENT 0 English, 1 metric
    assert document.dxfversion == {"R12": "AC1009", "R2010": "AC1024"}[version]
    if version == "R2010":
        assert document.header["$INSUNITS"] == {"in": 1, "mm": 4}[unit]
        assert document.header["$MEASUREMENT"] == {"in": 0, "mm": 1}[unit]
        assert {layer.name: (layer.colour, layer.weight) for layer in LAYERS} == {
            layer.dxf.name: (layer.color, layer.dxf.lineweight) for layer in document.layers if layer.dxf.name.isupper()
        }
    words = {"in": "all lengths in inches", "mm": "all lengths in millimetres"}[unit]
    assert any(words in text.dxf.text for text in document.modelspace().query("TEXT"))


@pytest.mark.parametrize("version", VERSIONS)
@pytest.mark.parametrize("drawn", PARTS.values(), ids=PARTS)
def test_dimensions_are_read_from_the_leading_end(tmp_path, drawn, version):
    document = ezdxf.readfile(write(tmp_path, drawn, version=version))
    dimensions = list(document.modelspace().query("DIMENSION"))
    assert all(len(dimension.get_geometry_block()) for dimension in dimensions)
    ordinates = sorted(float(d.get_measurement().x) for d in dimensions if d.dimtype == 6)
    marks = [0.0, *(mark for pair in stations(drawn) for mark in pair)]
    assert np.allclose(ordinates, np.array(marks) / 25.4, rtol=0, atol=1e-9)
    overall = sorted(float(d.get_measurement()) for d in dimensions if d.dimtype == 0)
    assert np.allclose(overall, sorted((drawn.line.length / 25.4, drawn.section.girth / 25.4)), rtol=0, atol=1e-9)
    for dimension in dimensions:
        measured = dimension.get_measurement()
        measured = float(measured.x if dimension.dimtype == 6 else measured)
        decimal, tape = split(dimension.dxf.text)
        assert float(decimal) == pytest.approx(measured, abs=0.0005 + 1e-9)
        assert abs(tape - measured) <= 1 / 32 + 1e-9
        assert (tape * 16).denominator == 1


def split(text: str) -> tuple[str, Fraction]:
    """The decimal and the tape fraction at the end of a dimension's text."""
    before, tape = text.removesuffix('")').split(" (")
    return before.split()[-1], sum((Fraction(word) for word in tape.split()), Fraction())


def test_thirty_seconds_when_the_shop_reads_them(tmp_path):
    drawn = part(line([10 + 1 / 32], [], [], 7), TUBE)
    texts = [d.dxf.text for d in ezdxf.readfile(write(tmp_path, drawn, tape_step=32)).modelspace().query("DIMENSION")]
    assert 'developed length 10.031 (10 1/32")' in texts
    metric = [d.dxf.text for d in ezdxf.readfile(write(tmp_path, drawn, unit="mm")).modelspace().query("DIMENSION")]
    assert "developed length 254.8" in metric


def test_the_same_part_gives_the_same_bytes_in_another_process(tmp_path):
    script = (
        "import sys; from pathlib import Path; from flats import *; "
        "[write_flat_layout(side_rail(), Path(sys.argv[1]) / v, unit='in', job='J', revision=None, version=v)"
        " for v in VERSIONS]"
    )
    found = []
    for seed in ("1", "2"):
        folder = tmp_path / seed
        folder.mkdir()
        subprocess.run(
            [sys.executable, "-c", script, folder],
            check=True,
            env={**os.environ, "PYTHONHASHSEED": seed, "PYTHONPATH": os.pathsep.join(sys.path)},
            timeout=120,
        )
        found.append([(folder / version).read_bytes() for version in VERSIONS])
    assert found[0] == found[1]
    assert b"2000-01-01" in found[0][0]  # no time of writing


@settings(max_examples=10)
@given(st.integers(0, 2**32 - 1))
def test_any_rail_makes_a_sound_drawing(tmp_path_factory, seed):
    rng = np.random.default_rng(seed)
    section = random_section(rng)
    drawn = part(random_legal_line(rng, int(rng.integers(0, 9)), section=section), section, seam="right")
    path = write(tmp_path_factory.mktemp("flat"), drawn, unit="mm", version=VERSIONS[seed % 2])
    auditor = ezdxf.readfile(path).audit()
    assert not auditor.errors
    assert not auditor.fixes
    (cut,) = lines_by_layer(path)["CUT"]
    assert np.allclose(np.ptp(cut, axis=0), [drawn.line.length, section.girth], rtol=1e-12, atol=1e-9)
