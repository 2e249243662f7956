"""`railmodel build` of the hauler against what bare cadquery needs for the same sweeps and one STEP assembly.

Whole processes, import and all, taken in turns in one run; the least of each counts.
"""

import json
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from railmodel.frame import Frame, build_frame
from railmodel.job.reader import read_job

ROOT = Path(__file__).resolve().parents[2]
HAULER = ROOT / "demo_jobs" / "hillside_hauler" / "hauler.yaml"


@pytest.fixture(scope="module")
def hauler() -> Frame:
    return build_frame(read_job(HAULER))


@pytest.fixture(scope="module")
def lines(hauler: Frame, tmp_path_factory: pytest.TempPathFactory) -> Path:
    parts = []
    for part in hauler.parts:
        pieces = []
        for stretch in part.line.stretches:
            ends = [0.0, stretch.length] if stretch.kind == "straight" else np.linspace(0, stretch.length, 3)
            if stretch.length > 0:
                pieces.append(stretch.pose(ends).at.tolist())
        size, start = part.section, part.line.start
        parts.append(
            {
                "name": part.label.replace(" ", "_"), "pieces": pieces, "at": start.at.tolist(), "s": start.s.tolist(),
                "t": start.t.tolist(), "height": size.height, "width": size.width, "wall": size.wall,
                "corner": size.corner,
            }
        )  # fmt: skip
    path = tmp_path_factory.mktemp("bare") / "lines.json"
    path.write_text(json.dumps(parts))
    return path


def seconds(*command: str) -> float:
    start = time.perf_counter()
    subprocess.run([sys.executable, *command], check=True, capture_output=True, cwd=ROOT)
    return time.perf_counter() - start


def test_build_takes_at_most_twice_bare_cadquery(
    benchmark, lines: Path, tmp_path: Path
) -> None:
    bare, ours = [], []

    def both() -> None:
        bare.append(seconds(str(Path(__file__).with_name("bare_sweep.py")), str(lines), str(tmp_path / "bare.step")))
        ours.append(seconds("-m", "railmodel", "build", str(HAULER), "--out", str(tmp_path / "out"), "--no-record"))

    benchmark.pedantic(both, rounds=4, warmup_rounds=1)
    ratio = min(ours[1:]) / min(bare[1:])
    benchmark.extra_info.update(bare_seconds=min(bare[1:]), build_seconds=min(ours[1:]), ratio=ratio, limit=2.0)
    assert ratio <= 2.0


def test_step_files_are_at_most_half_of_bare_cadquery_s_and_4_kb(
    benchmark, hauler: Frame, lines: Path, tmp_path: Path
) -> None:
    from exporters.step import write_part, write_parts

    seconds(str(Path(__file__).with_name("bare_sweep.py")), str(lines), str(tmp_path / "bare.step"))
    benchmark.pedantic(lambda: write_parts(hauler.parts, tmp_path / "ours.step", title="frame"), rounds=1)
    bare, ours = ((tmp_path / name).stat().st_size for name in ("bare.step", "ours.step"))
    benchmark.extra_info.update(bare_bytes=bare, our_bytes=ours, ratio=ours / bare, limit="0.5 and 4 kB")
    assert ours <= 0.5 * bare + 4096
    one = json.loads(lines.read_text())[:1]
    (tmp_path / "one.json").write_text(json.dumps(one))
    seconds(str(Path(__file__).with_name("bare_sweep.py")), str(tmp_path / "one.json"), str(tmp_path / "one.step"))
    write_part(hauler.parts[0], tmp_path / "part.step")
    assert (tmp_path / "part.step").stat().st_size <= 0.5 * (tmp_path / "one.step").stat().st_size + 4096
