"""Chance of fit: many rails at once against a loop over scipy rotations, and growth with the number of samples.

Ratios only, both sides timed in the same run: processor time, the shortest of several goes.
"""

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from time import process_time

import numpy as np
import pytest
from sure_jobs import pair_frame

from railmodel.fitting.fit_job import Fit
from railmodel.sureness.sample import chances, draw
from railmodel.sureness.sensitivity import Bent, Sensitivity, point_on, sensitivity
from railmodel.sureness.spread import Spread, spread_of

Job = tuple[Sensitivity, Spread]


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Job:
    """A pair of ten-bend rails with twelve fit points on each hand."""
    frame = pair_frame(tmp_path_factory.mktemp("pair"))
    found = sensitivity(frame, (), "straights held")
    assert len(found.measures) == 24
    return found, spread_of(frame, found.bent, found.working)


def seconds(run: Callable[[], object]) -> float:
    start = process_time()
    run()
    return process_time() - start


def rail_by_scipy(bent: Bent, off: np.ndarray, fits: list[tuple[Fit, int]]) -> list[float]:
    """Gaps of one rail: its bends one after another with scipy's rotations, each foot on the
    nearest of three stretches: the one it stood on and those beside it.

    The datum is laid where it belongs by one more rotation; straights are held.
    """
    from scipy.spatial.transform import Rotation

    rows, columns, start = bent.line.rows, bent.columns, bent.line.start
    n = columns.bends
    length = rows.straights + np.append(off[columns.block("distance")], off[columns.tail])
    angle, radius = rows.angle + off[columns.block("angle")], rows.radius + off[columns.block("radius")]
    roll = np.cumsum(rows.rotation + off[columns.block("rotation")]) + off[columns.block("roll")]
    at, turn = start.at, Rotation.from_matrix(np.stack([start.t, start.s, start.u], axis=-1))
    frames = []
    for i in range(n + 1):
        frames.append((at, turn))
        at = at + turn.apply([length[i], 0.0, 0.0])
        if i < n:
            frames.append((at, turn))
            lean = Rotation.from_rotvec([roll[i], 0.0, 0.0])
            bend = Rotation.from_rotvec([0.0, -angle[i], 0.0])
            step = [radius[i] * np.sin(angle[i]), 0.0, radius[i] * (1 - np.cos(angle[i]))]
            at = at + (turn * lean).apply(step)
            turn = turn * lean * bend * lean.inv()
    place = bent.datum
    held, there = bent.line.stretches[place.stretch], frames[place.stretch]
    nominal = held.pose(held.length * place.share)
    right = Rotation.from_matrix(np.stack([nominal.t, nominal.s, nominal.u], axis=-1)) * there[1].inv()
    spot = there[0] + there[1].apply([length[place.stretch // 2] * place.share, 0.0, 0.0])
    gaps = []
    for fit, stood in fits:
        point = spot + right.inv().apply(point_on(fit) - nominal.at)
        face = fit.part.read.roll_of(fit.point.to.face)
        best, gap = np.inf, 0.0
        for k in range(max(stood - 1, 0), min(stood + 2, len(frames))):
            begin, frame = frames[k]
            local = frame.inv().apply(point - begin)
            outward = np.array([0.0, -np.sin(face), np.cos(face)])
            if k % 2 == 0:
                along = min(max(local[0], 0.0), length[k // 2])
                away = local - [along, 0.0, 0.0]
            else:
                i = k // 2
                lean = Rotation.from_rotvec([roll[i], 0.0, 0.0])
                seen = lean.inv().apply(local)
                turned = min(max(np.arctan2(seen[0], radius[i] - seen[2]), 0.0), angle[i])
                on = [radius[i] * np.sin(turned), 0.0, radius[i] * (1 - np.cos(turned))]
                away = lean.apply(seen - on)
                outward = (lean * Rotation.from_rotvec([0.0, -turned, 0.0]) * lean.inv()).apply(outward)
            distance = float(np.linalg.norm(away))
            if distance < best - 1e-9:
                best, gap = distance, float(away @ outward)
        upright = fit.point.to.face in ("top", "bottom")
        gaps.append(gap - (fit.part.section.height if upright else fit.part.section.width) / 2)
    return gaps


def by_loop(job: Job, drawn: np.ndarray) -> np.ndarray:
    """(m, b) every gap, one sample after another."""
    found, spread = job
    answers = []
    for k in range(drawn.shape[1]):
        gaps: dict[int, float] = {}
        for label, bent in found.bent.items():
            off = np.zeros(bent.columns.count)
            for c, cause in enumerate(spread.causes):
                for column, by in cause.hits.get(label, ()):
                    off[column] += by * cause.sigma.predictive * drawn[c, k]
            own = [(row, one) for row, one in enumerate(found.measures) if one.on == label]
            fits = [
                (one.about, one.place.stretch) for _, one in own if isinstance(one.about, Fit) and one.place is not None
            ]
            gaps |= dict(zip((row for row, _ in own), rail_by_scipy(bent, off, fits), strict=True))
        answers.append([gaps[row] for row in range(len(found.measures))])
    return np.array(answers).T


def test_a_sample_is_at_least_300_times_as_fast_as_by_scipy_rotations(
    job: Job, record_property: Callable[[str, object], None]
) -> None:
    found, spread = job
    few, many = 12, 100_000
    drawn = draw(np.random.default_rng(1), spread.causes, few)
    looped = by_loop(job, drawn)
    loop = min(seconds(lambda: by_loop(job, drawn)) for _ in range(3)) / few
    batch = min(seconds(lambda: chances(found, spread, samples=many)) for _ in range(3)) / many
    record_property("ms a sample by loop", loop * 1e3)
    record_property("seconds for 100,000", batch * many)
    record_property("times as fast as a loop", loop / batch)
    assert loop / batch >= 300

    from railmodel.sureness.demands import demands
    from railmodel.sureness.sample import Players
    from railmodel.sureness.stack import stack

    players = Players(found, stack(found.measures, spread.causes), demands(found))
    assert np.abs(players.play(drawn) - looped).max() < 1e-6  # the loop does the same work


def test_ten_times_the_samples_take_no_more_than_13_times_as_long(
    job: Job, record_property: Callable[[str, object], None]
) -> None:
    found, spread = job
    few, many = 12_288, 122_880  # whole blocks
    turns = [
        (
            seconds(lambda: [chances(found, spread, samples=few) for _ in range(2)]) / 2 / few,
            seconds(lambda: chances(found, spread, samples=many)) / many,
        )
        for _ in range(3)
    ]
    small, large = (min(times) for times in zip(*turns, strict=True))
    record_property("growth for each sample", large / small)
    assert large <= 1.3 * small


def test_a_million_samples_take_no_more_memory_than_600_mb(
    tmp_path: Path, record_property: Callable[[str, object], None]
) -> None:
    # a process of its own, so that nothing else of the tests counts; the whole of it, libraries and all; read from the
    # kernel's own book, as what getrusage says begins with the parent's
    run = (
        "import re, sys; from pathlib import Path; from sure_jobs import pair_frame\n"
        "from railmodel.sureness.sensitivity import sensitivity; from railmodel.sureness.sample import chances\n"
        "from railmodel.sureness.spread import spread_of\n"
        "frame = pair_frame(Path(sys.argv[1])); found = sensitivity(frame)\n"
        "chances(found, spread_of(frame, found.bent, found.working), samples=1_000_000)\n"
        "print(int(re.search(r'VmHWM:\\s+(\\d+)', Path('/proc/self/status').read_text())[1]) // 1024)\n"
    )
    root = Path(__file__).parents[2]
    path = os.pathsep.join([str(root), str(root / "tests")])
    done = subprocess.run(
        [sys.executable, "-c", run, str(tmp_path)], capture_output=True, text=True, check=True,
        env=os.environ | {"PYTHONPATH": path},
    )  # fmt: skip
    used = int(done.stdout)
    record_property("MB at a million samples", used)
    assert used < 600
