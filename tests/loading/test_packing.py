"""Boxes against brute force over all turns; nested pairs against their own outlines; crates and freight classes."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from commands import HAULER, TRAILER
from rails import part, random_legal_line, random_section
from scipy.optimize import minimize
from scipy.spatial import ConvexHull
from scipy.spatial.transform import Rotation

from railmodel.frame import build_frame
from railmodel.geometry.rows import Array
from railmodel.job.freight import Freight
from railmodel.job.reader import read_job
from railmodel.loading.packing import SAG, freight_row, hull_points, nested, pack, part_box, smallest_box

FREIGHT = Freight.model_validate(
    {
        "clearance": 20, "between": 10, "dunnage": 20,
        "pallet": {"length": 6000, "width": 1200, "height": 1000, "weight": 500},
        "rows": [
            {"name": "short", "length": 2400, "weight": 300, "price": 100},
            {"name": "long", "length": 6000, "weight": 400, "price": 300},
            {"name": "heavy", "length": 6000, "weight": 900, "price": 500},
        ],
    },
    context={"units": "mm"},
)  # fmt: skip


def brute_force(points: Array, seed: int, starts: int = 800, best_of: int = 3) -> float:
    """The least volume over many turns, the best of them followed downhill."""
    points = points[ConvexHull(points).vertices]
    turns = Rotation.random(starts, random_state=seed + 1)
    sizes = np.ptp(np.einsum("qij,vj->qvi", turns.as_matrix(), points), axis=1)

    def volume(vector: Array, turn: Rotation) -> float:
        return float(np.prod(np.ptp((Rotation.from_rotvec(vector) * turn).apply(points), axis=0)))

    return min(
        float(minimize(volume, np.zeros(3), args=(turns[int(i)],), method="Nelder-Mead",
                       options={"maxiter": 300, "xatol": 1e-6, "fatol": 1.0}).fun)
        for i in np.argsort(np.prod(sizes, axis=1))[:best_of]
    )  # fmt: skip


@pytest.mark.parametrize(("seed", "bends"), [(1, 0), (3, 2), (72, 3), (73, 4), (91, 5)])
def test_no_turn_gives_a_smaller_box(seed: int, bends: int) -> None:
    rng = np.random.default_rng(seed)
    section = random_section(rng)
    rail = part(random_legal_line(rng, bends, section=section), section)
    points = hull_points(rail)
    _, sizes = smallest_box(points)
    assert np.prod(sizes) <= brute_force(points, seed) * 1.005
    axes, _ = smallest_box(points)
    np.testing.assert_allclose(axes @ axes.T, np.eye(3), atol=1e-9)


@pytest.mark.parametrize("path", [HAULER, TRAILER])
def test_no_turn_of_a_demo_part_gives_a_smaller_box(path: Path) -> None:
    for number, rail in enumerate(build_frame(read_job(path)).parts):
        points = hull_points(rail)
        assert np.prod(part_box(rail)[1]) <= brute_force(points, number) * 1.0001


def test_a_straight_tube_is_its_own_box() -> None:
    boxes = {box.name: box for box in pack(build_frame(read_job(TRAILER))).parts}
    np.testing.assert_allclose(boxes["axle tube"].size, (1080, 80, 40), atol=2 * SAG)


def test_a_nested_pair_lies_as_close_as_its_outlines_let_it() -> None:
    """The hauler's rail bends in one plane: the least lift is the widest that its band is along the lift."""
    frame = build_frame(read_job(HAULER))
    rail = next(one for one in frame.parts if one.label == "side rail right")
    found = nested(rail, None)
    axes, sizes = smallest_box(hull_points(rail))
    stations = np.linspace(0, rail.line.length, 20_001)
    pose = rail.line.pose_at(stations)
    half = rail.section.height / 2
    flat = [(pose.at + side * half * pose.u) @ axes[:2].T for side in (-1, 1)]
    low, high = sorted(flat, key=lambda edge: float(edge[:, 1].mean()))
    low, high = low[np.argsort(low[:, 0])], high[np.argsort(high[:, 0])]
    x = np.linspace(max(low[0, 0], high[0, 0]), min(low[-1, 0], high[-1, 0]), 5000)
    band = np.interp(x, high[:, 0], high[:, 1]) - np.interp(x, low[:, 0], low[:, 1])
    lift = band.max()
    on_edge = np.sort([sizes[0], sizes[1] + lift, sizes[2]])[::-1]
    assert found.how.startswith("on edge")
    assert on_edge[1] <= found.size[1] <= on_edge[1] + 8.0  # never less, and more by no more than a cell or two
    assert found.size[0] == pytest.approx(on_edge[0], abs=1.0)
    assert found.size[2] == pytest.approx(on_edge[2], abs=1.0)
    assert found.volume < 2 * np.prod(sizes) * 0.75  # nesting is worth it
    padded = nested(rail, FREIGHT)
    assert padded.size[1] == pytest.approx(found.size[1] + FREIGHT.between, abs=1e-6)


def test_a_pair_too_wide_for_the_pallet_on_edge_is_laid_flat() -> None:
    frame = build_frame(read_job(HAULER))
    rail = next(one for one in frame.parts if one.label == "side rail right")
    narrow = FREIGHT.model_copy(update={"pallet": FREIGHT.pallet.model_copy(update={"width": 300.0})})  # type: ignore[union-attr]
    laid = nested(rail, narrow)
    assert laid.how.startswith("flat")
    assert laid.size[1] <= 300.0 - 2 * narrow.clearance
    assert laid.volume > nested(rail, FREIGHT).volume


def test_the_smallest_class_that_takes_it_counts() -> None:
    for length, mass, name in ((2000, 100, "short"), (2400, 300, "short"), (2401, 100, "long"), (2000, 350, "long"),
                               (2000, 401, "heavy")):  # fmt: skip
        row = freight_row(FREIGHT, length, mass)
        assert row is not None
        assert row.name == name
    assert freight_row(FREIGHT, 6001, 10) is None
    assert freight_row(FREIGHT, 2000, 901) is None


def test_the_crate_holds_every_lot_and_weighs_with_its_dunnage() -> None:
    frame = build_frame(read_job(HAULER))
    packing = pack(frame)
    crate = packing.crate
    assert crate is not None
    assert frame.shop is not None
    assert frame.shop.freight is not None
    clear = 2 * frame.shop.freight.clearance
    assert crate.size[0] >= max(lot.size[0] for lot in packing.lots) + clear - 1e-9
    assert np.prod(np.array(crate.size) - clear) >= sum(lot.volume for lot in packing.lots)
    assert crate.mass == pytest.approx(crate.steel * 1.15)
    assert crate.steel == pytest.approx(sum(lot.mass for lot in packing.lots))
    assert crate.row is not None
    assert crate.row.name == "over 12 ft"
    assert crate.too_much == ()


def test_a_crate_no_class_takes_says_so(tmp_path: Path) -> None:
    text = HAULER.read_text().replace("../shop.yaml", "shop.yaml")
    shop = (HAULER.parents[1] / "shop.yaml").read_text()
    for old, new in (
        ("test_bends.csv", str(HAULER.parents[1] / "test_bends.csv")), ("length: 16 ft", "length: 13 ft"),
        ("length: 20 ft, weight: 2200", "length: 13 ft, weight: 2200"), ("{length: 20 ft", "{length: 12 ft"),
    ):  # fmt: skip
        assert old in shop
        shop = shop.replace(old, new)
    (tmp_path / "hauler.yaml").write_text(text)
    (tmp_path / "shop.yaml").write_text(shop)
    crate = pack(build_frame(read_job(tmp_path / "hauler.yaml"))).crate
    assert crate is not None
    assert crate.row is None
    assert "ask the carrier" in crate.too_much[0]
    assert "the crate's length is 161.029 in and the pallet takes 144.000 in" in crate.too_much[1]


def test_without_freight_there_are_boxes_and_no_crate() -> None:
    frame = build_frame(read_job(HAULER))
    assert frame.shop is not None
    source = replace(frame.source, shop=frame.shop.model_copy(update={"freight": None}))
    packing = pack(replace(frame, source=source))
    assert packing.crate is None
    assert len(packing.lots) == len(packing.parts) - 1
