"""Tolerances added up: a published stack, and a worked example of a frame rail with two datums."""

from math import radians, sqrt

import numpy as np
import pytest

from railmodel.geometry.centreline import Centreline, Pose
from railmodel.geometry.rows import BendRows
from railmodel.sureness.screws import Columns, Place, moved, screws
from railmodel.sureness.sensitivity import Measure
from railmodel.sureness.spread import Cause, Sigma
from railmodel.sureness.stack import stack


def test_three_parts_in_a_slot_as_published() -> None:
    # A published worked example of linear stack-up (an engineering guide on tolerance analysis; its page was read):
    # parts of 2.000 +- .005, 1.500 +- .003 and .500 +- .002 in a slot of 4.020 +- .005 leave a gap of .020; worst case
    # +- .015 (.005 to .035), root-sum-square +- .00794 (.012 to .028).
    sizes, tolerances = np.array([4.020, 2.000, 1.500, 0.500]), [0.005, 0.005, 0.003, 0.002]
    signs = np.array([1.0, -1.0, -1.0, -1.0])
    causes = [
        Cause(
            owner=f"size {i}", label="slot", bend=i, field="distance", sigma=Sigma(value=tolerance, source="drawing"),
            pool="sizes", hits={"slot": ((i, 1.0),)},
        )
        for i, tolerance in enumerate(tolerances)
    ]  # fmt: skip
    gap = Measure(
        kind="fit point", name="gap", on="slot", what="gap", value=float(signs @ sizes), slopes={"slot": signs}
    )
    found = stack([gap], causes)
    assert gap.value == pytest.approx(0.020)
    assert found.worst(1.0)[0] == pytest.approx(0.015)
    assert found.spread[0] == pytest.approx(sqrt(63e-6))
    assert round(float(found.spread[0]), 5) == 0.00794
    assert found.shares([0], lambda cause: cause.owner)["size 0"] == pytest.approx(25 / 63)


def test_a_frame_rail_laid_by_its_front_end_and_by_its_main_straight() -> None:
    # A worked example of the trade (derived, not published): two easy bends of 12 degrees and two hard ones of 25,
    # straights 20, 8, 60, 9, 30 in, each angle and rotation off by 0.5 degrees, each length by 1/16 in: from the front
    # end the rear end scatters 1.5 in (3.3 at worst), from the main straight 0.52 rear and 0.35 front.
    straights, angles = np.array([20, 8, 60, 9, 30]) * 25.4, np.radians([12, 12, 25, 25])
    rows = BendRows.of(
        straights[:-1], np.radians([90, 180, -90, 180]), angles, np.array([8, 8, 10, 10]) * 25.4, straights[-1]
    )
    line = Centreline(rows, Pose.of([0, 0, 0], [1, 0, 0], [0, 0, 1]))
    columns = Columns(4)
    off = np.zeros(columns.count)
    off[columns.block("distance")] = 25.4 / 16
    off[columns.block("angle")] = off[columns.block("rotation")] = radians(0.5)

    def scatter(datum: Place, end: Place) -> tuple[float, float]:
        at = line.start.at if end.stretch == 0 else line.end.at
        by = moved(screws(line, [end], "straights held", datum=datum)[0], at) * off[:, None] / 25.4
        size = np.linalg.norm(by, axis=1)
        return float(np.sqrt((size**2).sum())), float(size.sum())

    front, rear, main = Place(0, 0.0), Place(8, 1.0), Place(4, 0.5)
    assert scatter(front, rear) == (pytest.approx(1.5, abs=0.05), pytest.approx(3.3, abs=0.05))
    assert scatter(main, rear)[0] == pytest.approx(0.52, abs=0.005)
    assert scatter(main, front)[0] == pytest.approx(0.35, abs=0.005)
