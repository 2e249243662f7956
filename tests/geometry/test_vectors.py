"""The cross product of single vectors is numpy's to the last digit, and any stack of vectors is numpy's own."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from railmodel.geometry.vectors import cross

NUMBER = st.floats(-1e6, 1e6)
VECTOR = st.tuples(NUMBER, NUMBER, NUMBER).map(np.array)


@given(VECTOR, VECTOR)
def test_one_vector_with_another(a: np.ndarray, b: np.ndarray) -> None:
    assert cross(a, b).tobytes() == np.cross(a, b).tobytes()


def test_stacks_of_vectors() -> None:
    rng = np.random.default_rng(1)
    many, one = rng.normal(size=(4, 5, 3)), rng.normal(size=3)
    np.testing.assert_array_equal(cross(many, one), np.cross(many, one))
    np.testing.assert_array_equal(cross(one, many), np.cross(one, many))
    np.testing.assert_array_equal(cross(many, many[::-1]), np.cross(many, many[::-1]))
