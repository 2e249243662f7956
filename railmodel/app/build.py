"""Everything that leaves the shop, written into one folder.

customer/   the assembly for approval
cnc/        each tube's solid and its bend table
floor/      each tube's flat layout
"""

import json
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache, cached_property, partial
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from railmodel.app.answers import check_answer
from railmodel.app.names import file_stem, unique_stems
from railmodel.errors import GeometryError, InputError
from railmodel.files import writable_folder, write_whole
from railmodel.findings import Finding
from railmodel.frame import Frame
from railmodel.part import RailPart
from railmodel.units import Unit, to_unit

if TYPE_CHECKING:
    from rich.console import Console

    from exporters.bodies import Body
    from exporters.drawing.sheets import Drawing
    from exporters.part21 import Protocol
    from exporters.step import Model
    from exporters.views import View

DxfVersion = Literal["R2010", "R12"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One file to be written.

    Args:
        path: where it goes, relative to the output folder.
        what: what it is, a few words.
        write: writes it to a full path.
    """

    path: Path
    what: str
    write: Callable[[Path], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What became of a step: written, or why not.

    Args:
        step: the step.
        problem: why its file was not written; None where it was.
        removed: files of the last build that went with it, as paths in the folder.
    """

    step: Step
    problem: str | None = None
    removed: tuple[str, ...] = ()


def plan_build(frame: Frame, findings: Sequence[Finding], *, dxf: DxfVersion, keep_clear: bool = False) -> list[Step]:
    """The files of a job in the order they are written; `keep_clear` puts the keep-clear shapes in the assembly."""
    stems = unique_stems(part.label for part in frame.parts)
    steps = [Step(path=Path("check.json"), what="findings and measurements", write=_check(frame, findings))]
    steps += _plan_steps(frame, findings) + _paper_steps(frame, findings)
    steps += _fit_steps(frame) + _layout_steps(frame, stems)
    for part, stem in zip(frame.parts, stems, strict=True):
        steps += _table_steps(frame, part, stem)
        steps.append(_flat_step(frame, part, stem, findings, dxf))
    steps += _cut_flat_steps(frame, dxf)
    steps += _drawing_steps(frame, findings, dxf)
    steps += _picture_steps(frame)
    steps.append(_approval_step(frame, findings))
    return steps + _solid_steps(frame, stems, keep_clear=keep_clear)


def run_build(steps: Sequence[Step], out: Path) -> Iterator[Outcome]:
    """Write the files one after another; a part that makes no solid is named and the rest go on.

    Raises:
        InputError: the folder or a file in it cannot be written, before any work is done.
    """
    for folder in sorted({out, *(out / step.path.parent for step in steps)}):
        writable_folder(folder)
    for step in steps:
        if (out / step.path).is_dir():
            raise InputError(f"{out / step.path}: found a folder where a file goes; nothing was written; move it away")
    for step in steps:
        try:
            step.write(out / step.path)
        except GeometryError as error:
            yield Outcome(step=step, problem=str(error))
        else:
            yield Outcome(step=step)


def _check(frame: Frame, findings: Sequence[Finding]) -> Callable[[Path], None]:
    def write(path: Path) -> None:
        write_whole(path, _json(check_answer(frame, list(findings))))

    return write


def _approval_step(frame: Frame, findings: Sequence[Finding]) -> Step:
    def write(path: Path) -> None:
        from exporters.approval import write_approval

        write_approval(frame, check_answer(frame, list(findings)), path)

    return Step(path=Path("customer", f"{file_stem(frame.job.job)}.html"), what="page for approval", write=write)


def _json(answer: object) -> str:
    return json.dumps(answer, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def _plan_steps(frame: Frame, findings: Sequence[Finding]) -> list[Step]:
    def as_json(path: Path) -> None:
        from railmodel.app.plan_answer import plan_answer

        write_whole(path, _json(plan_answer(frame, findings)))

    def as_text(path: Path) -> None:
        from railmodel.app.show_plan import plan_text

        write_whole(path, plan_text(frame, findings))

    return [
        Step(path=Path("floor", "plan.json"), what="marks, orders, order of work and cuts", write=as_json),
        Step(path=Path("floor", "plan.txt"), what="the same to read", write=as_text),
    ]


def _paper_steps(frame: Frame, findings: Sequence[Finding]) -> list[Step]:
    """The papers for the floor; a tape check where there is a pair to measure."""
    from exporters.sheets import bend_sheet, cut_list, inspection, setup_card, tape_sheet

    def step(name: str, what: str, write: Callable[..., None]) -> Step:
        return Step(path=Path("floor", f"{name}.pdf"), what=what, write=partial(write, frame, findings=findings))

    papers = [
        step("bend_sheets", "bend sheets, a page for every part and hand", bend_sheet.write_bend_sheets),
        step("setup_cards", "set-up card of every die", setup_card.write_setup_cards),
        step("cut_list", "cut list", cut_list.write_cut_list),
        step("inspection", "inspection record to fill in", inspection.write_inspection),
    ]
    if any(part.hand == "right" for part in frame.parts):
        papers.append(step("tape_check", "tape check to fill in", tape_sheet.write_tape_check))
    return papers


def _fit_steps(frame: Frame) -> list[Step]:
    """The fit report, where the job asks for any fit."""
    if not (frame.job.fit_points or frame.job.joints or frame.job.keep_clear):
        return []

    def write(path: Path) -> None:
        from railmodel.app.printed import text_of
        from railmodel.app.show_fit import show_fit, show_tape

        def show(console: "Console") -> None:
            show_fit(frame, console)
            show_tape(frame, console)

        write_whole(path, text_of(show))

    return [Step(path=Path("floor", "fit.txt"), what="fit points, joints, gaps and the tape check", write=write)]


def _layout_steps(frame: Frame, stems: Sequence[str]) -> list[Step]:
    """Tables for the shop's own controller, where the shop file names a layout."""
    from railmodel.app.other_bender import layout_text, shop_layout

    layout = shop_layout(frame)
    if layout is None:
        return []

    def table(part: RailPart) -> Callable[[Path], None]:
        return lambda path: write_whole(path, layout_text(frame, part, layout))

    taken = {f"{stem}_bend_table" for stem in stems}  # of a part called "x" the name that "x bend" would have here

    def name(stem: str) -> str:
        return f"{stem}_table_2" if f"{stem}_table" in taken else f"{stem}_table"

    return [
        Step(
            path=Path("cnc", f"{name(stem)}.{layout.ending}"), what=f"table of {part.label} for {layout.layout}",
            write=table(part),
        )
        for part, stem in zip(frame.parts, stems, strict=True)
        if part.line.rows.count
    ]  # fmt: skip


def _picture_steps(frame: Frame) -> list[Step]:
    from exporters.views import PLAN, SIDE

    def picture(view: "View") -> Callable[[Path], None]:
        def write(path: Path) -> None:
            from exporters.fit_picture import fit_picture

            write_whole(path, fit_picture(frame, view))

        return write

    stem = file_stem(frame.job.job)
    return [
        Step(path=Path("customer", f"{stem}_fit_{word}.svg"), what=f"fit, {view.name}", write=picture(view))
        for view, word in ((SIDE, "side"), (PLAN, "plan"))
    ]


def _table_steps(frame: Frame, part: RailPart, stem: str) -> list[Step]:
    from exporters import bend_table

    table = bend_table.table_of(part, job=frame.job.job, revision=frame.job.revision, unit=frame.unit)
    name = f"{stem}_bend_table"
    return [
        Step(
            path=Path("cnc", f"{name}.json"), what=f"bend table of {part.label}",
            write=lambda path: write_whole(path, bend_table.as_json(table)),
        ),
        Step(
            path=Path("cnc", f"{name}.csv"), what=f"bend table of {part.label}",
            write=lambda path: write_whole(path, bend_table.as_csv([table])),
        ),
        Step(
            path=Path("cnc", f"{name}.xlsx"), what=f"bend table of {part.label}",
            write=lambda path: bend_table.write_xlsx([table], path),
        ),
    ]  # fmt: skip


def _flat_step(frame: Frame, part: RailPart, stem: str, findings: Sequence[Finding], dxf: DxfVersion) -> Step:
    own = [f for f in findings if f.level == "stop" and f.part == part.name and f.hand in (None, part.hand)]

    def write(path: Path) -> None:
        from exporters.flat_layout import write_flat_layout
        from railmodel.bending.flat_station import flat_station
        from railmodel.bending.plan import plan_job
        from railmodel.fitting.footprints import footprints

        marks = next((one.marks for one in plan_job(frame).parts if one.marks.reading.part is part), None)
        write_flat_layout(
            part, path, unit=frame.unit, job=frame.job.job, revision=frame.job.revision, version=dxf,
            stops=[finding.says for finding in own], feet=[] if own else footprints(frame, part.read),
            on_stock=None if own or marks is None else partial(flat_station, marks),
            tape_step=16 if frame.shop is None else frame.shop.tape_step,
        )  # fmt: skip

    return Step(path=Path("floor", f"{stem}_flat_{frame.unit}.dxf"), what=f"flat layout of {part.label}", write=write)


def _drawing_steps(frame: Frame, findings: Sequence[Finding], dxf: DxfVersion) -> list[Step]:
    """The frame drawing, made once for both files."""
    stops = [finding.says for finding in findings if finding.level == "stop"]

    @cache
    def drawing() -> "Drawing":
        from exporters.drawing.sheets import make_drawing

        return make_drawing(frame, stops)

    def as_dxf(path: Path) -> None:
        from exporters.drawing.as_dxf import write_dxf

        write_dxf(drawing(), path, dxf)

    def as_pdf(path: Path) -> None:
        from exporters.drawing.as_pdf import drawing_pdf

        write_whole(path, drawing_pdf(drawing()))

    stem = f"{file_stem(frame.job.job)}_drawing"
    return [
        Step(path=Path("customer", f"{stem}.pdf"), what="frame drawing to read and sign", write=as_pdf),
        Step(path=Path("customer", f"{stem}_{frame.unit}.dxf"), what="frame drawing", write=as_dxf),
    ]


def _cut_flat_steps(frame: Frame, dxf: DxfVersion) -> list[Step]:
    """Plates, sheets of plates and bend-check templates, where the job has them."""
    if not frame.job.plates and frame.job.templates is None:
        return []
    from exporters import flat_parts
    from railmodel.plates import plates
    from railmodel.templates import templates

    head = flat_parts.Head(job=frame.job.job, revision=frame.job.revision, unit=frame.unit, version=dxf)
    made, nesting, checked = plates(frame), frame.job.nesting, templates(frame)
    names = [f"{one.part} bend {' '.join(map(str, one.bends))}" for one in checked]
    sheets = [] if nesting is None else flat_parts.nested(made, nesting.sheet, gap=nesting.gap, edge=nesting.edge)
    words = [
        f"sheet {to_unit(sheet.thickness, frame.unit):.4g} {frame.unit} {sheet.grade or ''} {sheet.number}"
        for sheet in sheets
    ]
    stems = iter(unique_stems([*(plate.name for plate in made), *words]))

    def plate_step(what: str, write: Callable[[Path], None]) -> Step:
        return Step(path=Path("floor", "plates", f"{next(stems)}_{frame.unit}.dxf"), what=what, write=write)

    steps = [
        plate_step(f"{plate.count} x {plate.name}", partial(flat_parts.write_plate, plate, head=head)) for plate in made
    ]
    for sheet in sheets:
        what = f"plates on a sheet, {sheet.number} of {sheet.of}"
        steps.append(plate_step(what, partial(flat_parts.write_nested, sheet, head=head)))
    steps += [
        Step(
            path=Path("floor", "templates", f"{stem}_{frame.unit}.dxf"), what=f"template for {name}",
            write=partial(flat_parts.write_template, template, head=head),
        )
        for template, name, stem in zip(checked, names, unique_stems(names), strict=True)
    ]  # fmt: skip
    return steps


def _solid_steps(frame: Frame, stems: Sequence[str], *, keep_clear: bool) -> list[Step]:
    """Each part alone, and the vehicle as one assembly, once for new programs and once for older ones."""
    from exporters.assembly import left_out

    solids = _Solids(frame.parts, frame.unit)

    def one(part: RailPart) -> Callable[[Path], None]:
        def write(path: Path) -> None:
            from exporters.step import write_part

            write_part(solids.body(part), path, unit=frame.unit)

        return write

    @cache
    def model() -> "Model":
        from exporters.assembly import vehicle

        if not solids.bodies:
            raise GeometryError("no part of this job makes a solid; see the findings that stop it")
        return vehicle(frame, list(solids.bodies.values()), keep_clear=keep_clear)

    def every(protocol: "Protocol") -> Callable[[Path], None]:
        def write(path: Path) -> None:
            from exporters.step import write_model

            write_model(model(), path, protocol)

        return write

    singles = [
        Step(path=Path("cnc", f"{stem}.step"), what=f"solid of {part.label}", write=one(part))
        for part, stem in zip(frame.parts, stems, strict=True)
    ]
    stem, out = file_stem(frame.job.job), left_out(frame, keep_clear=keep_clear)
    what = "assembly with the keep-clear shapes" if keep_clear else "assembly"
    without = f"; not in it: {', '.join(out)}" if out else ""
    return [
        *singles,
        Step(path=Path("customer", f"{stem}.step"), what=f"{what}, STEP AP242{without}", write=every("AP242")),
        Step(
            path=Path("customer", f"{stem}_ap214.step"), what="the same for older programs, STEP AP214",
            write=every("AP214"),
        ),
    ]  # fmt: skip


class _Solids:
    """The parts' solids, each built once, when the first is asked for."""

    def __init__(self, parts: Sequence[RailPart], unit: Unit) -> None:
        self._parts, self._unit = parts, unit
        self._problems: dict[str, str] = {}

    @cached_property
    def bodies(self) -> dict[str, "Body"]:
        """Every part that makes a solid, by label."""
        from exporters.bodies import bodies
        from exporters.solids import check_solid

        good: list[RailPart] = []
        for part in self._parts:
            try:
                check_solid(part, self._unit)
            except GeometryError as error:
                self._problems[part.label] = str(error)
            else:
                good.append(part)
        return {body.name: body for body in bodies(good)}

    def body(self, part: RailPart) -> "Body":
        """The part's solid.

        Raises:
            GeometryError: it makes none.
        """
        if part.label not in self.bodies:
            raise GeometryError(self._problems[part.label])
        return self.bodies[part.label]
