"""What a measured piece says of itself in words, alike on screen and on paper."""

from collections.abc import Sequence
from math import degrees
from typing import Final

from railmodel.as_bent.correct import BendCorrection, NextPiece, StepKind, StraightCorrection
from railmodel.as_bent.deviations import Deviation
from railmodel.as_bent.estimate import Known
from railmodel.as_bent.piece import Piece, say
from railmodel.as_bent.to_bender import Rest, was_set
from railmodel.sureness.spread import WORDS
from railmodel.units import format_decimal

STEPS: Final[dict[StepKind, str]] = {"leave": "leave it", "half": "half of it", "all": "all of it"}
_UNIT_OF: Final = {"angle": "angle", "rotation": "angle", "roll": "angle"}
LEARNED: Final = {"well": "", "partly": "partly", "not": "NOT MEASURED"}
"""How well a dimension is determined."""


def known_words(piece: Piece, one: Known) -> tuple[str, str, str, str, str]:
    """What it is, planned, as bent, off, and what nineteen of twenty such lie within."""
    if one.kind in ("angle", "turn"):
        name = f"{one.kind} of bend {one.number}, degrees"
        plan, value, off = (round(degrees(angle), 2) + 0.0 for angle in (one.plan, one.value, one.value - one.plan))
        return name, f"{plan:.2f}", f"{value:.2f}", f"{off:+.2f}", f"{2 * degrees(one.sigma):.2f}"
    unit = piece.frame.unit
    name = f"straight {one.number}, {unit}" if one.kind == "straight" else f"radius of bend {one.number}, {unit}"
    planned, found, sure = (format_decimal(value, unit) for value in (one.plan, one.value, 2 * one.sigma))
    return name, planned, found, signed(piece, one.value - one.plan), sure


def signed(piece: Piece, length: float) -> str:
    """A length with its sign, without its unit."""
    text = format_decimal(length, piece.frame.unit)
    return text if text.startswith("-") or float(text) == 0 else f"+{text}"


def deviation_words(piece: Piece, one: Deviation) -> tuple[str, ...]:
    """Name, weight, back, right, up, sure to, gap, wanted, verdict."""
    say = piece.frame.say
    gap = wanted = state = ""
    if one.gap is not None and one.target.fit is not None:
        want = one.target.fit.point.gap
        gap, wanted = say(one.gap), f"{say(want.want)} within {say(want.within)}"
        state = "fits" if one.ok else "MISSED"
    return (
        one.target.name, f"{one.target.weight:g}", *(signed(piece, float(value)) for value in one.moved),
        format_decimal(2 * float(one.sigma.max()), piece.frame.unit), gap, wanted, state,
    )  # fmt: skip


def taken_words(one: BendCorrection) -> str:
    """How much of a bend's error is corrected."""
    return f"{degrees(one.taken_off):+.2f}" if one.taken_off else "leave it"


def common_words(found: NextPiece, dies: Sequence[str | None]) -> list[str]:
    """What the bends of each die had in common, a sentence each."""
    by_die = {die: one for die, one in zip(dies, found.bends, strict=True) if one.common}
    untold = {die for die, one in zip(dies, found.bends, strict=True) if not one.told}
    return [
        f"All {'measured ' if die in untold else ''}bends{f' of die {die}' if die else ''} came out "
        f"{'over' if one.common > 0 else 'under'} plan together: {abs(degrees(one.common)):.2f} degrees of that is "
        f"corrected at every one of {'its bends, measured or not' if die in untold else 'them'}."
        for die, one in by_die.items()
    ]


def error_words(one: BendCorrection) -> str:
    """How far off a bend came out, degrees, where that is known."""
    return f"{round(degrees(one.error), 2) + 0.0:+.2f}" if one.told else "not measured"


def plane_words(piece: Piece, step: StepKind, turn: float, shim: float | None) -> str:
    """What to do about the plane of a bend."""
    if step == "leave":
        return "leave it"
    way = "counter-clockwise" if turn > 0 else "clockwise"
    size = f"turn the tube {abs(degrees(turn)):.1f} degrees {way} as seen from the tail"
    if shim is None:
        return f"{size}: no shim does that; level the tube anew, or reject one twisted in itself"
    return f"{size}: {piece.frame.say(shim)} of shim under one edge"


def straight_words(piece: Piece, one: StraightCorrection) -> str:
    """What is corrected of a straight."""
    say = piece.frame.say
    return (
        f"Straight {one.straight} was {say(abs(one.error))} too {'long' if one.error > 0 else 'short'} (chance gives "
        f"{say(one.sigma)}): {STEPS[one.step]} is in the marks."
    )


def scatter_words(piece: Piece, found: NextPiece) -> list[str]:
    """From how many pieces a correction is, and how far they differ; nothing of one."""
    if found.pieces < 2:
        return []
    told = [
        f"{WORDS[one.field]} {say(piece.frame, _UNIT_OF.get(one.field, 'length'), one.sigma)}"
        for one in found.scatter
    ]  # fmt: skip
    lines = [
        f"From {found.pieces} pieces: what they have in common is taken for the settings' error, and what they differ "
        "by for chance. Every piece is taken to have been marked as the bend sheet says, and not turned or shimmed."
    ]
    if told:
        lines.append(f"One standard deviation from piece to piece, with the shop's own spread: {', '.join(told)}.")
    return lines


def set_unsaid(pieces: Sequence[Piece]) -> str | None:
    """That a record does not say what the bender was set to, or not for which bends, where one does not."""
    silent = []
    for piece in pieces:
        said = was_set(piece)[1][: piece.bent]
        if all(said):
            continue
        bends = ", ".join(str(i) for i, one in enumerate(said, start=1) if not one)
        of = f" for bend{'s' if said.count(False) > 1 else ''} {bends}" if any(said) else ""
        who = "The record" if len(pieces) == 1 else f"The record {piece.name}"
        silent.append(f"{who} does not say what the bender was set to{of}: what was planned is taken.")
    return " ".join(silent) or None


def end_words(piece: Piece, rest: Rest) -> list[str]:
    """What becomes of the end of a half-bent piece, and what keeps it from coming out better."""
    frame, found = piece.frame, rest.found
    tail = float(found.straight[-1])
    if rest.trim >= 0:
        lines = [f"Leave the last straight {frame.mark(tail)} long; cut {frame.say(rest.trim)} off its end."]
    else:
        lines = [f"The last straight comes out {frame.say(-rest.trim)} shorter than {frame.say(tail)}."]
    if found.at_limit:
        bends = ", ".join(map(str, found.at_limit))
        lines.append(f"At its limit: bend {bends}; more would need another die or a longer straight.")
    return lines
