"""What must hold for the screws of any rail, whoever lays it out."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from railmodel.geometry.centreline import Centreline, Pose
from railmodel.geometry.rows import BendRows
from railmodel.sureness.screws import FIELDS, Columns, Place, moved, place_at, screws, turned

seeds = st.integers(0, 2**32 - 1)


def rail(seed: int) -> tuple[Centreline, np.random.Generator]:
    rng = np.random.default_rng(seed)
    n = int(rng.integers(1, 8))
    rows = BendRows.of(
        rng.uniform(50, 600, n), rng.uniform(-3, 3, n), rng.uniform(0.05, 2.5, n), rng.uniform(60, 300, n),
        rng.uniform(50, 600),
    )  # fmt: skip
    return Centreline(rows, Pose.of(rng.uniform(-500, 500, 3), rng.normal(size=3), rng.normal(size=3))), rng


def places(line: Centreline) -> list[Place]:
    return [Place(stretch, share) for stretch in range(2 * line.rows.count + 1) for share in (0.0, 0.4, 1.0)]


@given(seed=seeds)
def test_a_rotation_is_the_rolls_of_its_bend_and_of_all_behind_it(seed: int) -> None:
    line, _ = rail(seed)
    n, found = line.rows.count, screws(line, places(line))
    columns = Columns(n)
    rolls = found[:, columns.block("roll")]
    for bend in range(1, n + 1):
        assert np.allclose(found[:, columns.of("rotation", bend)], rolls[:, bend - 1 :].sum(axis=1), atol=1e-9)


@given(seed=seeds)
def test_whatever_is_held_two_places_move_alike_against_each_other(seed: int) -> None:
    line, rng = rail(seed)
    last = 2 * line.rows.count
    spots = [Place(int(rng.integers(0, last + 1)), float(rng.uniform())) for _ in range(3)]
    point = rng.uniform(-1000, 1000, 3)
    found = [moved(screws(line, spots[:2], datum=datum), point) for datum in (None, spots[2], Place(last, 1.0))]
    for other in found[1:]:
        assert np.allclose(other[0] - other[1], found[0][0] - found[0][1], atol=1e-8)
    assert np.allclose(screws(line, spots[2:], datum=spots[2]), 0.0)


@given(seed=seeds)
def test_with_straights_held_it_does_not_matter_which_end_leads(seed: int) -> None:
    line, rng = rail(seed)
    n, columns, back = line.rows.count, Columns(line.rows.count), line.reversed()
    place, datum = (Place(int(rng.integers(0, 2 * n + 1)), float(rng.uniform())) for _ in range(2))

    def seen(one: Place) -> Place:
        return Place(2 * n - one.stretch, 1 - one.share)

    ahead = screws(line, [place], "straights held", datum=datum)[0]
    behind = screws(back, [seen(place)], "straights held", datum=seen(datum))[0]
    for field, sign in (("angle", 1), ("radius", 1), ("roll", -1)):  # a roll looks the other way round from behind
        block = columns.block(field)  # type: ignore[arg-type]
        assert np.allclose(ahead[block], sign * behind[block][::-1], atol=1e-6)
    straights = [*range(n), columns.tail]
    assert np.allclose(ahead[straights], behind[straights][::-1], atol=1e-6)


@given(seed=seeds)
def test_marks_fixed_are_straights_held_with_the_straight_behind_paying(seed: int) -> None:
    line, rng = rail(seed)
    n, columns = line.rows.count, Columns(line.rows.count)
    k = rng.uniform(0, 0.05, n)
    spots = places(line)
    held, fixed = (screws(line, spots, working, stretch=k) for working in ("straights held", "marks fixed"))  # type: ignore[arg-type]
    behind = np.concatenate([held[:, 1:n], held[:, columns.tail][:, None]], axis=1)
    arcs = {"angle": (1 - k) * line.rows.radius, "radius": (1 - k) * line.rows.angle, "distance": np.ones(n)}
    for field in FIELDS:
        block = columns.block(field)
        paid = {**arcs, "tube use": np.ones(n)}.get(field, np.zeros(n))
        assert np.allclose(fixed[:, block], held[:, block] - paid[:, None] * behind, atol=1e-6)


@given(seed=seeds)
def test_directions_stay_unit_length_and_square(seed: int) -> None:
    line, _ = rail(seed)
    found = screws(line, places(line))
    a, b = np.array([1.0, 0, 0]), np.array([0, 1.0, 0])
    assert np.allclose(turned(found, a) @ a, 0.0)
    assert np.allclose(turned(found, a) @ b + turned(found, b) @ a, 0.0)


@given(seed=seeds)
def test_a_place_by_its_length_is_that_place(seed: int) -> None:
    line, rng = rail(seed)
    station = float(rng.uniform(0, line.length))
    place = place_at(line, station)
    stretch = line.stretches[place.stretch]
    assert abs(stretch.station + place.share * stretch.length - station) < 1e-9 * max(line.length, 1)
