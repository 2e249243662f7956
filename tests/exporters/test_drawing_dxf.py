"""The frame drawing as DXF, read back with ezdxf and with GDAL (through pyogrio)."""

from collections import Counter
from collections.abc import Iterator
from itertools import combinations
from math import atan, degrees
from pathlib import Path

import ezdxf
import ezdxf.bbox
import numpy as np
import pyogrio
import pytest
import shapely
from drawings import drawing
from papers import CANNOT_BEND, HAULER, HOSTILE, RACK, TEN_BENDS, TRAILER, frame_at, job_of

from exporters.drawing.as_dxf import write_dxf
from exporters.drawing.features import turns
from exporters.drawing.marks import LAYERS, Text
from exporters.drawing.sheets import PAPER, make_drawing
from exporters.room import Rect
from exporters.views import SIDE
from railmodel.errors import GeometryError
from railmodel.findings import Finding
from railmodel.frame import Frame

VERSIONS = ("R2010", "R12")
JOBS = {"hauler": HAULER, "rack": RACK, "trailer": TRAILER, "cannot bend": CANNOT_BEND}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("drawings")


def written(folder: Path, job: Path, version: str = "R2010") -> "ezdxf.document.Drawing":
    path = folder / f"{job.parent.name}_{job.stem}_{version}.dxf"
    if not path.exists():
        write_dxf(drawing(job), path, version)
    return ezdxf.readfile(path)


def sheets(document: "ezdxf.document.Drawing") -> list["ezdxf.layouts.Paperspace"]:
    return [layout for layout in document.layouts if layout.name != "Model"]


def texts(document: "ezdxf.document.Drawing", space: Iterator) -> list[tuple[str, Rect]]:
    """Every text of a space and of its dimensions with the rectangle ezdxf measures."""
    found = [*space.query("TEXT")]
    for dimension in space.query("DIMENSION"):
        found += dimension.get_geometry_block().query("TEXT")
    boxes = [(text.plain_text(), ezdxf.bbox.extents([text])) for text in found]
    return [(words, Rect(*box.extmin.vec2, *box.extmax.vec2)) for words, box in boxes if box.has_data]


@pytest.mark.parametrize("version", VERSIONS)
@pytest.mark.parametrize("job", JOBS.values(), ids=JOBS)
def test_the_file_is_sound(folder, job, version):
    document = written(folder, job, version)
    auditor = document.audit()
    assert auditor.errors == []
    assert auditor.fixes == []
    spaces = [document.modelspace(), *sheets(document)]
    kinds = {entity.dxftype() for space in spaces for entity in space}
    assert kinds <= {"LINE", "ARC", "CIRCLE", "TEXT", "SOLID", "DIMENSION", "VIEWPORT"}
    names = {layer.name for layer in LAYERS}
    assert {entity.dxf.layer for space in spaces for entity in space if entity.dxftype() != "VIEWPORT"} <= names
    blocks = [dimension.get_geometry_block() for dimension in document.modelspace().query("DIMENSION")]
    assert all(len(block) >= 2 for block in blocks)
    assert {entity.dxf.layer for block in blocks for entity in block} == {"DIMENSION"}


@pytest.mark.parametrize("job", JOBS.values(), ids=JOBS)
def test_both_versions_hold_the_same_entities(folder, job):
    new, old = (written(folder, job, version) for version in VERSIONS)

    def counted(spaces: list) -> Counter:
        return Counter((e.dxftype(), e.dxf.layer) for space in spaces for e in space if e.dxftype() != "VIEWPORT")

    assert counted([new.modelspace()]) == counted([old.modelspace()])
    assert counted(sheets(new)) == counted(sheets(old))
    views = len(drawing(job).views)
    assert sum(len(layout.query("VIEWPORT")) - 1 for layout in sheets(new)) == views  # one is the sheet itself
    assert sum(len(layout.query("VIEWPORT")) for layout in sheets(old)) == views + 1


def test_layers_have_their_weights_and_the_file_its_unit(folder):
    for job, unit in ((HAULER, ezdxf.units.IN), (TRAILER, ezdxf.units.MM)):
        document = written(folder, job)
        assert document.units == unit
        for layer in LAYERS:
            assert document.layers.get(layer.name).dxf.lineweight == layer.weight
            assert document.layers.get(layer.name).dxf.linetype == layer.line
        assert document.layers.get("VIEWPORT").dxf.plot == 0


def measured(document: "ezdxf.document.Drawing") -> dict[str, list[tuple[float, str]]]:
    """What each dimension measures by its own points, as ezdxf reckons it, with its text; by kind."""
    found: dict[str, list[tuple[float, str]]] = {}
    for dimension in document.modelspace().query("DIMENSION"):
        kind = {0: "linear", 4: "radius", 5: "angle", 6: "ordinate"}[dimension.dimtype]
        value = dimension.get_measurement()
        if kind == "ordinate":
            across = bool(dimension.dxf.dimtype & 64)
            kind, value = ("across", value.x) if across else ("up", value.y)
        found.setdefault(kind, []).append((value, dimension.dxf.text))
    return found


def values_of(document: "ezdxf.document.Drawing") -> dict[str, list[float]]:
    return {kind: sorted(value for value, _ in values) for kind, values in measured(document).items()}


@pytest.mark.parametrize("version", VERSIONS)
@pytest.mark.parametrize("job", JOBS.values(), ids=JOBS)
def test_every_dimension_says_what_it_measures(folder, job, version):
    document = written(folder, job, version)
    places = 3 if drawing(job).frame.unit == "in" else 1
    found = measured(document)
    assert set(found) == {"across", "up", "linear", "radius", "angle"}
    for kind, dimensions in found.items():
        for value, text in dimensions:
            number = float(text.removeprefix("R ").removesuffix("\N{DEGREE SIGN}").split()[0])
            assert number == pytest.approx(value, abs=0.5000001 * 10.0 ** -(2 if kind == "angle" else places))
    for dimension in document.modelspace().query("DIMENSION"):
        shown = [text.plain_text() for text in dimension.get_geometry_block().query("TEXT")]
        assert shown == [dimension.dxf.text]
        if version == "R2010" and dimension.dimtype in (0, 4):
            assert dimension.dxf.actual_measurement == pytest.approx(dimension.get_measurement())


@pytest.mark.parametrize("version", VERSIONS)
def test_the_haulers_dimensions_are_the_numbers_of_its_job_file(folder, version):
    found = values_of(written(folder, HAULER, version))
    step, kick = degrees(atan(5 / 18)), degrees(atan(6 / 16))
    wanted = {
        # stations of rail ends, corner points and crossmembers; the cap's corners lie 4 + 5 in behind the rails
        "across": [-26, 12, 30, 72, 88, 132, -14, 52, 141],
        "up": [19, 19.5, 24, 25, 15],  # 19.5: the middle crossmember, 2 in high, flush with a 3 in rail's top at 19
        "linear": [168, 9, 28, 32],  # over all: the cap ends 4 + 5 + 1 in behind 132; heights 17.5 to 26.5
        "radius": [7, 7, 7, 7, 5, 5],
        "angle": [step, step, kick, kick, 90, 90],
    }
    for kind, values in wanted.items():
        assert found[kind] == pytest.approx(sorted(values), abs=1e-9), kind


def test_the_trailers_dimensions_are_the_numbers_of_its_job_file(folder):
    found = values_of(written(folder, TRAILER))
    spread = degrees(atan(500 / 1080))
    wanted = {
        "across": [120, 4200, 620, 1700, 2900, 4180],
        "up": [460, 60, 560],
        "linear": [4080, 90, 80, 160, 1080, 1160],  # 90: 80 high with a 10 thick plate on top
        "radius": [160, 160],
        "angle": [spread, spread],
    }
    for kind, values in wanted.items():
        assert found[kind] == pytest.approx(sorted(values), abs=1e-9), kind


@pytest.mark.parametrize("version", VERSIONS)
@pytest.mark.parametrize("job", JOBS.values(), ids=JOBS)
def test_no_text_lies_on_another(folder, job, version):
    document = written(folder, job, version)
    slack = 0.2 / (25.4 if drawing(job).frame.unit == "in" else 1.0)  # mm on paper
    scale = drawing(job).views[0].figure.denominator
    for space, times in [(document.modelspace(), scale), *((layout, 1.0) for layout in sheets(document))]:
        found = texts(document, space)
        assert found
        for (a, one), (b, other) in combinations(found, 2):
            assert not one.grown(-slack * times / 2).meets(other), (a, b)


@pytest.mark.parametrize("job", [HAULER, RACK, TRAILER], ids=lambda path: path.stem)
def test_gdal_finds_the_frame_at_true_size(folder, job):
    written(folder, job)
    path = folder / f"{job.parent.name}_{job.stem}_R2010.dxf"
    info, _, shapes, columns = pyogrio.raw.read(path)
    layer = columns[list(info["fields"]).index("Layer")]
    drawn = [shapely.from_wkb(shape) for name, shape in zip(layer, shapes, strict=True) if name == "VISIBLE"]
    frame = frame_at(job)
    size = 25.4 if frame.unit == "in" else 1.0
    view = drawing(job).views[0].figure
    low = view.box.low * view.denominator / size
    side = [shape for shape in drawn if shape.bounds[1] > low]  # the pictorial view lies under the side view
    ends = np.concatenate([part.line.points for part in frame.parts])
    left, _, right, _ = shapely.total_bounds(side)
    widest = max(part.section.width for part in frame.parts)
    assert ends[:, 0].min() - widest <= left * size <= ends[:, 0].min() + 1e-6
    assert ends[:, 0].max() - 1e-6 <= right * size <= ends[:, 0].max() + widest
    assert {"VISIBLE", "CENTRE", "DIMENSION", "LABEL", "TITLE", "BORDER"} <= set(layer)
    words = columns[list(info["fields"]).index("Text")]
    assert frame.job.job in set(words)


def test_bends_seen_square_are_true_arcs_of_the_tubes_faces(folder):
    space = written(folder, HAULER).modelspace()
    radii = Counter(round(arc.dxf.radius, 6) for arc in space.query('ARC[layer=="VISIBLE"]'))
    assert radii == {5.5: 4, 8.5: 4, 4.0: 2, 6.0: 2}  # R 7 on 3 in of depth, R 5 on 2 in
    centre = Counter(round(arc.dxf.radius, 6) for arc in space.query('ARC[layer=="CENTRE"]'))
    assert centre == {7.0: 4, 5.0: 2}


@pytest.mark.parametrize("job", [HAULER, RACK, TRAILER], ids=lambda path: path.stem)
def test_each_viewport_shows_its_view_to_scale(folder, job):
    document, made = written(folder, job), drawing(job)
    size = 25.4 if made.frame.unit == "in" else 1.0
    shown = [port for layout in sheets(document) for port in layout.query("VIEWPORT") if port.dxf.id != 1]
    for port, laid in zip(shown, made.views, strict=True):
        assert port.dxf.view_height / port.dxf.height == pytest.approx(laid.figure.denominator)
        if laid.figure.view is SIDE:  # its model space is the vehicle's own: the datum lies where the sheet has it
            off = np.subtract(laid.at, (port.dxf.center.x * size, port.dxf.center.y * size))
            middle = np.array(port.dxf.view_center_point)[:2]
            assert -off * laid.figure.denominator / size == pytest.approx(middle, abs=1e-6)
    layouts = sheets(document)
    assert [layout.name for layout in layouts] == [f"Sheet {i + 1}" for i in range(len(made.sheets))]
    _, width, height = PAPER[made.frame.unit]
    for layout in layouts:
        assert (layout.dxf.paper_width, layout.dxf.paper_height) == pytest.approx((width, height))
        for words, box in texts(document, layout):
            assert box.within(Rect(0, 0, width / size, height / size)), words


def test_r12_keeps_the_scale_of_its_viewports(folder):
    """ezdxf does not read R12's own way back, so the tags are read: after MVIEW, 1040: twist, height, centre x, y."""
    written(folder, HAULER, "R12")
    path = folder / f"{HAULER.parent.name}_{HAULER.stem}_R12.dxf"
    lines = [line.strip() for line in path.read_text("cp1252").splitlines()]
    tags = list(zip(lines[::2], lines[1::2], strict=True))
    starts = [i for i, tag in enumerate(tags) if tag == ("0", "VIEWPORT")][1:]  # the first is the sheet itself
    views = drawing(HAULER).views
    assert len(starts) == len(views)
    for start, laid in zip(starts, views, strict=True):
        own = tags[start : start + 60]
        height = float(next(value for code, value in own if code == "41"))
        floats = [float(value) for code, value in own if code == "1040"]
        assert floats[1] / height == pytest.approx(laid.figure.denominator)


def test_the_plan_lies_a_round_step_from_the_side_view(folder):
    for job, size, step in ((HAULER, 25.4, 1.0), (TRAILER, 1.0, 10.0)):
        side, plan = drawing(job).views[:2]
        away = (plan.at[1] - side.at[1]) * side.figure.denominator / size
        assert away / step == pytest.approx(round(away / step), abs=1e-6)
        assert plan.at[0] == pytest.approx(side.at[0])


def test_a_job_that_stops_says_so_first(folder):
    said = [text.plain_text() for layout in sheets(written(folder, CANNOT_BEND)) for text in layout.query("TEXT")]
    assert "DO NOT BUILD" in said
    assert "- the rail is wrong" in said
    assert "DO NOT BUILD" not in [text.plain_text() for text in sheets(written(folder, HAULER))[0].query("TEXT")]


def test_tolerances_are_the_jobs_words_or_agreed(folder):
    def said(job: Path) -> list[str]:
        return [text.plain_text() for text in sheets(written(folder, job))[0].query("TEXT")]

    assert "ISO 13920 class B unless stated" in said(TRAILER)
    assert "as agreed" in said(HAULER)
    assert any("not a structural certification" in line for line in said(HAULER))
    assert any("licensed" in line for line in said(HAULER))


def test_the_same_job_gives_the_same_bytes(folder):
    again, paths = make_drawing(frame_at(HAULER)), [folder / f"again_{i}.dxf" for i in range(2)]
    for version in VERSIONS:
        for path, made in zip(paths, (drawing(HAULER), again), strict=True):
            write_dxf(made, path, version)
        assert paths[0].read_bytes() == paths[1].read_bytes()


@pytest.mark.parametrize("version", VERSIONS)
@pytest.mark.parametrize("text", [HOSTILE, TEN_BENDS], ids=["hostile", "ten bends"])
def test_any_name_is_only_text_and_many_bends_stay_apart(tmp_path, text, version):
    path = tmp_path / "drawing.dxf"
    write_dxf(make_drawing(frame_at(job_of(tmp_path, text))), path, version)
    document = ezdxf.readfile(path)
    assert document.audit().errors == []
    assert {layer.dxf.name for layer in document.layers} >= {layer.name for layer in LAYERS}
    found = texts(document, document.modelspace())
    for (a, one), (b, other) in combinations(found, 2):
        assert not one.grown(-0.1).meets(other), (a, b)


def test_what_has_no_room_in_a_crowded_view_is_counted_under_it():
    """Every bend that a view sees square has its angle and its radius there, or is counted as left to the table."""
    crowded = 0
    for job in (HAULER, CANNOT_BEND):
        made = drawing(job)
        said = [mark.text for mark in made.sheets[0].marks if isinstance(mark, Text)]
        for laid in made.views[:2]:
            figure = laid.figure
            square = sum(turn.square is figure.view for turn in turns(made.frame))
            told = sum(one.kind in ("angle", "radius") for one in figure.dimensions)
            assert told + figure.left_out == 2 * square
            note = f"{figure.left_out} angles and radii in the table only"
            assert (note in said) == bool(figure.left_out)
            crowded += figure.left_out
        if job == HAULER:
            assert not crowded
    assert crowded  # eight rails over each other


def test_a_job_without_a_shape_has_no_drawing():
    frame = frame_at(HAULER)
    empty = Frame(source=frame.source, parts=(), faults=(Finding(rule="x", level="stop", says="no"),))
    with pytest.raises(GeometryError, match="no part of this job makes a shape"):
        make_drawing(empty)
