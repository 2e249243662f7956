"""Masses and torques as files hold them. Inside the program masses are kilograms and torques newton-metres.

1 lb = 0.45359237 kg exactly (international avoirdupois pound, 1959); 1 lbf = that times 9.80665 m/s^2 (standard
gravity, third General Conference on Weights and Measures, 1901).
"""

import re
from typing import Annotated, Any

from pydantic import BeforeValidator, ValidationInfo

from railmodel.job.fields import shown, units_of
from railmodel.units import quoted

POUND: float = 0.45359237
"""kg."""

GRAVITY: float = 9.80665
"""m/s^2."""

FOOT_POUND: float = POUND * GRAVITY * 0.3048
"""One foot-pound of torque, N m."""

MOST: float = 100_000.0
"""No mass in a job is larger than this, kg; a larger one is a slip of the pen."""

MOST_TORQUE: float = 1_000_000.0
"""No torque in a job is larger than this, N m."""

_KG = {"kg": 1.0, "g": 0.001, "t": 1000.0, "lb": POUND, "lbs": POUND, "oz": POUND / 16}
_MASS = re.compile(r"([0-9]{1,9}(?:\.[0-9]{0,9})?) *([a-z]{1,3})?\.?")
_TORQUE = re.compile(r"([0-9]{1,9}(?:\.[0-9]{0,9})?) *([a-z]{1,3}) *[-·*. ]? *([a-z]{1,3})?\.?")
_NM = {"nm": 1.0, "ftlb": FOOT_POUND, "lbft": FOOT_POUND, "ftlbs": FOOT_POUND, "lbsft": FOOT_POUND}


def _mass(value: Any, info: ValidationInfo) -> float:
    allowed = "a mass above 0, such as 120, 120 kg or 265 lb"
    unit = "lb" if units_of(info) == "in" else "kg"
    if isinstance(value, str):
        match = _MASS.fullmatch(value.strip().lower()) if len(value) <= 80 else None
        if match is None or (match[2] or unit) not in _KG:
            raise ValueError(f"found {quoted(value)}; allowed: {allowed}")
        kg = float(match[1]) * _KG[match[2] or unit]
    elif isinstance(value, bool) or not isinstance(value, int | float) or value != value:
        raise ValueError(f"found {shown(value)}; allowed: {allowed}")
    else:
        kg = float(value) * _KG[unit]
    if not 0 < kg <= MOST:
        raise ValueError(f"found {quoted(value)}; allowed: {allowed}, and at most 100 t")
    return kg


def _torque(value: Any) -> float:
    match = _TORQUE.fullmatch(value.strip().lower()) if isinstance(value, str) and len(value) <= 80 else None
    unit = None if match is None else _NM.get(match[2] + (match[3] or ""))
    if match is None or unit is None or float(match[1]) == 0:
        raise ValueError(f"found {shown(value)}; allowed: a torque above 0 with its unit, such as 1000 ft lb, 1400 N m")
    if float(match[1]) * unit > MOST_TORQUE:
        raise ValueError(f"found {shown(value)}; allowed: a torque of at most {MOST_TORQUE:.0f} N m; check the unit")
    return float(match[1]) * unit


Mass = Annotated[float, BeforeValidator(_mass)]
"""kg, above 0; a bare number is pounds in a file in inches, kilograms in one in millimetres."""

Torque = Annotated[float, BeforeValidator(_torque)]
"""N m, above 0; always with its unit."""
