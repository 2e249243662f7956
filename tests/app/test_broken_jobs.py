"""Jobs with slips and jobs out of all measure: a result, or clear sentences; never another exception."""

import copy
import json
import os
import re
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from commands import DEMOS
from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st
from ruamel.yaml import YAML

from exporters.bend_table import as_csv, as_json, table_of
from railmodel.app.answers import check_answer, finding_answer, rolls
from railmodel.app.finding_lines import finding_lines
from railmodel.checks import Check, all_checks, run_checks
from railmodel.errors import InputError
from railmodel.findings import Finding
from railmodel.frame import Frame, build_frame
from railmodel.job.reader import read_job

IN_CI = os.environ.get("CI") == "true"
CHECKS = all_checks()
QUICK = tuple(check for check in CHECKS if check.__module__ in ("railmodel.shape_checks", "railmodel.bending.limits"))
"""Checks that cost milliseconds."""

many = settings(
    max_examples=2000 if IN_CI else 60,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow, HealthCheck.data_too_large],
)
few = settings(many, max_examples=100 if IN_CI else 5)


def plain(path: Path) -> Any:
    """A YAML file as plain lists and mappings."""
    return json.loads(json.dumps(YAML(typ="safe", pure=True).load(path), default=str))


JOBS = [plain(path) for path in sorted(DEMOS.glob("*/*.yaml"))]
SHOP = plain(DEMOS / "shop.yaml")
ODD: list[Any] = [
    None, True, 0, -1, 1e-300, -1e-9, 1e-6, 0.1, 3, 89.999999, 90, 179.9999999, 180, 360, 1e6, 1e15, 1e300, 10**30,
    float("nan"), float("inf"), "", " ", "x", "top", "left", "inboard", "hard 7", "easy 5", "main", "side rail", "1/0",
    "3 1/2", '3\' 6"', "-4 1/2 in", "1e5", "\x00", "\u202e", "a\nb", "é" * 300, "=1+1", "../../x", [], {}, [1],
    [0, 0, 0], [1e-9, 0, 0], [1, 2, 3, 4], {"at": [0, 0, 0]}, {"radius": 7}, {"die": "hard 7"}, {"straight": 4},
]  # fmt: skip


def places(data: Any) -> Iterator[tuple[Any, Any]]:
    """Every list or mapping of plain data with each of its indexes or keys."""
    for key in list(data) if isinstance(data, dict) else range(len(data)):
        yield data, key
        if isinstance(data[key], dict | list):
            yield from places(data[key])


def deep(value: Any, depth: int) -> Any:
    for _ in range(depth):
        value = [value]
    return value


def slip(draw: st.DrawFn, data: Any) -> None:
    """Change one thing somewhere in plain data."""
    where = list(places(data))
    holder, key = where[draw(st.integers(0, len(where) - 1))]
    value = holder[key]
    kind = draw(st.sampled_from(
        ["odd", "odd", "delete", "twice", "scale", "scale", "shift", "other", "typo", "more", "deep", "swap"]
    ))  # fmt: skip
    if kind == "delete":
        del holder[key]
    elif kind == "twice" and isinstance(holder, list):
        holder.insert(key, copy.deepcopy(value))
    elif kind in ("scale", "shift") and isinstance(value, int | float) and not isinstance(value, bool):
        by = draw(st.sampled_from([-1, 0, 1e-3, 0.5, 2, 10, 1e3]))
        holder[key] = value * by if kind == "scale" else value + by
    elif kind == "other":
        donor, other = where[draw(st.integers(0, len(where) - 1))]
        if other in donor if isinstance(donor, dict) else other < len(donor):
            holder[key] = copy.deepcopy(donor[other])
    elif kind == "typo" and isinstance(holder, dict):
        holder[f"{key}s"] = holder.pop(key)
    elif kind == "more" and isinstance(holder, dict):
        holder[draw(st.sampled_from(["radius", "die", "hand", "top", "start", "tail", "points_at", "leading_end"]))] = (
            draw(st.sampled_from(ODD))
        )
    elif kind == "deep":
        holder[key] = deep(value, draw(st.sampled_from([1, 2, 60])))
    elif kind == "swap" and isinstance(holder, list):
        holder.append(holder.pop(key))
    else:
        holder[key] = copy.deepcopy(draw(st.sampled_from(ODD)))


@st.composite
def broken_jobs(draw: st.DrawFn) -> tuple[Any, Any]:
    """A demo job with one to three of its parts, and the demo shop, with up to four slips in them."""
    job, shop = copy.deepcopy(draw(st.sampled_from(JOBS))), copy.deepcopy(SHOP)
    first = draw(st.integers(0, len(job["parts"]) - 1))
    job["parts"] = job["parts"][first : first + draw(st.integers(1, 3))]
    job["shop"] = "shop.yaml"
    for _ in range(draw(st.integers(0, 3))):
        slip(draw, job)
    if draw(st.integers(0, 3)) == 0:
        slip(draw, shop)
    return job, shop


WORDS = {"NaN": ".nan", "Infinity": ".inf"}


def as_yaml(data: Any) -> str:
    """JSON, which YAML reads, but for the words it has for numbers that are none."""
    text = json.dumps(data, ensure_ascii=False)
    return re.sub(r"(?<=[,:] )(-?)(NaN|Infinity)\b", lambda found: f"{found[1]}{WORDS[found[2]]}", text)


def write(folder: Path, job: Any, shop: Any) -> Path:
    (folder / "shop.yaml").write_text(as_yaml(shop))
    path = folder / "job.yaml"
    path.write_text(as_yaml(job))
    shutil.copy(DEMOS / "test_bends.csv", folder)
    return path


def answers(path: Path, checks: tuple[Check, ...]) -> list[Finding] | None:
    """All that is said of a job without drawing it: findings, answers, tables; None when it is refused."""
    try:
        frame = build_frame(read_job(path))
        findings = run_checks(frame, checks)  # a record of test bends that cannot be read is met only here
    except InputError as error:
        refusal = error
    else:
        shown(frame, findings)
        if checks is CHECKS:
            answer = check_answer(frame, findings)
            assert json.loads(json.dumps(answer, allow_nan=False)) == answer
        return findings
    assert refusal.problems
    for problem in refusal.problems:
        assert "\n" not in problem
        assert len(problem) < 1500
    return None


def shown(frame: Frame, findings: list[Finding]) -> None:
    answer = [*(finding_answer(finding, frame.unit) for finding in findings), *rolls(frame)]
    assert json.loads(json.dumps(answer, allow_nan=False)) == answer
    for line in finding_lines(findings):
        assert "\n" not in line
    for finding in findings:
        assert "nan" not in finding.says.split()
        assert "inf" not in finding.says.split()
        assert finding.part is None or finding.part in finding.says or finding.rule in ("springback", "tube use")
    tables = [
        table_of(part, job=frame.job.job, revision=frame.job.revision, unit=frame.unit) for part in frame.parts
    ]
    assert json.loads(as_json(tables)) == tables
    assert as_csv(tables).count("\r\n") == 1 + sum(max(len(table["rows"]), 1) for table in tables)


@pytest.mark.long
@many
@given(case=broken_jobs())
def test_a_job_with_slips_gives_an_answer_or_sentences(tmp_path: Path, case: tuple[Any, Any]) -> None:
    came = answers(write(tmp_path, *case), QUICK)
    event("refused" if came is None else "answered")


@few
@given(case=broken_jobs())
def test_the_costly_checks_give_an_answer_too(tmp_path: Path, case: tuple[Any, Any]) -> None:
    answers(write(tmp_path, *case), CHECKS)


@pytest.mark.parametrize("name", ["7", "1e6", "shop.yml"])
def test_a_shop_that_is_not_there_is_refused_whatever_its_name_looks_like(tmp_path: Path, name: str) -> None:
    path = write(tmp_path, {**JOBS[0], "shop": "HERE"}, SHOP)
    path.write_text(path.read_text().replace('"HERE"', name))
    with pytest.raises(InputError, match=f"shop: {name}: cannot be read"):
        read_job(path)


# structurally valid, geometrically wild -------------------------------------------------------------------------------

wild = st.sampled_from([1e-6, 1e-3, 0.01, 0.5, 3.0, 25.0, 180.0, 700.0, 5e3, 6e4]) | st.floats(1e-3, 3e3)
angles = st.sampled_from([1e-12, 1e-7, 1e-3, 0.5, 30.0, 89.9999999, 90.0, 150.0, 179.0, 179.9999, 179.999999999])
tooling = st.fixed_dictionaries({"radius": wild}) | st.just({}) | st.sampled_from(
    [{"die": "hard 7"}, {"die": "easy 5"}, {"die": "easy 160"}, {"die": "hard 7", "radius": 1.0}]
)
turn = st.floats(-180, 180, exclude_min=True) | st.sampled_from([-179.9999999999999, -90.0, 0.0, 90.0, 180.0])
faces = st.sampled_from(["top", "bottom", "left", "right"])


@st.composite
def wild_points(draw: st.DrawFn) -> dict[str, Any]:
    """Up to 200 points, near each other or tens of metres apart, in line, doubled or back and forth."""
    count = draw(st.sampled_from([2, 3, 4, 7, 20, 200]))
    at = [0.0, 500.0, 0.0]
    points: list[Any] = [list(at)]
    for _ in range(count - 1):
        for axis in range(3):
            at[axis] += draw(st.sampled_from([-1, 0, 0, 1])) * draw(wild)
        points.append({"at": [max(-9e4, min(9e4, value)) for value in at], **draw(tooling)})
    points[-1] = points[-1]["at"]
    more: dict[str, Any] = {"points_at": draw(st.sampled_from(["centre", "top", "bottom", "inside", "outside"]))}
    if draw(st.booleans()):
        more["top"] = [draw(st.sampled_from([-1, 0, 1, 1e-7])) for _ in range(2)] + [1]
    return {"points": points, **more}


@st.composite
def wild_paths(draw: st.DrawFn) -> dict[str, Any]:
    steps: list[Any] = []
    for _ in range(draw(st.sampled_from([1, 2, 5, 40]))):
        kind = draw(st.sampled_from(["straight", "bend", "bend", "offset"]))
        if kind == "straight":
            steps.append({"straight": draw(wild | st.just(0.0))})
        elif kind == "bend":
            steps.append({"bend": {"toward": draw(faces), "angle": draw(angles), **draw(tooling)}})
        else:
            how = {"angle": draw(angles)} if draw(st.booleans()) else {"over": draw(wild)}
            steps.append({"offset": {"toward": draw(faces), "by": draw(wild), **how, **draw(tooling)}})
    return {"path": steps}


@st.composite
def wild_rows(draw: st.DrawFn) -> dict[str, Any]:
    rows = [
        {"distance": draw(wild | st.just(0.0)), "rotation": draw(turn), "angle": draw(angles), **draw(tooling)}
        for _ in range(draw(st.sampled_from([0, 1, 2, 6, 40])))
    ]
    return {"rows": rows, "tail": draw(wild)}


@st.composite
def wild_jobs(draw: st.DrawFn) -> Any:
    """A job whose every value is allowed, whatever shape it makes."""
    part = {
        "name": "wild",
        "tube": draw(st.sampled_from(["main", "thin"])),
        "hand": draw(st.sampled_from(["pair", "single"])),
        "leading_end": draw(st.sampled_from(["front", "rear"])),
        **draw(wild_points() | wild_paths() | wild_rows()),
    }
    tubes = {
        "main": {"height": "80 mm", "width": "40 mm", "wall": "3 mm", "corner": "6 mm", "grade": "S235JRH"},
        "thin": {"height": "3 in", "width": "2 in", "wall": "0.001 in", "corner": 0},
    }
    units = draw(st.sampled_from(["in", "mm"]))
    return {"job": "Wild", "units": units, "shop": "shop.yaml", "tubes": tubes, "parts": [part]}


@pytest.mark.long
@settings(many, max_examples=1000 if IN_CI else 60)
@given(job=wild_jobs())
def test_a_wild_shape_gives_an_answer(tmp_path: Path, job: Any) -> None:
    came = answers(write(tmp_path, job, SHOP), QUICK)
    event("refused" if came is None else "answered")


@few
@given(job=wild_jobs())
def test_a_wild_shape_is_rehearsed_and_fitted_too(tmp_path: Path, job: Any) -> None:
    answers(write(tmp_path, job, SHOP), CHECKS)


@pytest.mark.parametrize("job", JOBS, ids=lambda job: job["job"])
def test_the_demo_jobs_themselves_come_through_unharmed(tmp_path: Path, job: Any) -> None:
    findings = answers(write(tmp_path, {**job, "shop": "shop.yaml"}, SHOP), QUICK)
    assert findings is not None
    assert any(finding.level == "stop" for finding in findings) is (job["job"] == "Cannot bend")
