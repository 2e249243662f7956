"""STEP files (ISO 10303-21, AP214 or AP242, vehicle axes): the whole frame as one assembly, and single parts.

    ready = bodies(parts)                          # each solid is built once
    write_parts(ready, folder / "frame.step", title="frame")
    for body in ready:
        write_part(body, folder / f"{body.name}.step")

The kernel writes the geometry; `exporters.part21` puts the rest of its text right before the file takes its name.
Every product says its volume, surface area and centroid, so that what reads it can prove that it read all of it.
Files written from the same parts are the same bytes, except for the time in the header, which SOURCE_DATE_EPOCH
(seconds since 1970) pins.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory, gettempdir
from typing import Any

from exporters.bodies import Body, Branch, bodies
from exporters.part21 import Protocol, Said, finished, placeholder
from railmodel.errors import InputError
from railmodel.files import write_whole
from railmodel.geometry.figures import total
from railmodel.part import RailPart
from railmodel.units import Unit


@dataclass(frozen=True, slots=True, eq=False)
class Model:
    """What the kernel wrote of a tree, to be finished into one file or several.

    Args:
        text: the kernel's own text.
        names: of every product and occurrence, by placeholder.
        said: what is said of the products, by placeholder.
        title: the name of the whole.
        unit: of its lengths.
    """

    text: str
    names: tuple[str, ...]
    said: dict[int, Said]
    title: str
    unit: Unit


def write_parts(
    parts: Sequence[RailPart | Body], path: Path, *, title: str, unit: Unit = "mm", protocol: Protocol = "AP214"
) -> None:
    """Write one assembly called `title` with a named, coloured child for each part.

    Raises:
        GeometryError: a part that makes no solid.
        InputError: the file could not be written, or SOURCE_DATE_EPOCH is not a number.
    """
    write_model(assembly(bodies(parts), title=title, unit=unit), path, protocol)


def write_part(part: RailPart | Body, path: Path, *, unit: Unit = "mm", protocol: Protocol = "AP214") -> None:
    """Write one part by itself, where it stands in the vehicle, under its label.

    Raises:
        GeometryError: a part that makes no solid.
        InputError: the file could not be written, or SOURCE_DATE_EPOCH is not a number.
    """
    (body,) = bodies([part])
    tree = _Tree()
    tree.product(body)
    write_model(_model(tree, body.name, unit), path, protocol)


def assembly(children: Sequence[Body | Branch], *, title: str, unit: Unit = "mm") -> Model:
    """An assembly called `title`: its bodies, each copy of a plate in its place, and its branches.

    Raises:
        InputError: there is no room to write it.
    """
    tree = _Tree()
    root = tree.branch(title, children)
    return _model(tree, tree.names[root], unit)


def write_model(model: Model, path: Path, protocol: Protocol) -> None:
    """Write a model to a file, whole or not at all.

    Raises:
        InputError: SOURCE_DATE_EPOCH is not a number.
    """
    from OCP import __version__ as kernel

    text = finished(
        model.text, names=model.names, said=model.said, title=model.title, kernel=f"Open CASCADE {kernel}",
        protocol=protocol, unit=model.unit,
    )  # fmt: skip
    write_whole(path, text)


class _Tree:
    """The kernel's document as it grows: a label with a placeholder for each product and each occurrence."""

    def __init__(self) -> None:
        from OCP.TCollection import TCollection_ExtendedString
        from OCP.TDocStd import TDocStd_Document
        from OCP.XCAFApp import XCAFApp_Application
        from OCP.XCAFDoc import XCAFDoc_DocumentTool

        self.names: list[str] = []
        self.said: dict[int, Said] = {}
        self.document = TDocStd_Document(TCollection_ExtendedString("XmlXCAF"))
        XCAFApp_Application.GetApplication_s().InitDocument(self.document)
        self._shapes = XCAFDoc_DocumentTool.ShapeTool_s(self.document.Main())
        self._shapes.SetAutoNaming_s(False)

    def product(self, body: Body) -> Any:
        """The label of a body's solid."""
        label = self._shapes.NewShape()
        self._shapes.SetShape(label, body.shape)
        self.said[self._name(label, body.name)] = Said(figures=body.figures, colour=body.colour)
        return label

    def branch(self, name: str, children: Sequence[Body | Branch], under: Any = None) -> int:
        """An assembly with its children, hung under another's label; returns the number of its name."""
        from OCP.TopLoc import TopLoc_Location

        from exporters.plate_solid import location

        label = self._shapes.NewShape()
        number = self._name(label, name)
        for child in children:
            if isinstance(child, Branch):
                self.branch(child.name, child.bodies, label)
                continue
            product = self.product(child)
            places = [location(place) for place in child.places] or [TopLoc_Location()]
            for i, place in enumerate(places, start=1):
                copy = f"{child.name} {i}" if len(places) > 1 else child.name
                self._name(self._shapes.AddComponent(label, product, place), copy)
        self.said[number] = Said(figures=total(figures for child in children for figures in _copies(child)))
        if under is None:
            self._shapes.UpdateAssemblies()
        else:
            self._name(self._shapes.AddComponent(under, label, TopLoc_Location()), name)
        return number

    def _name(self, label: Any, name: str) -> int:
        from OCP.TCollection import TCollection_ExtendedString
        from OCP.TDataStd import TDataStd_Name

        self.names.append(name)
        number = len(self.names) - 1
        TDataStd_Name.Set_s(label, TCollection_ExtendedString(placeholder(number)))
        return number


def _copies(child: Body | Branch) -> list[Any]:
    """What every copy of every solid measures where it lies."""
    return [figures for body in (child.bodies if isinstance(child, Branch) else [child]) for figures in body.copies]


def _model(tree: _Tree, title: str, unit: Unit) -> Model:
    """Have the kernel write a tree.

    Raises:
        InputError: it could not be written.
    """
    with TemporaryDirectory() as folder:
        path = Path(folder, "model.step")
        if not _write_geometry(tree.document, path, unit) or not path.is_file() or path.stat().st_size == 0:
            raise InputError(
                f"{gettempdir()}: the STEP text could not be written here; see that the disk has room and try again"
            )
        return Model(path.read_text(encoding="ascii"), tuple(tree.names), tree.said, title, unit)


def _write_geometry(document: Any, path: Path, unit: Unit) -> bool:
    """Have the kernel write its document, and say whether it did."""
    from OCP.IFSelect import IFSelect_ReturnStatus
    from OCP.STEPCAFControl import STEPCAFControl_Writer
    from OCP.STEPControl import STEPControl_StepModelType

    writer = STEPCAFControl_Writer()
    writer.SetNameMode(True)
    writer.SetColorMode(False)
    _settings(unit)
    if not writer.Transfer(document, STEPControl_StepModelType.STEPControl_AsIs):
        return False
    return bool(writer.Write(str(path)) == IFSelect_ReturnStatus.IFSelect_RetDone)


def _settings(unit: Unit) -> None:
    """Set what the kernel keeps for the whole process: units, no parameter curves, no chatter."""
    from OCP.Interface import Interface_Static
    from OCP.Message import Message, Message_Gravity

    for printer in Message.DefaultMessenger_s().Printers():
        printer.SetTraceLevel(Message_Gravity.Message_Fail)
    for key, number in (("write.surfacecurve.mode", 0), ("write.precision.mode", 0), ("write.step.assembly", 2)):
        Interface_Static.SetIVal_s(key, number)
    written = {"mm": "MM", "in": "INCH"}[unit]
    for key, word in (("xstep.cascade.unit", "MM"), ("write.step.unit", written), ("write.step.schema", "AP214IS")):
        Interface_Static.SetCVal_s(key, word)
