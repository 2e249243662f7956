"""Jobs of bent pairs with fit points, for tests of how sure they fit: rows in mm and degrees."""

from collections.abc import Sequence
from pathlib import Path

import numpy as np
from jobfiles import HEAD, job_file

from railmodel.frame import Frame, build_frame
from railmodel.job.reader import read_job

SHOP = """\
shop: Test shop
units: mm
spread: {angle: 0.3, distance: 0.8, roll: 0.2, radius: 1.5}
"""

TESTED = """\
shop: Test shop
units: mm
test_bends: bends.csv
dies:
  hard 200: {height: 80, width: 40, way: hard, radius: 200}
spread: {distance: 0.5}
"""
BENDS = "die,tube,set_angle,measured_angle,tube_used\n" + "".join(
    f"hard 200,main,{angle},{angle - 1.2 - 0.01 * angle + off},{200 * np.radians(angle - 1.2) * 0.985 + use}\n"
    for angle, off, use in ((12, 0.3, 0.2), (20, -0.35, -0.5), (31, 0.2, 0.7), (46, -0.3, -0.4), (62, 0.25, 0.3))
)
"""Five test bends that scatter by about a third of a degree and half a millimetre."""

Row = tuple[float, float, float, float]
"""Distance, rotation, angle, radius."""

LADDER: tuple[Row, ...] = tuple(
    (220.0 + 35 * (i % 3), (0.0, 180.0, 90.0, 180.0, -90.0)[i % 5], 12.0 + 4 * (i % 4), 160.0 + 20 * (i % 2))
    for i in range(10)
)
"""Ten bends, hard and easy way."""


def rows_text(rows: Sequence[Row], tail: float, more: str = "", name: str = "rail", hand: str = "pair") -> str:
    """A part given by rows."""
    lines = [f"      - {{distance: {d}, rotation: {r}, angle: {a}, radius: {c}}}" for d, r, a, c in rows]
    head = [f"  - name: {name}", "    tube: main", f"    hand: {hand}"]
    start = "    start: {at: [0, 400, 500], heading: [1, 0, 0], top: [0, 0, 1]}"
    return "\n".join([*head, *([more] if more else []), start, "    rows:", *lines, f"    tail: {tail}", ""])


def pair_job(
    folder: Path,
    rows: Sequence[Row],
    tail: float,
    shares: Sequence[float],
    *,
    shop: str = SHOP,
    within: float = 3.0,
    more: str = "",
    rest: str = "",
) -> Path:
    """A pair with fit points 10 mm off its top face, or its outboard one by turns, at shares of its length."""
    parts = f"{HEAD}parts:\n{rows_text(rows, tail, more)}"
    frame = build_frame(read_job(job_file(folder, parts, shop)))
    part = frame.parts[0]
    points = []
    for i, share in enumerate(shares):
        face = ("top", "outboard")[i % 2]
        pose = part.line.pose_at(share * part.line.length)
        reach = (part.section.height if face == "top" else part.section.width) / 2 + 10
        at = pose.at[0] + reach * pose.direction(part.read_from("front").roll_of(face))[0]
        spot = ", ".join(f"{value:.9f}" for value in at)
        points.append(
            f"  - {{name: point {i + 1}, at: [{spot}], to: {{part: rail, face: {face}}}, "
            f"gap: {{want: 10, within: {within}}}}}"
        )
    return job_file(folder, f"{parts}fit_points:\n" + "\n".join(points) + f"\n{rest}", shop)


def pair_frame(
    folder: Path, rows: Sequence[Row] = LADDER, tail: float = 300.0, count: int = 12, **how: object
) -> Frame:
    """The frame of such a job with points evenly along the rail."""
    shares = np.linspace(0.04, 0.97, count).tolist()
    return build_frame(read_job(pair_job(folder, rows, tail, shares, **how)))  # type: ignore[arg-type]
