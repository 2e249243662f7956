"""The vehicle's tree in STEP: plates where they belong, keep-clear shapes on request, names, colours, sameness."""

import json
from pathlib import Path

import numpy as np
import pytest
import trimesh
from commands import run
from jobfiles import HEAD, job_file
from OCP.BRep import BRep_Tool
from OCP.BRepClass3d import BRepClass3d_SolidClassifier
from OCP.gp import gp_Pnt
from OCP.TopAbs import TopAbs_ShapeEnum, TopAbs_State
from OCP.TopExp import TopExp_Explorer
from OCP.TopoDS import TopoDS
from step_read import File, Node, tree

from exporters.assembly import left_out, vehicle
from exporters.bodies import KEPT_CLEAR, PALETTE, PLATE, bodies
from exporters.step import write_model
from railmodel.app.build import plan_build, run_build
from railmodel.frame import Frame, build_frame
from railmodel.job.reader import read_job
from railmodel.plates import plates

NASTY = "d'été \"zwei\" <b onclick='x'> =1+1 \\X2\\0041 ימין 日本 😀 ; #12 = end " + "x" * 120
JOB = """\
parts:
  - name: rail
    tube: main
    hand: pair
    points: [[0, 300, 400], {at: [800, 300, 400], radius: 200}, [1600, 500, 480]]
crossmembers:
  - {name: cross, tube: box, between: [rail], x: 300}
plates:
  - name: %s
    thickness: 8
    outline: [[0, 0], {at: [120, 0], corner: 30}, [120, 50], {at: [60, 50], corner: 20}, [60, 110], [0, 110]]
    holes: [{at: [25, 30], diameter: 13}]
    place: {at: [300, 340, 300], normal: [0, 0.6, 0.8], up: [1, 0.1, 0]}
    mirror: true
  - {name: web, thickness: 5, gusset: {between: [rail inboard, cross right], legs: [90, 70], clip: 10}}
  - {name: loose, thickness: 5, size: [50, 50], count: 3}
  - name: torn
    thickness: 5
    size: [50, 50]
    holes: [{at: [0, 0], diameter: 20}]
    place: {at: [0, 0, 0], normal: [0, 0, 1], up: [1, 0, 0]}
keep_clear:
  - {name: %s, shape: {capsule: {from: [100, 0, 0], to: [700, 20, -40], diameter: 50}}, moves: {up: 30}}
  - {name: wheel, shape: {cylinder: {from: [900, 650, 0], to: [900, 750, 0], diameter: 600}}, mirror: true}
  - {name: engine, shape: {mesh: engine.stl, units: mm}}
"""


@pytest.fixture(scope="module")
def frame(tmp_path_factory: pytest.TempPathFactory) -> Frame:
    folder = tmp_path_factory.mktemp("job")
    trimesh.creation.box((100, 100, 100)).export(folder / "engine.stl")
    text = HEAD + JOB % (json.dumps(NASTY, ensure_ascii=False), json.dumps(NASTY + "y", ensure_ascii=False))
    return build_frame(read_job(job_file(folder, text)))


def written(frame: Frame, path: Path, *, keep_clear: bool) -> Node:
    write_model(vehicle(frame, bodies(frame.parts), keep_clear=keep_clear), path, "AP242")
    return tree(path)


@pytest.fixture(scope="module")
def whole(frame: Frame, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("whole") / "whole.step"
    written(frame, path, keep_clear=True)
    return path


def outline(node: Node, depth: int = 0) -> list[str]:
    return ["  " * depth + node.name, *(line for child in node.children for line in outline(child, depth + 1))]


FRAME = ["rail right", "rail left", "cross", f"{NASTY} 1", f"{NASTY} 2", "web 1", "web 2"]


def test_keep_clear_shapes_are_there_on_request_and_on_a_branch_of_their_own(
    frame: Frame, whole: Path, tmp_path: Path
) -> None:
    bare = written(frame, tmp_path / "bare.step", keep_clear=False)
    assert outline(bare) == ["Test frame", *(f"  {name}" for name in FRAME)]
    assert outline(tree(whole)) == [
        "Test frame",
        *("  frame", *(f"    {name}" for name in FRAME)),
        *("  keep clear", f"    {NASTY}y", "    wheel", "    wheel (other side)"),
    ]


def test_what_is_not_in_the_file_is_named_with_the_reason(frame: Frame) -> None:
    plates_out = ["loose (no place given)", "torn (stopped by the check)"]
    assert left_out(frame, keep_clear=False) == plates_out
    assert left_out(frame, keep_clear=True) == [*plates_out, "engine (a mesh)"]


def test_copies_of_a_plate_are_one_product_in_two_places(whole: Path) -> None:
    file = File(whole)
    products = [params[1] for _, params in file.all("PRODUCT")]
    assert products.count(NASTY) == 1
    assert products.count("web") == 1
    children = [params[1] for _, params in file.all("NEXT_ASSEMBLY_USAGE_OCCURRENCE")]
    assert sorted(children) == sorted(name.strip() for name in outline(tree(whole))[1:])


def corners(shape: object) -> np.ndarray:
    """(n, 3) vertices."""
    found, explorer = [], TopExp_Explorer(shape, TopAbs_ShapeEnum.TopAbs_VERTEX)
    while explorer.More():
        at = BRep_Tool.Pnt_s(TopoDS.Vertex_s(explorer.Current()))
        found.append((at.X(), at.Y(), at.Z()))
        explorer.Next()
    return np.unique(np.round(found, 6), axis=0)


def holds(shape: object, point: np.ndarray) -> bool:
    explorer = TopExp_Explorer(shape, TopAbs_ShapeEnum.TopAbs_SOLID)
    inside = BRepClass3d_SolidClassifier(explorer.Current(), gp_Pnt(*point.tolist()), 1e-7)
    return inside.State() == TopAbs_State.TopAbs_IN


def test_plates_lie_where_the_job_puts_them(frame: Frame, whole: Path) -> None:
    read = {node.name: node.shape for node in tree(whole).all()}
    angled, web, *_ = plates(frame)
    for plate in (angled, web):
        for i, place in enumerate(plate.places, start=1):
            shape = read[f"{plate.name} {i}"]
            rim = np.concatenate([place.points(plate.outline.points, depth) for depth in (0.0, plate.thickness)])
            for point in rim:
                assert np.linalg.norm(corners(shape) - point, axis=1).min() < 1e-5
            middle = place.points(np.mean(plate.outline.points, axis=0) * 0.5 + 5.0, plate.thickness / 2)
            assert holds(shape, middle) == (plate.outline.inside(np.mean(plate.outline.points, axis=0) * 0.5 + 5.0) > 0)
    for place in angled.places:
        assert not any(holds(read[f"{NASTY} {i}"], place.points((25.0, 30.0), 4.0)) for i in (1, 2))  # its hole


def test_the_mirrored_copy_is_the_mirror_image(whole: Path) -> None:
    read = {node.name: node.shape for node in tree(whole).all()}
    for name in (NASTY, "web"):
        flipped = corners(read[f"{name} 1"]) * np.array([1.0, -1.0, 1.0])
        other = corners(read[f"{name} 2"])
        assert all(np.linalg.norm(other - point, axis=1).min() < 1e-5 for point in flipped)


def test_shapes_stand_where_they_are_drawn_and_not_over_their_travel(whole: Path) -> None:
    read = {node.name: node.shape for node in tree(whole).all()}
    pill = read[f"{NASTY}y"]
    assert holds(pill, np.array([400.0, 10.0, -20.0]))
    assert holds(pill, np.array([100.0 - 24.0, 0.0, 0.0]))
    assert not holds(pill, np.array([100.0 - 26.0, 0.0, 0.0]))
    assert not holds(pill, np.array([400.0, 10.0, 20.0]))
    assert holds(read["wheel"], np.array([900.0, 700.0, 299.0]))
    assert holds(read["wheel (other side)"], np.array([900.0, -700.0, -299.0]))


def test_plates_and_shapes_have_colours_of_their_own(whole: Path) -> None:
    file = File(whole)
    names = {ref: params[1] for ref, params in file.all("PRODUCT")}
    colours = {names[ref]: colour for ref, colour in file.colour_of_product().items()}
    assert colours["web"] == colours[NASTY] == pytest.approx(PLATE)
    assert colours["wheel"] == colours[f"{NASTY}y"] == pytest.approx(KEPT_CLEAR)
    assert len({colours[name] for name in ("web", "wheel", "rail left", "rail right", "cross")}) == 5
    assert min(np.abs(np.subtract(PLATE, tone)).max() for tone in (*PALETTE, KEPT_CLEAR)) > 0.1


def test_every_surface_and_curve_is_exact(whole: Path) -> None:
    file = File(whole)
    surfaces = {file.entities[params[2]][0].name for _, params in file.all("ADVANCED_FACE")}
    assert surfaces <= {"PLANE", "CYLINDRICAL_SURFACE", "SPHERICAL_SURFACE", "TOROIDAL_SURFACE", "CONICAL_SURFACE"}
    curves = {file.entities[params[3]][0].name for _, params in file.all("EDGE_CURVE")}
    assert curves <= {"LINE", "CIRCLE", "ELLIPSE"}
    assert not any("B_SPLINE" in kind or "PCURVE" in kind for kind in file.kinds())


def test_the_same_job_gives_the_same_bytes(frame: Frame, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1700000000")
    for name in ("one", "two"):
        written(build_frame(frame.source), tmp_path / f"{name}.step", keep_clear=True)
    assert (tmp_path / "one.step").read_bytes() == (tmp_path / "two.step").read_bytes()


def test_build_writes_both_standards_in_the_unit_of_the_job_and_says_what_is_left_out(
    frame: Frame, tmp_path: Path
) -> None:
    steps = [one for one in plan_build(frame, [], dxf="R2010", keep_clear=True) if one.path.suffix == ".step"]
    assert all(outcome.problem is None for outcome in run_build(steps, tmp_path))
    whats = {one.path.as_posix(): one.what for one in steps}
    assert whats["customer/test_frame.step"] == (
        "assembly with the keep-clear shapes, STEP AP242; "
        "not in it: loose (no place given), torn (stopped by the check), engine (a mesh)"
    )
    assert whats["customer/test_frame_ap214.step"] == "the same for older programs, STEP AP214"
    for name, schema in (("test_frame", "AP242_MANAGED"), ("test_frame_ap214", "AUTOMOTIVE_DESIGN")):
        file = File(tmp_path / "customer" / f"{name}.step")
        assert file.read.header["FILE_SCHEMA"].params[0][0].startswith(schema)
        assert "keep clear" in [params[1] for _, params in file.all("PRODUCT")]


INCHES = """\
job: Short rail
units: in
tubes: {main: {height: 3, width: 2, wall: 3/16, corner: 3/8}}
parts: [{name: rail, tube: main, points: [[0, 0, 20], [30, 0, 20]]}]
keep_clear: [{name: hub, shape: {sphere: {at: [10, 4, 0], diameter: 6}}}]
"""


def test_the_command_takes_keep_clear_shapes_along_when_told_to(tmp_path: Path) -> None:
    """An inch job: its files are in inches, and the kernel's reader, asked for mm, finds 10 inches at 254 mm."""
    ran = run("build", job_file(tmp_path, INCHES), "--out", tmp_path / "out", "--with-keep-clear")
    assert "Traceback" not in ran.err
    root = tree(tmp_path / "out" / "customer" / "short_rail.step")
    assert outline(root) == ["Short rail", "  frame", "    rail", "  keep clear", "    hub"]
    (hub,) = [node for node in root.all() if node.name == "hub"]
    assert hub.says.centroid == pytest.approx((254.0, 101.6, 0.0))
    assert hub.measures.centroid == pytest.approx((254.0, 101.6, 0.0))
    assert "CONVERSION_BASED_UNIT('INCH'" in (tmp_path / "out" / "cnc" / "rail.step").read_text()
    index = (tmp_path / "out" / "index.html").read_text(encoding="utf-8")
    assert "assembly with the keep-clear shapes, STEP AP242" in index
    assert "short_rail_ap214.step" in index
