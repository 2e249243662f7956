"""What every paper says alike: lengths, angles, sections, the head of a page."""

from math import degrees
from typing import Final, Literal

from exporters.sheets.qr import qr_svg
from exporters.sheets.typeset import SVG, Data, shortened
from railmodel.bending.cautions import NO_CERTIFICATE, cautions
from railmodel.fingerprint import fingerprint, short
from railmodel.frame import Frame
from railmodel.part import RailPart
from railmodel.units import format_decimal, format_tape, from_unit

Paper = Literal["letter", "a4"]

_TYPST_PAPER: Final[dict[Paper, str]] = {"letter": "us-letter", "a4": "a4"}
_POINTS_WIDE: Final[dict[Paper, float]] = {"letter": 612.0, "a4": 595.276}
MARGIN: Final = 36.0
"""At either side of a page, points."""

POINT: Final = 25.4 / 72
"""A typographic point, mm."""

NO_HAND: Final = "single part"


def paper_of(frame: Frame, paper: Paper | None) -> Paper:
    """The paper asked for; else the usual one where the job's unit is used."""
    return paper or ("letter" if frame.unit == "in" else "a4")


def width_of(paper: Paper) -> float:
    """Room between the margins, points."""
    return _POINTS_WIDE[paper] - 2 * MARGIN


def head(frame: Frame, title: str, paper: Paper) -> Data:
    """What the head and foot of every page, and the corner with the fingerprint, show."""
    job, whole = frame.job, fingerprint(frame)
    return {
        "paper": _TYPST_PAPER[paper],
        "margin": MARGIN,
        "title": title,
        "job": job.job,
        "job_short": shortened(job.job, 60),
        "revision": "-" if job.revision is None else job.revision,
        "revision_short": "-" if job.revision is None else shortened(job.revision, 16),
        "fingerprint": short(whole),
        "qr": {SVG: qr_svg(whole)},
        "certificate": NO_CERTIFICATE,
        "cautions": [caution for caution in cautions(frame) if caution != NO_CERTIFICATE],
        "unit": frame.unit,
    }


def hand_of(part: RailPart) -> str:
    """The hand in words."""
    return NO_HAND if part.hand == "single" else f"{part.hand} hand"


def plain(frame: Frame, length: float) -> str:
    """A length without its unit, `4.125`."""
    return format_decimal(length, frame.unit)


def adding_up(frame: Frame, lengths: list[float], total: float, spare: int) -> list[str]:
    """Lengths without their unit that add up to the printed total, to its last digit.

    Rounding on its own leaves sums a digit or two off; `spare` says which length takes that up.
    """
    printed = [float(plain(frame, length)) for length in lengths]
    printed[spare] += float(plain(frame, total)) - sum(printed)
    return [plain(frame, from_unit(length, frame.unit)) for length in printed]


def tape(frame: Frame, length: float) -> str:
    """The nearest mark of the shop's inch tape; nothing on a metric job."""
    if frame.unit != "in":
        return ""
    return format_tape(length, frame.shop.tape_step if frame.shop is not None else 16)


def section_words(frame: Frame, part: RailPart) -> str:
    """A tube in words: sizes, corner and grade."""
    size = part.section
    high, wide, wall, corner = (plain(frame, x) for x in (size.height, size.width, size.wall, size.corner))
    grade = f"; {part.grade}" if part.grade else ""
    if size.round:
        return f"{part.tube}: round, {high} diameter x {wall} wall {frame.unit}{grade}"
    return f"{part.tube}: {high} high x {wide} wide x {wall} wall, corner {corner} {frame.unit}{grade}"


def finished_angle(angle: float) -> str:
    """A finished angle (radians) in degrees, to a hundredth."""
    return f"{degrees(angle):.2f}"


def listed(items: list[str]) -> str:
    """Words joined as people do.

    >>> listed(["1"]), listed(["1", "2"]), listed(["1", "2", "4"])
    ('1', '1 and 2', '1, 2 and 4')
    """
    return " and ".join([", ".join(items[:-1]), items[-1]] if len(items) > 1 else items)


def counted(bends: list[int]) -> str:
    """Numbers of bends in words: "bend 1", "bends 1 and 4"."""
    return f"bend{'s' if len(bends) > 1 else ''} {listed([str(bend) for bend in bends])}"
