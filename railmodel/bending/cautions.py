"""Cautions that belong to bending work: common practice of the trade and ANSI B11.15 (pipe, tube and shape benders).

ANSI B11.15 treats stored energy, interferences, guarding, tool set-up, marking of the perimeter, protective equipment
and training (read from its contents list, not its text).
"""

import re

from railmodel.frame import Frame

FIRST = "The bender maker's manual, local safety rules and the shop's own training come before this sheet."

DEBURRING = "Deburr every cut before loading: burrs cut hands and score the mandrel."

BENDING: tuple[str, ...] = (
    "Pinch points at clamp and pressure die: hands off the tube while the machine moves.",
    "The lead swings with the bend and drops when the tube is turned: mark the sweep arc on the floor and keep people "
    "out of it.",
    "Lubricant makes floors slippery; wash and dry the tube before any welding. Keep solvents away from arc and flame: "
    "chlorinated residue and an arc make toxic gas.",
    "Block or bleed the pressure before changing tooling. Dies are heavy: two people or a hoist.",
)

NO_CERTIFICATE = (
    "Dimensions for fabrication; not a structural certification. Have the vehicle's design reviewed by a licensed "
    "engineer or the competent authority."
)

GALVANISED = (
    "Do not weld galvanised tube without stripping the zinc and ventilation: zinc fume makes people ill "
    "(29 CFR 1910.1000 and 1910.252 where they apply)."
)

_ZINC = re.compile(r"galvani[sz]|\bgalv\b|\bzinc|\bhdg\b", re.IGNORECASE)


def cautions(frame: Frame) -> tuple[str, ...]:
    """The cautions that belong to a job, `FIRST` before all: of bending where it bends, of zinc where there is any."""
    used = {part.tube: part.grade for part in frame.parts}
    bent = any(part.line.rows.count for part in frame.parts)
    zinc = any(_ZINC.search(f"{tube} {grade or ''}") for tube, grade in used.items())
    return (FIRST, DEBURRING, *(BENDING if bent else ()), *((GALVANISED,) if zinc else ()), NO_CERTIFICATE)
