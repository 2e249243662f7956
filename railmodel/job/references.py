"""What one place of a job says about another: names that must exist, names that must not stand twice."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from railmodel.job.fields import not_among
from railmodel.job.fit import joint_end
from railmodel.job.plate import part_face
from railmodel.job.problems import Problem
from railmodel.job.yaml_tree import Loc
from railmodel.units import quoted

_TUBES = ("parts", "crossmembers")
_BENDS: tuple[Loc, ...] = (("points", "*"), ("path", "*", "bend"), ("path", "*", "offset"), ("rows", "*"))


def find(data: Any, pattern: Sequence[str | int], loc: Loc = ()) -> Iterator[tuple[Loc, Any]]:
    """Every value at a place of plain data, where "*" stands for each entry; values of None are passed over."""
    if not pattern:
        if data is not None:
            yield loc, data
        return
    step, rest = pattern[0], pattern[1:]
    if isinstance(data, Mapping):
        entries = list(data.items()) if step == "*" else [(step, data[step])] if step in data else []
    elif isinstance(data, list):
        entries = list(enumerate(data)) if step == "*" else []
    else:
        entries = []
    for key, value in entries:
        yield from find(value, rest, (*loc, key))


def check_job(data: Mapping[str, Any], dies: Sequence[str] | None, *, has_shop: bool) -> list[Problem]:
    """Names in a job that lead nowhere or stand twice.

    Args:
        data: the plain data of the job file, valid or not.
        dies: names in the shop file; None where there is none, or it could not be read.
        has_shop: whether the job names a shop file.
    """
    hands = {
        _word(part["name"]): _hand(part) if section == "parts" else "single"
        for section in _TUBES
        for _, part in find(data, (section, "*"))
        if isinstance(part, Mapping) and _is_word(part.get("name"))
    }
    problems = [
        *_unknown(data, ("parts", "*", "tube"), _names(data, "tubes")),
        *_unknown(data, ("crossmembers", "*", "tube"), _names(data, "tubes")),
        *_unknown(data, ("fit_points", "*", "to", "part"), list(hands)),
        *_unknown(data, ("plumb", "*", "part"), list(hands)),
        *_unknown(data, ("keep_clear", "*", "motion"), _names(data, "motions")),
        *_twice(data, *_TUBES), *_twice(data, "fit_points"), *_twice(data, "keep_clear"), *_twice(data, "plates"),
        *_labels(data), *_rails(data, hands), *_joints(data, hands), *_faces(data, hands), *_gussets(data, hands),
    ]  # fmt: skip
    for loc, bend in _bends(data):
        problems.extend(_die(loc, bend, dies, has_shop))
    return problems


def _die(loc: Loc, bend: Any, dies: Sequence[str] | None, has_shop: bool) -> Iterator[Problem]:
    if isinstance(bend, Mapping):
        name, radius = bend.get("die"), bend.get("radius")
    else:  # a point that is only its place, or a row of a table file already read
        name, radius = getattr(bend, "die", None), getattr(bend, "radius", None)
    if _is_word(name) and dies is not None and _word(name) not in dies:
        yield Problem((*loc, "die"), not_among(_word(name), dies))
    elif not has_shop and radius is None:
        found = f"found {quoted(_word(name))}, but" if _is_word(name) else "found neither die nor radius, and"
        yield Problem((*loc, "die"), f"{found} the job names no shop file with dies; give a radius, or add shop:")


def _bends(data: Any) -> Iterator[tuple[Loc, Any]]:
    """Every bend written in the job; the first and the last point of a part are its ends."""
    for way in _BENDS:
        for loc, bend in find(data, ("parts", "*", *way)):
            if way[0] != "points":
                yield loc, bend
                continue
            place = loc[-1]  # a key where somebody wrote a mapping: the schema says so
            if isinstance(place, int) and 0 < place < len(data["parts"][loc[1]]["points"]) - 1:
                yield loc, bend


def _unknown(data: Any, pattern: Loc, allowed: Sequence[str], within: Loc = ()) -> Iterator[Problem]:
    for loc, value in find(data, pattern, within):
        if _is_word(value) and _word(value) not in allowed:
            yield Problem(loc, not_among(_word(value), allowed))


def _twice(data: Any, *sections: str) -> Iterator[Problem]:
    first: dict[str, Loc] = {}
    for loc, value in (found for section in sections for found in find(data, (section, "*", "name"))):
        if _is_word(value) and first.setdefault(_word(value), loc) != loc:
            said = "{}[{}]".format(*first[_word(value)])
            yield Problem(loc, f"found {quoted(_word(value))}, the name of {said} as well; give each its own name")


def _labels(data: Any) -> Iterator[Problem]:
    """A single part may not bear the name of one hand of a pair: sheets and files could not tell them apart."""
    parts = [(loc, part) for loc, part in find(data, ("parts", "*")) if isinstance(part, Mapping)]
    pairs = {_word(part.get("name")) for _, part in parts if part.get("hand") == "pair"}
    for loc, part in parts:
        name = _word(part.get("name"))
        stem, _, hand = name.rpartition(" ")
        if hand in {"left", "right"} and stem in pairs:
            yield Problem((*loc, "name"), f"found {quoted(name)}, also a hand of the pair {quoted(stem)}; rename one")


def _rails(data: Any, hands: Mapping[str, str]) -> Iterator[Problem]:
    """A crossmember runs between the two hands of one pair, or between two tubes that are named with their hands."""
    pairs = [name for name, hand in hands.items() if hand == "pair"]
    labels = [f"{name} {hand}" for name in pairs for hand in ("right", "left")]
    labels += [name for name, hand in hands.items() if hand == "single"]
    for loc, between in find(data, ("crossmembers", "*", "between")):
        if isinstance(between, list) and "" not in hands.values():
            yield from _unknown(between, ("*",), pairs if len(between) == 1 else labels, loc)


def _joints(data: Any, hands: Mapping[str, str]) -> Iterator[Problem]:
    for loc, between in find(data, ("joints", "*", "between")):
        ends: list[Any] = []
        for place, value in find(between, ("*",), loc):
            end = end_of(value, hands)
            if end is None:
                continue
            ends.append(end)
            if end["part"] not in hands:
                at = (*place, "part") if isinstance(value, Mapping) else place
                yield Problem(at, not_among(end["part"], list(hands)))
            elif end["hand"] in ("left", "right") and hands[end["part"]] == "single":
                said = f"found hand {end['hand']}, but {quoted(end['part'])} is single; take the hand out"
                yield Problem(place, said)
        if len(ends) == 2 and all(hands.get(end["part"]) for end in ends):
            open_pairs = [end["hand"] is None and hands[end["part"]] == "pair" for end in ends]
            if any(open_pairs) and not all(open_pairs):
                name = ends[open_pairs.index(True)]["part"]
                yield Problem(loc, f"found {quoted(name)} without a hand; say which, such as {name} right.rear")


def end_of(value: Any, hands: Mapping[str, str]) -> dict[str, Any] | None:
    """A joint's end as part, hand and end, knowing which parts there are; None when it is not one.

    A single part whose own name ends in left or right keeps its name.
    """
    try:
        end = joint_end(value)
    except ValueError:
        return None
    if not isinstance(end, Mapping) or not _is_word(end.get("part")):
        return None
    part, hand = _word(end["part"]), end.get("hand")
    if part not in hands and hand and f"{part} {hand}" in hands:
        part, hand = f"{part} {hand}", None
    return {"part": part, "hand": hand, "end": end.get("end")}


def _faces(data: Any, hands: Mapping[str, str]) -> Iterator[Problem]:
    """A single part belongs to no side: its faces are top, bottom, left and right."""
    named: list[tuple[Loc, Any, Any]] = []
    for loc, to in find(data, ("fit_points", "*", "to")):
        if isinstance(to, Mapping):
            named.append(((*loc, "face"), to.get("face"), hands.get(_word(to.get("part")), "pair")))
    for loc, part in find(data, ("parts", "*")):
        if isinstance(part, Mapping):
            for way in (("seam",), *((*way, "toward") for way in _BENDS)):
                named += [(place, face, _hand(part)) for place, face in find(part, way, loc)]
    for loc, face, hand in named:
        if hand == "single" and face in ("inboard", "outboard"):
            yield Problem(loc, f"found {quoted(face)} on a single part; allowed: top, bottom, left, right")


def _gussets(data: Any, hands: Mapping[str, str]) -> Iterator[Problem]:
    """A gusset stands on parts there are; a pair's name counts for both hands, with its hand for one."""
    pairs = [name for name, kind in hands.items() if kind == "pair"]
    known = [*hands, *(f"{name} {hand}" for name in pairs for hand in ("left", "right"))]
    for loc, between in find(data, ("plates", "*", "gusset", "between")):
        for place, value in find(between, ("*",), loc):
            try:
                named = part_face(value)
            except ValueError:
                continue  # a problem of its own
            if isinstance(named, Mapping) and _is_word(named.get("part")) and _word(named["part"]) not in known:
                yield Problem(place, not_among(_word(named["part"]), known))


def _names(data: Mapping[str, Any], section: str) -> list[str]:
    entries = data.get(section)
    return list(entries) if isinstance(entries, Mapping) else []


def _hand(part: Mapping[str, Any]) -> str:
    """Pair or single; "" where the job says something else, which is a problem of its own."""
    hand = part.get("hand", "single")
    return hand if hand in ("pair", "single") else ""


def _is_word(value: Any) -> bool:
    return isinstance(value, str | int | float) and not isinstance(value, bool)


def _word(value: Any) -> str:
    return str(getattr(value, "raw", value)).strip()
