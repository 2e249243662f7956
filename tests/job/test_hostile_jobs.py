"""Files made to do harm, and jobs with a slip in them: an InputError in plain sentences, never anything else."""

import copy
import json
import os
import random
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from railmodel.errors import InputError
from railmodel.frame import build_frame
from railmodel.job.reader import job_from, read_job, read_shop
from railmodel.job.yaml_tree import read_tree


def refused(path: Path) -> str:
    with pytest.raises(InputError) as caught:
        read_job(path)
    (said,) = caught.value.problems
    return said


def test_a_path_that_is_no_ordinary_file_is_refused(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.yaml")
    for path, reason in (
        (tmp_path / "missing.yaml", "cannot be read (no such file or directory); check the name"),
        (tmp_path, "found a folder; allowed: an ordinary file; check the name"),
        (tmp_path / "pipe.yaml", "found a device or pipe; allowed: an ordinary file; check the name"),
        (Path(os.devnull), "found a device or pipe"),
        (Path("/dev/zero"), "found a device or pipe"),
        (tmp_path / ("n" * 300), "cannot be read (file name too long)"),
        (Path("nul\0l.yaml"), "cannot be read (embedded null byte)"),
    ):
        assert reason in refused(path)


def test_a_link_that_leads_in_a_circle_is_refused(tmp_path: Path) -> None:
    (tmp_path / "a.yaml").symlink_to(tmp_path / "b.yaml")
    (tmp_path / "b.yaml").symlink_to(tmp_path / "a.yaml")
    assert "cannot be read (too many levels of symbolic links)" in refused(tmp_path / "a.yaml")


def test_a_huge_sparse_file_is_refused_unread(tmp_path: Path) -> None:
    path = tmp_path / "big.yaml"
    with path.open("wb") as stream:
        stream.truncate(100_000_000)
    assert "found 100,000,000 bytes; allowed: up to 1,000,000" in refused(path)


def test_a_shop_path_may_be_anywhere_but_must_be_a_file(
    write: Callable[..., Path], job_text: str, shop_text: str
) -> None:
    path = write(job_text.replace("shop: shop.yaml", "shop: ../elsewhere.yaml"))
    elsewhere = path.parent.parent / "elsewhere.yaml"
    elsewhere.write_text(shop_text)
    assert read_job(path).shop is not None
    path = write(job_text.replace("shop: shop.yaml", "shop: /dev/zero"))
    assert "shop: /dev/zero: found a device or pipe" in refused(path)


MESH = "{sphere: {at: [40, 0, 20], diameter: 6}}"


def test_meshes_stay_under_the_jobs_folder_or_are_given_whole(write: Callable[..., Path], job_text: str) -> None:
    path = write()
    outside = path.parent.parent / "engine.stl"
    outside.write_bytes(b"")
    inside = path.parent / "meshes"
    inside.mkdir()
    (inside / "engine.stl").write_bytes(b"")
    (inside / "link.stl").symlink_to(outside)
    for mesh in ("meshes/engine.stl", str(outside)):
        source = read_job(write(job_text.replace(MESH, f"{{mesh: {mesh}, units: mm}}")))
        assert source.resolve(mesh).is_file()
    for mesh in ("../engine.stl", "meshes/../../engine.stl", "meshes/link.stl", "..\\engine.stl"):
        said = refused(write(job_text.replace(MESH, f"{{mesh: '{mesh}', units: mm}}")))
        assert "which leads out of the job's folder; allowed: a file in that folder or under it, or a full path" in said


def test_a_job_that_is_a_list_or_a_word_is_refused(write: Callable[..., Path]) -> None:
    assert refused(write("- job\n")).startswith("hauler.yaml:1:1: found a list; allowed: keys with values, starting")
    assert refused(write("job\n")).startswith("hauler.yaml:1:1: found a single value")


def test_a_shop_file_given_as_the_job_says_what_is_missing(write: Callable[..., Path], shop_text: str) -> None:
    with pytest.raises(InputError, match="job is missing; it is required"):
        read_job(write(shop_text))
    with pytest.raises(InputError, match=r"shop\.yaml: cannot be read"):
        read_shop(Path("no such folder") / "shop.yaml")


ODD: tuple[Any, ...] = (
    None, True, 0, -1, 1e300, 1e-300, 2**70, "", " ", "x", "hard 7", "left", "a.rear", "../x", "side rail", "1/0",
    [], [[]], {}, {"file": 1}, {"file": "hauler.yaml"}, {"at": None}, {"die": []}, [1, 2, 3], [None] * 3,
    {"straight": 1}, "right.rear", {"from": 1, "to": 0}, {"part": "side rail", "end": "rear"}, {"mesh": "."},
    {"x" * 300: 1}, "\u202e" * 3, [0] * 3,
)  # fmt: skip


def places(data: Any, loc: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    entries = data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else ()
    return [loc, *(place for key, value in entries for place in places(value, (*loc, key)))]


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(dice=st.randoms(use_true_random=False), shop=st.booleans())
def test_a_value_of_another_kind_anywhere_is_a_job_or_an_input_error(
    write: Callable[..., Path], job_text: str, shop_text: str, dice: random.Random, shop: bool
) -> None:
    text = shop_text if shop else job_text
    data = json.loads(json.dumps(read_tree(text.encode(), "f").root.data))
    for _ in range(dice.choice([1, 1, 3])):
        loc = dice.choice([place for place in places(data) if place])
        around = data
        for step in loc[:-1]:
            around = around[step]
        around[loc[-1]] = copy.deepcopy(dice.choice(ODD))
    lines = "\n".join(f"{key}: {json.dumps(value)}" for key, value in data.items())
    path = write(job_text, lines) if shop else write(lines)
    said: tuple[str, ...] = ()
    try:
        build_frame(read_job(path))
    except InputError as error:
        said = error.problems
    assert all(line.isprintable() and 10 < len(line) < 1200 for line in said)


def slipped(text: bytes, dice: random.Random) -> bytes:
    """A file with a few slips: signs put in, a stretch taken out, a stretch doubled, a byte changed."""
    signs = b"{ } [ ] : - ' \" &a *a !!int --- \t | > ? # \\U00110000 \xff \x00 1e400 .nan .inf null true".split(b" ")
    made = bytearray(text)
    for _ in range(dice.choice([1, 1, 2, 4])):
        at, way = dice.randrange(len(made)), dice.random()
        if way < 0.4:
            made[at:at] = dice.choice(signs)
        elif way < 0.6:
            del made[at : at + dice.choice([1, 2, 10, 60])]
        elif way < 0.8:
            made[at:at] = made[dice.randrange(len(made)) :][: dice.choice([3, 20, 80])]
        else:
            made[at] = dice.randrange(256)
    return bytes(made)


@settings(max_examples=300, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(dice=st.randoms(use_true_random=False))
def test_a_job_with_slips_is_a_job_or_an_input_error(
    write: Callable[..., Path], job_text: str, dice: random.Random
) -> None:
    path = write()
    said: tuple[str, ...] = ()
    try:
        build_frame(job_from(slipped(job_text.encode(), dice), path))
    except InputError as error:
        said = error.problems
    assert all(line.isprintable() and 10 < len(line) < 900 for line in said)
