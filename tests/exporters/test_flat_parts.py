"""DXF of plates, templates and nested sheets: read back with ezdxf and with GDAL (through pyogrio)."""

from collections import Counter
from math import copysign, pi, radians, sin
from pathlib import Path

import ezdxf
import numpy as np
import pyogrio
import pytest
import shapely
from ezdxf.math import bulge_to_arc
from flats import side_rail

from exporters.flat_parts import LAYERS, Head, NestedSheet, nested, write_nested, write_plate, write_template
from railmodel.frame import build_frame
from railmodel.geometry.flat_outline import rounded
from railmodel.job.reader import read_job
from railmodel.plates import Plate, plates
from railmodel.templates import part_templates, templates

VERSIONS = ("R2010", "R12")
HOSTILE = "100%%d ^J \\U+0041 {\\P}\u202e\x07 " + "x" * 200
CLOSED = {"R2010": "LWPOLYLINE", "R12": "POLYLINE"}

EAR = Plate(
    name="ear",
    thickness=6.0,
    outline=rounded([(0, 0), (90, 0), (90, 40), (45, 130), (0, 40)], [0, 0, 30, 25, 30]),
    holes=((45.0, 75.0, 17.0), (20.0, 20.0, 9.0)),
    grade="S355",
    count=3,
)
BASE = Plate(name="base", thickness=6.0, outline=rounded([(0, 0), (60, 0), (60, 200), (0, 200)], 10.0), grade="S355")
THICK = Plate(name="thick", thickness=10.0, outline=rounded([(0, 0), (60, 0), (60, 20), (0, 20)], 0.0), count=2)


def head(**fields: object) -> Head:
    return Head(**{"job": "Lake trailer", "revision": "1", "unit": "mm", **fields})


def written(folder: Path, plate: Plate = EAR, **fields: object) -> Path:
    path = folder / f"{len(list(folder.iterdir()))}.dxf"
    write_plate(plate, path, head(**fields))
    return path


def area_of(path: Path, layer: str) -> list[float]:
    """Areas inside the closed outlines and circles of a layer, in the file's unit: shoelace and circular segments."""
    found = []
    for entity in ezdxf.readfile(path).modelspace().query(f'*[layer=="{layer}"]'):
        if entity.dxftype() == "CIRCLE":
            found.append(pi * entity.dxf.radius**2)
            continue
        assert entity.is_closed
        rows = entity.get_points("xyb") if entity.dxftype() == "LWPOLYLINE" else [
            (vertex.dxf.location.x, vertex.dxf.location.y, vertex.dxf.bulge) for vertex in entity.vertices
        ]  # fmt: skip
        area = 0.0
        for (x, y, bulge), (to_x, to_y, _) in zip(rows, [*rows[1:], rows[0]], strict=True):
            area += (x * to_y - to_x * y) / 2
            if bulge:
                _, begin, end, radius = bulge_to_arc((x, y), (to_x, to_y), bulge)
                turn = (end - begin) % (2 * pi)
                area += copysign(radius**2 / 2 * (turn - sin(turn)), bulge)
        found.append(area)
    return sorted(found)


def gdal_outlines(path: Path, layer: str) -> list[np.ndarray]:
    """Every line GDAL finds on a layer, (n, 2)."""
    info, _, shapes, columns = pyogrio.raw.read(path)
    names = columns[list(info["fields"]).index("Layer")]
    chosen = [shapely.from_wkb(shape) for name, shape in zip(names, shapes, strict=True) if name == layer]
    return [shapely.get_coordinates(shape) for shape in chosen]


@pytest.mark.parametrize("version", VERSIONS)
@pytest.mark.parametrize("unit", ["in", "mm"])
def test_a_plate_is_drawn_closed_at_true_size(tmp_path, version, unit):
    path = written(tmp_path, version=version, unit=unit)
    size = 25.4 if unit == "in" else 1.0
    document = ezdxf.readfile(path)
    assert document.audit().errors == []
    kinds = Counter((entity.dxftype(), entity.dxf.layer) for entity in document.modelspace())
    assert kinds[CLOSED[version], "CUT"] == 1
    assert kinds["CIRCLE", "HOLE"] == 2
    assert not {kind for kind, _ in kinds} & {"SPLINE", "ELLIPSE", "HATCH", "INSERT"}
    (cut,) = area_of(path, "CUT")
    assert cut * size**2 == pytest.approx(EAR.outline.area, rel=1e-6)
    assert (cut - sum(area_of(path, "HOLE"))) * size**2 == pytest.approx(EAR.area, rel=1e-6)
    (outline,) = gdal_outlines(path, "CUT")
    assert np.allclose(outline[0], outline[-1])
    other = shapely.Polygon(outline)
    assert other.area * size**2 == pytest.approx(EAR.outline.area, rel=2e-4)  # GDAL flattens arcs in 4 degree steps
    assert np.array(other.bounds) * size == pytest.approx(EAR.outline.box, abs=0.05)
    assert len(gdal_outlines(path, "HOLE")) == 2


@pytest.mark.parametrize("version", VERSIONS)
def test_both_versions_hold_the_same_things(tmp_path, version):
    path = written(tmp_path, version=version)
    kinds = Counter(
        (entity.dxftype().replace("LWPOLY", "POLY"), entity.dxf.layer) for entity in ezdxf.readfile(path).modelspace()
    )
    assert kinds == {
        ("POLYLINE", "CUT"): 1, ("CIRCLE", "HOLE"): 2, ("LINE", "MARK"): 4, ("DIMENSION", "DIMENSION"): 2,
        ("TEXT", "TEXT"): 16,
    }  # fmt: skip


def test_layers_carry_their_meaning(tmp_path):
    document = ezdxf.readfile(written(tmp_path))
    for layer in LAYERS:
        assert document.layers.get(layer.name).dxf.lineweight == layer.weight
    assert document.units == ezdxf.units.MM
    assert {entity.dxf.layer for entity in document.modelspace()} <= {layer.name for layer in LAYERS}


@pytest.mark.parametrize("version", VERSIONS)
@pytest.mark.parametrize("unit", ["in", "mm"])
def test_dimensions_measure_the_plate(tmp_path, version, unit):
    space = ezdxf.readfile(written(tmp_path, version=version, unit=unit)).modelspace()
    size = 25.4 if unit == "in" else 1.0
    found = sorted(dimension.get_measurement() * size for dimension in space.query("DIMENSION"))
    assert found == pytest.approx(sorted(EAR.size), abs=1e-9)


def test_a_plate_that_must_not_be_cut_says_so(tmp_path):
    stopped = Plate(name="p", thickness=6, outline=EAR.outline, stops=("p: hole 1 lies off the plate; move it",))
    space = ezdxf.readfile(written(tmp_path, stopped)).modelspace()
    said = [text.plain_text() for text in space.query('TEXT[layer=="STOP"]')]
    assert "DO NOT CUT" in said
    assert any("hole 1 lies off the plate" in line for line in said)


def texts(path: Path) -> str:
    space = ezdxf.readfile(path).modelspace()
    return "\n".join(text.plain_text() for text in space.query("TEXT"))


def test_a_plate_says_what_it_is(tmp_path):
    said = texts(written(tmp_path))
    assert "Job: Lake trailer" in said
    assert "Plate: ear" in said
    assert "Count: 3" in said
    assert "6 thick, S355" in said
    assert f"mass {EAR.mass():.3f} kg" in said
    assert "all lengths in millimetres" in said
    assert "all lengths in inches" in texts(written(tmp_path, unit="in"))
    told = " ".join(
        " ".join(reversed(said.split("\n"))).split()
    )  # drawn from the foot up; the box about the plate begins at its own (0, 0)
    assert "1 x diameter 9.0 at (20.0,20.0) 1 x diameter 17.0 at (45.0,75.0)" in told
    assert "measured from the lower left corner of the box about the plate" in told


@pytest.mark.parametrize("version", VERSIONS)
def test_hostile_names_are_only_text(tmp_path, version):
    plate = Plate(name=HOSTILE, thickness=6, outline=EAR.outline, grade=HOSTILE)
    path = written(tmp_path, plate, job=HOSTILE, revision=HOSTILE, version=version)
    document = ezdxf.readfile(path)
    assert document.audit().errors == []
    assert {layer.dxf.name for layer in document.layers} >= {layer.name for layer in LAYERS}
    said = texts(path).replace("\n", "")
    assert said.count("[U+202E]") >= 3
    assert "x" * 40 in said


@pytest.mark.parametrize("version", VERSIONS)
def test_the_same_plate_gives_the_same_bytes(tmp_path, version):
    one, other = written(tmp_path, version=version), written(tmp_path, version=version)
    assert one.read_bytes() == other.read_bytes()


@pytest.mark.parametrize("version", VERSIONS)
def test_a_template_is_drawn_at_true_size_with_its_words(tmp_path, version):
    (first, _) = part_templates(side_rail(), beyond=100)
    path = tmp_path / "template.dxf"
    write_template(first, path, head(unit="in", version=version))
    assert ezdxf.readfile(path).audit().errors == []
    (cut,) = area_of(path, "CUT")
    # band of depth d: straights d (a + b) and a ring of the bend's angle between the inner radius and d less
    angle, inner, depth = radians(15), 7 * 25.4 - 76.2 / 2, first.depth
    band = depth * 200 + angle / 2 * (inner**2 - (inner - depth) ** 2)
    assert cut * 25.4**2 == pytest.approx(band, rel=1e-6)
    assert len(gdal_outlines(path, "CUT")) == 1
    said = texts(path)
    for words in ("Bends 1, 2", "15.00 deg", "R 7.000 in", "inner face radius 5.500", "bend 2 bottom", "both hands"):
        assert words in said
    marks = gdal_outlines(path, "MARK")
    tangents = [mark for mark in marks if len(mark) == 2]
    assert len(tangents) == 2
    assert tangents[0][0] == pytest.approx([0, 0])


@pytest.mark.parametrize("version", VERSIONS)
def test_nested_sheets_hold_every_copy_once_and_apart(tmp_path, version):
    sheets = nested([EAR, BASE, THICK], (500.0, 250.0), gap=6, edge=10)
    assert [(sheet.thickness, sheet.number, sheet.of, len(sheet.pieces)) for sheet in sheets] == [
        (6.0, 1, 1, 4), (10.0, 1, 1, 2),
    ]  # fmt: skip
    for sheet in sheets:
        path = tmp_path / f"{sheet.thickness}.dxf"
        write_nested(sheet, path, head(version=version))
        assert ezdxf.readfile(path).audit().errors == []
        pieces = [plate for plate, _ in sheet.pieces]
        assert area_of(path, "CUT") == pytest.approx(sorted(plate.outline.area for plate in pieces), rel=1e-6)
        assert len(area_of(path, "HOLE")) == sum(len(plate.holes) for plate in pieces)
        cut = [shapely.Polygon(outline) for outline in gdal_outlines(path, "CUT")]
        room = shapely.box(10, 10, 490, 240).buffer(0.01)
        for i, piece in enumerate(cut):
            assert room.contains(piece)
            assert all(piece.distance(other) >= 5.99 for other in cut[:i])
        for hole in gdal_outlines(path, "HOLE"):
            assert any(piece.contains(shapely.Polygon(hole)) for piece in cut)
        assert f"{len(pieces) if sheet.thickness > 6 else 3} x" in texts(path)


def test_plates_that_must_not_be_cut_are_not_nested():
    stopped = Plate(name="p", thickness=6, outline=EAR.outline, stops=("no",))
    assert nested([stopped], (500.0, 250.0), gap=6, edge=10) == []


def test_the_trailers_plates_and_templates_are_sound(tmp_path):
    frame = build_frame(read_job(Path("demo_jobs/lake_trailer/trailer.yaml")))
    made = plates(frame)
    assert [(plate.name, plate.count, plate.stops) for plate in made] == [
        ("coupling plate", 1, ()), ("winch post ear", 2, ()), ("tail gusset", 2, ()),
    ]  # fmt: skip
    assert len(templates(frame)) == 1
    (thin,) = (sheet for sheet in nested(made, frame.job.nesting.sheet, gap=8, edge=10) if sheet.thickness == 6)
    assert isinstance(thin, NestedSheet)
    assert len(thin.pieces) == 4
