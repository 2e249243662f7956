"""Clearances of the rehearsal are those of closed forms and of dense sampling, and what it says can be acted on."""

from dataclasses import replace
from math import pi
from pathlib import Path

import numpy as np
import pytest
from bender_rails import TUBE, R, part, random_part
from numpy.typing import NDArray

from railmodel.bending.clearing import Close
from railmodel.bending.machine import Machine, MachineSolid
from railmodel.bending.rehearsal import Rehearsal, Step, Tooling, rehearse, rehearse_both
from railmodel.errors import GeometryError
from railmodel.geometry.centreline import Centreline, Pose
from railmodel.job.reader import read_shop
from railmodel.part import RailPart

Array = NDArray[np.float64]

BELOW = 1.0
"""How far a reported clearance may lie below the true one, mm."""


def step(rehearsal: Rehearsal, name: str) -> Step:
    return next(step for step in rehearsal.steps if step.name == name)


def close(rehearsal: Rehearsal, name: str) -> Close:
    found = step(rehearsal, name).close
    assert found is not None
    return found


# --- closed forms


def hooked(lead: float = 500.0, rolls: tuple[float, float] = (0, 1)) -> RailPart:
    """A 90-degree bend, then a turn that swings the lead in a circle about the tube axis."""
    return part([lead, 300.0], list(rolls), [pi / 2, 0.3], 600.0)


SHOP = """
shop: Test bay
units: in
bender:
  bends: counter-clockwise
  centreline_height: 38
  solids:
    - {name: wall, box: {at: [0, 100, 0], size: [200, 2, 100], turn: [0, 0, 28.64788975654116]}}
    - {cylinder: {from: [20, 0, -10], to: [20, 0, -5], diameter: 4}, moves: arm}
dies:
  hard 7: {height: 3, width: 2, way: hard, radius: 7, grip: 6, tail: 9}
"""

REACH = float(np.hypot(500.0 + R, TUBE.width / 2))
"""How far the cut end of `hooked` reaches from the tube axis: its corner, across the plane of the bend."""


def test_the_lead_clears_the_floor_by_a_known_distance() -> None:
    """A clockwise bender turned 90 degrees counter-clockwise lets the hook down; its corner passes the lowest point."""
    rehearsal = rehearse(hooked(rolls=(0, 1)).read, Machine(bends="clockwise", centreline_height=REACH + 80.0))
    found = close(rehearsal, "turn 2")
    assert found.against == "floor"
    assert 80.0 - BELOW <= found.gap <= 80.0 + 1e-9
    assert rehearsal.ok
    assert rehearsal.least is not None
    assert rehearsal.least.name == "turn 2"
    assert found.where[2] == pytest.approx(-REACH, abs=BELOW)
    assert found.station < 300.0
    assert step(rehearsal, "turn 2").hits == frozenset()


def test_a_lead_longer_than_the_bender_is_high_hits_the_floor() -> None:
    rehearsal = rehearse(hooked().read, Machine(bends="clockwise", centreline_height=REACH - 120.0))
    found = close(rehearsal, "turn 2")
    assert -120.0 - BELOW <= found.gap <= -120.0 + 1e-9
    assert not rehearsal.ok
    assert step(rehearsal, "turn 2").hits == {"floor"}
    stop = rehearsal.findings()[0]
    assert (stop.rule, stop.level, stop.bend, stop.part, stop.hand) == ("rehearsal", "stop", 2, "rail", "right")
    assert stop.says.startswith("rail right, front end leading, step turn 2: the tube hits the floor, about 120")
    assert stop.where is not None
    assert rehearsal.reading.line.closest([stop.where])[0][0] == pytest.approx(found.station, abs=1e-6)


def test_the_other_sense_lifts_the_same_lead_off_the_floor() -> None:
    """On a counter-clockwise bender the bend lies on the other side, and the same turn carries the hook up."""
    rehearsal = rehearse(hooked().read, Machine(bends="counter-clockwise", centreline_height=REACH - 120.0))
    assert rehearsal.ok


@pytest.mark.parametrize("sense", ["clockwise", "counter-clockwise"])
def test_a_tube_turned_over_goes_the_way_that_clears_the_floor(sense: str) -> None:
    machine = Machine(bends=sense, centreline_height=REACH - 120.0)  # type: ignore[arg-type]
    rehearsal = rehearse(hooked(rolls=(0, 2)).read, machine)
    turned = step(rehearsal, "turn 2")
    assert rehearsal.ok
    assert turned.over == ("counter-clockwise" if sense == "clockwise" else "clockwise")
    assert turned.other_way == pytest.approx(-120.0, abs=BELOW)
    highest = rehearsal.state([s.name for s in rehearsal.steps].index("turn 2"), 0.5).points[0]
    assert highest == pytest.approx([rehearsal.state(3, 0.5).points[0][0], 0.0, 500.0 + R])


def test_the_lead_swings_past_a_column_by_a_known_distance() -> None:
    """The tip's outer corner describes a circle about the die axis."""
    rail = part([800.0], [0], [pi / 2], 500.0)
    tip = float(np.hypot(800.0, R + TUBE.height / 2))
    turn = -pi / 2 + np.arctan2(800.0, R + TUBE.height / 2) + 0.7  # somewhere inside the swing
    away = tip + 40.0 + 60.0
    x, y = away * np.cos(turn), R + away * np.sin(turn)
    post = MachineSolid.cylinder("post", (x, y, -900), (x, y, 900), 120.0)
    found = close(rehearse(rail.read, Machine(bends="counter-clockwise", solids=(post,))), "bend 1")
    assert found.against == "post"
    assert 40.0 - BELOW <= found.gap <= 40.0 + 1e-6
    assert found.fraction == pytest.approx(0.7 / (pi / 2), abs=0.02)


def test_the_set_angle_counts_not_the_finished_one() -> None:
    """A wall that the finished part misses and the overbent one does not."""
    rail = part([800.0], [0], [pi / 2], 500.0)
    wall = MachineSolid.box("wall", (R + TUBE.height / 2 - 1e4 / 2 - 300.0, R + 600, 0), (1e4, 400, 2000))
    machine = Machine(bends="counter-clockwise", solids=(wall,))
    finished = close(rehearse(rail.read, machine), "bend 1")
    # at 90 degrees the lead stands along y, its inner side at x = radius - half the depth
    assert finished.gap == pytest.approx(R - TUBE.height / 2 - (R + TUBE.height / 2 - 300.0), abs=BELOW)
    tooling = Tooling(set_angles=(pi / 2 + 0.35,), ahead=(150.0,), behind=(200.0,))
    over = rehearse(rail.read, machine, tooling)
    assert step(over, "bend 1").hits == {"wall"}
    assert not [says for says in over.unchecked if says.startswith(("overbend", "grip"))]


def test_a_hairpin_reports_how_near_the_tube_comes_to_itself() -> None:
    """Two 90-degree bends the same way: nearest as the second begins, inner corner to the edge at the start tangent."""
    rail = part([400.0, 200.0], [0, 0], [pi / 2, pi / 2], 900.0)
    found = close(rehearse(rail.read, Machine(bends="counter-clockwise")), "bend 2")
    inside = R - TUBE.height / 2
    true = float(np.hypot(200.0 + inside, inside))
    assert found.against == "the tube itself"
    assert true - 1.5 <= found.gap <= true + 1e-6
    assert found.fraction == pytest.approx(0.0, abs=0.01)


def test_a_coil_runs_into_itself() -> None:
    rail = part([150.0, 200.0, 200.0, 200.0], [0, 0, 0, 0], [pi / 2] * 4, 900.0)
    rehearsal = rehearse(rail.read, Machine())
    assert [s.name for s in rehearsal.steps if s.hits] == ["bend 4"]
    assert step(rehearsal, "bend 4").hits == {"the tube itself"}
    assert "hits the tube itself" in rehearsal.findings()[0].says


def test_gentle_bends_never_count_as_near_to_themselves() -> None:
    rehearsal = rehearse(part([200.0] * 4, [0, 2, 1, -1], [0.5] * 4, 900.0).read, Machine())
    assert [s.close for s in rehearsal.steps] == [None] * len(rehearsal.steps)
    assert rehearsal.ok
    assert rehearsal.least is None


def test_pushing_the_tube_on_from_the_front_sweeps_its_length_there() -> None:
    rail = part([500.0], [0], [0.5], 2500.0)
    length = rail.line.length
    wall = MachineSolid.box("front wall", (length + 30.0 + 50.0, 0, 0), (100, 4000, 2000))
    front = rehearse(rail.read, Machine(solids=(wall,)))
    assert 30.0 - BELOW <= close(front, "load").gap <= 30.0
    assert close(front, "load").fraction == pytest.approx(0.0)
    side = rehearse(rail.read, Machine(solids=(wall,), loads="side"))
    assert close(side, "load").gap == pytest.approx(length + 30.0 - 500.0, abs=BELOW)


def test_the_stock_behind_the_die_needs_room_and_trims_lengthen_it() -> None:
    rail = part([500.0], [0], [0.5], 1500.0)
    behind = rail.line.length - 500.0
    wall = MachineSolid.box("back wall", (-behind - 90.0 - 50.0, 0, 0), (100, 4000, 2000))
    plain = rehearse(rail.read, Machine(solids=(wall,), loads="side"))
    assert close(plain, "load").gap == pytest.approx(90.0, abs=BELOW)
    trimmed = rehearse(rail.read, Machine(solids=(wall,), loads="side"), Tooling(trim_lead=60.0, trim_tail=40.0))
    assert close(trimmed, "load").gap == pytest.approx(50.0, abs=BELOW)
    assert trimmed.run.length == pytest.approx(rail.line.length + 100.0)


def test_the_arm_on_its_way_home_passes_under_what_is_bent() -> None:
    rail = part([900.0], [0], [pi / 2], 500.0)
    bar = MachineSolid.box("bar", (700, 0, -200), (80, 80, 120), moves="arm")
    rehearsal = rehearse(rail.read, Machine(bends="counter-clockwise", solids=(bar,)))
    true = 140.0 - TUBE.width / 2  # bar's top below the centreline, less half the tube's width, which stands upright
    assert true - BELOW <= close(rehearsal, "return 1").gap <= true + 1e-6
    assert rehearsal.ok


def test_a_post_on_the_arm_clears_the_lead_as_both_swing_and_hits_it_on_the_way_home() -> None:
    rail = part([900.0], [0], [pi / 2], 500.0)
    post = MachineSolid.cylinder("post", (700, 250, -200), (700, 250, 200), 60, moves="arm")
    rehearsal = rehearse(rail.read, Machine(bends="counter-clockwise", solids=(post,)))
    assert [s.name for s in rehearsal.steps if s.hits] == ["return 1", "unload"]  # it is in the way out as well
    assert 250.0 - 30.0 - TUBE.height / 2 - BELOW <= close(rehearsal, "bend 1").gap


def test_solids_that_hold_the_tube_are_not_counted_against_it_there() -> None:
    rail = part([500.0, 300.0], [0, 0], [0.5, 0.5], 900.0)
    clamp = MachineSolid.box("clamp", (100, -70, 0), (140, 62, 150), moves="arm")
    rehearsal = rehearse(rail.read, Machine(bends="counter-clockwise", solids=(clamp,)))
    assert step(rehearsal, "bend 1").close is None
    assert rehearsal.ok


# --- against dense sampling


def tube_points(line: Centreline, begin: float, end: float) -> Array:
    """Points on the true outside of the tube between two stations, ends included."""
    turn = np.linspace(0, pi / 2, 5)
    middle = np.array([TUBE.width, TUBE.height]) / 2 - TUBE.corner
    quarter = middle + TUBE.corner * np.stack([np.cos(turn), np.sin(turn)], axis=-1)
    ring = np.concatenate([quarter, quarter[::-1] * [-1, 1], -quarter, quarter[::-1] * [1, -1]])
    after = np.roll(ring, -1, axis=0)
    ring = np.concatenate([ring + share * (after - ring) for share in (0, 0.25, 0.5, 0.75)])
    pose = line.pose_at(np.linspace(begin, end, max(2, int((end - begin) / 15))))
    points: Array = pose.at[:, None] + ring[:, :1] * pose.s[:, None] + ring[:, 1:] * pose.u[:, None]
    return points.reshape(-1, 3)


def box_distance(points: Array, box: MachineSolid) -> Array:
    """Distance of points to a box, closed form; 0 inside."""
    over = np.abs((points - box.centre) @ box.turn) - box.half
    return np.linalg.norm(np.maximum(over, 0.0), axis=-1)


def sampled(rehearsal: Rehearsal, index: int, points: Array, box: MachineSolid) -> float:
    """The least distance of the lead over a step, by dense sampling and again around the least."""
    low, high = 0.0, 1.0
    for _ in range(3):
        fractions = np.linspace(low, high, 41)
        gaps = []
        for fraction in fractions:
            matrix = rehearsal.state(index, float(fraction)).lead
            gaps.append(float(box_distance(points @ matrix[:3, :3].T + matrix[:3, 3], box).min()))
        best, width = fractions[int(np.argmin(gaps))], (high - low) / 20
        low, high = max(0.0, best - width), min(1.0, best + width)
    return min(gaps)


@pytest.mark.parametrize("seed", range(6))
def test_clearances_are_those_of_dense_sampling(seed: int) -> None:
    """Turn and bend of random parts past a random box ahead of the die: the bound holds, and is close."""
    rng = np.random.default_rng(seed)
    rail = random_part(rng, 4, 0.1, 0.4)
    at = (float(rng.uniform(900, 1500)), float(rng.uniform(-900, 900)), float(rng.uniform(-700, 700)))
    size, turn = rng.uniform(100, 400, 3), rng.uniform(-1, 1, 3)
    box = MachineSolid.box("box", at, tuple(size.tolist()), tuple(turn.tolist()))
    sense = "clockwise" if seed % 2 else "counter-clockwise"
    rehearsal = rehearse(rail.read, Machine(bends=sense, solids=(box,), loads="side"))
    rows = rehearsal.run.rows
    length = float(rows.distance[0])
    line = Centreline(rows, Pose.of([length, 0, 0], [-1, 0, 0], rehearsal.run.moves[0].up))
    for index, found in enumerate(rehearsal.steps):
        if found.kind in ("turn", "bend") and found.close is not None:
            made = rehearsal.run.moves[index].made
            points = tube_points(line, 0.0, line.bends[made].station)
            true = sampled(rehearsal, index, points, box)
            if found.close.gap > 0:
                assert true - BELOW - 0.6 <= found.close.gap <= true + 1e-6  # 0.6: the sampling's own coarseness
            else:
                assert true < 0.6


def test_a_thin_rod_anywhere_in_the_sweep_is_found() -> None:
    """Nothing passes unseen between samples: a 2 mm wire at random places the lead's middle sweeps over."""
    rng = np.random.default_rng(11)
    rail = part([900.0], [0], [1.6], 500.0)
    for _ in range(40):
        away, turn = rng.uniform(400, 880), rng.uniform(0.05, 1.55)
        x, y = away * np.cos(turn) + R * np.sin(turn), R - R * np.cos(turn) + away * np.sin(turn)
        wire = MachineSolid.cylinder("wire", (x, y, -500), (x, y, 500), 2.0)
        rehearsal = rehearse(rail.read, Machine(bends="counter-clockwise", solids=(wire,), loads="side"))
        assert step(rehearsal, "bend 1").hits == {"wire"}


# --- both ends, and what cannot be known


def test_the_end_that_works_is_taken_and_the_sentence_says_why() -> None:
    """A hook at the front: led by the front it swings to the floor, led by the rear it is bent last."""
    rail = part([900.0, 300.0, 600.0], [0, 1, 1], [pi / 2, 0.2, 0.2], 900.0)
    both = rehearse_both(rail, Machine(bends="clockwise", centreline_height=965.0))
    assert (both.front.ok, both.rear.ok, both.best) == (False, True, "rear")
    assert both.why.startswith("rail right: only the rear end can lead: rear end leading clears everything by ")
    assert "front end leading hits the floor at turn 2, about " in both.why


def test_where_both_ends_work_the_one_with_more_room_is_taken() -> None:
    rail = part([500.0, 400.0], [0, 0], [1.0, 0.2], 500.0)
    wall = MachineSolid.box("wall", (0, 1500, 0), (8000, 100, 3000))
    both = rehearse_both(rail, Machine(bends="counter-clockwise", solids=(wall,)))
    gaps = (both.front.least_gap, both.rear.least_gap)
    assert both.best == ("front" if gaps[0] > gaps[1] else "rear")  # type: ignore[operator]
    assert "leaves more room" in both.why


def test_where_neither_end_works_it_says_so() -> None:
    rail = part([900.0, 300.0, 300.0], [0, 1, 2], [pi / 2, 0.2, pi / 2], 900.0)
    both = rehearse_both(rail, Machine(bends="clockwise", centreline_height=300.0))
    assert both.best is None
    assert "neither end can lead" in both.why


def test_what_is_not_known_is_named() -> None:
    rail = part([500.0, 300.0], [0, 1], [0.5, 0.5], 900.0)
    both = rehearse_both(rail, Machine())
    assert both.best == "front"
    assert "nothing around the bender is known" in both.why
    topics = [says.split(":")[0] for says in both.front.unchecked]
    assert topics == ["floor", "walls, bed and columns", "bending arm", "overbend", "grip"]


def test_a_margin_the_shop_wants_is_a_warning() -> None:
    rehearsal = rehearse(hooked().read, Machine(bends="clockwise", centreline_height=REACH + 30.0))
    assert rehearsal.findings() == ()
    warned = rehearsal.findings(margin=50.0)
    assert [(f.level, f.needs) for f in warned if f.found and f.found < 31] == [("warn", 50.0)] * len(warned)
    assert "the tube passes the floor at " in warned[0].says


def test_a_straight_part_is_only_loaded_and_unloaded() -> None:
    rail = part([], [], [], 2000.0)
    rehearsal = rehearse(rail.read, Machine(centreline_height=900.0))
    assert [s.name for s in rehearsal.steps] == ["load", "unload"]
    assert close(rehearsal, "load").gap == pytest.approx(900.0 - TUBE.width / 2, abs=BELOW)  # loaded on its side
    assert rehearsal.state(0, 0.5).points == pytest.approx(np.array([[1000.0, 0, 0], [-1000.0, 0, 0]]))


def test_a_bend_at_the_very_end_has_no_lead_yet() -> None:
    rail = part([0.0, 300.0], [0, 1], [0.5, 0.5], 900.0)
    wall = MachineSolid.box("wall", (0, 2500, 0), (8000, 100, 3000))
    rehearsal = rehearse(rail.read, Machine(centreline_height=900.0, solids=(wall,)))
    assert rehearsal.ok
    assert step(rehearsal, "bend 1").keep_out is not None


# --- the floor people keep out of


def test_the_floor_arc_is_the_circle_of_the_tips_outer_corner() -> None:
    rail = part([800.0, 400.0], [0, 0], [0.8, 0.4], 500.0)
    for sense, side in (("clockwise", -1), ("counter-clockwise", 1)):
        keep = step(rehearse(rail.read, Machine(bends=sense)), "bend 1").keep_out
        assert keep is not None
        assert keep.kind == "arc"
        assert keep.centre == pytest.approx((0.0, side * R))
        assert keep.radius == pytest.approx(np.hypot(800.0, R + TUBE.height / 2), abs=0.5)
        home, tip = -side * pi / 2, -side * pi / 2 + side * np.arctan2(800.0, R - TUBE.height / 2)
        assert (keep.start, keep.end) == pytest.approx(tuple(sorted((home, tip + side * 0.8))), abs=1e-3)


def test_turning_sweeps_a_drum_and_feeding_a_lane() -> None:
    rehearsal = rehearse(hooked().read, Machine())
    drum, lane = step(rehearsal, "turn 2").keep_out, step(rehearsal, "load").keep_out
    assert drum is not None
    assert lane is not None
    assert (drum.kind, lane.kind) == ("drum", "lane")
    assert drum.radius == pytest.approx(REACH, abs=BELOW)
    assert drum.front == pytest.approx(300.0 + R + TUBE.height / 2, abs=BELOW)
    assert lane.front == pytest.approx(rehearsal.run.length)
    assert lane.rear == pytest.approx(500.0 - rehearsal.run.length)


# --- solids, and what the shop file says of them


def test_a_bender_and_its_dies_are_taken_from_the_shop_file(tmp_path: Path) -> None:
    file = tmp_path / "shop.yaml"
    file.write_text(SHOP, encoding="utf-8")
    shop = read_shop(file)
    machine = Machine.of(shop.bender)
    assert (machine.bends, machine.side, machine.loads) == ("counter-clockwise", 1.0, "front")
    assert machine.centreline_height == pytest.approx(965.2)
    wall, second = machine.solids
    assert (wall.name, wall.moves, second.name, second.moves) == ("wall", "fixed", "solid 2", "arm")
    assert wall.centre == pytest.approx([0.0, 2540.0, 0.0])
    assert wall.half == pytest.approx([2540.0, 25.4, 1270.0])
    assert wall.turn[:, 0] == pytest.approx([np.cos(0.5), np.sin(0.5), 0.0])
    assert second.corners == pytest.approx(np.array([[508.0, 0, -254.0], [508.0, 0, -127.0]]))
    assert second.disc == pytest.approx(50.8)
    rail = replace(part([500.0, 300.0], [0, 1], [0.5, 0.5], 900.0), dies=("hard 7", None))
    tooling = Tooling.of(rail.read, shop.dies, (0.51, 0.52), (0.0, 25.0))
    assert tooling == Tooling(
        set_angles=(0.51, 0.52), ahead=(152.4, None), behind=(228.6, None), trim_lead=0.0, trim_tail=25.0
    )


def test_solids_need_sizes() -> None:
    with pytest.raises(GeometryError, match=r"bed: size .* is no box: every side must be above 0"):
        MachineSolid.box("bed", (0, 0, 0), (100, 0, 100))
    with pytest.raises(GeometryError, match="post: a cylinder needs two ends apart"):
        MachineSolid.cylinder("post", (0, 0, 0), (0, 0, 0), 20)


def test_a_turned_box_is_turned_about_x_then_y_then_z() -> None:
    box = MachineSolid.box("box", (0, 0, 0), (2, 4, 6), (0.3, 0.0, pi / 2))
    spin_x = np.array([[1, 0, 0], [0, np.cos(0.3), -np.sin(0.3)], [0, np.sin(0.3), np.cos(0.3)]])
    spin_z = np.array([[0, -1, 0], [1, 0, 0], [0, 0, 1]])
    assert box.turn == pytest.approx(spin_z @ spin_x)


def test_a_bend_through_its_own_centre_is_refused() -> None:
    rail = part([500.0], [0], [0.5], 900.0, radius=30.0)
    with pytest.raises(GeometryError, match="bend 1: radius 30 puts the bend's centre inside the tube"):
        rehearse(rail.read, Machine(centreline_height=900.0))


def test_both_hands_are_rehearsed_alike_on_mirrored_benders() -> None:
    """The left part on a counter-clockwise bender is the mirror image of the right one on a clockwise bender."""
    rail = random_part(np.random.default_rng(2), 5, 0.1, 0.5)
    post = MachineSolid.cylinder("post", (1200, 700, -900), (1200, 700, 900), 100)
    other = MachineSolid.cylinder("post", (1200, -700, -900), (1200, -700, 900), 100)
    right = rehearse(rail.read, Machine(bends="clockwise", solids=(post,)))
    left = rehearse(replace(rail, line=rail.line.mirrored()).read, Machine(bends="counter-clockwise", solids=(other,)))
    for one, two in zip(right.steps, left.steps, strict=True):
        assert one.name == two.name
        if one.close is not None and two.close is not None and one.close.gap > 0:
            assert one.close.gap == pytest.approx(two.close.gap, abs=BELOW)
