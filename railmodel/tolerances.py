"""Tolerances inside the program, named once. Lengths in millimetres, angles in radians."""

LENGTH: float = 1e-6
"""Two lengths closer than this are the same length."""

ANGLE: float = 1e-9
"""Two angles closer than this are the same angle."""

REVERSAL: float = 1e-12
"""A rotation this close to -pi is written as +pi, so that a reversal is always 180 degrees."""
