"""The rotation between bends against a published dihedral angle.

Source: the worked example of a public question-and-answer page (number 20305272), which stands in many public test
suites; the values to 1e-9 are those biopython 1.88 gives for the same points.

How the two relate: a chemist's dihedral looks along the middle leg from front to back and counts the turn that brings
the front leg's side onto the back leg's side, clockwise positive (IUPAC). Clockwise seen along the travel is
right-handed about the travel; each bend goes to the side its neighbouring leg lies on; so a dihedral of four points
*is* the rotation from the first bend onto the second, with its sign. 0 is a C (both bends to one side), 180 an S.
"""

import numpy as np
import pytest

from railmodel.geometry.rows import rows_from_points

POINTS = np.array(
    [
        [24.969, 13.428, 30.692],
        [24.044, 12.661, 29.808],
        [22.785, 13.482, 29.543],
        [21.951, 13.670, 30.431],
        [23.672, 11.328, 30.466],
        [22.881, 10.326, 29.620],
        [23.691, 9.935, 28.389],
        [22.557, 9.096, 30.459],
    ]
)
PUBLISHED = [
    ((0, 1, 2, 3), -71.21515, -71.21515114671394),
    ((0, 1, 4, 5), -171.94319, -171.94319947953628),
    ((1, 4, 5, 6), 60.82226, 60.82226735264637),
    ((1, 4, 5, 7), -177.63641, -177.63641151521261),
]


@pytest.mark.parametrize(("which", "published", "exact"), PUBLISHED)
def test_the_rotation_of_the_second_bend_is_the_published_dihedral(
    which: tuple[int, ...], published: float, exact: float
) -> None:
    rotation = np.degrees(rows_from_points(POINTS[list(which)], [0.0, 0.0]).rotation[1])
    assert rotation == pytest.approx(exact, abs=1e-9)
    assert rotation == pytest.approx(published, abs=1e-5)  # the page cuts off after five figures


@pytest.mark.parametrize(("which", "published", "exact"), PUBLISHED)
def test_from_the_other_end_the_dihedral_keeps_its_sign_and_a_mirror_changes_it(
    which: tuple[int, ...], published: float, exact: float
) -> None:
    points = POINTS[list(which)]
    assert np.degrees(rows_from_points(points[::-1], [0.0, 0.0]).rotation[1]) == pytest.approx(exact, abs=1e-9)
    mirrored = points * [1.0, -1.0, 1.0]
    assert np.degrees(rows_from_points(mirrored, [0.0, 0.0]).rotation[1]) == pytest.approx(-exact, abs=1e-9)
