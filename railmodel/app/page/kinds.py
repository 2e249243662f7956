"""Kinds of files that a person chooses among when not all are to be written."""

from pathlib import Path
from typing import Literal

from railmodel.app.build import Step, plan_build
from railmodel.frame import Frame

Kind = Literal["step", "dxf", "paper", "table", "page", "other"]

LABELS: dict[Kind, str] = {
    "step": "STEP solids",
    "dxf": "DXF flat layouts and drawings",
    "paper": "Papers to print (PDF)",
    "table": "Bend tables",
    "page": "Page for the customer, with pictures",
    "other": "Plan, checks and the rest",
}

_ENDINGS: dict[str, Kind] = {
    ".step": "step", ".dxf": "dxf", ".pdf": "paper", ".xlsx": "table", ".csv": "table", ".html": "page", ".svg": "page",
}  # fmt: skip


def kind_of(step: Step) -> Kind:
    """The kind of one file."""
    if "table" in Path(step.path).stem:
        return "table"
    return _ENDINGS.get(step.path.suffix.lower(), "other")


def kinds(frame: Frame) -> list[dict[str, object]]:
    """Every kind of file a job makes, with its files."""
    found: dict[Kind, list[dict[str, str]]] = {}
    for step in plan_build(frame, [], dxf="R2010"):
        found.setdefault(kind_of(step), []).append({"path": step.path.as_posix(), "what": step.what})
    return [{"kind": kind, "label": LABELS[kind], "files": found[kind]} for kind in LABELS if kind in found]
