"""Everything a browser shows of a job, as one piece of JSON."""

from math import degrees
from typing import Any

from exporters.approval_points import fit_spots
from railmodel.app.page.as_json import Mixed, listed
from railmodel.app.page.desk import Desk
from railmodel.app.page.marks import snap, tape_step
from railmodel.app.page.paths import choices
from railmodel.geometry.section import Section
from railmodel.job.reader import JobFile
from railmodel.units import from_unit, to_unit

Answer = dict[str, Any]


def state_of(desk: Desk, *, readonly: bool) -> Mixed:
    """The whole state; much of it is JSON already."""
    store, scene, known, work = desk.store, desk.store.view, desk.known, desk.work
    source, unit = store.source, store.source.job.units
    busy = known.checks["rev"] != store.rev or known.checks["stage"] not in ("done", "failed")
    state = {
        "open": True,
        "rev": store.rev,
        "key": desk.key,
        "job": {
            "name": source.job.job,
            "revision": source.job.revision or "",
            "file": desk.path.name,
            "folder": "" if readonly else str(desk.path.parent),
        },
        "unit": unit,
        "unit_mm": from_unit(1.0, unit),
        "tape_step": tape_step(source),
        "snap": to_unit(snap(source), unit),
        "readonly": readonly,
        "saved": desk.saver.answer(),
        "undo": store.undoes[-1].says if store.undoes else None,
        "redo": store.redoes[-1].says if store.redoes else None,
        "written": as_written(source.tree.root.data),
        "choices": _choices(source, scene.labels),
        "meshes": [named.answer() for named in desk.meshes],
        "fit_points": [
            {"badge": badge, "name": name, "at": [to_unit(value, unit) for value in at]}
            for badge, at, name in fit_spots(scene.frame)
        ],
        "quick": {"findings": scene.findings, "roll": scene.roll, "rules": list(_rules(scene.findings))},
        "late_rev": known.rev,
        "work": work.now,
        "solve": None if desk.solve is None else _solve(desk, desk.solve),
        "files": [_file(file, work.files_rev) for file in work.files],
        "files_rev": work.files_rev,
    }
    waits = known.plan["rev"] != store.rev and known.checks["stage"] != "failed"
    return Mixed(
        state,
        parts=listed([*scene.parts, *known.parts]),
        shapes=scene.shapes_text,
        checks=Mixed(known.checks, busy=busy, answer=known.answers[0]),
        plan=Mixed(known.plan, busy=waits, answer=known.answers[1]),
    )


def as_written(data: Any) -> Any:
    """The job file's data with every value as it was typed: numbers are text."""
    if isinstance(data, dict):
        return {key: as_written(value) for key, value in data.items()}
    if isinstance(data, list):
        return [as_written(value) for value in data]
    raw = getattr(data, "raw", None)
    return data if raw is None else raw


def _rules(findings: list[Answer]) -> dict[str, None]:
    return dict.fromkeys(finding["rule"] for finding in findings)


def _solve(desk: Desk, solve: Answer) -> Answer:
    return {
        "rev": solve["rev"],
        "stale": solve["rev"] != desk.store.rev,
        "ok": solve["ok"],
        "answer": solve["answer"],
        "changes": solve["changes"],
        "meshes": [named.answer() for named in desk.solved_meshes],
    }


def _file(file: Answer, rev: int | None) -> Answer:
    return {**file, "url": None if file["problem"] else f"/files/{rev}/{file['path']}"}


def _choices(source: JobFile, labels: list[str]) -> Answer:
    """What a person may choose from."""
    job, unit = source.job, source.job.units
    dies = {} if source.shop is None else source.shop.dies
    cross = [one.name for one in job.crossmembers]
    return {
        **choices(source),
        "tubes": list(job.tubes),
        "dies": [
            {
                "name": name,
                "way": die.way,
                "radius": to_unit(die.radius, unit),
                "max_angle": None if die.max_angle is None else round(degrees(die.max_angle), 6),
                "tubes": [tube for tube, given in job.tubes.items() if _fits(given.section, die.height, die.width)],
            }
            for name, die in dies.items()
        ],
        "faces": ["top", "bottom", "inboard", "outboard", "left", "right"],
        "parts": [part.name for part in job.parts] + cross,
        "labels": labels + cross,
        "ends": ["front", "rear"],
        "motions": list(job.motions),
    }


def _fits(section: Section, height: float, width: float) -> bool:
    return abs(section.height - height) < 0.1 and abs(section.width - width) < 0.1
