"""The fingerprint of a job: paper, page and files that carry the same one were made from the same numbers.

It is taken over what the job and the shop say, in millimetres and radians, never over the bytes of their files, so
comments, the order of keys, how a length is written and where the files lie do not change it. Of the shop only what
this job's work rests on counts: the bender, the dies that its parts are bent on, their test bends, and the sticks of
its tubes.
"""

import hashlib
import json
from dataclasses import asdict
from functools import lru_cache
from typing import Any

from railmodel.bending.names import key
from railmodel.bending.work import shop_work
from railmodel.frame import Frame
from railmodel.job.fields import Model

VERSION = 1
"""Goes up when the same job would get another fingerprint."""

SHOWN = 12
"""Hexadecimal digits of the short form."""

_NOT_ON_THE_PART = {"customer", "address", "note", "shop", "angles_to", "loads"}
_NOT_IN_THE_FIT = {"date", "note", "line"}


@lru_cache(maxsize=8)
def fingerprint(frame: Frame) -> str:
    """SHA-256 over the job's shape and what its work is planned from, 64 hexadecimal digits."""
    data = {"fingerprint": VERSION, "job": _job(frame), "shop": _shop(frame), "dies": _dies(frame)}
    text = json.dumps(_plain(data), sort_keys=True, separators=(",", ":"), allow_nan=False)
    return hashlib.sha256(text.encode("ascii")).hexdigest()


def short(whole: str) -> str:
    """The first digits of a fingerprint, as papers print it."""
    return whole[:SHOWN]


def _job(frame: Frame) -> dict[str, Any]:
    """The job with what stands in files of its own: bend tables are rows already, meshes stand for their bytes."""
    data = frame.job.model_dump(mode="json", by_alias=True, exclude_defaults=True, exclude=_NOT_ON_THE_PART)
    data["parts"] = _settled(data["parts"])
    for written in data.get("keep_clear", ()):
        if "mesh" in written["shape"]:
            content = frame.source.resolve(written["shape"]["mesh"]).read_bytes()
            written["shape"]["mesh"] = hashlib.sha256(content).hexdigest()
    return data


def _shop(frame: Frame) -> dict[str, Any] | None:
    shop = frame.shop
    if shop is None:
        return None
    data: dict[str, Any] = shop.model_dump(
        mode="json", by_alias=True, exclude_defaults=True, include={"bender", "roll_within", "tape_step"}
    )
    tubes = {part.tube for part in frame.parts}
    used = {name for name, _ in _tools(frame)}
    bent = {(key(name), key(tube)) for name, tube in _tools(frame) if name is not None}
    data["stock"] = [_given(stock) for stock in shop.stock if stock.tube in tubes]
    data["dies"] = {name: _given(die) for name, die in shop.dies.items() if name in used}
    data["test_bends"] = [
        {name: value for name, value in asdict(bend).items() if name not in _NOT_IN_THE_FIT}
        for bend in shop_work(frame).log.bends
        if (key(bend.die), key(bend.tube)) in bent
    ]
    return data


def _dies(frame: Frame) -> list[list[str | None]]:
    """The die of every bend of every part, those that the program chose among them."""
    return [list(part.dies) for part in frame.parts]


def _tools(frame: Frame) -> list[tuple[str | None, str]]:
    return [(tool.name, tool.tube) for tool in shop_work(frame).tools]


def _settled(value: Any) -> Any:
    """Parts without what the solver may make of them: as they stand is how they are made."""
    if isinstance(value, dict):
        return {name: _settled(item) for name, item in value.items() if name != "free"}
    return [_settled(item) for item in value] if isinstance(value, list) else value


def _given(model: Model) -> dict[str, Any]:
    """What a file says beyond what counts when nothing is said."""
    return model.model_dump(mode="json", by_alias=True, exclude_defaults=True)


def _plain(value: Any) -> Any:
    """The same data with every number that is not a count as a float, and no negative nought."""
    if isinstance(value, dict):
        return {name: _plain(item) for name, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    return value + 0.0 if isinstance(value, float) else value
