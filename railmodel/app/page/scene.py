"""What is seen and read at once after an edit: parts, their tables and meshes, keep-clear shapes, first findings.

Crossmembers and plates rest on finished parts and take longer; they come from `thinking` a moment later.
"""

from collections import OrderedDict
from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import partial
from math import degrees
from typing import Any

import numpy as np

from railmodel.app.answers import finding_answer, rolls
from railmodel.app.page.as_json import Ready, ready
from railmodel.app.page.look import PLACES, Answer, part_look
from railmodel.app.page.mesh_bank import MeshBank, Named, part_key, part_mesh, text_key
from railmodel.app.page.solid_mesh import shape_mesh, shape_outline
from railmodel.checks import SHAPE, run_checks
from railmodel.errors import GeometryError, InputError
from railmodel.fitting.keep_clear import shapes_of
from railmodel.fitting.motion import Motion, Variable
from railmodel.fitting.shapes import KeepClear
from railmodel.frame import Frame, build_frame
from railmodel.geometry.rows import Array
from railmodel.job.reader import JobFile
from railmodel.part import RailPart
from railmodel.units import to_unit

LOOKS = 64
"""Looks of parts kept."""

_WORDS: dict[Variable, tuple[str, str]] = {
    "lift": ("up and down", "length"), "roll": ("roll", "angle"), "turn": ("turn", "angle"),
    "slide": ("slide", "length"),
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """A job at one revision, as far as it is known at once.

    Args:
        frame: its parts, without crossmembers.
        parts: how each is shown, as JSON.
        labels: what each is called.
        keys: a key of each part, the same only where it looks the same.
        meshes: of parts and shapes.
        shapes: keep-clear shapes with their travel.
        shapes_text: the same as JSON.
        findings: what the first checks say, and what is wrong with the shapes.
        roll: of the top face on every straight.
    """

    frame: Frame
    parts: list[Ready]
    labels: list[str]
    keys: list[str]
    meshes: list[Named]
    shapes: list[Answer]
    shapes_text: Ready
    findings: list[Answer]
    roll: list[Answer]


class SceneMaker:
    """Makes scenes one after another; what has not changed is kept."""

    def __init__(self, bank: MeshBank) -> None:
        self.bank = bank
        self._looks: OrderedDict[tuple[Any, ...], Ready] = OrderedDict()
        self._shapes: tuple[Any, list[Answer], list[Named], list[Answer], Ready] | None = None

    def scene(self, source: JobFile) -> Scene:
        """The scene of a job."""
        frame = build_frame(rails_only(source))
        tones = tones_of(source)
        shapes, shape_meshes, trouble, shapes_text = self._all_shapes(source)
        findings = [finding_answer(finding, frame.unit) for finding in run_checks(frame, SHAPE)]
        return Scene(
            frame=frame,
            parts=[self._look(frame, part, tones) for part in frame.parts],
            labels=[part.label for part in frame.parts],
            keys=[part_key(part) for part in frame.parts],
            meshes=[*self.part_meshes(frame.parts), *shape_meshes],
            shapes=shapes,
            shapes_text=shapes_text,
            findings=findings + trouble,
            roll=rolls(frame),
        )

    def part_meshes(self, parts: Iterable[RailPart], prefix: str = "", kind: str = "part") -> list[Named]:
        """Meshes of parts that have any length."""
        return [
            self.bank.named(prefix + part.label, kind, part_key(part), partial(part_mesh, part))
            for part in parts
            if part.line.length > 0
        ]

    def _look(self, frame: Frame, part: RailPart, tones: dict[str, int]) -> Ready:
        index = next((i for i, given in enumerate(frame.job.parts) if given.name == part.name), None)
        key = (
            part_key(part), part.label, part.tube, part.leading_end, part.dies, part.written, index, frame.unit,
            frame.job.job, frame.job.revision, tones.get(part.name),
        )  # fmt: skip
        if key not in self._looks:
            self._looks[key] = ready(part_look(frame, part, tones))
        self._looks.move_to_end(key)
        while len(self._looks) > LOOKS:
            self._looks.popitem(last=False)
        return self._looks[key]

    def _all_shapes(self, source: JobFile) -> tuple[list[Answer], list[Named], list[Answer], Ready]:
        """The keep-clear shapes, their meshes, and what is wrong with them; anew only where they have changed."""
        job, unit = source.job, source.job.units
        held = self._shapes
        given = (job.keep_clear, job.motions, unit)
        if held is None or held[0] != given:
            try:
                made = shapes_of(source)
            except (GeometryError, InputError) as error:
                says = f"{error}; no shape is shown until this is put right"
                trouble = {"rule": "keep clear", "level": "stop", "says": says, "unit": ""}
                empty = dict.fromkeys(("part", "hand", "bend", "where", "found", "needs"))
                held = (given, [], [], [{**empty, **trouble}], ready([]))
            else:
                entries = [i for i, one in enumerate(job.keep_clear) for _ in range(2 if one.mirror else 1)]
                looks = [_shape(i, entries, made, source) for i in range(len(made))]
                meshes = [self._shape_mesh(i, shape) for i, (shape, _) in enumerate(made)]
                held = (given, looks, meshes, [], ready(looks))
            self._shapes = held
        return held[1], held[2], held[3], held[4]

    def _shape_mesh(self, number: int, shape: KeepClear) -> Named:
        solid = shape.shape
        triangles = getattr(solid, "triangles", None)
        key = text_key(type(solid).__name__, solid if triangles is None else np.asarray(triangles).tobytes())
        return self.bank.named(f"shape {number}", "shape", key, lambda: shape_mesh(solid))


def rails_only(source: JobFile) -> JobFile:
    """A job without its crossmembers, which rest on finished rails."""
    return replace(source, job=source.job.model_copy(update={"crossmembers": ()}))


def tones_of(source: JobFile) -> dict[str, int]:
    """The number of each part's colour."""
    names = [*(part.name for part in source.job.parts), *(one.name for one in source.job.crossmembers)]
    return {name: i for i, name in enumerate(dict.fromkeys(names))}


def _shape(number: int, entries: list[int], made: list[tuple[KeepClear, float]], source: JobFile) -> Answer:
    (shape, needs), entry = made[number], entries[number]
    given = source.job.keep_clear[entry]
    return {
        "id": f"shape {number}",
        "name": shape.name,
        "entry": entry,
        "mirrored": number > 0 and entries[number - 1] == entry,
        "kind": given.shape.kind,
        "needs": to_unit(needs, source.job.units),
        "outline": {
            view: [_in_unit(ring, source) for ring in [shape_outline(shape.shape, axes)] if len(ring)]
            for view, axes in (("side", (0, 2)), ("plan", (0, 1)))
        },
        "drivers": [_driver(shape.motion, group, source) for group in shape.motion.drivers],
    }


def _in_unit(ring: Array, source: JobFile) -> list[list[float]]:
    found: list[list[float]] = np.round(ring * to_unit(1.0, source.job.units), PLACES).tolist()
    return found


def _driver(motion: Motion, group: tuple[Variable, ...], source: JobFile) -> Answer:
    """One travel with its range, and where in it the shape stands as drawn."""
    span = motion.span(group[0])
    assert span is not None  # a driver drives what travels
    unit = source.job.units
    length = _WORDS[group[0]][1] == "length"
    start, end = (to_unit(value, unit) if length else degrees(value) for value in (span.start, span.end))
    return {
        "what": list(group),
        "label": " with ".join(_WORDS[one][0] for one in group),
        "unit": unit if length else "deg",
        "from": start,
        "to": end,
        "rest": min(max(start / (start - end), 0.0), 1.0),
    }
