"""What goes into a STEP file: each part, plate and keep-clear shape with its solid, its colour and what it measures."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from exporters.part21 import Colour
from exporters.plate_solid import kernel_plate
from exporters.shape_solids import Simple, kernel_shape, shape_figures
from exporters.solids import kernel_solid
from railmodel.fitting.shapes import KeepClear
from railmodel.geometry.figures import Figures, flat, swept
from railmodel.part import Hand, RailPart
from railmodel.plates import Placing, Plate

PALETTE: tuple[Colour, ...] = (
    (0.27, 0.45, 0.68), (0.78, 0.46, 0.20), (0.33, 0.60, 0.37), (0.62, 0.35, 0.58),
    (0.72, 0.62, 0.25), (0.28, 0.63, 0.68), (0.70, 0.32, 0.32), (0.48, 0.48, 0.52),
)  # fmt: skip
"""One colour a tube, in the order the tubes first appear, as sRGB from 0 to 1; after eight they come round again."""

SHADES: dict[Hand, float] = {"left": 0.8, "single": 1.0, "right": 1.2}
"""The left hand is darker than the right."""

PLATE: Colour = (0.33, 0.36, 0.40)
KEPT_CLEAR: Colour = (0.92, 0.89, 0.80)


@dataclass(frozen=True, slots=True, eq=False)
class Body:
    """One solid of a file.

    Args:
        name: what it is called.
        shape: its solid, the kernel's own `TopoDS_Solid`.
        colour: sRGB from 0 to 1.
        figures: its volume, surface area and centroid, by which a reader can prove that it read what was written.
        places: where its copies lie, if it is drawn in axes of its own; none for a solid that stands where it is drawn.
    """

    name: str
    shape: Any
    colour: Colour
    figures: Figures
    places: tuple[Placing, ...] = ()

    @property
    def copies(self) -> tuple[Figures, ...]:
        """What each of its copies measures where it lies."""
        if not self.places:
            return (self.figures,)
        (x, y, z), found = self.figures.centroid, []
        for place in self.places:
            a, b, c = place.points((x, y), z).tolist()
            found.append(Figures(self.figures.volume, self.figures.area, (a, b, c)))
        return tuple(found)


@dataclass(frozen=True, slots=True, eq=False)
class Branch:
    """A branch of a file's tree: its name and what hangs on it."""

    name: str
    bodies: tuple[Body, ...]


def bodies(parts: Sequence[RailPart | Body]) -> tuple[Body, ...]:
    """Build each part's solid once and give each tube and hand its colour; what is built already is kept.

    Raises:
        GeometryError: a part that makes no solid; see `exporters.solids.solid`.
    """
    tubes = list(dict.fromkeys(item.tube for item in parts if isinstance(item, RailPart)))
    ready: list[Body] = []
    for item in parts:
        if isinstance(item, Body):
            again = any(item is body for body in ready)  # two parts never share one product
            ready.append(replace(item, shape=_copied(item.shape)) if again else item)
        else:
            red, green, blue = PALETTE[tubes.index(item.tube) % len(PALETTE)]
            shade, shape = SHADES[item.hand], kernel_solid(item)
            ready.append(Body(item.label, shape, (red * shade, green * shade, blue * shade), figures_of(item, shape)))
    return tuple(ready)


def _copied(shape: Any) -> Any:
    """The same solid made anew."""
    from OCP.BRepBuilderAPI import BRepBuilderAPI_Copy

    return BRepBuilderAPI_Copy(shape).Shape()


def figures_of(part: RailPart, shape: Any) -> Figures:
    """What a part measures: in closed form, or integrated over its faces where its ends are not cut square."""
    if all(cut.kind == "square" for cut in part.cuts or ()):
        return swept(part.line, part.section)
    return integrated(shape)


def integrated(shape: Any) -> Figures:
    """What the kernel integrates over a solid's faces."""
    from OCP.BRepGProp import BRepGProp
    from OCP.GProp import GProp_GProps

    inside, skin = GProp_GProps(), GProp_GProps()
    BRepGProp.VolumeProperties_s(shape, inside)
    BRepGProp.SurfaceProperties_s(shape, skin)
    centre = inside.CentreOfMass()
    return Figures(inside.Mass(), skin.Mass(), (centre.X(), centre.Y(), centre.Z()))


def plate_bodies(plates: Iterable[Plate]) -> tuple[Body, ...]:
    """The plates that lie somewhere in the vehicle and can be cut as they stand."""
    return tuple(
        Body(
            plate.name, kernel_plate(plate), PLATE, flat(plate.outline, plate.holes, plate.thickness), plate.places
        )
        for plate in plates
        if plate.places and not plate.stops
    )  # fmt: skip


def shape_bodies(shapes: Iterable[KeepClear]) -> tuple[Body, ...]:
    """The keep-clear shapes where they are drawn, not over their travel; a mesh has no exact solid and is left out."""
    return tuple(
        Body(one.name, kernel_shape(one.shape), KEPT_CLEAR, shape_figures(one.shape))
        for one in shapes
        if isinstance(one.shape, Simple)
    )
