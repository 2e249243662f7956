"""Cautions that belong to bending work: common practice of the trade and ANSI B11.15 (pipe, tube and shape benders).

ANSI B11.15 treats stored energy, interferences, guarding, tool set-up, marking of the perimeter, protective equipment
and training (read from its contents list, not its text).
"""

FIRST = "The bender maker's manual, local safety rules and the shop's own training come before this sheet."

BENDING: tuple[str, ...] = (
    "Pinch points at clamp and pressure die: hands off the tube while the machine moves.",
    "The lead swings with the bend and drops when the tube is turned: mark the sweep arc on the floor and keep people "
    "out of it.",
    "Deburr every cut before loading: burrs cut hands and score the mandrel.",
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
