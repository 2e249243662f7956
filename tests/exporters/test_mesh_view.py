"""Meshes for looking at: closed, right side out, close to the exact body, small."""

from base64 import b64decode
from pathlib import Path

import numpy as np
import pytest
import trimesh
from commands import HAULER, TRAILER
from jobfiles import job_file
from rails import part, random_legal_line, random_section

from exporters.mesh import Mesh, mesh_of, packed, plate_mesh
from railmodel.frame import build_frame
from railmodel.geometry.centreline import Centreline, Pose
from railmodel.geometry.flat_outline import Outline
from railmodel.geometry.rows import BendRows
from railmodel.geometry.section import Section
from railmodel.job.reader import read_job
from railmodel.plates import Placing, Plate, plates


def body(mesh: Mesh) -> trimesh.Trimesh:
    """The mesh as a general mesh library takes it, vertices on one spot made one."""
    found = trimesh.Trimesh(mesh.points, mesh.triangles, process=False)
    found.merge_vertices(merge_norm=True, digits_vertex=6)
    return found


@pytest.mark.parametrize("seed", range(12))
def test_a_mesh_is_closed_right_side_out_and_its_normals_look_out(seed: int) -> None:
    rng = np.random.default_rng(seed)
    section = random_section(rng)
    mesh = mesh_of(part(random_legal_line(rng, 3, section=section), section))
    found = body(mesh)
    assert found.is_watertight
    assert found.is_winding_consistent
    assert found.volume > 0
    a, b, c = (mesh.points[mesh.triangles[:, k]] for k in range(3))
    flat = np.cross(b - a, c - a)
    flat /= np.linalg.norm(flat, axis=1, keepdims=True)
    shown = mesh.normals[mesh.triangles]
    np.testing.assert_allclose(np.linalg.norm(mesh.normals, axis=1), 1.0, atol=1e-9)
    # the outline turns 30 degrees a corner facet, a bend 4 degrees a facet: no vertex looks further off its triangle
    assert np.einsum("ij,ikj->ik", flat, shown).min() > np.cos(np.radians(36))


@pytest.mark.parametrize("seed", range(6))
def test_finer_facets_come_to_the_volume_of_pappus(seed: int) -> None:
    """Pappus-Guldinus: volume is section area times the length of the centroid's path."""
    rng = np.random.default_rng(seed)
    section = random_section(rng)
    rail = part(random_legal_line(rng, 2, section=section), section)
    exact = section.area * rail.line.length
    fine = body(mesh_of(rail, corner_facets=24, bend_facet=np.radians(0.5))).volume
    assert fine == pytest.approx(exact, rel=2e-3)
    shown = body(mesh_of(rail)).volume
    assert abs(fine - exact) <= abs(shown - exact) + 1e-6 * exact


def test_both_hands_are_mirror_images() -> None:
    right = part(random_legal_line(np.random.default_rng(5), 3), hand="right", sides=("outboard", "inboard"))
    one, other = body(mesh_of(right)), body(mesh_of(right.mirrored()))
    assert one.volume == pytest.approx(other.volume)
    flipped = other.bounds * [1, -1, 1]
    np.testing.assert_allclose(one.bounds, np.stack([flipped.min(axis=0), flipped.max(axis=0)]))


def test_the_hauler_stays_light_and_fits_sixteen_bit_indices() -> None:
    frame = build_frame(read_job(HAULER))
    meshes = [mesh_of(one) for one in frame.parts]
    assert sum(len(mesh.triangles) for mesh in meshes) <= 10_000
    assert all(packed(mesh)["index"] == "uint16" for mesh in meshes)


def test_packed_buffers_come_back() -> None:
    mesh = mesh_of(part(random_legal_line(np.random.default_rng(3), 2)))
    sent = packed(mesh)
    points = np.frombuffer(b64decode(sent["points"]), "<f4").reshape(-1, 3)
    normals = np.frombuffer(b64decode(sent["normals"]), "<i1").reshape(-1, 3) / 127
    triangles = np.frombuffer(b64decode(sent["triangles"]), "<u2").reshape(-1, 3)
    np.testing.assert_allclose(points, mesh.points, atol=1e-3)
    np.testing.assert_allclose(normals, mesh.normals, atol=0.5 / 127 + 1e-9)
    np.testing.assert_array_equal(triangles, mesh.triangles)


def test_a_mesh_of_very_many_vertices_takes_wider_indices() -> None:
    rows = BendRows.of([0.0], [0.0], [np.pi / 2], [500.0], 10.0)
    line = Centreline(rows, Pose.of((0, 0, 0), (1, 0, 0), (0, 0, 1)))
    sent = packed(mesh_of(part(line), bend_facet=np.radians(0.04)))
    assert sent["index"] == "uint32"
    triangles = np.frombuffer(b64decode(sent["triangles"]), "<u4")
    assert triangles.max() * 12 < len(b64decode(sent["points"]))


def test_a_sharp_corner_stays_sharp() -> None:
    rows = BendRows.of([], [], [], [], 100.0)
    line = Centreline(rows, Pose.of((0, 0, 0), (1, 0, 0), (0, 0, 1)))
    mesh = mesh_of(part(line, Section(height=60, width=40, wall=3, corner=0)))
    assert body(mesh).volume == pytest.approx(100.0 * (60 * 40 - 54 * 34))
    assert np.abs(mesh.normals).max(axis=1).min() == pytest.approx(1.0)


SPLAYED = """\
job: Splayed rails
units: mm
tubes:
  main: {height: 80, width: 40, wall: 3}
  cross: {height: 40, width: 40, wall: 2}
parts:
  - {name: rail, tube: main, hand: pair, points: POINTS}
crossmembers:
  - {name: tie, tube: cross, between: [rail], x: 1000, ends: ENDS}
"""


@pytest.mark.parametrize("ends", ["coped", "mitred"])
def test_the_ends_of_a_crossmember_lie_on_the_flat_faces_of_the_rails(tmp_path: Path, ends: str) -> None:
    text = SPLAYED.replace("POINTS", "[[0, 300, 0], [2000, 500, 0]]").replace("ENDS", ends)
    cross = build_frame(read_job(job_file(tmp_path, text))).parts[-1]
    mesh = mesh_of(cross)
    assert body(mesh).is_watertight
    assert cross.cuts is not None
    for cut, way in zip(cross.cuts, (-1, 1), strict=True):
        end = mesh.points[mesh.normals @ -cut.normal > 1 - 1e-9]
        assert np.abs((end - cut.at) @ cut.normal).max() < 1e-6
        assert (np.sign(end[:, 1]) == way).all()


def test_a_coped_end_in_a_bend_lies_on_the_curved_face(tmp_path: Path) -> None:
    points = "[[0, 300, 0], {at: [1000, 300, 0], radius: 600}, [2000, 900, 0]]"
    cross = build_frame(
        read_job(job_file(tmp_path, SPLAYED.replace("POINTS", points).replace("ENDS", "coped")))
    ).parts[-1]
    assert cross.cuts is not None
    mesh = mesh_of(cross)
    assert body(mesh).is_watertight
    for cut in cross.cuts:
        assert cut.axis is not None
        assert cut.direction is not None
        end = mesh.points[mesh.normals @ -cut.normal > 1 - 1e-9]
        off = end - cut.axis
        across = off - np.outer(off @ cut.direction, cut.direction)
        np.testing.assert_allclose(np.linalg.norm(across, axis=1), cut.radius, atol=1e-6)


def test_a_round_tube_gets_twice_the_facets() -> None:
    rows = BendRows.of([], [], [], [], 100.0)
    line = Centreline(rows, Pose.of((0, 0, 0), (1, 0, 0), (0, 0, 1)))
    pipe = mesh_of(part(line, Section(height=50, width=50, wall=3, corner=25)))
    # a regular polygon of 24 sides in a circle: n / 2 sin(2 pi / n) of the radius squared
    assert body(pipe).volume == pytest.approx(100 * 12 * np.sin(np.pi / 12) * (25**2 - 22**2))


def test_plates_are_closed_and_come_to_their_own_volume() -> None:
    made = [plate for plate in plates(build_frame(read_job(TRAILER))) if plate.places]
    assert made
    for plate in made:
        for place in plate.places:
            found = body(plate_mesh(plate, place))
            assert found.is_watertight
            assert found.is_winding_consistent
            assert found.volume == pytest.approx(plate.area * plate.thickness, rel=0.01)
            corners = place.points(plate.outline.points)
            np.testing.assert_array_less(found.bounds[0] - 1e-6, corners.min(axis=0) + 1e-9)


def test_the_normals_of_a_plate_look_out_and_its_holes_go_through() -> None:
    square = Outline.of([(0, 0), (100, 0), (100, 60), (0, 60)])
    plate = Plate(name="plate", thickness=8.0, outline=square, holes=((30, 30, 20), (70, 30, 10)))
    place = Placing(np.array([5.0, 6.0, 7.0]), np.array([0.0, 1.0, 0.0]), np.array([0.0, 0.0, 1.0]))
    mesh = plate_mesh(plate, place)
    a, b, c = (mesh.points[mesh.triangles[:, k]] for k in range(3))
    flat = np.cross(b - a, c - a)
    flat /= np.linalg.norm(flat, axis=1, keepdims=True)
    np.testing.assert_allclose(np.einsum("ij,ikj->ik", flat, mesh.normals[mesh.triangles]), 1.0, atol=1e-9)
    found = body(mesh)
    assert found.euler_number == 2 - 2 * 2  # a body with two holes through it
    np.testing.assert_allclose(found.bounds, [[5, 6, 7], [13, 106, 67]])
