"""Mesh files: STL, OBJ and GLB in, triangles in mm out. What a file's numbers mean is always told, never guessed.

Sizes are read before anything is loaded, so that a file that is too large costs neither time nor memory. Binary STL is
read here (its layout is fixed: an 80-byte header, a count, 50 bytes a triangle); the rest by trimesh, from memory, so
that a file cannot make it open others.
"""

import json
import struct
import warnings
from io import BytesIO, StringIO
from pathlib import Path

import numpy as np

from railmodel.errors import InputError
from railmodel.fitting.meshes import MeshShape
from railmodel.geometry.rows import Array

MM: dict[str, float] = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4, "ft": 304.8}
"""Millimetres in each unit a mesh may be in."""

MOST_TRIANGLES = 500_000
"""Larger meshes are refused: one this size needs some 0.5 GB while it is checked."""

MOST_BYTES = 160_000_000
"""Larger files are refused unread."""

MOST_TEXT = 64_000_000
"""Larger STL files in text form are refused: reading them takes some twelve times their size in memory."""

_TRIANGLE = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])

_CANNOT = (ValueError, LookupError, TypeError, AttributeError, ArithmeticError, AssertionError, NotImplementedError,
           ImportError, RecursionError, struct.error)  # fmt: skip
"""What the mesh library raises on files that are not what they say."""


def load_mesh(path: Path, units: str | None) -> MeshShape:
    """Triangles of a file, in its own axes, mm; `MeshShape.warnings` holds what is wrong with it but can be borne.

    Args:
        path: file ending in .stl, .obj or .glb.
        units: what its numbers mean: mm, cm, m, in or ft.

    Raises:
        InputError: no unit, an unknown ending, a file that cannot be read or is too large, no triangle, a corner that
            is not a number.
    """
    scale = _scale(path, units)
    kind = path.suffix.lower()
    if kind in (".step", ".stp"):
        raise InputError(
            f"{path}: a STEP file is made into a mesh once, before the check; run `railmodel import-mesh {path.name}`"
        )
    if kind not in (".stl", ".obj", ".glb"):
        raise InputError(f"{path}: found a file ending in {kind or 'nothing'}; allowed: .stl, .obj, .glb, .step")
    data = _read(path)
    triangles = (_stl(path, data) if kind == ".stl" else _by_library(path, data, kind[1:])) * scale
    if not len(triangles):
        raise InputError(f"{path}: holds no triangle; export the part again as a mesh of surfaces")
    bad = int(np.count_nonzero(~np.isfinite(triangles).all(axis=(1, 2))))
    if bad:
        raise InputError(
            f"{path}: {bad} of {len(triangles)} triangles have a corner that is not a finite number; export it again"
        )
    gaps = open_edges(triangles)
    says = f"{path.name}: {gaps} edges are open, so it is used as a surface and a part wholly inside it is not noticed"
    return MeshShape(triangles, closed=not gaps, warnings=(says,) if gaps else ())


def open_edges(triangles: Array) -> int:
    """How many edges of triangles (n, 3, 3) do not join an even number of them; corners join where they are equal."""
    names = np.zeros(triangles.shape[:2], dtype=np.uint64)
    for axis, factor in enumerate((0x9E3779B97F4A7C15, 0xC2B2AE3D27D4EB4F, 0x165667B19E3779F9)):
        bits = np.ascontiguousarray(triangles[..., axis] + 0.0).view(np.uint64)  # + 0.0 makes -0 the same as 0
        names = (names ^ bits ^ (bits >> np.uint64(29))) * np.uint64(factor)
    first = np.unique(names, return_inverse=True)[1].reshape(names.shape)
    second = np.roll(first, -1, axis=1)
    edges = np.minimum(first, second) * (first.max() + 1) + np.maximum(first, second)
    return int(np.count_nonzero(np.unique(edges[first != second], return_counts=True)[1] % 2))


def _scale(path: Path, units: str | None) -> float:
    """Millimetres in the unit.

    Raises:
        InputError: no unit, or an unknown one.
    """
    if units is None:
        raise InputError(f"{path}: a mesh file does not say what its numbers mean; add units: mm (or in, cm, m, ft)")
    if units not in MM:
        raise InputError(f"{path}: found units {units!r}; allowed: {', '.join(MM)}")
    return MM[units]


def _read(path: Path) -> bytes:
    """The file's bytes.

    Raises:
        InputError: it cannot be read, or is too large.
    """
    try:
        size = path.stat().st_size
        if size <= MOST_BYTES:
            return path.read_bytes()
    except OSError as error:
        raise InputError(f"{path}: cannot be read ({error.strerror}); check the path in the job file") from None
    with path.open("rb") as file:
        head = file.read(84)
    if path.suffix.lower() == ".stl" and len(head) == 84 and size == 84 + 50 * struct.unpack("<I", head[80:])[0]:
        _check_count(path, (size - 84) // 50)
    raise InputError(
        f"{path}: {size / 1e6:.0f} MB is too large; allowed: {MOST_BYTES / 1e6:.0f} MB; export a coarser mesh"
    )


def _check_count(path: Path, count: int) -> None:
    """Refuse a mesh that is too large.

    Raises:
        InputError: it has more triangles than allowed.
    """
    if count > MOST_TRIANGLES:
        raise InputError(
            f"{path}: {count} triangles are too many; allowed: {MOST_TRIANGLES}; export a coarser mesh of what the "
            "rails could touch"
        )


def _stl(path: Path, data: bytes) -> Array:
    """Triangles (n, 3, 3) of an STL file, binary or text.

    Raises:
        InputError: it is not whole, or too large.
    """
    count = struct.unpack("<I", data[80:84])[0] if len(data) >= 84 else 0
    if len(data) >= 84 and len(data) == 84 + 50 * count:
        _check_count(path, count)
        return np.frombuffer(data, _TRIANGLE, count, offset=84)["corners"].astype(float)
    if data[:5].lower() == b"solid":
        if len(data) > MOST_TEXT:
            raise InputError(
                f"{path}: {len(data) / 1e6:.0f} MB of STL as text is too large; allowed: {MOST_TEXT / 1e6:.0f} MB; "
                "export it as binary STL"
            )
        return _by_library(path, data, "stl_ascii")
    raise InputError(
        f"{path}: is no whole STL file: its header announces {count} triangles, its {len(data)} bytes hold "
        f"{max(len(data) - 84, 0) // 50}; export it again"
    )


def _by_library(path: Path, data: bytes, kind: str) -> Array:
    """Triangles (n, 3, 3) by trimesh.

    Raises:
        InputError: it is not whole, or too large.
    """
    try:
        count = {"stl_ascii": _count_stl, "obj": _count_obj, "glb": _count_glb}[kind](data)
    except _CANNOT as error:
        raise InputError(f"{path}: is no whole {kind[:3].upper()} file ({error}); export it again") from None
    _check_count(path, count)
    if not count:
        return np.zeros((0, 3, 3))
    import trimesh

    try:
        stream = BytesIO(data) if kind == "glb" else StringIO(data.decode())
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            scene = trimesh.load_scene(stream, file_type=kind, process=False, skip_materials=True)
            found = np.array(scene.to_mesh().triangles, dtype=float).reshape(-1, 3, 3)
    except _CANNOT as error:
        raise InputError(f"{path}: is no whole {kind[:3].upper()} file ({error}); export it again") from None
    _check_count(path, len(found))
    return found


def _count_stl(data: bytes) -> int:
    return data.count(b"endfacet")


def _count_obj(data: bytes) -> int:
    return data.count(b"\nf ") + data.startswith(b"f ")


def _count_glb(data: bytes) -> int:
    """Triangles that the scene of a GLB file draws, from its header.

    Raises:
        ValueError: it is no such file.
    """
    magic, version, _, length, kind = struct.unpack("<4sIII4s", data[:20])
    if magic != b"glTF" or version != 2 or kind != b"JSON":
        raise ValueError("its header is not that of a GLB file, version 2")
    header = json.loads(data[20 : 20 + length])
    accessors, meshes = header.get("accessors", []), header.get("meshes", [])
    triangles = []
    for mesh in meshes:
        used = [one.get("indices", one["attributes"]["POSITION"]) for one in mesh["primitives"]]
        triangles.append(sum(int(accessors[index]["count"]) // 3 for index in used))
    return sum(triangles[node["mesh"]] for node in header.get("nodes", []) if "mesh" in node)
