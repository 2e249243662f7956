"""The approval page: one HTML file that a customer opens from a mail, with no network and, if need be, no scripts.

Pictures, tables and findings stand in the page as they are. Where scripts and 3D work, a view that can be turned takes
the place of the first picture. The page loads nothing: its own policy forbids it.
"""

from base64 import b64encode
from collections.abc import Mapping
from hashlib import sha256
from json import dumps
from pathlib import Path
from typing import Any

import numpy as np

from exporters.approval_points import badges, letters, points, states
from exporters.approval_rows import Words, bend_tables, finding_rows, fit_rows, gap_rows, joint_rows, part_rows
from exporters.mesh import Mesh, mesh_of, packed
from exporters.page_views import LETTER, VIEWS, drawing
from railmodel.files import write_whole
from railmodel.fingerprint import fingerprint, short
from railmodel.frame import Frame
from railmodel.units import format_decimal

_HERE = Path(__file__).resolve().parent
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
    from jinja2 import Environment, FileSystemLoader, StrictUndefined
    from markupsafe import Markup

    words, named = Words(frame), letters(frame)
    meshes = {part.label: mesh_of(part) for part in frame.parts if part.line.length > 0}
    drawings = [drawing(frame.parts, view, badges(frame, named)) for view in VIEWS]
    room = Environment(
        loader=FileSystemLoader(_HERE / "pages"), autoescape=True, undefined=StrictUndefined,
        trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip
    room.filters |= {"name": words.name, "said": words.said}
    sizes = _letter_sizes([one.width for one in drawings])
    style = "\n".join([_file("pages/page.css"), _file("viewer/viewer.css"), *sizes])
    scripts = [] if not frame.parts else [_file("viewer/viewer.js"), _file("pages/approval.js")]
    inlined = [script.replace("</script", "<\\/script").replace("<!--", "<\\!--") for script in scripts]
    return room.get_template("approval.html").render(
        policy=_policy(style, inlined),
        style=Markup(style),
        scripts=[Markup(script) for script in inlined],
        data=Markup(_data(frame, answer, named, meshes) if frame.parts else "{}"),
        drawings=[(one.name, Markup(one.svg)) for one in drawings] if frame.parts else [],
        licence=_file("viewer/three-license.txt"),
        job=frame.job,
        revision=frame.job.revision or "-",
        mark=short(fingerprint(frame)),
        unit=frame.unit,
        unit_word={"in": "inches", "mm": "mm"}[frame.unit],
        size=_size(frame, meshes),
        stops=sum(finding["level"] == "stop" for finding in answer["findings"]),
        parts=part_rows(frame, named),
        tables=bend_tables(frame, named),
        fits=fit_rows(frame, answer),
        gaps=gap_rows(frame, answer),
        joints=joint_rows(frame, answer),
        findings=finding_rows(answer),
    )


def _file(name: str) -> str:
    """A file that comes with the package, with the line ends that a browser reads in a page."""
    return (_HERE / name).read_text(encoding="utf-8").replace("\r\n", "\n")


def _letter_sizes(widths: list[float]) -> list[str]:
    """Rules for the size of each picture's badges, in its own units: large on a phone, smaller on a wide window."""
    rules = []
    for i, width in enumerate(widths):
        rules.append(f".v{i} text {{ font-size: {width * LETTER:.0f}px }}")
        rules.append(f"@media (min-width: {_WIDE}px) {{ .v{i} text {{ font-size: {width * LETTER * 0.6:.0f}px }} }}")
    return rules


def _policy(style: str, scripts: list[str]) -> str:
    """What the page may do: run its own scripts and use its own style, each known by its hash, and nothing else."""
    runs = " ".join(_hash(script) for script in scripts) or "'none'"
    return f"default-src 'none'; script-src {runs}; style-src {_hash(style)}; base-uri 'none'; form-action 'none'"


def _hash(text: str) -> str:
    return f"'sha256-{b64encode(sha256(text.encode()).digest()).decode('ascii')}'"


def _data(frame: Frame, answer: Answer, named: Mapping[str, str], meshes: Mapping[str, Mesh]) -> str:
    """What the 3D view shows, as JSON that can stand in a page."""
    tones = list(named)
    shown = {
        "unit": frame.unit,
        "parts": [
            {"id": part.label, "name": part.label, "tone": tones.index(part.name), **packed(meshes[part.label])}
            for part in frame.parts
            if part.label in meshes
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
