"""Mesh files: each kind read to the same triangles in mm, and every kind of bad file refused in one sentence.

The files are written by trimesh, or by hand where no library would write them.
"""

import json
import struct
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import trimesh

from railmodel.errors import InputError
from railmodel.fitting.mesh_files import MOST_TRIANGLES, load_mesh, open_edges


def write(path: Path, mesh: trimesh.Trimesh, kind: str) -> Path:
    data = mesh.export(file_type=kind)
    path.write_bytes(data if isinstance(data, bytes) else data.encode())
    return path


def stl_header(count: int) -> bytes:
    return bytes(80) + struct.pack("<I", count)


@pytest.mark.parametrize("kind", ["stl", "stl_ascii", "obj", "glb"])
@pytest.mark.parametrize(("units", "scale"), [("mm", 1.0), ("in", 25.4), ("m", 1000.0), ("cm", 10.0), ("ft", 304.8)])
def test_every_kind_of_file_gives_the_same_triangles(tmp_path: Path, kind: str, units: str, scale: float) -> None:
    ball = trimesh.creation.icosphere(subdivisions=2, radius=8.0)
    found = load_mesh(write(tmp_path / f"ball.{kind[:3]}", ball, kind), units)
    assert found.triangles.shape == (320, 3, 3)
    np.testing.assert_allclose(
        np.sort(found.triangles.sum(axis=(1, 2))), np.sort(scale * ball.triangles.sum(axis=(1, 2))), atol=1e-4 * scale
    )
    assert found.closed
    assert found.warnings == ()


def test_an_open_mesh_is_a_surface_with_a_warning(tmp_path: Path) -> None:
    ball = trimesh.creation.icosphere(subdivisions=2, radius=8.0)
    ball.update_faces(np.arange(len(ball.faces)) != 5)
    found = load_mesh(write(tmp_path / "cover.stl", ball, "stl"), "mm")
    assert not found.closed
    assert found.warnings == (
        "cover.stl: 3 edges are open, so it is used as a surface and a part wholly inside it is not noticed",
    )


def test_open_edges_are_counted_where_corners_are_equal() -> None:
    box = np.array(trimesh.creation.box((2, 3, 4)).triangles)
    assert open_edges(box) == 0
    assert open_edges(box[1:]) == 3
    assert open_edges(np.concatenate([box, box + 10.0])) == 0
    assert open_edges(box * [1.0, -1.0, 1.0]) == 0


def test_several_placed_bodies_in_one_file_stay_where_they_are_placed(tmp_path: Path) -> None:
    scene = trimesh.Scene()
    box = trimesh.creation.box((2, 2, 2))
    scene.add_geometry(box)
    scene.add_geometry(box, transform=trimesh.transformations.translation_matrix([10, 0, 0]))
    (tmp_path / "two.glb").write_bytes(scene.export(file_type="glb"))
    found = load_mesh(tmp_path / "two.glb", "mm")
    assert len(found.triangles) == 24
    np.testing.assert_allclose(found.extent, [[-1, -1, -1], [11, 1, 1]])


def text(content: str) -> Callable[[Path], None]:
    return lambda path: path.write_text(content, encoding="utf-8") and None


def raw(content: bytes) -> Callable[[Path], None]:
    return lambda path: path.write_bytes(content) and None


def glb(header: object) -> bytes:
    body = json.dumps(header).encode()
    body += b" " * (-len(body) % 4)
    return struct.pack("<4sII", b"glTF", 2, 20 + len(body)) + struct.pack("<I4s", len(body), b"JSON") + body


NOT_A_NUMBER = np.zeros(1, dtype=[("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
NOT_A_NUMBER["corners"][0, 1, 2] = np.nan
LOST = {"accessors": [], "meshes": [{"primitives": [{"attributes": {"POSITION": 3}}]}], "nodes": [{"mesh": 0}]}


@pytest.mark.parametrize(
    ("name", "make", "says"),
    [
        ("none.stl", raw(stl_header(0)), r"none\.stl: holds no triangle; export the part again"),
        (
            "nan.stl",
            raw(stl_header(1) + NOT_A_NUMBER.tobytes()),
            r"nan\.stl: 1 of 1 triangles have a corner that is not",
        ),
        ("cut.stl", raw(stl_header(9) + bytes(100)), r"cut\.stl: .*announces 9 triangles, its 184 bytes hold 2"),
        ("junk.stl", raw(b"junk"), r"junk\.stl: is no whole STL file"),
        ("text.stl", text("solid x\nfacet normal 0 0 1\nendfacet\n"), r"text\.stl: holds no triangle"),
        ("binary.obj", raw(b"\xff\xfe\nf 1 2 3\n"), r"binary\.obj: is no whole OBJ file"),
        (
            "lost.obj",
            text("v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 9\n"),
            r"lost\.obj: is no whole OBJ file .*; export it again",
        ),
        (
            "nan.obj",
            text("v 0 0 0\nv 1 0 0\nv 0 nan 0\nf 1 2 3\n"),
            r"nan\.obj: 1 of 1 triangles have a corner that is",
        ),
        ("empty.obj", text(""), r"empty\.obj: holds no triangle"),
        ("junk.glb", raw(b"glTFjunkjunkjunkjunkjunk"), r"junk\.glb: is no whole GLB file \(its header is not"),
        ("short.glb", raw(b"glTF"), r"short\.glb: is no whole GLB file"),
        ("lost.glb", raw(glb(LOST)), r"lost\.glb: is no whole GLB file"),
        (
            "part.step",
            text("ISO-10303-21;"),
            r"part\.step: a STEP file is made into a mesh once, .*import-mesh part\.step",
        ),
        ("part.xyz", text("1 2 3"), r"part\.xyz: found a file ending in \.xyz; allowed: \.stl, \.obj, \.glb, \.step"),
        ("absent.stl", lambda path: None, r"absent\.stl: cannot be read \(No such file or directory\); check the path"),
    ],
)
def test_a_bad_file_is_refused_in_one_sentence(
    tmp_path: Path, name: str, make: Callable[[Path], None], says: str
) -> None:
    make(tmp_path / name)
    with pytest.raises(InputError, match=says) as refused:
        load_mesh(tmp_path / name, "mm")
    assert len(refused.value.problems) == 1
    assert "\n" not in refused.value.problems[0]


def test_the_unit_is_told_never_guessed(tmp_path: Path) -> None:
    path = write(tmp_path / "engine.stl", trimesh.creation.box((1, 1, 1)), "stl")
    with pytest.raises(InputError, match=r"engine\.stl: a mesh file does not say what its numbers mean; add units: mm"):
        load_mesh(path, None)
    with pytest.raises(InputError, match=r"engine\.stl: found units 'yd'; allowed: mm, cm, m, in, ft"):
        load_mesh(path, "yd")


# what one process needs at most, from Linux's own count (man 5 proc); getrusage would count the parent's too
LOADING = """
import sys
from pathlib import Path
from railmodel.errors import InputError
from railmodel.fitting.mesh_files import load_mesh
try:
    load_mesh(Path(sys.argv[1]), "mm")
except InputError as error:
    print(error)
status = Path("/proc/self/status").read_text().split()
print(int(status[status.index("VmHWM:") + 1]) // 1024)
"""


@pytest.mark.parametrize("kind", ["stl", "obj"])
def test_five_million_triangles_are_refused_before_they_are_loaded(tmp_path: Path, kind: str) -> None:
    path = tmp_path / f"five.{kind}"
    if kind == "stl":
        with path.open("wb") as file:
            file.write(stl_header(5_000_000))
            file.truncate(84 + 50 * 5_000_000)
    else:
        path.write_bytes(b"v 0 0 0\nv 1 0 0\nv 0 1 0\n" + b"f 1 2 3\n" * 5_000_000)
    run = [sys.executable, "-c", LOADING, str(path)]
    says, megabytes = subprocess.run(run, check=True, capture_output=True, text=True).stdout.strip().split("\n")
    assert says == (
        f"{path}: 5000000 triangles are too many; allowed: {MOST_TRIANGLES}; export a coarser mesh of what the rails "
        "could touch"
    )
    assert int(megabytes) < 300  # the promise is 1536


def test_the_largest_mesh_allowed_is_read_in_half_a_gigabyte(tmp_path: Path) -> None:
    count = MOST_TRIANGLES
    records = np.zeros(count, dtype=NOT_A_NUMBER.dtype)
    records["corners"] = np.random.default_rng(0).uniform(0, 1000, (count, 3, 3))
    (tmp_path / "large.stl").write_bytes(stl_header(count) + records.tobytes())
    run = [sys.executable, "-c", LOADING, str(tmp_path / "large.stl")]
    assert int(subprocess.run(run, check=True, capture_output=True, text=True).stdout) < 512
