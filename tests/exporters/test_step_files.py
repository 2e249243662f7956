"""STEP files as other readers see them: steputils reads the text, the kernel's importer reads the solids."""

import os
import signal
import subprocess
import sys
from dataclasses import replace
from itertools import combinations
from pathlib import Path

import cadquery
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from rails import TUBE, part, random_legal_line
from step_read import File
from steputils import p21

from exporters import bodies as made
from exporters import step
from exporters.bodies import PALETTE, SHADES, bodies
from exporters.part21 import finished, quoted
from exporters.step import write_part, write_parts
from railmodel.errors import GeometryError, InputError
from railmodel.geometry.centreline import Centreline, Pose
from railmodel.geometry.rows import BendRows
from railmodel.geometry.section import Section
from railmodel.part import RailPart

START = Pose.of([10.0, 300.0, 40.0], [1.0, 0.1, 0.05], [0.0, 0.0, 1.0])
SHARP = Section(height=60.0, width=40.0, wall=3.0, corner=0.0)
NASTY = 'd\'été "zwei" \\X2\\0041\\X0\\ back\\slash \u202bימין\u202c \u200f 日本 😀 tab\tnew\nline ; #12 = end'


def line(tail: float = 250.0) -> Centreline:
    return Centreline(BendRows.of([200.0], [0.0], [0.6], [150.0], tail), START)


def frame() -> list[RailPart]:
    """A pair and two crossmembers of one name but two tubes, one of them sharp-cornered."""
    right = part(line(), hand="right", name=NASTY)
    return [right, right.mirrored(), part(line(), name="x" * 200), part(line(), SHARP, name="x" * 200, tube="other")]


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("step") / "frame.step"
    write_parts(frame(), path, title=NASTY)
    return path


@pytest.fixture(scope="module")
def file(written: Path) -> File:
    return File(written)


def test_every_part_is_a_product_and_an_occurrence_under_its_own_name(file: File) -> None:
    labels = [item.label for item in frame()]
    products = file.all("PRODUCT")
    assert sorted(params[1] for _, params in products) == sorted([NASTY, *labels])
    assert all(params[0] == params[1] for _, params in products)
    definitions = dict(file.all("PRODUCT_DEFINITION"))
    formations = dict(file.all("PRODUCT_DEFINITION_FORMATION"))
    product_of = {ref: formations[params[2]][2] for ref, params in definitions.items()}
    named = dict(products)
    children = []
    for number, (_, params) in enumerate(file.all("NEXT_ASSEMBLY_USAGE_OCCURRENCE"), start=1):
        assert params[0] == str(number)
        assert named[product_of[params[3]]][1] == NASTY
        assert named[product_of[params[4]]][1] == params[1]
        children.append((product_of[params[4]], params[1]))
    assert [name for _, name in children] == labels
    assert len({product for product, _ in children}) == 4  # two of one name are still two products


def test_each_tube_and_hand_has_its_colour(file: File) -> None:
    names = {ref: params[1] for ref, params in file.all("PRODUCT")}
    colours = [(names[product], colour) for product, colour in file.colour_of_product().items()]
    assert len(colours) == 4
    assert len({colour for _, colour in colours}) == 4
    expected = [(body.name, body.colour) for body in bodies(frame())]
    for (name, colour), (label, wanted) in zip(sorted(colours), sorted(expected), strict=True):
        assert name == label
        assert colour == pytest.approx(wanted, abs=5e-4)


def test_the_palette_tells_eight_tubes_and_both_hands_apart() -> None:
    shades = [np.array(colour) * shade for colour in PALETTE for shade in SHADES.values()]
    assert all(np.all((shade >= 0) & (shade <= 1)) for shade in shades)
    assert min(np.abs(one - other).max() for one, other in combinations(shades, 2)) > 0.04


def test_lengths_are_millimetres_in_ap214(file: File) -> None:
    units = [entities for entities in file.entities.values() if any(e.name == "LENGTH_UNIT" for e in entities)]
    assert units
    for unit in units:
        assert [tuple(entity.params) for entity in unit if entity.name == "SI_UNIT"] == [(".MILLI.", ".METRE.")]
    assert file.read.header["FILE_SCHEMA"].params[0][0].startswith("AUTOMOTIVE_DESIGN")
    assert file.read.header["FILE_DESCRIPTION"].params[0][0].startswith("vehicle axes in millimetres: X rearward")


def test_legal_rails_are_planes_cylinders_and_tori_and_nothing_else(file: File) -> None:
    surfaces = {file.entities[params[2]][0].name for _, params in file.all("ADVANCED_FACE")}
    assert surfaces == {"PLANE", "CYLINDRICAL_SURFACE", "TOROIDAL_SURFACE"}
    curves = {file.entities[params[3]][0].name for _, params in file.all("EDGE_CURVE")}
    assert curves == {"LINE", "CIRCLE"}
    assert not any("B_SPLINE" in kind or "PCURVE" in kind for kind in file.kinds())


def test_the_header_names_the_file_and_no_machine_or_person(file: File) -> None:
    name, _, author, organization, _, system, authorisation = file.read.header["FILE_NAME"].params
    assert name == NASTY
    assert (tuple(author), tuple(organization), system, authorisation) == (
        ("railmodel",),
        ("railmodel",),
        "railmodel",
        "",
    )


def test_the_kernel_reads_the_assembly_back_exactly(tmp_path: Path) -> None:
    rails = frame()[:3]
    write_parts(rails, tmp_path / "frame.step", title=NASTY)
    assembly = cadquery.Assembly.importStep(str(tmp_path / "frame.step"))
    assert assembly.name == NASTY
    assert [child.name for child in assembly.children] == [item.label for item in rails]
    for child, rail, body in zip(assembly.children, rails, bodies(rails), strict=True):
        (shape,) = child.obj.Solids()
        assert shape.isValid()
        assert shape.Volume() == pytest.approx(TUBE.area * rail.line.length, rel=1e-9)
        assert child.color.toTuple() == pytest.approx(cadquery.Color(*body.colour).toTuple(), abs=1e-3)


def test_a_part_file_holds_one_named_coloured_solid_where_it_stands(tmp_path: Path) -> None:
    rng = np.random.default_rng(5)
    rail = part(random_legal_line(rng, 3), name="rail O'Neil", hand="left")
    write_part(rail, tmp_path / "rail.step")
    (shape,) = cadquery.importers.importStep(str(tmp_path / "rail.step")).solids().vals()
    assert shape.isValid()
    assert shape.Volume() == pytest.approx(TUBE.area * rail.line.length, rel=1e-9)
    start = cadquery.Vector(*rail.line.start.at)
    assert shape.distance(cadquery.Vertex.makeVertex(*start.toTuple())) == pytest.approx(21.0, abs=1e-7)  # half bore
    read = File(tmp_path / "rail.step")
    assert [params[1] for _, params in read.all("PRODUCT")] == ["rail O'Neil left"]
    assert len(read.colour_of_product()) == 1


def test_a_rail_that_is_not_legal_keeps_analytic_faces(tmp_path: Path) -> None:
    rail = part(Centreline(BendRows.of([50.0], [1e-6], [0.6], [150.0], 50.0), START), SHARP)
    write_part(rail, tmp_path / "rail.step")
    read = File(tmp_path / "rail.step")
    surfaces = {read.entities[params[2]][0].name for _, params in read.all("ADVANCED_FACE")}
    assert surfaces == {"PLANE", "CONICAL_SURFACE"}
    assert all(0 < params[3] < np.pi / 2 for _, params in read.all("CONICAL_SURFACE"))
    shape = cadquery.importers.importStep(str(tmp_path / "rail.step")).val()
    assert shape.isValid()
    assert shape.Volume() == pytest.approx(SHARP.area * rail.line.length, rel=1e-9)


def test_solids_are_built_once_and_keep_their_colour_in_every_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    ready = bodies(frame()[:3])
    monkeypatch.setattr(made, "kernel_solid", lambda rail: pytest.fail(f"{rail.label} built again"))
    write_parts(ready, tmp_path / "frame.step", title="frame")
    colours = [f"COLOUR_RGB('',{body.colour[0]:.3f}," for body in ready]
    assert all(colour in (tmp_path / "frame.step").read_text() for colour in colours)
    for body, colour in zip(ready, colours, strict=True):
        write_part(body, tmp_path / "part.step")
        assert colour in (tmp_path / "part.step").read_text()


def test_one_body_given_twice_makes_two_products(tmp_path: Path) -> None:
    (body,) = bodies([part(line(), SHARP)])
    write_parts([body, body], tmp_path / "twice.step", title="twice")
    text = (tmp_path / "twice.step").read_text()
    assert text.count("=PRODUCT(") == 3
    assert text.count("=MANIFOLD_SOLID_BREP(") == 2


@given(st.text(st.characters(exclude_categories=["Cs"]), max_size=200))
def test_any_text_comes_back_from_a_part_21_reader(text: str) -> None:
    """Through the reader's lexer: its parser takes the whole text ")" for a bracket."""
    written = quoted(text)
    assert written.isascii()
    assert written.isprintable()
    assert list(p21.Lexer(f"{written},")) == [text, ","]


CHILD = """
import os, pathlib, signal, sys
sys.path[:0] = [{root!r}, {tests!r}]
from rails import TUBE, part
from railmodel.geometry.centreline import Centreline, Pose
from railmodel.geometry.rows import BendRows
from exporters import step
start = Pose.of([10.0, 300.0, 40.0], [1.0, 0.1, 0.05], [0.0, 0.0, 1.0])
line = Centreline(BendRows.of([200.0], [0.0], [0.6], [150.0], 250.0), start)
pair = [part(line, hand="right"), part(line, hand="right").mirrored()]
folder = pathlib.Path({folder!r})
step.write_parts(pair, folder / "child.step", title="frame")
step.finished = lambda *args, **kwargs: os.kill(os.getpid(), signal.SIGKILL)
step.write_parts(pair[:1], folder / "old.step", title="half-way")
"""


def test_bytes_are_the_same_from_any_process_and_a_killed_writer_leaves_the_old_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1700000000")
    (tmp_path / "old.step").write_text("the old file")
    tests = Path(__file__).parents[1]
    code = CHILD.format(root=str(tests.parent), tests=str(tests), folder=str(tmp_path))
    child = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert child.returncode == -signal.SIGKILL, child.stderr
    assert child.stdout == ""  # the kernel's chatter is switched off
    assert (tmp_path / "old.step").read_text() == "the old file"
    pair = [part(line(), hand="right"), part(line(), hand="right").mirrored()]
    first = (tmp_path / "child.step").read_bytes()
    assert b"'2023-11-14T22:13:20+00:00'" in first
    for name in ("one.step", "two.step"):  # the kernel's own count of occurrences goes on in between
        write_parts(pair, tmp_path / name, title="frame")
        assert (tmp_path / name).read_bytes() == first


@pytest.mark.parametrize("number", ["1", "98765", "123456789',\n  '"])
def test_the_kernels_count_of_occurrences_leaves_no_trace(number: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Not in the number, nor in the line breaks a long number pushes about."""
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "0")
    kernel = f"FILE_SCHEMA(('A'));\nENDSEC;\nDATA;\n#8 = NEXT_ASSEMBLY_USAGE_OCCURRENCE('{number}"
    kernel = kernel if number.endswith("'") else kernel + "','"
    text = finished(
        kernel + "railmodel name 0','',#5,\n  #27,$);\nENDSEC;\nEND-ISO-10303-21;\n",
        names=["rail"], said={}, title="frame", kernel="kernel", protocol="AP214", unit="mm",
    )  # fmt: skip
    assert "\n#8=NEXT_ASSEMBLY_USAGE_OCCURRENCE('1','rail','',#5,#27,$);\nENDSEC;" in text


def test_without_a_pinned_time_only_the_header_time_differs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    texts = []
    for pinned in ("0", "86400"):
        monkeypatch.setenv("SOURCE_DATE_EPOCH", pinned)
        write_part(part(line(), SHARP), tmp_path / "rail.step")
        texts.append((tmp_path / "rail.step").read_text())
    assert texts[0].replace("1970-01-01T", "1970-01-02T") == texts[1]
    assert texts[0] != texts[1]


@pytest.mark.parametrize("pinned", ["", "soon", "1e9", "9" * 30])
def test_a_time_that_is_no_number_is_refused(pinned: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SOURCE_DATE_EPOCH", pinned)
    with pytest.raises(InputError, match=r"SOURCE_DATE_EPOCH is .* whole seconds"):
        write_part(part(line(), SHARP), tmp_path / "rail.step")
    assert os.listdir(tmp_path) == []


def test_a_part_that_makes_no_solid_leaves_no_file(tmp_path: Path) -> None:
    tight = replace(line(), rows=replace(line().rows, radius=np.array([20.0])))
    with pytest.raises(GeometryError, match="use a radius above 50 mm"):
        write_parts([part(line()), part(tight, name="tight")], tmp_path / "frame.step", title="frame")
    assert os.listdir(tmp_path) == []


@pytest.mark.parametrize("failing", ["nothing written", "no disk"])
def test_a_writer_that_fails_is_not_taken_for_a_file(
    failing: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(step, "_write_geometry", lambda *args, **kwargs: failing == "nothing written")
    with pytest.raises(InputError, match="the STEP text could not be written here"):
        write_part(part(line(), SHARP), tmp_path / "rail.step")
    assert os.listdir(tmp_path) == []
