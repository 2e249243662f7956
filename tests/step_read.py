"""STEP files as others read them: steputils reads the text, the CAD kernel's reader the tree, solids and properties."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from OCP.BRepCheck import BRepCheck_Analyzer
from OCP.IFSelect import IFSelect_ReturnStatus
from OCP.Interface import Interface_Static
from OCP.Quantity import Quantity_Color
from OCP.STEPCAFControl import STEPCAFControl_Reader
from OCP.TCollection import TCollection_ExtendedString
from OCP.TDataStd import TDataStd_Name
from OCP.TDF import TDF_AttributeIterator, TDF_Label, TDF_LabelSequence
from OCP.TDocStd import TDocStd_Document
from OCP.XCAFApp import XCAFApp_Application
from OCP.XCAFDoc import (
    XCAFDoc_Area,
    XCAFDoc_Centroid,
    XCAFDoc_ColorSurf,
    XCAFDoc_ColorTool,
    XCAFDoc_DocumentTool,
    XCAFDoc_ShapeTool,
    XCAFDoc_Volume,
)
from steputils import p21

from exporters.bodies import integrated
from railmodel.geometry.figures import Figures


class File:
    """A STEP file as steputils reads it, with what the tests ask for."""

    def __init__(self, path: Path) -> None:
        self.read = p21.readfile(str(path))
        self.entities = {
            item.ref: getattr(item, "entities", None) or [item.entity]  # an instance may be of several types
            for item in self.read
        }

    def kinds(self) -> set[str]:
        return {entity.name for entities in self.entities.values() for entity in entities}

    def all(self, kind: str) -> list[tuple[str, p21.ParameterList]]:
        found = ((ref, entity) for ref, entities in self.entities.items() for entity in entities)
        return [(ref, entity.params) for ref, entity in found if entity.name == kind]

    def below(self, ref: str) -> set[str]:
        """Everything an instance refers to, directly or through others, itself included."""
        seen: set[str] = set()
        waiting = [ref]
        while waiting:
            current = waiting.pop()
            if current not in seen:
                seen.add(current)
                waiting += [name for entity in self.entities[current] for name in references(entity.params)]
        return seen

    def colour_of_product(self) -> dict[str, tuple[float, ...]]:
        """Product reference to the colour of the solid that represents it."""
        colour_of_solid = {}
        for _, (_, styles, solid) in self.all("STYLED_ITEM"):
            below = self.below(styles[0])
            (colour,) = [params[1:] for ref, params in self.all("COLOUR_RGB") if ref in below]
            colour_of_solid[solid] = tuple(colour)
        found = {}
        for _, (definition, shape) in self.all("SHAPE_DEFINITION_REPRESENTATION"):
            solids = [ref for ref, _ in self.all("MANIFOLD_SOLID_BREP") if ref in self.below(shape)]
            (product,) = [ref for ref, _ in self.all("PRODUCT") if ref in self.below(definition)]
            for solid in solids:
                found[product] = colour_of_solid[solid]
        return found


def references(params: object) -> list[str]:
    if isinstance(params, p21.Reference):
        return [params]
    return [name for item in params for name in references(item)] if isinstance(params, tuple) else []


@dataclass
class Node:
    """A product where it hangs in the tree.

    `says` are the validation properties the file gives it, `measures` what the kernel integrates over what it read, in
    the product's own axes; `shape` stands in the vehicle.
    """

    name: str
    product: str
    says: Figures
    measures: Figures
    shape: Any
    colour: tuple[float, float, float] | None
    valid: bool
    children: list["Node"] = field(default_factory=list)

    def all(self) -> Iterator["Node"]:
        yield self
        for child in self.children:
            yield from child.all()


def tree(path: Path) -> Node:
    """The one tree of a file, in mm, as the kernel's reader with its properties mode on has it."""
    Interface_Static.SetCVal_s("xstep.cascade.unit", "MM")
    document = TDocStd_Document(TCollection_ExtendedString("XmlXCAF"))
    XCAFApp_Application.GetApplication_s().InitDocument(document)
    reader = STEPCAFControl_Reader()
    reader.SetPropsMode(True)
    reader.SetNameMode(True)
    reader.SetColorMode(True)
    assert reader.ReadFile(str(path)) == IFSelect_ReturnStatus.IFSelect_RetDone
    assert reader.Transfer(document)
    shapes = XCAFDoc_DocumentTool.ShapeTool_s(document.Main())
    free = TDF_LabelSequence()
    shapes.GetFreeShapes(free)
    assert free.Length() == 1
    return _node(free.Value(1), free.Value(1), None)


def _node(label: TDF_Label, product: TDF_Label, place: Any) -> Node:
    shape, own = XCAFDoc_ShapeTool.GetShape_s(label), XCAFDoc_ShapeTool.GetShape_s(product)
    if place is not None:
        shape = shape.Moved(place)
    node = Node(
        _name(label), _name(product), _properties(product), integrated(own), shape, _colour(product),
        BRepCheck_Analyzer(own).IsValid(),
    )  # fmt: skip
    below = TDF_LabelSequence()
    XCAFDoc_ShapeTool.GetComponents_s(product, below)
    for i in range(1, below.Length() + 1):
        child = TDF_Label()
        XCAFDoc_ShapeTool.GetReferredShape_s(below.Value(i), child)
        node.children.append(_node(below.Value(i), child, shape.Location() if place is not None else place))
    return node


def _attributes(label: TDF_Label) -> dict[type, Any]:
    found, attributes = {}, TDF_AttributeIterator(label)
    while attributes.More():
        found[type(attributes.Value())] = attributes.Value()
        attributes.Next()
    return found


def _name(label: TDF_Label) -> str:
    return str(_attributes(label)[TDataStd_Name].Get().ToExtString())


def _properties(label: TDF_Label) -> Figures:
    found = _attributes(label)
    at = found[XCAFDoc_Centroid].Get()
    return Figures(found[XCAFDoc_Volume].Get(), found[XCAFDoc_Area].Get(), (at.X(), at.Y(), at.Z()))


def _colour(label: TDF_Label) -> tuple[float, float, float] | None:
    colour = Quantity_Color()
    if not XCAFDoc_ColorTool.GetColor_s(label, XCAFDoc_ColorSurf, colour):
        return None
    return colour.Red(), colour.Green(), colour.Blue()
