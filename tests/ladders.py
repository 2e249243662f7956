"""Ladder frames for tests of loads: two straight rails, crossmembers, supports at their ends."""

from pathlib import Path

from jobfiles import job_file

from railmodel.frame import Frame, build_frame
from railmodel.job.reader import read_job

LADDER = """\
job: Ladder
units: mm
tubes:
  main: {height: 100, width: 50, wall: 4, corner: 8, grade: S355}
  cross: {height: 60, width: 40, wall: 3, corner: 6, grade: S235}
parts:
  - {name: rail, tube: main, hand: pair, points: [[0, 400, 500], [3000, 400, 500]]}
crossmembers:
  - {name: front cross, tube: cross, between: [rail], x: 200}
  - {name: rear cross, tube: cross, between: [rail], x: 2800}
fit_points:
  - {name: front foot, at: [500, 400, 400], to: {part: rail, face: bottom}, gap: {want: 50, within: 1}}
  - {name: rear foot, at: [2500, 400, 400], to: {part: rail, face: bottom}, gap: {want: 50, within: 1}}
"""

SUPPORTS = """\
  supports:
    - {name: front axle, at: [front foot], track: 1600}
    - {name: rear axle, at: [rear foot], track: 1600}
"""

LOADS = f"""\
loads:
{SUPPORTS}\
  ground: 0
  masses:
    - {{name: engine, mass: 200, at: [1500, 0, 600], on: [[1500, 400, 550], [1500, -400, 550]]}}
"""


def ladder(folder: Path, loads: str = LOADS, head: str = LADDER) -> Frame:
    """The frame of a ladder with these loads."""
    return build_frame(read_job(job_file(folder, head + loads)))
