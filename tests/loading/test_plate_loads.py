"""Plates load the tubes that they touch; those that touch none, or have no place, are named."""

from pathlib import Path

import pytest
from commands import TRAILER
from ladders import LADDER, LOADS, ladder

from railmodel.frame import build_frame
from railmodel.job.mass import GRAVITY
from railmodel.job.reader import read_job
from railmodel.loading.carry import Screening, carry
from railmodel.loading.plate_loads import plate_loads
from railmodel.loading.weigh import weigh

PAD = """\
plates:
  - name: pad
    thickness: 60
    size: [200, 100]
    place: {{at: [1400, 375, {z}], normal: [0, 0, 1], up: [0, 1, 0]}}
"""
MASS = 200 * 100 * 60 * 7.85e-6
"""kg; its middle is at (1500, 425, z + 30)."""


def screened(folder: Path, loads: str = LOADS, head: str = LADDER) -> Screening:
    folder.mkdir()
    return carry(ladder(folder, loads, head))


def test_a_plate_on_a_rail_works_it_as_a_mass_of_its_weight_would(tmp_path: Path) -> None:
    plated = screened(tmp_path / "plate", head=LADDER + PAD.format(z=550))
    block = f"    - {{name: block, mass: {MASS:.6f} kg, at: [1500, 425, 580], on: [[1500, 400, 550]]}}\n"
    massed = screened(tmp_path / "mass", LOADS + block)
    bare = screened(tmp_path / "bare")
    assert plated.plates == (("pad", 1, pytest.approx(MASS)),)
    assert plated.left_out == ()
    for one, other in zip(plated.results[0].reactions, massed.results[0].reactions, strict=True):
        assert (one.up, one.roll) == pytest.approx((other.up, other.roll), rel=1e-9)
    assert plated.results[0].worst.stress == pytest.approx(massed.results[0].worst.stress, rel=0.01)
    assert plated.results[0].worst.stress > 1.03 * bare.results[0].worst.stress


def test_supports_carry_the_plates_that_are_weighed() -> None:
    frame = build_frame(read_job(TRAILER))
    screening = carry(frame)
    carried = weigh(frame).mass + sum(mass for _, mass in screening.masses)
    assert sum(one.up for one in screening.results[0].reactions) == pytest.approx(GRAVITY * carried, rel=1e-4)
    assert sum(count * mass for _, count, mass in screening.plates) == pytest.approx(
        sum(piece.mass for piece in weigh(frame).pieces if piece.kind == "plate")
    )


def test_a_gusset_rests_on_both_tubes_that_it_stands_between() -> None:
    frame = build_frame(read_job(TRAILER))
    loads, _ = plate_loads(frame, frame.parts)
    labels = [tuple(sorted(foot.label for foot in load.feet)) for load in loads]
    rails = ("drawbar rail left", "drawbar rail right")
    assert labels == [rails, ("drawbar rail right", "tail tube"), ("drawbar rail left", "tail tube")]


@pytest.mark.parametrize(("z", "count"), [(549, 0), (690, 0), (705, 1), (5000, 1)])
def test_a_plate_out_of_reach_of_every_tube_is_named(tmp_path: Path, z: int, count: int) -> None:
    """Within a bracket's reach, 150 mm, it stands on something that holds it; farther off it touches nothing."""
    screening = screened(tmp_path / "job", head=LADDER + PAD.format(z=z))
    assert sum(plate.count for plate in screening.left_out) == count
    for plate in screening.left_out:
        assert plate.why == "no tube that is held up is within reach"
        assert plate.mass == pytest.approx(MASS)


def test_a_plate_on_a_tube_that_nothing_holds_is_left_out_with_it(tmp_path: Path) -> None:
    spare = "  - {name: spare, tube: cross, points: [[1300, 400, 2000], [1700, 400, 2000]]}\ncrossmembers:"
    screening = screened(tmp_path / "job", head=LADDER.replace("crossmembers:", spare) + PAD.format(z=2030))
    assert screening.loose == ("spare",)
    assert [plate.name for plate in screening.left_out] == ["pad"]
