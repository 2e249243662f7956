"""A job that uses every key, the shop it names, and a way to write both and hear what is wrong with them."""

from collections.abc import Callable
from pathlib import Path

import pytest

from railmodel.errors import InputError
from railmodel.job.reader import read_job

JOB = """\
job: Hillside hauler            # required
revision: 1.10
customer: J. Example
units: in
datum: front axle centre at ride height, on the vehicle centreline
shop: shop.yaml
tubes:
  main: {height: 3, width: 2, wall: 3/16, corner: 3/8, grade: A500-B, seam_on: narrow}
parts:
  - name: side rail
    tube: main
    hand: pair
    seam: inboard               # where the weld seam must end up
    leading_end: front
    points_at: centre
    points:
      - [-26, 15, 21]
      - {at: [-4, 15, 21], die: hard 7}
      - {at: [14, 15, 25 1/2], radius: 7}
      - [120, 15, 25 1/2]
  - name: rear cap
    tube: main
    start: {at: [130, 19, 23], heading: [0, -1, 0], top: [0, 0, 1]}
    path:
      - straight: 10
      - bend: {toward: left, angle: 90, die: easy 5}
      - offset: {toward: top, by: 6, angle: 25, die: hard 7}
      - straight: 18
      - offset: {toward: top, by: 6, over: 30, radius: 7}
      - straight: 3' 1/2"
  - name: copied from an old sheet
    tube: main
    rows:
      - {bend: 1, distance: 22, rotation: 0, angle: 15, radius: 7, toward: top, way: hard}
      - {bend: 2, distance: 12, rotation: 90, angle: 20, die: easy 5, toward: left, way: easy}
    tail: 40
crossmembers:
  - {name: seat tube, tube: main, between: [side rail], x: 60}
  - {name: rear tube, tube: main, between: [side rail right, side rail left], x: 100, flush: top}
joints:
  - {between: [side rail right.rear, rear cap.leading], gap: 1/16, angle: 0.5}
  - {between: [{part: side rail, hand: left, end: rear}, {part: rear cap, end: rear}], offset: 1/8, roll: 2}
fit_points:
  - name: rear axle centre
    at: [98, 15, 13]
    to: {part: side rail, face: bottom}
    gap: {want: 11, within: 1/4}
    on: straight
    from_bend: 2
    width: 3
motions:
  axle travel: {up: 4, down: 3, roll: 5, pivot: [98, 0, 13]}
  rack: {slide: {along: [0, 1, 0], from: -3, to: 3}, roll: 4, with: {slide: roll}}
keep_clear:
  - name: rear axle tube
    shape: {cylinder: {from: [98, -30, 13], to: [98, 30, 13], diameter: 3}}
    motion: axle travel
    gap: 1
  - name: front tyre right
    shape: {capsule: {from: [0, 30, 13], to: [0, 38, 13], diameter: 28}}
    turns: {about: {at: [0, 28, 13], axis: [0, 0, 1]}, from: -32, to: 28}
    moves: {up: 3, down: 3, roll: {about: {at: [0, 0, 13]}, from: -4, to: 4}}
    mirror: true
  - name: battery
    shape: {box: {at: [30, 0, 20], size: [10, 8, 8], turn: [0, 0, 15]}}
  - name: ball
    shape: {sphere: {at: [40, 0, 20], diameter: 6}}
"""

SHOP = """\
shop: Back bay bender
units: in
roll_within: 1.5
tape_step: 1/32
bender:
  bends: clockwise
  centreline_height: 38 in
  mandrel_reach: 22 ft
  set_angle_step: 0.1
  solids:
    - {name: floor, box: {at: [0, 0, -40], size: [400, 400, 4]}}
    - {name: arm, cylinder: {from: [0, 0, -20], to: [0, 0, 4], diameter: 8}, moves: arm}
dies:
  hard 7: {height: 3, width: 2, way: hard, radius: 7, grip: 6, between: 6, tail: 9, max_angle: 110, change_over: 60 min}
  easy 5: {height: 3, width: 2, way: easy, radius: 5, tool_radius: 4 7/8, weight: 40 kg}
test_bends: test_bends.csv
stock:
  - {tube: main, length: 20 ft, count: 6, kerf: 1/16, end_trim: 1/2, price: 84, test_pieces: 2 ft, keep_drop: 30}
rates: {hour: 80, per bend: 6.5, note: cash}
"""


@pytest.fixture
def job_text() -> str:
    return JOB


@pytest.fixture
def shop_text() -> str:
    return SHOP


@pytest.fixture
def write(tmp_path: Path) -> Callable[..., Path]:
    """Write a job (and its shop) and give the job's path."""

    def written(job: str | bytes = JOB, shop: str | None = SHOP) -> Path:
        path = tmp_path / "hauler.yaml"
        path.write_bytes(job if isinstance(job, bytes) else job.encode())
        if shop is not None:
            (tmp_path / "shop.yaml").write_text(shop)
        return path

    return written


@pytest.fixture
def problems(write: Callable[..., Path]) -> Callable[..., tuple[str, ...]]:
    """What is wrong with a job: the example with some of its text replaced, each old text found exactly once."""

    def heard(*replaced: tuple[str, str], shop: str | None = SHOP) -> tuple[str, ...]:
        text = JOB
        for old, new in replaced:
            assert text.count(old) == 1, old
            text = text.replace(old, new)
        with pytest.raises(InputError) as caught:
            read_job(write(text, shop))
        return caught.value.problems

    return heard
