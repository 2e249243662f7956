"""A metric job for the page's tests: three parts, one by points, one by moves, one by bend rows, and two shops."""

from pathlib import Path

SHOP = """\
shop: Metric shop
units: mm
bender: {bends: counter-clockwise, centreline_height: 950, mandrel_reach: 6500}
dies:
  hard 160: {height: 60, width: 40, way: hard, radius: 160, grip: 120, between: 130, tail: 180, max_angle: 110}
  hard 200: {height: 60, width: 40, way: hard, radius: 200, grip: 120, between: 130, tail: 180, max_angle: 110}
  square 100: {height: 40, width: 40, way: easy, radius: 100, grip: 80, between: 90, tail: 120, max_angle: 120}
stock:
  - {tube: main, length: 6000, kerf: 2, end_trim: 10}
"""

JOB = """\
# A yard cart, in millimetres.
job: Yard cart
units: mm
shop: shop.yaml
tubes:
  main: {height: 60, width: 40, wall: 3, corner: 6}
  square: {height: 40, width: 40, wall: 3}
parts:
  - name: rail
    tube: main
    hand: pair
    top: [0, 0, 1]
    points:
      - [0, 400, 500]
      - {at: [800, 400, 500], die: hard 160, free: {z: [480, 520]}}   # the kick
      - {at: [1500, 400, 620], die: hard 160}
      - [2600, 400, 620]
  - name: hoop
    tube: main
    start: {at: [300, -350, 900], heading: [0, 1, 0], free: {z: [880, 920]}}
    path:
      - straight: 400
      - offset: {toward: top, by: 100, angle: 25, die: hard 160, free: {by: [90, 110]}}
      - {straight: 400, free: [380, 420]}
      - bend: {toward: top, angle: 20, die: hard 160, free: {angle: [15, 25]}}
      - straight: 300
  - name: tie
    tube: square
    start: {at: [1200, -300, 1000], heading: [0, 1, 0]}
    rows:
      - {distance: 300, rotation: 0, angle: 30, die: square 100, toward: top}
      - {distance: 250, rotation: 90, angle: 20, radius: 100, free: {angle: [15, 25]}}
    tail: 200
    free: {tail: [180, 220]}
crossmembers:
  - {name: cross, tube: square, between: [rail], x: 300}
joints:
  - {between: [hoop.rear, tie.front], gap: 2500, angle: 90}
fit_points:
  - {name: hanger, at: [200, 400, 420], to: {part: rail, face: bottom}, gap: {want: 50, within: 5}}
motions:
  axle: {up: 80, down: 60, roll: 4, pivot: [1900, 0, 350], with: {roll: up}}
keep_clear:
  - name: axle tube
    shape: {cylinder: {from: [1900, -600, 350], to: [1900, 600, 350], diameter: 60}}
    motion: axle
    gap: 25
  - {name: tank, shape: {box: {at: [900, 0, 400], size: [500, 400, 200]}}, moves: {up: 10}, gap: 20}
plates:
  - {name: ear, thickness: 6, size: [80, 60], holes: [{at: [40, 30], diameter: 13}]}
"""


def yard_job(folder: Path) -> Path:
    """The job with its shop, and another shop beside it."""
    (folder / "shop.yaml").write_text(SHOP, encoding="utf-8")
    (folder / "other.yaml").write_text(SHOP.replace("Metric shop", "Other shop"), encoding="utf-8")
    path = folder / "yard.yaml"
    path.write_text(JOB, encoding="utf-8")
    return path
