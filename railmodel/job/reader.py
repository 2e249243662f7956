"""Reading a job and the shop file it names: everything that is wrong with them at once, each with its place."""

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from railmodel.errors import InputError
from railmodel.job.fit import JointEnd
from railmodel.job.parts import Row
from railmodel.job.problems import Problem, from_validation, raise_problems
from railmodel.job.references import check_job, find
from railmodel.job.schema import Job
from railmodel.job.shop import Shop
from railmodel.job.source import beside, printable, read_bytes
from railmodel.job.table_file import contradictions, read_table
from railmodel.job.yaml_tree import MAX_BYTES, Loc, Tree, read_tree
from railmodel.part import Hand
from railmodel.units import Unit

_Model = TypeVar("_Model", bound=BaseModel)


@dataclass(frozen=True, slots=True)
class _Filled:
    """What a bend table file gave a part."""

    path: Path
    rows: tuple[Row, ...]
    tail: float


@dataclass(frozen=True, kw_only=True)
class JobFile:
    """A job as read, with the shop it names.

    Args:
        path: of the job file.
        job: what it holds.
        shop: what the shop file holds; None where the job names none.
        shop_path: of the shop file.
        digest: SHA-256 of the job file's bytes, in hexadecimal.
        tree: the job file's text and the places in it.
        tables: bend table files read in, by part name.
    """

    path: Path
    job: Job
    shop: Shop | None
    shop_path: Path | None
    digest: str
    tree: Tree
    tables: Mapping[str, Path]

    @property
    def text(self) -> str:
        """The job file's text."""
        return self.tree.text

    def where(self, *loc: str | int) -> str:
        """File, line and column of a value: `where("parts", 0, "points", 2)` is "hauler.yaml:14:9"."""
        line, column = self.tree.place(loc)
        return f"{self.path.name}:{line}:{column}"

    def resolve(self, text: str) -> Path:
        """The path of a file that the job names, such as a mesh."""
        return beside(self.path.parent, text)


def read_job(path: Path) -> JobFile:
    """Read a job file, the shop file and the tables it names, and check them together.

    Raises:
        InputError: anything that cannot be read or is not valid, one sentence each, in the order of the file.
    """
    return job_from(read_bytes(path, MAX_BYTES), path)


def job_from(data: bytes, path: Path) -> JobFile:
    """A job from bytes that need not be saved yet; see `read_job`.

    Args:
        data: the job file's bytes.
        path: where the file is or will be; the files it names are found from there.

    Raises:
        InputError: anything that is not valid.
    """
    return job_of_tree(read_tree(data, printable(path.name)), path, hashlib.sha256(data).hexdigest())


def job_of_tree(tree: Tree, path: Path, digest: str) -> JobFile:
    """A job from a file's values and their places; see `job_from`.

    Args:
        tree: the file as read.
        path: where the file is or will be.
        digest: SHA-256 of its bytes, in hexadecimal.

    Raises:
        InputError: anything that is not valid.
    """
    raw = _mapping(tree, "job")
    problems: list[Problem] = []
    others: list[str] = []
    shop, shop_path = _shop_of(path, raw, problems, others)
    filled, tables = _with_tables(path, raw, problems)
    job = _validated(Job, filled, problems)
    dies = None if shop is None else list(shop.dies)
    problems += check_job(filled, dies, has_shop=raw.get("shop") is not None)
    problems += _missing_meshes(path, raw)
    if job is not None:
        problems += _row_problems(job)
    raise_problems(tree, problems, others)
    assert job is not None  # raise_problems has raised otherwise
    return JobFile(
        path=path,
        job=_finished(job, tables),
        shop=shop,
        shop_path=shop_path,
        digest=digest,
        tree=tree,
        tables={job.parts[index].name: table.path for index, table in tables.items()},
    )


def read_shop(path: Path) -> Shop:
    """Read a shop file.

    Raises:
        InputError: it cannot be read or is not valid.
    """
    return shop_from(read_bytes(path, MAX_BYTES), printable(path.name))


@lru_cache(maxsize=4)
def shop_from(data: bytes, name: str) -> Shop:
    """A shop file from bytes; see `read_shop`.

    Args:
        data: its bytes.
        name: how messages call it.

    Raises:
        InputError: it is not valid.
    """
    tree = read_tree(data, name)
    problems: list[Problem] = []
    shop = _validated(Shop, _mapping(tree, "shop"), problems)
    raise_problems(tree, problems)
    assert shop is not None  # raise_problems has raised otherwise
    return shop


def _mapping(tree: Tree, kind: str) -> dict[str, Any]:
    data = tree.root.data
    if not isinstance(data, dict):
        found = "a list" if isinstance(data, list) else "a single value"
        raise InputError(f"{tree.name}:1:1: found {found}; allowed: keys with values, starting with {kind}:")
    return data


def _units(data: Mapping[str, Any]) -> Unit:
    return "mm" if data.get("units") == "mm" else "in"


def _validated(model: type[_Model], data: Mapping[str, Any], problems: list[Problem]) -> _Model | None:
    try:
        return model.model_validate(data, context={"units": _units(data)})
    except ValidationError as error:
        problems += from_validation(error, model)
        return None


def _shop_of(
    path: Path, raw: Mapping[str, Any], problems: list[Problem], others: list[str]
) -> tuple[Shop | None, Path | None]:
    named = getattr(raw.get("shop"), "raw", raw.get("shop"))  # a name that reads as a number is a name all the same
    if not isinstance(named, str) or not named.isprintable() or not 1 <= len(named) <= 1000:
        return None, None  # left out, or a problem of the job's own
    shop_path = path.parent / named
    try:
        data = read_bytes(shop_path, MAX_BYTES, named)
    except InputError as error:
        problems.append(Problem(("shop",), error.problems[0]))
        return None, None
    try:
        return shop_from(data, named), shop_path
    except InputError as error:
        others += error.problems
        return None, None


def _with_tables(
    path: Path, raw: Mapping[str, Any], problems: list[Problem]
) -> tuple[dict[str, Any], dict[int, _Filled]]:
    """The job's data with every `rows: {file: ...}` replaced by the rows of that table, and their tails."""
    filled, tables = dict(raw), dict[int, _Filled]()
    parts = raw.get("parts")
    if not isinstance(parts, list):
        return filled, tables
    filled["parts"] = parts = list(parts)
    for loc, named in find(raw, ("parts", "*", "rows", "file")):
        index = int(loc[1])
        part = {**parts[index], "rows": []}
        try:
            tables[index] = table = _table(path, named, parts[index])
            part["rows"] = list(table.rows)
        except InputError as error:
            problems += [Problem(loc, line) for line in error.problems]
        except ValueError as error:
            problems.append(Problem(loc, str(error)))
        parts[index] = part
    return filled, tables


def _table(path: Path, named: Any, part: Mapping[str, Any]) -> _Filled:
    if not isinstance(named, str) or len(part["rows"]) != 1:
        raise ValueError("found other keys or no name; allowed: rows: {file: name of a bend table file}")
    if part.get("tail") is not None:
        raise ValueError("found a tail beside rows: {file: ...}; the table file holds the tail; take it out here")
    start = part.get("start")
    heading = start.get("heading") if isinstance(start, Mapping) else None
    forward = isinstance(heading, list) and heading[:1] != [] and isinstance(heading[0], float | int) and heading[0] < 0
    table_path = beside(path.parent, named)
    rows, tail = read_table(table_path, named).for_part(pair=part.get("hand") == "pair", forward=forward)
    return _Filled(table_path, rows, tail)


def _missing_meshes(path: Path, raw: Mapping[str, Any]) -> list[Problem]:
    problems = []
    for loc, named in find(raw, ("keep_clear", "*", "shape", "mesh")):
        if not isinstance(named, str) or not named.isprintable():
            continue
        try:
            target = beside(path.parent, named)
            if not target.is_file():
                problems.append(Problem(loc, f"found {named}, which is not a file; check the name"))
        except (OSError, ValueError) as error:
            problems.append(Problem(loc, str(error)))
    return problems


def _row_problems(job: Job) -> list[Problem]:
    """Rows whose number, face or way contradicts the rest of the job."""
    problems = []
    for i, part in enumerate(job.parts):
        rows, tube = part.rows or (), job.tubes.get(part.tube)
        loc: Loc = ("parts", i)
        forward = part.start is not None and part.start.heading[0] < 0
        hand: Hand = "single" if part.hand == "single" else "right"
        said_of_faces = contradictions(
            [row.rotation for row in rows], [row.toward for row in rows], hand, forward=forward, rear=False
        )
        problems += [Problem((*loc, "rows", k, "toward"), said) for k, said in said_of_faces]
        for k, row in enumerate(rows):
            if row.bend not in {None, k + 1}:
                said = f"found {row.bend}; allowed: {k + 1}; rows stand in order from the front end"
                problems.append(Problem((*loc, "rows", k, "bend"), said))
            if row.way and row.toward and tube:
                deep = tube.section.height if row.toward in {"top", "bottom"} else tube.section.width
                way = "hard" if deep == max(tube.section.height, tube.section.width) else "easy"
                if way != row.way:
                    said = f'found "{row.way}", but toward {row.toward} is the {way} way of this tube; correct one'
                    problems.append(Problem((*loc, "rows", k, "way"), said))
    return problems


def _finished(job: Job, tables: Mapping[int, _Filled]) -> Job:
    """The job with the tails of its tables, and with joint ends whose part's own name ends in left or right whole."""
    names = {part.name for part in job.parts}

    def whole(end: JointEnd) -> JointEnd:
        name = f"{end.part} {end.hand}"
        if end.part in names or name not in names:
            return end
        return end.model_copy(update={"part": name, "hand": None})

    joints = tuple(
        joint.model_copy(update={"between": tuple(whole(end) for end in joint.between)}) for joint in job.joints
    )
    parts = tuple(
        part.model_copy(update={"tail": tables[i].tail}) if i in tables else part for i, part in enumerate(job.parts)
    )
    return job.model_copy(update={"joints": joints, "parts": parts})
