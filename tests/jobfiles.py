"""Jobs for tests: YAML text to a file, the file to a frame."""

from pathlib import Path
from textwrap import dedent, indent

from railmodel.frame import Frame, build_frame
from railmodel.job.reader import read_job

HEAD = """\
job: Test frame
units: mm
tubes:
  main: {height: 80, width: 40, wall: 3, corner: 6}
  box: {height: 50, width: 50, wall: 3}
"""

SHOP = """\
shop: Test shop
units: mm
dies:
  hard 200: {height: 80, width: 40, way: hard, radius: 200, grip: 100, between: 110, tail: 150}
  hard 160: {height: 80, width: 40, way: hard, radius: 160, grip: 100, between: 110, tail: 150}
  easy 120: {height: 80, width: 40, way: easy, radius: 120, grip: 80, between: 90, tail: 120}
"""


def job_file(folder: Path, text: str, shop: str | None = None) -> Path:
    """Write a whole job, and beside it the shop it then names."""
    if shop is not None:
        (folder / "shop.yaml").write_text(shop)
        text = f"shop: shop.yaml\n{text}"
    path = folder / "job.yaml"
    path.write_text(text)
    return path


def parts_file(folder: Path, parts: str, shop: str | None = None) -> Path:
    """Write a job of these parts, in mm, with the two tubes of `HEAD`."""
    return job_file(folder, f"{HEAD}parts:\n{indent(dedent(parts).strip(), '  ')}\n", shop)


def frame_of(folder: Path, parts: str, shop: str | None = None) -> Frame:
    """The frame of a job of these parts."""
    return build_frame(read_job(parts_file(folder, parts, shop)))
