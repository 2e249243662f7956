"""The approval page: one HTML file that a customer opens from a mail, with no network and, if need be, no scripts.

Pictures, tables and findings stand in the page as they are. Where scripts and 3D work, a view that can be turned takes
the place of the first picture. The page loads nothing: its own policy forbids it.
"""

from collections.abc import Mapping, Sequence
from json import dumps
from pathlib import Path
from typing import Any

import numpy as np

from exporters.approval_points import badges, letters, points, states
from exporters.approval_rows import bend_tables, finding_rows, fit_rows, gap_rows, joint_rows, part_rows, plate_rows
from exporters.mesh import Mesh, mesh_of, packed, plate_mesh
from exporters.page import page, shipped
from exporters.page_views import LETTER, VIEWS, drawing, facets
from railmodel.files import write_whole
from railmodel.frame import Frame
from railmodel.plates import Placing, Plate, placed_plates
from railmodel.units import format_decimal

_WIDE = 720
"""From this width of the window on, px, badges in the pictures need not be as large as on a phone."""

Answer = Mapping[str, Any]


def write_approval(frame: Frame, answer: Answer, path: Path) -> None:
    """Write the page of a job.

    Args:
        frame: the job.
        answer: what `railmodel check --json` says of it: findings and everything measured.
        path: where the page goes.
    """
    write_whole(path, approval_page(frame, answer))


def approval_page(frame: Frame, answer: Answer) -> str:
    """The page as HTML."""
    named = letters(frame)
    meshes = {part.label: mesh_of(part) for part in frame.parts if part.line.length > 0}
    marks = badges(frame, named)
    placed = placed_plates(frame)
    every = facets(frame.parts, placed)
    drawings = [drawing(every, view, marks) for view in VIEWS] if meshes else []
    sizes = _letter_sizes([one.width for one in drawings])
    return page(
        "approval.html",
        frame,
        style="\n".join([shipped("pages/page.css"), shipped("viewer/viewer.css"), *sizes]),
        scripts=[shipped("viewer/viewer.js"), shipped("pages/approval.js")] if meshes else [],
        data=_data(frame, answer, named, meshes, placed),
        drawings=drawings,
        licence=shipped("viewer/three-license.txt"),
        unit=frame.unit,
        unit_word={"in": "inches", "mm": "mm"}[frame.unit],
        size=_size(frame, meshes),
        stops=sum(finding["level"] == "stop" for finding in answer["findings"]),
        parts=part_rows(frame, named),
        plates=plate_rows(frame),
        tables=bend_tables(frame, named),
        fits=fit_rows(frame, answer),
        gaps=gap_rows(frame, answer),
        joints=joint_rows(frame, answer),
        findings=finding_rows(answer),
    )


def _letter_sizes(widths: list[float]) -> list[str]:
    """Rules for the size of each picture's badges, in its own units: large on a phone, smaller on a wide window."""
    rules = []
    for i, width in enumerate(widths):
        rules.append(f".v{i} text {{ font-size: {width * LETTER:.0f}px }}")
        rules.append(f"@media (min-width: {_WIDE}px) {{ .v{i} text {{ font-size: {width * LETTER * 0.6:.0f}px }} }}")
    return rules


def _data(
    frame: Frame, answer: Answer, named: Mapping[str, str], meshes: Mapping[str, Mesh],
    placed: Sequence[tuple[Plate, Placing]],
) -> str:  # fmt: skip
    """What the 3D view shows, as JSON that can stand in a page."""
    tones = list(named)
    shown = {
        "unit": frame.unit,
        "parts": [
            {"id": part.label, "name": part.label, "tone": tones.index(part.name), **packed(meshes[part.label])}
            for part in frame.parts
            if part.label in meshes
        ]
        + [
            {"id": f"plate {i}", "name": plate.name, "tone": len(tones), **packed(plate_mesh(plate, placing))}
            for i, (plate, placing) in enumerate(placed, start=1)
        ],
        "points": points(frame, answer, named),
        "highlights": states(frame, answer),
    }
    return dumps(shown, separators=(",", ":"), allow_nan=False).replace("<", "\\u003c")


def _size(frame: Frame, meshes: Mapping[str, Mesh]) -> str | None:
    """Length, width and height over all, in words."""
    if not meshes:
        return None
    every = np.concatenate([mesh.points for mesh in meshes.values()])
    return " × ".join(format_decimal(float(side), frame.unit) for side in np.ptp(every, axis=0)) + f" {frame.unit}"
