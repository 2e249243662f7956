"""Derivatives of places and gaps by every value of the bend table, for 200 random rails, to 1e-7.

Outside source of the check: the complex-step derivative, exact to rounding (W. Squire and G. Trapp, SIAM Review 40,
1998, pages 110 to 112; from memory), through homogeneous matrices in numpy's own complex arithmetic.
"""

from typing import Any

import numpy as np
import pytest

from railmodel.geometry.centreline import Centreline, Pose
from railmodel.geometry.rows import BendRows
from railmodel.sureness.screws import Columns, Place, Working, moved, screws

STEP = 1e-30
Complex = np.ndarray[Any, np.dtype[np.complex128]]


def random_rail(rng: np.random.Generator, bends: int) -> Centreline:
    heading, top = rng.normal(size=(2, 3))
    rows = BendRows.of(
        rng.uniform(100, 600, bends), rng.uniform(-np.pi, np.pi, bends), rng.uniform(0.05, 2.0, bends),
        rng.uniform(100, 300, bends), rng.uniform(100, 600),
    )  # fmt: skip
    return Centreline(rows, Pose.of(rng.uniform(-500, 500, 3), heading, top))


def placed(turn: Complex, by: Complex) -> Complex:
    """(x, 4, 4) from turns (x, 3, 3) and shifts (x, 3)."""
    found = np.zeros((len(turn), 4, 4), dtype=complex)
    found[:, :3, :3], found[:, :3, 3], found[:, 3, 3] = turn, by, 1.0
    return found


def about_t(angle: Complex) -> Complex:
    """Turn of the frame (t, s, u) about t, right-handed: u goes to -s."""
    c, s, o = np.cos(angle), np.sin(angle), np.zeros_like(angle)
    turn = np.array([[o + 1, o, o], [o, c, -s], [o, s, c]])
    return placed(np.moveaxis(turn, 2, 0), np.zeros((len(angle), 3), dtype=complex))


def toward_u(angle: Complex, radius: Complex) -> Complex:
    """An arc toward u."""
    c, s, o = np.cos(angle), np.sin(angle), np.zeros_like(angle)
    turn = np.array([[c, o, -s], [o, o + 1, o], [s, o, c]])
    return placed(np.moveaxis(turn, 2, 0), np.stack([radius * s, o, radius * (1 - c)], axis=-1))


def ahead(length: Complex) -> Complex:
    turn = np.broadcast_to(np.eye(3, dtype=complex), (len(length), 3, 3))
    return placed(turn, np.stack([length, 0 * length, 0 * length], axis=-1))


class Steps:
    """A rail whose every value is a complex step off, one in each row of a batch."""

    def __init__(self, line: Centreline, working: Working, k: np.ndarray) -> None:
        n = line.rows.count
        columns = Columns(n)
        off = 1j * STEP * np.eye(columns.count)
        rows = line.rows
        by = {name: off[:, columns.block(name)] for name in ("distance", "rotation", "angle", "radius", "roll")}
        self.angle, self.radius = rows.angle + by["angle"], rows.radius + by["radius"]
        self.roll = np.cumsum(rows.rotation + by["rotation"], axis=1) + by["roll"]
        straights = rows.straights + 0j * off[:, :1]
        straights[:, :-1] += by["distance"]
        straights[:, -1] += off[:, columns.tail]
        if working == "marks fixed":
            used = (1 - k) * self.angle * self.radius + off[:, columns.block("tube use")]
            straights[:, 1:] -= by["distance"] + used - (1 - k) * rows.angle * rows.radius
        self.straights = straights
        start = line.start
        turn = np.stack([start.t, start.s, start.u], axis=-1).astype(complex)
        frame = placed(turn[None], start.at[None].astype(complex)) * np.ones((columns.count, 1, 1))
        self.begins = []
        for i in range(n + 1):
            self.begins.append(frame)
            frame = frame @ ahead(straights[:, i])
            if i < n:
                self.begins.append(frame)
                frame = frame @ self.bent(i, self.angle[:, i])

    def bent(self, i: int, turn: Complex) -> Complex:
        # inward = cos(roll) u - sin(roll) s: a turn of u about t by the roll
        return about_t(self.roll[:, i]) @ toward_u(turn, self.radius[:, i]) @ about_t(-self.roll[:, i])

    def at(self, place: Place) -> Complex:
        if place.bend is None:
            return self.begins[place.stretch] @ ahead(self.straights[:, place.stretch // 2] * place.share)
        return self.begins[place.stretch] @ self.bent(place.bend, self.angle[:, place.bend] * place.share)

    def foot(self, place: Place, point: Complex) -> Complex:
        """Frame where the rail comes nearest to points (x, 3, complex too)."""
        seen = (back(self.begins[place.stretch]) @ homogeneous(point))[:, :, 0]
        if place.bend is None:
            return self.begins[place.stretch] @ ahead(seen[:, 0])
        turned = (about_t(-self.roll[:, place.bend]) @ seen[:, :, None])[:, :, 0]
        turn = np.arctan(turned[:, 0] / (self.radius[:, place.bend] - turned[:, 2]))
        nominal = place.share * self.angle[0, place.bend].real
        return self.begins[place.stretch] @ self.bent(
            place.bend, turn + np.pi * np.round((nominal - turn.real) / np.pi)
        )


def homogeneous(point: Complex) -> Complex:
    return np.concatenate([point, np.ones((len(point), 1))], axis=-1)[:, :, None]


def back(frame: Complex) -> Complex:
    turn = np.swapaxes(frame[:, :3, :3], 1, 2)
    return placed(turn, -(turn @ frame[:, :3, 3:])[:, :, 0])


def places(rng: np.random.Generator, bends: int) -> list[Place]:
    return [Place(stretch, float(rng.uniform(0.05, 0.95))) for stretch in range(2 * bends + 1)]


@pytest.mark.parametrize("working", ["marks fixed", "straights held"])
@pytest.mark.parametrize("datum", ["leading end", "a straight", "trailing end"])
def test_places_and_gaps_of_200_rails(working: Working, datum: str) -> None:
    rng = np.random.default_rng([len(working), len(datum)])
    for _ in range(34):  # for each of six: 204 rails
        n = int(rng.integers(1, 11))
        line, k = random_rail(rng, n), rng.uniform(0, 0.03, n)
        held = {
            "leading end": Place(0, 0.0), "a straight": Place(2 * int(rng.integers(0, n + 1)), 0.5),
            "trailing end": Place(2 * n, 1.0),
        }[datum]  # fmt: skip
        steps, own = Steps(line, working, k), places(rng, n)
        found = screws(line, own, working, datum=held, stretch=k)
        nominal = steps.at(held).real
        laid = nominal @ back(steps.at(held))  # what brings the datum back where it belongs
        for i, place in enumerate(own):
            local = np.array([0.0, *rng.uniform(-200, 200, 2)])
            point = steps.at(place) @ np.append(local, 1.0)
            there = point[0, :3].real
            exact = np.einsum("xij,xj->xi", laid, point).imag[:, :3] / STEP
            assert np.abs(moved(found[i], there) - exact).max() <= 1e-7

            # the gap of that point, held in space, along a direction of the cross-section at its nearest place
            lean = rng.uniform(0, 2 * np.pi)
            seen = (back(laid) @ homogeneous(np.tile(there, (len(laid), 1)).astype(complex)))[:, :3, 0]
            foot = steps.foot(place, seen)
            if abs(foot[0, :3, 3].real - steps.at(place)[0, :3, 3].real).max() > 1e-6:
                continue  # beyond the axis of the bend another place of it is nearer
            normal = np.cos(lean) * foot[:, :3, 2] + np.sin(lean) * foot[:, :3, 1]
            gap = np.einsum("xi,xi->x", seen - foot[:, :3, 3], normal)
            slope = -moved(found[i], there) @ normal[0].real
            assert np.abs(slope - gap.imag / STEP).max() <= 1e-7
