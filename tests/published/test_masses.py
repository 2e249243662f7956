"""What tubes and plates weigh against published rows and against the solid modeller's volumes.

Sources: `data/hss_rows.csv` (kg/m of EN 10219-2 and EN 10210-2 rows, lb/ft of AISC rows; its header says where each
was taken from). AISC rows are printed for 490 lb/ft^3 and the nominal wall, EN rows for 7850 kg/m^3. The solids are
made by other code and a CAD kernel.
"""

import csv
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from commands import HAULER, TRAILER
from rails import part

from exporters.solids import solid
from railmodel.frame import Frame, build_frame
from railmodel.geometry.centreline import Centreline, Pose
from railmodel.geometry.flat_outline import rounded
from railmodel.geometry.rows import BendRows
from railmodel.geometry.section import STEEL_DENSITY, Section
from railmodel.job.mass import POUND
from railmodel.job.reader import read_job
from railmodel.loading.weigh import tube_mass, weigh
from railmodel.plates import Plate

INCH = 25.4
START = Pose.of([0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0])


def rows() -> list[dict[str, str]]:
    with (Path(__file__).parent / "data" / "hss_rows.csv").open(encoding="utf-8") as file:
        return list(csv.DictReader(line for line in file if not line.startswith("#")))


def section_of(row: dict[str, str]) -> Section:
    """The section its mass is printed for: AISC has the nominal wall with corners of twice that."""
    number = {key: float(row[key]) for key in ("H", "B", "t_nominal", "t_design", "ro", "ri")}
    if row["family"] == "AISC":
        height, width, wall = (number[key] * INCH for key in ("H", "B", "t_nominal"))
        return Section(height=height, width=width, wall=wall, corner=2 * wall)
    height, width, wall = (number[key] for key in ("H", "B", "t_design"))
    return Section(height=height, width=width, wall=wall, corner=number["ro"], inside=number["ri"])


def straight(length: float) -> Centreline:
    return Centreline(BendRows.of([], [], [], [], length), START)


@pytest.mark.parametrize("row", rows(), ids=lambda row: f"{row['family']}-{row['designation']}")
def test_a_straight_tube_weighs_what_its_row_says(row: dict[str, str]) -> None:
    foot = row["family"] == "AISC"
    mass = tube_mass(part(straight(12 * INCH if foot else 1000.0), section_of(row)))
    found = mass / POUND if foot else mass
    assert found == pytest.approx(float(row["W"]), rel=6e-3, abs=0.006)  # three figures, or two decimals


def test_a_bend_adds_its_centreline_length_and_no_more() -> None:
    section = section_of(rows()[0])
    bent = BendRows.of([300.0], [0.0], [np.pi / 3], [400.0], 200.0)
    mass = tube_mass(part(Centreline(bent, START), section))
    assert mass == pytest.approx(section.area * (500 + 400 * np.pi / 3) * STEEL_DENSITY, rel=1e-12)


def mitred(path: Path, folder: Path, ends: str) -> Frame:
    text = path.read_text().replace("flush: top}", f"flush: top, ends: {ends}}}")
    text = text.replace("{name: front crossmember, tube: cross, between: [side rail], x: -14}",
                        "{name: front crossmember, tube: cross, between: [side rail], "
                        f"points: [[-16, -12, 24], [-4, 12, 24]], ends: {ends}}}")  # fmt: skip
    copy = folder / "hauler.yaml"
    copy.write_text(text.replace("../shop.yaml", str(path.parents[1] / "shop.yaml")))
    return build_frame(read_job(copy))


@pytest.mark.parametrize("ends", ["as written", "square", "mitred", "coped"])
def test_every_tube_weighs_and_balances_as_its_solid(ends: str, tmp_path: Path) -> None:
    frames = [build_frame(read_job(path)) for path in (HAULER, TRAILER)]
    if ends != "as written":
        frames = [mitred(HAULER, tmp_path, ends)]
    for frame in frames:
        tubes = {piece.label: piece for piece in weigh(frame).pieces if piece.kind == "tube"}
        assert set(tubes) == {one.label for one in frame.parts}
        for one in frame.parts:
            shape = solid(one)
            assert tubes[one.label].mass == pytest.approx(shape.Volume() * STEEL_DENSITY, rel=1e-6)
            np.testing.assert_allclose(tubes[one.label].centre, shape.Center().toTuple(), atol=1e-3)


def test_a_cope_on_a_round_rail_weighs_as_its_solid(tmp_path: Path) -> None:
    text = """\
job: Round rails
units: mm
tubes:
  pipe: {diameter: 60, wall: 3}
  cross: {height: 40, width: 30, wall: 3}
parts: [{name: rail, tube: pipe, hand: pair, points: [[0, 300, 0], [1000, 300, 0]]}]
crossmembers: [{name: tie, tube: cross, between: [rail], points: [[300, -200, 0], [360, 200, 0]]}]
"""
    (tmp_path / "job.yaml").write_text(text)
    frame = build_frame(read_job(tmp_path / "job.yaml"))
    tie = next(one for one in frame.parts if one.name == "tie")
    found = next(piece for piece in weigh(frame).pieces if piece.label == "tie")
    shape = solid(tie)
    assert found.mass == pytest.approx(shape.Volume() * STEEL_DENSITY, rel=1e-4)
    np.testing.assert_allclose(found.centre, shape.Center().toTuple(), atol=0.05)


def test_the_frame_balances_on_its_centreline_and_adds_up() -> None:
    for path in (HAULER, TRAILER):
        weight = weigh(build_frame(read_job(path)))
        assert weight.centre is not None
        assert weight.mass == pytest.approx(sum(piece.mass for piece in weight.pieces))
        assert weight.left == pytest.approx(weight.right, rel=1e-9)
        assert weight.centre[1] == pytest.approx(0.0, abs=1e-9)
        moments = sum(piece.mass * np.array(piece.centre) for piece in weight.pieces)
        np.testing.assert_allclose(weight.centre, moments / weight.mass, atol=1e-9)


PLATE_ROWS = [  # thickness and printed weight of steel plate: kg/m^2 at 7850 kg/m^3, lb/ft^2 at 490 lb/ft^3
    (3.0, "kg", 23.55), (5.0, "kg", 39.25), (6.0, "kg", 47.10), (8.0, "kg", 62.80), (10.0, "kg", 78.50),
    (12.0, "kg", 94.20), (20.0, "kg", 157.0), (3 / 16, "lb", 7.66), (1 / 4, "lb", 10.21), (3 / 8, "lb", 15.31),
    (1 / 2, "lb", 20.42), (3 / 4, "lb", 30.63), (1.0, "lb", 40.83),
]  # fmt: skip


@pytest.mark.parametrize(("thickness", "unit", "printed"), PLATE_ROWS)
def test_a_plate_weighs_what_tables_of_steel_plate_print(thickness: float, unit: str, printed: float) -> None:
    """Rows as steel handbooks and AISC's manual have them (from memory); printed to two decimals."""
    side = 1000.0 if unit == "kg" else 12 * INCH
    outline = rounded(np.array([(0.0, 0.0), (side, 0.0), (side, side), (0.0, side)]), np.zeros(4))
    plate = Plate(name="square", thickness=thickness if unit == "kg" else thickness * INCH, outline=outline)
    found = plate.mass() if unit == "kg" else plate.mass() / POUND
    assert found == pytest.approx(printed, rel=2.5e-4, abs=0.006)


def test_plates_without_a_place_are_weighed_apart() -> None:
    weight = weigh(build_frame(read_job(TRAILER)))
    assert [(name, count) for name, count, _ in weight.apart] == [("winch post ear", 2)]
    coupling = next(piece for piece in weight.pieces if piece.label == "coupling plate")
    # 200 x 160 x 10 mm with 15 mm corners and four 13 mm holes
    area = 200 * 160 - (4 - np.pi) * 15**2 - 4 * np.pi * 13**2 / 4
    assert coupling.mass == pytest.approx(area * 10 * STEEL_DENSITY)
    # its holes lie 35 and 95 mm from its rear edge: its middle of mass moves by their moment
    shift = -(2 * 35 + 2 * 95 - 4 * 100) * np.pi * 13**2 / 4 / area
    assert coupling.centre[0] == pytest.approx(130 + 100 + shift)


def test_an_uneven_frame_leans(tmp_path: Path) -> None:
    frame = build_frame(read_job(HAULER))
    one_sided = replace(frame, parts=tuple(one for one in frame.parts if one.hand != "left"))
    weight = weigh(one_sided)
    assert weight.right > weight.left > 0
    assert weight.centre is not None
    assert weight.centre[1] > 0
