"""Steel grades a rail is made of: the least yield and elongation their standards promise.

Minimums only: real tube is stronger (46 ksi tube often tests 55 to 65, common practice, no source) and a mill
certificate says more than any table. Values were read in secondary copies of the standards unless marked "from
memory"; check a bought copy before calling anything conformance.
"""

import re
from dataclasses import dataclass

KSI: float = 6.894757293168361
"""1 ksi in MPa (1 lbf = 4.4482216152605 N and 1 in = 25.4 mm, both exact)."""

INCH: float = 25.4


@dataclass(frozen=True, slots=True, kw_only=True)
class Grade:
    """One steel grade.

    Args:
        name: as this program writes it, "A500-B".
        standard: the standard that names it, with where the values were read.
        yield_stress: least yield of shaped tube, MPa.
        elongation: least elongation of normal walls as a fraction, None where the standard leaves it open.
        thin_below: walls under this (mm) follow `thin_slope` and `thin_base`; 0 when there is no such rule.
        thin_slope: per cent per inch of wall, None when thin walls are by agreement.
        thin_base: per cent.
        stocky: the part taken off where (height + width) / (2 wall) is below 12.5 (EN 10219-1, from memory).
        remark: what a builder must know before trusting the value.
    """

    name: str
    standard: str
    yield_stress: float
    elongation: float | None
    thin_below: float = 0.0
    thin_slope: float | None = None
    thin_base: float = 0.0
    stocky: float = 0.0
    remark: str = ""

    def least_elongation(self, wall: float, height: float | None = None, width: float | None = None) -> float | None:
        """Least elongation promised for a wall, as a fraction (0.19 is 19 %); None where it is left open.

        ASTM A500 thin walls: grade A below 0.120 in 56 t + 17.5 %, grades B and D below 0.180 in 61 t + 12 %,
        rounded to the nearest per cent, t the specified wall in inches; grade C below 0.120 in by agreement.

        Args:
            wall: specified wall, mm.
            height: outside height, mm; with `width` it applies the stocky-section rule of EN 10219-1.
            width: outside width, mm.

        >>> GRADES["A500-B"].least_elongation(0.120 * 25.4)
        0.19
        """
        if wall < self.thin_below - 1e-9:
            if self.thin_slope is None:
                return None
            return round(self.thin_slope * wall / INCH + self.thin_base) / 100
        if self.elongation is None:
            return None
        if self.stocky and height is not None and width is not None and (height + width) / (2 * wall) < 12.5:
            return round(self.elongation - self.stocky, 6)
        return self.elongation


_A500 = "ASTM A500 (shaped tube; tensile table and its notes as quoted by suppliers)"
_A513 = "ASTM A513 as welded (values for round tube as quoted by suppliers; elongation from memory)"
_A513_REMARK = "A513 promises tensile values only when they are ordered: ask for the mill certificate"
_EN_COLD = "EN 10219-1 (cold formed; elongation and its reductions from memory)"
_EN_HOT = "EN 10210-1 (hot finished; as quoted by a mill)"
_SECTION = "section up to 16 mm wall"


def _a500(letter: str, ksi: float, elongation: float, below: float, slope: float | None, base: float) -> Grade:
    return Grade(
        name=f"A500-{letter}",
        standard=_A500,
        yield_stress=ksi * KSI,
        elongation=elongation,
        thin_below=below * INCH,
        thin_slope=slope,
        thin_base=base,
    )


def _plain(name: str, standard: str, stress: float, elongation: float, stocky: float = 0.0, remark: str = "") -> Grade:
    return Grade(name=name, standard=standard, yield_stress=stress, elongation=elongation, stocky=stocky, remark=remark)


_ALL = (
    _a500("A", 39, 0.25, 0.120, 56, 17.5),
    _a500("B", 46, 0.23, 0.180, 61, 12),
    _a500("C", 50, 0.21, 0.120, None, 0),
    _a500("D", 36, 0.23, 0.180, 61, 12),
    _plain("A513-1008", _A513, 30 * KSI, 0.15, remark=_A513_REMARK),
    _plain("A513-1010", _A513, 32 * KSI, 0.15, remark=_A513_REMARK),
    _plain("A513-1015", _A513, 35 * KSI, 0.15, remark=_A513_REMARK),
    _plain("A513-1020", _A513, 38 * KSI, 0.12, remark=_A513_REMARK),
    _plain("A847", "ASTM A847 (from memory)", 50 * KSI, 0.19),
    _plain("A1085", "ASTM A1085 (yield as quoted by a supplier; elongation from memory)", 50 * KSI, 0.21),
    _plain("S235", _EN_COLD, 235, 0.24, 0.02, _SECTION),
    _plain("S275", _EN_COLD, 275, 0.20, 0.02, _SECTION),
    _plain("S355", _EN_COLD, 355, 0.20, 0.02, _SECTION),
    _plain("EN 10210 S235", _EN_HOT, 235, 0.26, remark=_SECTION),
    _plain("EN 10210 S275", _EN_HOT, 275, 0.23, remark=_SECTION),
    _plain("EN 10210 S355", _EN_HOT, 355, 0.22, remark=_SECTION),
)

GRADES: dict[str, Grade] = {grade.name: grade for grade in _ALL}
"""Every grade this program knows, by name."""

_ASTM = re.compile(
    r"(?:ASTM|S)?A?(500|513|847|1085)M?(?:A\1M)?(?:GRADE|GR|MTX|MT|TYPE1A|TYPE1B|TYPE1|TYPE2)?(A|B|C|D|10(?:08|10|15|20))?"
)
_CARBON = re.compile(r"(?:AISI|SAE|MT)?(10(?:08|10|15|20))")
_EN = re.compile(r"(?:BS|DIN)?(?:EN)?(10219|10210)?(?:1|2)?(S(?:235|275|355))(?:JR|J0|JO|J2|K2)?H?")


def find_grade(text: str | None) -> Grade | None:
    """The grade a text means, whatever its case, spaces and dashes; None when it is not a grade known here.

    >>> find_grade("astm a500 grade b").name
    'A500-B'
    >>> find_grade("S355J2H").name
    'S355'
    >>> find_grade("scrap") is None
    True
    """
    plain = re.sub(r"[^A-Z0-9]", "", (text or "").upper())
    european = _EN.fullmatch(plain)
    if european:
        prefix = "EN 10210 " if european[1] == "10210" else ""
        return GRADES[prefix + european[2]]
    carbon = _CARBON.fullmatch(plain)
    if carbon:
        return GRADES[f"A513-{carbon[1]}"]
    american = _ASTM.fullmatch(plain)
    if american is None:
        return None
    return GRADES.get(f"A{american[1]}-{american[2]}" if american[2] else f"A{american[1]}")
