"""Dies that a job leaves open: the solver tries the shop's dies for a size and way from the largest radius down.

That is the order in which `railmodel.dies.choose_dies` takes them, so that a shape found on a die that has room is
mostly read back with the same die; where it is not, the die is named in the job.
"""

from collections.abc import Collection
from dataclasses import replace
from typing import Any

from railmodel.dies import takes
from railmodel.frame import Frame
from railmodel.job.edit import yaml_text
from railmodel.job.parts import Part
from railmodel.job.reader import JobFile
from railmodel.job.yaml_tree import Loc
from railmodel.part import RailPart, way_at


def level_count(frame: Frame, parts: Collection[int]) -> int:
    """How many choices there are for the parts (numbers) of a job; 1 where nothing is open."""
    return max([len(names) for part in parts for names in _open(frame, part).values()], default=1)


def open_parts(frame: Frame, parts: Collection[int]) -> list[int]:
    """Those of some parts (numbers) whose dies the job leaves open."""
    return [part for part in parts if _open(frame, part)]


def at_level(frame: Frame, parts: Collection[int], level: int, shape: Frame) -> JobFile:
    """The frame's job with a die named at every open bend of some parts: the largest at level 0, then smaller ones.

    The way of each bend is taken from `shape`, another frame of the job with other values where values are free.
    """
    source = frame.source
    changed = list(source.job.parts)
    for index in parts:
        names = {bend: found[min(level, len(found) - 1)] for bend, found in _open(shape, index).items()}
        changed[index] = _named(changed[index], names)
    return replace(source, job=source.job.model_copy(update={"parts": tuple(changed)}))


def naming(source: JobFile, frame: Frame, parts: Collection[int]) -> dict[Loc, str]:
    """What is to be written so that a job names the dies that a frame of it has at bends left open."""
    found: dict[Loc, str] = {}
    for index in parts:
        part, real = source.job.parts[index], _real(frame, index)
        places = _places(part)
        for bend, given in enumerate(_bends(part)):
            die = real.dies[bend] if real is not None and real.dies else None
            if given.die is not None or given.radius is not None or die is None:
                continue
            loc: Loc = ("parts", index, *places[bend])
            node, _ = source.tree.node(loc)
            if isinstance(node.data, list):  # a point that is only its place
                found[loc] = f"{{at: {source.text[node.start : node.end]}, die: {yaml_text(die)}}}"
            else:
                found[*loc, "die"] = yaml_text(die)
    return found


def same_dies(one: Frame, other: Frame, parts: Collection[int]) -> bool:
    """Whether some parts (numbers) are made with the same dies in two frames of one job."""
    for index in parts:
        first, second = _real(one, index), _real(other, index)
        if first is None or second is None or first.dies != second.dies:
            return False
    return True


def same_ways(one: Frame, other: Frame, parts: Collection[int]) -> bool:
    """Whether the open bends of some parts (numbers) go the same way in two frames of one job."""
    return all(_open(one, index) == _open(other, index) for index in parts)


def _open(frame: Frame, index: int) -> dict[int, list[str]]:
    """The bends of a part (counted from its front) that name neither die nor radius, and the dies that fit them."""
    part, shop = _real(frame, index), frame.shop
    if part is None or shop is None:
        return {}
    found = {}
    for bend, given in enumerate(_bends(frame.job.parts[index])):
        if given.die is not None or given.radius is not None:
            continue
        way = way_at(part.section, float(part.line.rows.roll[bend]))
        fitting = [(die.radius, name) for name, die in shop.dies.items() if takes(die, part.section, way)]
        if fitting:
            found[bend] = [name for _, name in sorted(fitting, key=lambda item: -item[0])]
    return found


def _bends(part: Part) -> list[Any]:
    """Whatever names the tooling of each bend, from the front; an offset stands twice."""
    if part.points is not None:
        return list(part.points[1:-1])
    if part.rows is not None:
        return list(part.rows)
    steps = part.path or ()
    return [turn for step in steps for turn in (step.bend, step.offset, step.offset) if turn is not None]


def _places(part: Part) -> list[Loc]:
    """Where each of `_bends` stands in its part."""
    if part.points is not None:
        return [("points", k + 1) for k in range(len(part.points) - 2)]
    if part.rows is not None:
        return [("rows", k) for k in range(len(part.rows))]
    found: list[Loc] = []
    for k, step in enumerate(part.path or ()):
        found += [("path", k, "bend")] if step.bend is not None else []
        found += [("path", k, "offset")] * 2 if step.offset is not None else []
    return found


def _named(part: Part, names: dict[int, str]) -> Part:
    """The part with dies named at some of its bends."""
    if not names:
        return part
    if part.points is not None:
        points = list(part.points)
        for bend, name in names.items():
            points[bend + 1] = points[bend + 1].model_copy(update={"die": name})
        return part.model_copy(update={"points": tuple(points)})
    if part.rows is not None:
        rows = list(part.rows)
        for bend, name in names.items():
            rows[bend] = rows[bend].model_copy(update={"die": name})
        return part.model_copy(update={"rows": tuple(rows)})
    steps, bend = [], 0
    for step in part.path or ():
        key = "bend" if step.bend is not None else "offset" if step.offset is not None else None
        if key is not None and bend in names:
            turn = getattr(step, key).model_copy(update={"die": names[bend]})
            step = step.model_copy(update={key: turn})
        bend += {"bend": 1, "offset": 2, None: 0}[key]
        steps.append(step)
    return part.model_copy(update={"path": tuple(steps)})


def _real(frame: Frame, index: int) -> RailPart | None:
    name = frame.job.parts[index].name
    return next((part for part in frame.parts if part.name == name and part.hand != "left"), None)
