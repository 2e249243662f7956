"""Parts whose flat layouts the tests draw: what a shop makes, in inches and degrees."""

from pathlib import Path

import numpy as np
from rails import part

from exporters.flat_layout import write_flat_layout
from railmodel.geometry.centreline import Centreline, Pose
from railmodel.geometry.rows import BendRows
from railmodel.geometry.section import Section
from railmodel.part import RailPart

TUBE = Section(height=76.2, width=50.8, wall=4.7625, corner=9.525)  # 3 x 2 x 3/16 in
ALONG = Pose.of((0, 0, 0), (1, 0, 0), (0, 0, 1))  # a rail pointing rearward, top up

VERSIONS = ("R2010", "R12")


def line(straights: list[float], rotation: list[float], angle: list[float], radius: float) -> Centreline:
    """Inches and degrees in, a centreline along X out."""
    inches = np.array(straights) * 25.4
    turned, bent = np.radians(rotation), np.radians(angle)
    return Centreline(BendRows.of(inches[:-1], turned, bent, np.full(len(bent), radius * 25.4), inches[-1]), ALONG)


def side_rail(**fields: object) -> RailPart:
    """A right-hand rail: up, down, outboard, inboard; 75 in."""
    shape = line([12, 8, 20, 9, 15], [0, 180, 90, 180], [15, 15, 30, 30], 7)
    about = {"name": "side rail", "hand": "right", "sides": ("outboard", "inboard"), "seam": "inboard"}
    dies = ("hard 7", "hard 7", "easy 7", "easy 7")
    return part(**({"line": shape, "section": TUBE, "dies": dies} | about | fields))


STRAIGHT = part(line([34.125], [], [], 7), TUBE, name="crossmember", seam="bottom")
CAP = part(line([10, 18, 10], [90, 0], [90, 90], 5), TUBE, name="rear cap", leading_end="rear")
CLOSE = side_rail(
    line=line([6, *[1] * 7, 8], [0, 180, 90, 180, 90, 180, 90, 180], [10, 10, 12, 12, 8, 8, 10, 10], 7), dies=()
)
PARTS = {"side rail": side_rail(), "straight": STRAIGHT, "cap": CAP, "close": CLOSE}


def write(folder: Path, drawn: RailPart, **options: object) -> Path:
    path = folder / f"{len(list(folder.iterdir()))}.dxf"
    write_flat_layout(drawn, path, **({"unit": "in", "job": "Hillside hauler", "revision": "B"} | options))
    return path
