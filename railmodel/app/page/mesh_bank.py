"""Meshes under keys: the same shape has the same key, so that a browser asks only for what it has not got."""

from collections import OrderedDict
from collections.abc import Callable, Collection, Iterable
from dataclasses import dataclass
from hashlib import blake2b
from typing import Any

import numpy as np

from exporters.mesh import Mesh, mesh_of
from railmodel.app.page.as_json import Mixed, dumps
from railmodel.part import RailPart

KEPT = 400
"""Meshes kept beside those of the picture, the latest used ones."""

CORNER_FACETS = 2
BEND_FACET = float(np.radians(10.0))
"""Coarser than on the approval page: these are made anew with every edit."""


@dataclass(frozen=True, slots=True)
class Packed:
    """A mesh as bytes: points float32, normals int8 (127 is 1), triangles uint16 or uint32, each a multiple of 4."""

    points: bytes
    normals: bytes
    triangles: bytes
    vertices: int
    count: int
    wide: bool


@dataclass(frozen=True, slots=True)
class Named:
    """A mesh in a picture: what it shows, and the key it is kept under."""

    id: str
    kind: str
    key: str

    def answer(self) -> dict[str, str]:
        """As the state lists it."""
        return {"id": self.id, "kind": self.kind, "key": self.key}


class MeshBank:
    """Meshes by key, the least used ones forgotten."""

    def __init__(self) -> None:
        self._held: OrderedDict[str, Packed] = OrderedDict()

    def named(self, id: str, kind: str, key: str, make: Callable[[], Mesh]) -> Named:
        """A mesh of a picture, made if it is not held."""
        if not self.touch(key):
            self.hold(key, pack(make()))
        return Named(id, kind, key)

    def touch(self, key: str) -> bool:
        """Whether a mesh is held; it counts as used."""
        if key in self._held:
            self._held.move_to_end(key)
        return key in self._held

    def hold(self, key: str, packed: Packed) -> None:
        """Keep a mesh."""
        self._held[key] = packed

    def trim(self, shown: Collection[Named]) -> None:
        """Forget the meshes used longest ago, but none that is shown."""
        for named in shown:
            self.touch(named.key)
        keys = {named.key for named in shown}
        while len(self._held) > KEPT + len(keys):
            self._held.popitem(last=False)

    def reply(self, rev: int, wanted: Iterable[Named], have: set[str], state: Mixed | None = None) -> bytes:
        """The meshes asked for in one piece; see `joined`."""
        named = [one for one in wanted if one.key not in have and one.key in self._held]
        return joined(rev, [(one, self._held[one.key]) for one in named], state)


def part_key(part: RailPart) -> str:
    """A key that is the same only for parts that look the same."""
    line, rows = part.line, part.line.rows
    digest = blake2b(digest_size=10)
    for array in (line.start.at, line.start.t, line.start.u, rows.distance, rows.rotation, rows.angle, rows.radius):
        digest.update(np.ascontiguousarray(array, dtype=float).tobytes() + b"|")
    digest.update(repr((float(rows.tail), part.section)).encode())
    for cut in part.cuts or ():
        flat = [np.asarray(one, dtype=float).tobytes() for one in (cut.at, cut.normal, cut.radius)]
        curve = b"" if cut.axis is None else np.asarray(cut.axis, dtype=float).tobytes()
        digest.update(b"|".join([cut.kind.encode(), *flat, curve]))
    return digest.hexdigest()


def text_key(*words: object) -> str:
    """A key of values that say all that a mesh depends on."""
    return blake2b(repr(words).encode(), digest_size=10).hexdigest()


def part_mesh(part: RailPart) -> Mesh:
    """A part as the page shows it."""
    return mesh_of(part, corner_facets=CORNER_FACETS * (2 if part.section.round else 1), bend_facet=BEND_FACET)


def pack(mesh: Mesh) -> Packed:
    """A mesh as bytes."""
    wide = len(mesh.points) > 65536
    return Packed(
        points=mesh.points.astype("<f4").tobytes(),
        normals=_padded(np.round(mesh.normals * 127).astype("<i1").tobytes()),
        triangles=_padded(mesh.triangles.astype("<u4" if wide else "<u2").tobytes()),
        vertices=len(mesh.points),
        count=len(mesh.triangles),
        wide=wide,
    )


def joined(rev: int, meshes: Iterable[tuple[Named, Packed]], state: Mixed | None = None) -> bytes:
    """Meshes in one piece: length of a JSON header (uint32, little-endian), the header, the buffers one by one.

    Args:
        rev: the revision they belong to.
        meshes: the meshes.
        state: what else the header is to hold, under `state`.
    """
    entries: list[dict[str, Any]] = []
    buffers: list[bytes] = []
    offset = 0
    for named, packed in meshes:
        entry: dict[str, Any] = named.answer()
        for name, buffer, count in (
            ("points", packed.points, packed.vertices),
            ("normals", packed.normals, packed.vertices),
            ("triangles", packed.triangles, packed.count),
        ):
            entry[name] = [offset, count]
            buffers.append(buffer)
            offset += len(buffer)
        entries.append({**entry, "index": "uint32" if packed.wide else "uint16"})
    header = dumps(Mixed(rev=rev, meshes=entries, **({} if state is None else {"state": state})))
    header += b" " * (-len(header) % 4)
    return b"".join([len(header).to_bytes(4, "little"), header, *buffers])


def _padded(data: bytes) -> bytes:
    return data + b"\0" * (-len(data) % 4)
