"""Validation properties of STEP files: what a file says of its solids is what another reader finds when it reads them.

Words and structure: the CAx Implementor Forum's recommended practices for geometric and assembly validation properties,
from memory. The kernel's reader is the one that looks for them; steputils only parses.
"""

from dataclasses import replace
from math import pi
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from jobfiles import HEAD, job_file
from rails import TUBE, part, random_legal_line, random_section
from step_read import File, Node, references, tree

from exporters.bodies import Branch, bodies, integrated, plate_bodies, shape_bodies
from exporters.part21 import Protocol
from exporters.step import Model, assembly, write_model, write_part
from railmodel.end_cuts import to_cut
from railmodel.fitting.keep_clear import shapes_of
from railmodel.frame import Frame, build_frame
from railmodel.geometry.figures import Figures, total
from railmodel.job.reader import read_job
from railmodel.plates import plates
from railmodel.units import Unit

JOB = """\
parts:
  - name: rail
    tube: main
    hand: pair
    points: [[0, 300, 400], {at: [800, 300, 400], radius: 200}, [1600, 500, 480]]
crossmembers:
  - {name: coped, tube: box, between: [rail], x: 800, ends: coped}
  - {name: mitred, tube: box, between: [rail], x: 1300, ends: mitred}
plates:
  - name: foot
    thickness: 8
    size: [120, 90]
    corner: 12
    holes: [{at: [25, 45], diameter: 13}, {at: [95, 45], diameter: 13}]
    place: {at: [300, 340, 300], normal: [0, 0.6, 0.8], up: [1, 0, 0]}
    mirror: true
  - {name: web, thickness: 5, gusset: {between: [rail inboard, mitred right], legs: [90, 70], clip: 10}}
keep_clear:
  - {name: box, shape: {box: {at: [500, 0, 200], size: [300, 200, 100], turn: [10, 0, 30]}}}
  - {name: ball, shape: {sphere: {at: [0, 0, 0], diameter: 80}}}
  - {name: can, shape: {cylinder: {from: [900, 50, 0], to: [900, 150, 30], diameter: 60}}, mirror: true}
  - {name: pill, shape: {capsule: {from: [100, 0, 0], to: [700, 20, -40], diameter: 50}}}
"""


@pytest.fixture(scope="module")
def frame(tmp_path_factory: pytest.TempPathFactory) -> Frame:
    return build_frame(read_job(job_file(tmp_path_factory.mktemp("job"), HEAD + JOB)))


def made(frame: Frame, unit: Unit) -> Model:
    """Everything of the job in one assembly."""
    inside = Branch("frame", bodies(frame.parts) + plate_bodies(plates(frame)))
    shapes = Branch("keep clear", shape_bodies(shape for shape, _ in shapes_of(frame.source)))
    return assembly([inside, shapes], title=frame.job.job, unit=unit)


@pytest.fixture(scope="module")
def model(frame: Frame) -> Model:
    return made(frame, "mm")


@pytest.fixture(scope="module")
def root(model: Model, tmp_path_factory: pytest.TempPathFactory) -> Node:
    path = tmp_path_factory.mktemp("read") / "frame.step"
    write_model(model, path, "AP214")
    return tree(path)


def near(one: Figures, other: Figures, *, off: float = 1e-6) -> None:
    """Equal within a millionth, as a customer's reader would compare them; centroids within 1e-5 mm."""
    assert one.volume == pytest.approx(other.volume, rel=off)
    assert one.area == pytest.approx(other.area, rel=off)
    assert one.centroid == pytest.approx(other.centroid, abs=1e-5)


@pytest.mark.parametrize("protocol", ["AP214", "AP242"])
def test_every_product_and_assembly_measures_what_the_file_says(
    model: Model, root: Node, protocol: Protocol, tmp_path: Path
) -> None:
    if protocol == "AP242":
        write_model(model, tmp_path / "frame.step", protocol)
        root = tree(tmp_path / "frame.step")
    nodes = list(root.all())
    assert len(nodes) == 1 + 2 + (2 + 2 + 2 + 2) + 5  # the whole, two branches, rails, crossmembers, plates, shapes
    for node in nodes:
        assert node.valid, node.name
        near(node.says, node.measures)


def test_in_inches_a_reader_finds_the_same_solids(frame: Frame, root: Node, tmp_path: Path) -> None:
    """Volumes go with the third power of the unit and areas with the second, so a slip in either shows."""
    write_model(made(frame, "in"), tmp_path / "in.step", "AP242")
    for one, other in zip(root.all(), tree(tmp_path / "in.step").all(), strict=True):
        near(one.says, other.says)
        near(other.says, other.measures)
    text = (tmp_path / "in.step").read_text()
    assert "CONVERSION_BASED_UNIT('INCH'" in text  # ISO 10303-41: an inch is a unit made by conversion, of 25.4 mm
    assert "LENGTH_MEASURE_WITH_UNIT(25.4," in text
    assert "vehicle axes in inches" in text


@pytest.mark.parametrize("seed", range(3))
def test_rails_say_what_pappus_gives_and_are_read_so(seed: int, tmp_path: Path) -> None:
    """Pappus and Guldin: area times the centroid's path, and girth times the path, plus the two ends."""
    rng = np.random.default_rng(seed)
    section = random_section(rng)
    rail = part(random_legal_line(rng, 3, section=section), section)
    write_part(rail, tmp_path / "rail.step", protocol="AP242")
    found = tree(tmp_path / "rail.step")
    inner = 2 * (section.height + section.width - 4 * section.wall) - (8 - 2 * pi) * section.inside_corner
    assert found.says.volume == pytest.approx(section.area * rail.line.length, rel=1e-9)
    assert found.says.area == pytest.approx((section.girth + inner) * rail.line.length + 2 * section.area, rel=1e-9)
    near(found.says, found.measures)


def test_mitred_tubes_hold_what_lies_between_the_middles_of_their_cuts(frame: Frame, root: Node) -> None:
    """A prism cut aslant holds its section times the length between the centroids of its ends."""
    (mitred,) = [one for one in frame.parts if one.name == "mitred"]
    assert mitred.cuts is not None
    near_end, far_end = mitred.cuts
    says = named(root, "mitred").says
    assert says.volume == pytest.approx(mitred.section.area * np.linalg.norm(far_end.at - near_end.at), rel=1e-9)
    assert near_end.angle > 0.1


def test_a_coped_tube_holds_the_sum_of_its_fibres(frame: Frame, root: Node) -> None:
    """Each fibre of the metal from one curved cut to the other, on a fine grid: a check that knows no solid."""
    (coped,) = [one for one in frame.parts if one.name == "coped"]
    assert coped.cuts is not None
    assert all(np.isfinite(cut.radius) for cut in coped.cuts)  # it meets the rails in their bends
    size, pose = coped.section, coped.line.start
    steps = (np.arange(1000) + 0.5) / 1000 - 0.5
    across, up = (grid.ravel() for grid in np.meshgrid(steps * size.width, steps * size.height))

    def within(inset: float, corner: float) -> np.ndarray:
        beyond = [
            np.maximum(np.abs(way) - (side / 2 - inset - corner), 0.0)
            for way, side in ((across, size.width), (up, size.height))
        ]
        return np.hypot(*beyond) <= corner

    metal = within(0.0, size.corner) & ~within(size.wall, size.inside_corner)
    fibres = pose.at + across[metal, None] * pose.s + up[metal, None] * pose.u
    lengths = np.diff([to_cut(cut, fibres, pose.t) for cut in coped.cuts], axis=0)
    says = named(root, "coped").says
    assert says.volume == pytest.approx(size.area * lengths.mean(), rel=1e-6)


def named(root: Node, name: str) -> Node:
    (found,) = [node for node in root.all() if node.name == name]
    return found


def test_plates_say_area_times_thickness_less_the_holes(root: Node) -> None:
    area = 120 * 90 - (4 - pi) * 12**2 - 2 * pi * 13**2 / 4
    rim = 2 * (120 + 90) - (8 - 2 * pi) * 12 + 2 * pi * 13
    for copy in ("foot 1", "foot 2"):
        foot = named(root, copy)
        assert foot.product == "foot"
        assert foot.says.volume == pytest.approx(area * 8, rel=1e-9)
        assert foot.says.area == pytest.approx(2 * area + rim * 8, rel=1e-9)
        assert foot.says.centroid == pytest.approx((60, 45, 4))


def test_shapes_say_what_any_table_of_solids_has(root: Node) -> None:
    long = float(np.linalg.norm([0, 100, 30]))
    pill = float(np.linalg.norm([600, 20, -40]))
    expected = {
        "box": 300 * 200 * 100, "ball": pi * 80**3 / 6, "can": pi * 30**2 * long, "can (other side)": pi * 30**2 * long,
        "pill": pi * 25**2 * pill + pi * 50**3 / 6,
    }  # fmt: skip
    assert {name: named(root, name).says.volume for name in expected} == pytest.approx(expected)


def test_the_whole_is_the_sum_of_its_copies_where_they_lie(root: Node) -> None:
    leaves = [node for node in root.all() if not node.children]
    near(root.says, total(integrated(leaf.shape) for leaf in leaves))
    near(root.says, total(branch.says for branch in root.children))


def properties(file: File) -> dict[tuple[str, str], Any]:
    """(product, what) to the item that gives its value, found by going from the property to its product."""
    below = {ref: file.below(ref) for ref, _ in file.all("PROPERTY_DEFINITION")}
    products = dict(file.all("PRODUCT"))
    shapes = {ref for ref, _ in file.all("PRODUCT_DEFINITION_SHAPE")}
    definitions = dict(file.all("PROPERTY_DEFINITION"))
    found = {}
    for _, (definition, representation) in file.all("PROPERTY_DEFINITION_REPRESENTATION"):
        name, what, of = definitions[definition]
        assert name == "geometric validation property"
        assert of in shapes
        (product,) = below[definition] & set(products)
        title, items, context = file.entities[representation][0].params
        assert title == what
        assert context in file.entities
        found[products[product][1], what] = file.entities[items[0]][0]
    return found


@pytest.mark.parametrize("protocol", ["AP214", "AP242"])
def test_the_text_gives_every_product_its_three_properties(model: Model, protocol: Protocol, tmp_path: Path) -> None:
    write_model(model, tmp_path / "frame.step", protocol)
    file = File(tmp_path / "frame.step")
    found = properties(file)
    names = {params[1] for _, params in file.all("PRODUCT")}
    assert names >= {"rail right", "rail left", "coped", "foot", "pill", "frame", "keep clear", "Test frame"}
    assert set(found) == {(name, what) for name in names for what in ("volume", "surface area", "centroid")}
    for (_, what), item in found.items():
        label, value, *unit = item.params
        if what == "centroid":
            assert (item.name, label, len(value)) == ("CARTESIAN_POINT", "centre point", 3)
            continue
        measure = {"volume": "VOLUME_MEASURE", "surface area": "AREA_MEASURE"}[what]
        assert (item.name, label, value.type_name) == ("MEASURE_REPRESENTATION_ITEM", f"{what} measure", measure)
        (element,) = references(file.entities[unit[0]][0].params)
        length, power = file.entities[element][0].params
        assert power == {"volume": 3.0, "surface area": 2.0}[what]
        assert "LENGTH_UNIT" in {entity.name for entity in file.entities[length]}


def test_the_two_standards_differ_in_what_they_are_called_and_in_nothing_else(
    model: Model, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Names of schemas: ISO 10303-214 and ISO 10303-242, from memory."""
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "0")
    lines = []
    for protocol in ("AP214", "AP242"):
        write_model(model, tmp_path / "frame.step", protocol)
        lines.append((tmp_path / "frame.step").read_text().splitlines())
    differing = [pair for pair in zip(*lines, strict=True) if pair[0] != pair[1]]
    assert [" ".join(old.split("'")[1].split()[:1]) for old, _ in differing] == [
        "AUTOMOTIVE_DESIGN", "automotive_design", "core",
    ]  # fmt: skip
    assert [new.split("'")[1].split()[0] for _, new in differing] == [
        "AP242_MANAGED_MODEL_BASED_3D_ENGINEERING_MIM_LF", "ap242_managed_model_based_3d_engineering", "managed",
    ]  # fmt: skip
    for name in ("AUTOMOTIVE_DESIGN { 1 0 10303 214", "_MIM_LF { 1 0 10303 442"):
        assert sum(name in line for both in lines for line in both) == 1


def test_a_solid_that_was_changed_on_the_way_is_found_out(tmp_path: Path) -> None:
    """What the properties are for: a rail one millimetre longer than the file says."""
    line = random_legal_line(np.random.default_rng(4), 1)
    longer = replace(line, rows=replace(line.rows, tail=line.rows.tail + 1.0))
    sent, read = (assembly(bodies([part(one)]), title="frame") for one in (line, longer))
    write_model(replace(read, said=sent.said), tmp_path / "frame.step", "AP242")
    for node in tree(tmp_path / "frame.step").all():
        assert node.measures.volume - node.says.volume == pytest.approx(TUBE.area * 1.0, rel=1e-6)
