"""The whole of what `check` and `plan` answer, in stages: what is quick to know comes first."""

from base64 import b64encode
from collections.abc import Iterator
from typing import Any

from railmodel.app.answers import check_answer
from railmodel.app.page.look import Answer, part_look
from railmodel.app.page.mesh_bank import Packed, pack, part_key, part_mesh, text_key
from railmodel.app.page.scene import tones_of
from railmodel.app.plan_answer import plan_answer
from railmodel.bending.rehearse_job import rehearsal_findings, rehearsal_gaps
from railmodel.checks import all_checks, run_checks
from railmodel.fitting.clear_job import clearance_findings
from railmodel.frame import Frame
from railmodel.part import RailPart

SLOW = (clearance_findings, rehearsal_findings, rehearsal_gaps)


def stages(frame: Frame) -> Iterator[Answer]:
    """Messages about a job, each with what is known by then; the last one holds everything."""
    yield {"stage": "fit", "checks": _so_far(frame, gaps=False), "late": late_parts(frame)}
    yield {"stage": "gaps", "checks": _so_far(frame, gaps=True)}
    findings = run_checks(frame)
    yield {"stage": "done", "checks": check_answer(frame, findings), "plan": plan_answer(frame, findings)}


def _so_far(frame: Frame, *, gaps: bool) -> Answer:
    """The answer of `check` without what is still being worked out."""
    done = [check for check in all_checks() if check not in SLOW or (gaps and check is clearance_findings)]
    return check_answer(frame, run_checks(frame, done), gaps=gaps)


def late_parts(frame: Frame) -> Answer:
    """Crossmembers and plates, which rest on finished rails, with their meshes; and keys of all parts, to compare."""
    from exporters.mesh import plate_mesh
    from railmodel.plates import plates

    tones = tones_of(frame.source)
    cross = [part for part in frame.parts if part.cuts is not None]
    meshes = [_part(part) for part in cross if part.line.length > 0]
    number = 0
    for plate in plates(frame):
        for placing in plate.places:
            number += 1
            packed = pack(plate_mesh(plate, placing))
            meshes.append(_sent(f"plate {number}", "plate", text_key(packed.points, packed.triangles), packed))
    return {
        "parts": [part_look(frame, part, tones) for part in cross],
        "meshes": meshes,
        "keys": {part.label: part_key(part) for part in frame.parts if part.cuts is None},
    }


def _part(part: RailPart) -> Answer:
    return _sent(part.label, "part", part_key(part), pack(part_mesh(part)))


def _sent(id: str, kind: str, key: str, packed: Packed) -> dict[str, Any]:
    """A mesh as text, from one process to another."""
    return {
        "id": id,
        "kind": kind,
        "key": key,
        "points": b64encode(packed.points).decode("ascii"),
        "normals": b64encode(packed.normals).decode("ascii"),
        "triangles": b64encode(packed.triangles).decode("ascii"),
        "vertices": packed.vertices,
        "count": packed.count,
        "wide": packed.wide,
    }
