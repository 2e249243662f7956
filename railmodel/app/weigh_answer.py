"""What `weigh` answers: masses, balance, boxes and crate, as plain data and as tables."""

from typing import TYPE_CHECKING, Any

from rich.text import Text

from railmodel.app.printed import grid
from railmodel.app.show_carry import say_mass
from railmodel.frame import Frame
from railmodel.job.mass import POUND
from railmodel.loading.lifting import lifting
from railmodel.loading.packing import Crate, Packed, Packing, pack
from railmodel.loading.weigh import Weight, weigh
from railmodel.units import to_unit

if TYPE_CHECKING:
    from rich.console import Console

Answer = dict[str, Any]


def weigh_answer(frame: Frame) -> Answer:
    """Weight, balance and packed size; lengths in the job's unit, masses in kg."""
    weight, packing, unit = weigh(frame), pack(frame), frame.unit
    return {
        "job": frame.job.job,
        "revision": frame.job.revision or "",
        "units": {"length": unit, "mass": "kg"},
        "pieces": [
            {
                "name": piece.label, "kind": piece.kind, "mass": piece.mass,
                "centre": [to_unit(value, unit) for value in piece.centre], "length": to_unit(piece.length, unit),
            }
            for piece in weight.pieces
        ],
        "frame": {
            "mass": weight.mass,
            "centre": None if weight.centre is None else [to_unit(value, unit) for value in weight.centre],
            "left": weight.left,
            "right": weight.right,
        },
        "not_placed": [{"name": name, "count": count, "mass_each": mass} for name, count, mass in weight.apart],
        "not_weighed": list(weight.not_weighed),
        "boxes": [_packed(frame, box) for box in packing.parts],
        "lots": [_packed(frame, lot) for lot in packing.lots],
        "crate": None if packing.crate is None else _crate(frame, packing.crate),
        "cautions": list(lifting(weight, packing.crate)),
    }  # fmt: skip


def _packed(frame: Frame, box: Packed) -> Answer:
    size = [to_unit(value, frame.unit) for value in box.size]
    return {"name": box.name, "size": size, "mass": box.mass, "how": box.how}


def _crate(frame: Frame, crate: Crate) -> Answer:
    return {
        "size": [to_unit(value, frame.unit) for value in crate.size],
        "steel": crate.steel,
        "mass": crate.mass,
        "class": None if crate.row is None else crate.row.name,
        "too_much": list(crate.too_much),
    }


def show_weigh(frame: Frame, console: "Console") -> None:
    """Print weight, balance and packed size."""
    weight, packing = weigh(frame), pack(frame)
    console.print(Text(f"{frame.job.job}, revision {frame.job.revision or '-'}: weight and balance", style="bold"))
    _show_weight(frame, weight, console)
    _show_packing(frame, packing, console)
    for caution in lifting(weight, packing.crate):
        console.print(Text(f"  - {caution}"))


def _show_weight(frame: Frame, weight: Weight, console: "Console") -> None:
    table = grid("piece", "mass", "centre X", "Y", "Z")
    for piece in weight.pieces:
        cells = (piece.label, say_mass(frame, piece.mass), *(frame.say(value) for value in piece.centre))
        table.add_row(*(Text(cell) for cell in cells))
    console.print(table)
    if weight.centre is not None:
        x, y, z = (frame.say(value) for value in weight.centre)
        both = f"{weight.mass:.1f} kg ({weight.mass / POUND:.1f} lb)"
        whole = f"Whole frame {both}, centre of mass X {x}, Y {y}, Z {z}"
        sides = f"left of the centreline {say_mass(frame, weight.left)}, right {say_mass(frame, weight.right)}"
        console.print(Text(f"{whole}; {sides}.", style="bold"))
    for name, count, mass in weight.apart:
        console.print(Text(f"Not in that: {count} x {name}, {say_mass(frame, mass)} each, which have no place."))
    for label in weight.not_weighed:
        console.print(Text(f"Not weighed: {label}, which makes no shape."))


def _show_packing(frame: Frame, packing: Packing, console: "Console") -> None:
    table = grid("packed", "length", "width", "height", "mass", "how it lies")
    for lot in (*packing.lots, *(box for box in packing.parts if box not in packing.lots)):
        cells = (lot.name, *(frame.say(value) for value in lot.size), say_mass(frame, lot.mass), lot.how)
        table.add_row(*(Text(cell) for cell in cells))
    console.print(table)
    crate = packing.crate
    if crate is None:
        console.print(Text("No crate: the shop's file says nothing of freight."))
        return
    size = " x ".join(frame.say(value) for value in crate.size)
    console.print(Text(
        f"Crate {size}, {say_mass(frame, crate.mass)} with dunnage; freight class: "
        f"{'none' if crate.row is None else crate.row.name}", style="bold",
    ))  # fmt: skip
    for says in crate.too_much:
        console.print(Text(f"  {says}"))
