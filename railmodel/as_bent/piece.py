"""One bent piece as its record tells: which part it is, its most likely shape, what is odd about the record."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from math import degrees
from pathlib import Path

from railmodel.as_bent.choose import candidates, choose
from railmodel.as_bent.deviations import Laying, Target, best_fit, feet, laid_on, targets
from railmodel.as_bent.estimate import Known, Sifted, dimensions, sift
from railmodel.as_bent.measured import Measured, measured
from railmodel.as_bent.prior import rail_of
from railmodel.as_bent.rail import Rail
from railmodel.as_bent.record import Record
from railmodel.as_bent.record_file import read_record
from railmodel.as_bent.settings import contrary, sheet_has_changed
from railmodel.as_bent.slips import Slips, other_reading, twice, wrong_units
from railmodel.errors import InputError
from railmodel.findings import Finding
from railmodel.frame import Frame
from railmodel.job.fields import not_among
from railmodel.job.yaml_tree import Loc
from railmodel.part import End, RailPart
from railmodel.sureness.datum import BEST, Datum
from railmodel.sureness.screws import FIELDS, Working
from railmodel.sureness.spread import WORDS

RULE = "measured"


@dataclass(frozen=True, eq=False, kw_only=True)
class Piece:
    """A measured piece.

    Args:
        frame: the job.
        part: the part it is.
        name: of the record's file.
        record: what was measured.
        rail: the part with the spread it had before anything was measured.
        sources: where that is known from.
        taken: every reading that counts.
        sifted: the most likely shape, and what was left out; None where the record cannot be of this piece.
        findings: what is odd about the record.
    """

    frame: Frame
    part: RailPart
    name: str
    record: Record
    rail: Rail
    sources: tuple[str, ...]
    taken: tuple[Measured, ...]
    sifted: Sifted | None
    findings: tuple[Finding, ...]

    @property
    def bent(self) -> int:
        """How many bends are made."""
        return self.rail.columns.bends if self.record.bent is None else self.record.bent

    @cached_property
    def shape(self) -> tuple[Known, ...]:
        """Its straights, turns, angles and radii; none where the record cannot be of this piece."""
        return () if self.sifted is None else tuple(dimensions(self.sifted.solution, self.rail, self.bent))

    @cached_property
    def targets(self) -> tuple[Target, ...]:
        """What matters on it, as far as it is bent."""
        last = None if self.bent == self.rail.columns.bends else self.bent - 1
        return tuple(targets(self.frame, self.part, self.record.weights, last=last))

    def layings(self, data: Sequence[Datum]) -> tuple[Laying, ...]:
        """How far off it is, laid on each datum and as well as it fits.

        Raises:
            InputError: a datum the part does not have.
        """
        if self.sifted is None or not self.targets:
            return ()
        solution = self.sifted.solution
        found = [laid_on(solution, self.targets, datum) for datum in data if datum.where != BEST]
        if sum(one.weight > 0 for one in self.targets) >= 3:
            found.append(best_fit(solution, self.targets))
        return tuple({laying.name: laying for laying in found}.values())


def read_piece(
    frame: Frame, path: Path, *, part: str | None = None, hand: str | None = None, working: Working = "marks fixed"
) -> Piece:
    """A piece from its record.

    Args:
        frame: the job.
        path: the record.
        part: which part it is, instead of what the record says.
        hand: which hand, likewise.
        working: how the shop works.

    Raises:
        InputError: a record that cannot be read, or that names what the job does not have.
    """
    record, places = read_record(path, frame.unit)
    return piece_of(frame, record, places, path.name, part=part, hand=hand, working=working)


def piece_of(
    frame: Frame,
    record: Record,
    places: Mapping[Loc, str],
    name: str,
    *,
    part: str | None = None,
    hand: str | None = None,
    working: Working = "marks fixed",
) -> Piece:
    """A piece from a record that is at hand; see `read_piece`.

    Args:
        frame: the job.
        record: what was measured.
        places: where every entry of the record stands in its file; may be empty.
        name: what messages call the record.
        part: which part it is, instead of what the record says.
        hand: which hand, likewise.
        working: how the shop works.

    Raises:
        InputError: a record that names what the job does not have, or says that a bend was set as it cannot have been.
    """
    found = _part(frame, record, name, part, hand)
    rail, sources = rail_of(frame, found, working)
    if record.bent is not None and record.bent > rail.columns.bends:
        raise InputError(
            f"{name}: bent: found {record.bent}; allowed: 0 to {rail.columns.bends}, the bends of the part"
        )
    rail = _bent_so_far(rail, record.bent)
    spots, at = feet(frame, found), places
    _weights(frame, record, found, name)
    _settings(record, places, rail.columns.bends, name)
    every = measured(record, found.read, spots, at)
    taken, said = twice(every, lambda one, value: say(frame, one.unit, value))
    findings = [Finding(rule=RULE, level="warn", says=words, part=found.name, hand=found.hand) for words in said]
    wrong = wrong_units(rail, taken) or _other(frame, record, rail, found, at, taken)
    unit = record.units or frame.unit
    slips = Slips(found.read, rail, unit, frame.say)
    sifted = None if wrong else sift(rail, taken, slips.explained)
    if sifted is not None and sifted.against:
        wrong, sifted = _too_many(sifted.against, len(taken)), None
    if sifted is not None:
        problems = list(contrary(frame, found, record, places, name, sifted.solution.readings.taken))
        if problems:
            raise InputError(problems)
    piece = Piece(
        frame=frame, part=found, name=name, record=record, rail=rail, sources=sources, taken=tuple(taken),
        sifted=sifted, findings=(),
    )  # fmt: skip
    if wrong:
        says = f"{name}: as a record of {found.label}, {wrong}"
        findings.insert(0, Finding(rule=RULE, level="stop", says=says, part=found.name, hand=found.hand))
    else:
        findings += _odd(piece, slips)
    return Piece(
        frame=frame, part=found, name=name, record=record, rail=rail, sources=sources, taken=tuple(taken),
        sifted=sifted, findings=tuple(findings),
    )  # fmt: skip


def _too_many(against: int, readings: int) -> str:
    return (
        f"{against} of {readings} readings contradict the rest, too many to tell which are right; measure again, "
        "beginning with the angles and legs, or say with tools: or sure_to: what the readings are really good to"
    )


def _part(frame: Frame, record: Record, name: str, part: str | None, hand: str | None) -> RailPart:
    """The part a record is of.

    Raises:
        InputError: there is none, or it is not said which.
    """
    if record.of_job is not None and record.of_job != frame.job.job:
        raise InputError(
            f'{name}: is of the job "{record.of_job}", and this is "{frame.job.job}"; give the right job file'
        )
    bent = [one for one in frame.parts if one.line.rows.count]
    names = list(dict.fromkeys(one.name for one in bent))
    wanted = part or record.part or (names[0] if len(names) == 1 else None)
    if wanted is None:
        raise InputError(f"{name}: part is missing; allowed: {', '.join(names) or 'none: no part of the job is bent'}")
    if wanted not in names:
        raise InputError(f"{'--part' if part else f'{name}: part'}: {not_among(wanted, names)}")
    own = [one for one in bent if one.name == wanted]
    side = hand or record.hand
    if len(own) == 1:
        if side is not None and own[0].hand == "single":
            raise InputError(f"{name}: found hand {side}, but {wanted} is a single part; take hand out")
        return own[0]
    if side is None:
        raise InputError(f"{name}: hand is missing; {wanted} is a pair: add hand: right or hand: left, or give --hand")
    return next(one for one in own if one.hand == side)


def _bent_so_far(rail: Rail, bent: int | None) -> Rail:
    """The part with what is not bent yet taken as planned."""
    if bent is None or bent == rail.columns.bends:
        return rail
    spread = rail.spread.copy()
    for field in FIELDS:
        spread[rail.columns.block(field)][bent:] = 0.0
    spread[rail.columns.tail] = 0.0
    return Rail(rail.reading, rail.working, rail.stretch, spread)


def _weights(frame: Frame, record: Record, part: RailPart, name: str) -> None:
    """See that weights are of places there are.

    Raises:
        InputError: one is not, or none is left above 0.
    """
    known = [one.name for one in targets(frame, part, {})]
    problems = [f"{name}: weights: {not_among(key, known)}" for key in record.weights if key not in known]
    problems += [
        f"{name}: weights {key}: found {weight:g}; allowed: 0 or more"
        for key, weight in record.weights.items()
        if weight < 0
    ]
    if problems:
        raise InputError(problems)


def _settings(record: Record, places: Mapping[Loc, str], count: int, name: str) -> None:
    """See that what the bender was set to is said of bends there are, and once of each.

    Raises:
        InputError: it is not.
    """
    problems, seen = [], dict[int, str]()
    for i, one in enumerate(record.set if isinstance(record.set, tuple) else ()):
        at = places.get(("set", i), name)
        if not 1 <= one.bend <= count:
            problems.append(f"{at}: set: found bend {one.bend}; allowed: 1 to {count}")
        elif one.bend in seen:
            problems.append(f"{at}: set: bend {one.bend} stands at {seen[one.bend]} already; take one of the two out")
        seen.setdefault(one.bend, at)
    if problems:
        raise InputError(problems)


def _other(
    frame: Frame, record: Record, rail: Rail, part: RailPart, at: Mapping[Loc, str], taken: Sequence[Measured]
) -> str | None:
    """Whether the record is of the other hand, or counted from the other end."""
    twin = next((one for one in frame.parts if one.name == part.name and one.hand != part.hand), part.mirrored())
    mirror = Rail(twin.read, rail.working, rail.stretch, rail.spread)
    mirrored, _ = twice(measured(record, twin.read, feet(frame, twin), at), _unsaid)
    turned = None
    if record.bent is None:
        counted = record.numbered_from or part.read.end
        try:
            other_end: End = "rear" if counted == "front" else "front"
            turned, _ = twice(measured(record, part.read, feet(frame, part), at, counted_from=other_end), _unsaid)
        except InputError:
            turned = None  # it counts what that end does not have
    return other_reading(rail, taken, turned, (mirror, mirrored), single=part.hand == "single")


def _unsaid(_one: Measured, _value: float) -> str:
    return ""


def say(frame: Frame, unit: str, value: float) -> str:
    """A value of a reading in words."""
    return f"{degrees(value):.2f} degrees" if unit == "angle" else frame.say(value)


def _odd(piece: Piece, slips: Slips) -> Iterator[Finding]:
    """Readings left out, values far off the plan, and what nothing tells of."""
    sifted, frame, part = piece.sifted, piece.frame, piece.part
    assert sifted is not None

    def finding(level: str, says: str) -> Finding:
        return Finding(rule=RULE, level=level, says=says, part=part.name, hand=part.hand)  # type: ignore[arg-type]

    for one, expected, sigma in sifted.dropped:
        slip = slips.name(one, expected, sigma) or "does not go with the rest"
        yield finding(
            "warn",
            f"{one.at}: {one.name} is {say(frame, one.unit, one.value)} and everything else says "
            f"{say(frame, one.unit, expected)}: it {slip}; it is left out: measure it again",
        )
    changed = sheet_has_changed(frame, part, piece.record, piece.bent)
    if changed:
        yield finding("warn", f"{piece.name}: {changed}")
    for column in sifted.off_plan:
        yield finding("warn", _off_plan(piece, column))
    unknown = [f"{one.kind} {one.number}" for one in piece.shape if one.learned == "not" and one.kind == "angle"]
    unknown += [f"{one.kind} {one.number}" for one in piece.shape if one.learned == "not" and one.kind == "straight"]
    if unknown:
        words = ", ".join(name.replace("angle", "the angle of bend") for name in unknown)
        yield finding(
            "note",
            f"{piece.name}: next to nothing in the record tells of {words}: the plan and the shop's spread stand for "
            f"it; measure {_next(piece)}",
        )


def _off_plan(piece: Piece, column: int) -> str:
    sifted, columns = piece.sifted, piece.rail.columns
    assert sifted is not None
    value, spread = float(sifted.solution.off[column]), float(piece.rail.spread[column])
    if column == columns.tail:
        name, unit = "the cut length", "length"
    else:
        field, bend = FIELDS[column // columns.bends], column % columns.bends + 1
        name = f"the {WORDS[field]} of bend {bend}"
        unit = "angle" if field in ("angle", "rotation", "roll") else "length"
    return (
        f"{piece.part.label}: {name} came out {say(piece.frame, unit, abs(value))} {'over' if value > 0 else 'under'} "
        f"plan, {abs(value) / spread:.0f} times what the shop's spread explains; look for a reason before correcting"
    )


def _next(piece: Piece) -> str:
    """What to measure to learn the most beside what was measured."""
    found = measure_next(piece, 1)
    return f"the {found[0].name}" if found else "them"


def measure_next(piece: Piece, count: int) -> tuple[Measured, ...]:
    """What to measure to learn the most beside what was measured, the most telling first, at its planned values.

    Args:
        piece: the piece.
        count: how many; fewer where there are fewer.
    """
    sifted = piece.sifted
    if sifted is None:
        return ()
    readings, spots = sifted.solution.readings, [one.spot for one in piece.targets]
    own = candidates(readings.rail, piece.bent)
    return choose(readings.rail, own, count, beside=readings.taken, spots=spots).measures
