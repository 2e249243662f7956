"""Many rails at once are the same rails one by one, and what is said of their ends and feet is what `check` says."""

from pathlib import Path

import numpy as np
import pytest
from sure_jobs import LADDER, pair_frame

from railmodel.fitting.fit_job import Fit
from railmodel.fitting.fit_point import foot_on
from railmodel.sureness.datum import Datum
from railmodel.sureness.exact import laid_lines
from railmodel.sureness.march import columns_off, face_gap, lay_out, rails_off
from railmodel.sureness.screws import Columns, Working
from railmodel.sureness.sensitivity import Bent, point_on, sensitivity

SIZES = {"distance": 6.0, "rotation": 0.04, "angle": 0.04, "radius": 4.0, "roll": 0.02, "tube use": 2.0}
COUNT = 16


def off(columns: Columns, seed: int) -> list[tuple[int, np.ndarray]]:
    rng = np.random.default_rng(seed)
    found = [
        (columns.of(field, bend), size * rng.normal(size=COUNT))  # type: ignore[arg-type]
        for field, size in SIZES.items()
        for bend in range(1, columns.bends + 1)
    ]
    return [*found, (columns.tail, 3.0 * rng.normal(size=COUNT))]


@pytest.mark.parametrize(
    ("datum", "working", "more"),
    [
        ("main", "marks fixed", ""),
        ("front", "straights held", ""),
        ("rear", "marks fixed", "    leading_end: rear"),
        ("straight 3", "straights held", "    leading_end: rear"),
    ],
)
def test_every_gap_is_that_of_the_rail_built_by_itself(tmp_path: Path, datum: str, working: Working, more: str) -> None:
    # 40 places along the rail, many of them on bends or so near a tangent that the foot leaves its stretch
    frame = pair_frame(tmp_path, LADDER[:5], count=40, more=more)
    found = sensitivity(frame, [Datum(datum)], working)
    bent = found.bent["rail right"]
    rails = rails_off(bent, working, columns_off(bent.columns, off(bent.columns, 4)))
    laid, lines = lay_out(bent, rails), laid_lines(bent, rails, COUNT)
    left = 0
    for measure in found.measures:
        if measure.on != "rail right":
            continue
        fit = measure.about
        assert isinstance(fit, Fit)
        assert measure.place is not None
        upright = fit.point.to.face == "top"
        section = fit.part.section
        roll = fit.part.read.roll_of(fit.point.to.face)
        reach = (section.height if upright else section.width) / 2
        gaps = face_gap(laid, measure.place, point_on(fit), roll, reach)
        feet = [foot_on(line, section, point_on(fit), roll) for line in lines]
        assert np.abs(gaps - [foot.gap for foot in feet]).max() < 1e-9
        left += sum((foot.kind == "bend") != (measure.place.bend is not None) for foot in feet)
    assert left >= 10  # feet did leave their stretch


@pytest.mark.parametrize("working", ["marks fixed", "straights held"])
def test_what_the_shop_holds_is_held(tmp_path: Path, working: Working) -> None:
    frame = pair_frame(tmp_path, LADDER[:4])
    bent: Bent = sensitivity(frame, [], working).bent["rail right"]
    columns = bent.columns
    rails = rails_off(bent, working, columns_off(columns, [(columns.of("angle", 2), np.array([0.0, 0.01]))]))
    straights = np.array([straight[1] - straight[0] for straight in rails.straights])
    eaten = np.zeros(5)
    if working == "marks fixed":  # the extra arc eats the straight behind it; no test bends, so no stretch is counted
        eaten[2] = -0.01 * bent.line.rows.radius[1]
    assert straights == pytest.approx(eaten, abs=1e-12)
    marks = rails_off(bent, working, columns_off(columns, [(columns.of("distance", 2), np.array([0.0, 1.0]))]))
    by = np.array([straight[1] - straight[0] for straight in marks.straights])
    assert by == pytest.approx([0, 1, -1 if working == "marks fixed" else 0, 0, 0])
