"""STEP files (ISO 10303-21, AP214, millimetres, vehicle axes): the whole frame as one assembly, and single parts.

    ready = bodies(parts)                          # each solid is built once
    write_parts(ready, folder / "frame.step", title="frame")
    for body in ready:
        write_part(body, folder / f"{body.part.label}.step")

The kernel writes the geometry; `exporters.part21` puts the rest of its text right before the file takes its name.
Files written from the same parts are the same bytes, except for the time in the header, which SOURCE_DATE_EPOCH
(seconds since 1970) pins.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from exporters.part21 import Colour, finished, placeholder
from exporters.solids import kernel_solid
from railmodel.errors import InputError
from railmodel.files import replacing
from railmodel.part import Hand, RailPart

PALETTE: tuple[Colour, ...] = (
    (0.27, 0.45, 0.68), (0.78, 0.46, 0.20), (0.33, 0.60, 0.37), (0.62, 0.35, 0.58),
    (0.72, 0.62, 0.25), (0.28, 0.63, 0.68), (0.70, 0.32, 0.32), (0.48, 0.48, 0.52),
)  # fmt: skip
"""One colour a tube, in the order the tubes first appear, as sRGB from 0 to 1; after eight they come round again."""

SHADES: dict[Hand, float] = {"left": 0.8, "single": 1.0, "right": 1.2}
"""The left hand is darker than the right."""

AXES = "vehicle axes in millimetres: X rearward, Y to the right, Z up"


@dataclass(frozen=True, slots=True)
class Body:
    """A part with its solid built and its colour chosen: what the files are written from.

    Args:
        part: the part.
        shape: its solid, the kernel's own `TopoDS_Solid`.
        colour: sRGB from 0 to 1.
    """

    part: RailPart
    shape: Any
    colour: Colour


def bodies(parts: Sequence[RailPart | Body]) -> tuple[Body, ...]:
    """Build each part's solid once and give each tube and hand its colour; what is built already is kept.

    Raises:
        GeometryError: a part that makes no solid; see `exporters.solids.solid`.
    """
    plain = [item.part if isinstance(item, Body) else item for item in parts]
    tubes = list(dict.fromkeys(part.tube for part in plain))
    ready: list[Body] = []
    for item, part in zip(parts, plain, strict=True):
        if isinstance(item, Body) and not any(item is body for body in ready):
            ready.append(item)
        else:  # also a body that comes twice: two parts never share one product
            shade, colour = SHADES[part.hand], PALETTE[tubes.index(part.tube) % len(PALETTE)]
            ready.append(Body(part, kernel_solid(part), (colour[0] * shade, colour[1] * shade, colour[2] * shade)))
    return tuple(ready)


def write_parts(parts: Sequence[RailPart | Body], path: Path, *, title: str) -> None:
    """Write one assembly called `title` with a named, coloured child for each part.

    Raises:
        GeometryError: a part that makes no solid.
        InputError: the file could not be written, or SOURCE_DATE_EPOCH is not a number.
    """
    _write(bodies(parts), path, title)


def write_part(part: RailPart | Body, path: Path) -> None:
    """Write one part by itself, where it stands in the vehicle, under its label.

    Raises:
        GeometryError: a part that makes no solid.
        InputError: the file could not be written, or SOURCE_DATE_EPOCH is not a number.
    """
    _write(bodies([part]), path, None)


def _write(ready: Sequence[Body], path: Path, title: str | None) -> None:
    """Write an assembly, or a single part where there is no title.

    Raises:
        InputError: the file could not be written, or SOURCE_DATE_EPOCH is not a number.
    """
    from OCP import __version__ as kernel

    names = [body.part.label for body in ready] + ([] if title is None else [title])
    with replacing(path) as temporary:
        written = _write_geometry(ready, temporary, assembly=title is not None)
        if not written or not temporary.is_file() or temporary.stat().st_size == 0:
            raise InputError(f"{path}: the STEP file could not be written; see that the disk has room and try again")
        text = temporary.read_text(encoding="ascii")
        colours = [body.colour for body in ready]
        text = finished(text, names=names, colours=colours, about=AXES, kernel=f"Open CASCADE {kernel}")
        temporary.write_text(text, encoding="ascii", newline="\n")


def _write_geometry(ready: Sequence[Body], path: Path, *, assembly: bool) -> bool:
    """Have the kernel write the shapes, and say whether it did; names are placeholders, the assembly's the last."""
    from OCP.IFSelect import IFSelect_ReturnStatus
    from OCP.STEPCAFControl import STEPCAFControl_Writer
    from OCP.STEPControl import STEPControl_StepModelType

    document = _document(ready, assembly=assembly)
    writer = STEPCAFControl_Writer()
    writer.SetNameMode(True)
    writer.SetColorMode(False)
    _settings()
    if not writer.Transfer(document, STEPControl_StepModelType.STEPControl_AsIs):
        return False
    return bool(writer.Write(str(path)) == IFSelect_ReturnStatus.IFSelect_RetDone)


def _document(ready: Sequence[Body], *, assembly: bool) -> Any:
    """The kernel's document: a label for each part with its solid and name."""
    from OCP.TCollection import TCollection_ExtendedString
    from OCP.TDataStd import TDataStd_Name
    from OCP.TDocStd import TDocStd_Document
    from OCP.TopLoc import TopLoc_Location
    from OCP.XCAFApp import XCAFApp_Application
    from OCP.XCAFDoc import XCAFDoc_DocumentTool

    def name(label: Any, index: int) -> None:
        TDataStd_Name.Set_s(label, TCollection_ExtendedString(placeholder(index)))

    document = TDocStd_Document(TCollection_ExtendedString("XmlXCAF"))
    XCAFApp_Application.GetApplication_s().InitDocument(document)
    shapes = XCAFDoc_DocumentTool.ShapeTool_s(document.Main())
    shapes.SetAutoNaming_s(False)
    root = shapes.NewShape() if assembly else None
    for index, body in enumerate(ready):
        label = shapes.NewShape()
        shapes.SetShape(label, body.shape)
        name(label, index)
        if root is not None:
            name(shapes.AddComponent(root, label, TopLoc_Location()), index)
    if root is not None:
        name(root, len(ready))
        shapes.UpdateAssemblies()
    return document


def _settings() -> None:
    """Set what the kernel keeps for the whole process: millimetres, AP214, no parameter curves, no chatter."""
    from OCP.Interface import Interface_Static
    from OCP.Message import Message, Message_Gravity

    for printer in Message.DefaultMessenger_s().Printers():
        printer.SetTraceLevel(Message_Gravity.Message_Fail)
    for key, number in (("write.surfacecurve.mode", 0), ("write.precision.mode", 0), ("write.step.assembly", 2)):
        Interface_Static.SetIVal_s(key, number)
    for key, word in (("xstep.cascade.unit", "MM"), ("write.step.unit", "MM"), ("write.step.schema", "AP214IS")):
        Interface_Static.SetCVal_s(key, word)
