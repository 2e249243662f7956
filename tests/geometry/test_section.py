"""Sections: what is refused, how properties scale, and their values by plain strip integration."""

from dataclasses import fields

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from railmodel.errors import GeometryError
from railmodel.geometry.section import STEEL_DENSITY, Section

PROPERTIES = {
    "area": 2,
    "inertia_s": 4,
    "inertia_u": 4,
    "elastic_modulus_s": 3,
    "elastic_modulus_u": 3,
    "plastic_modulus_s": 3,
    "plastic_modulus_u": 3,
    "torsion_constant": 4,
    "torsion_constant_thin_wall": 4,
    "torsion_modulus": 3,
    "girth": 1,
    "inside_corner": 1,
}


@st.composite
def sections(draw: st.DrawFn) -> Section:
    height, width = draw(st.floats(15, 300)), draw(st.floats(15, 300))
    half = min(height, width) / 2
    return Section(
        height=height, width=width, wall=half * draw(st.floats(0.02, 0.9)), corner=half * draw(st.floats(0, 1))
    )


@pytest.mark.parametrize(
    ("values", "says"),
    [
        ((0, 50, 4, 8), "height 0 is not a length"),
        ((100, -50, 4, 8), "width -50 is not a length"),
        ((100, 50, 0, 8), "wall 0 is not a length"),
        ((100, float("nan"), 4, 8), "width nan is not a length"),
        ((float("inf"), 50, 4, 8), "height inf is not a length"),
        ((100, 50, 25, 8), "wall 25 does not fit a 100 x 50 section: it must be less than 25"),
        ((100, 50, 30, 60), "choose a thinner wall"),
        ((100, 50, 4, -1), "corner -1 does not fit a 100 x 50 section: it must be from 0 to 25"),
        ((100, 50, 4, 26), "choose a smaller corner radius"),
        ((100, 50, 4, float("nan")), "corner nan does not fit"),
    ],
)
def test_a_section_that_cannot_be_is_refused_with_name_value_limit_and_remedy(
    values: tuple[float, float, float, float], says: str
) -> None:
    with pytest.raises(GeometryError, match=says):
        Section(**dict(zip(("height", "width", "wall", "corner"), values, strict=True)))


def test_the_corner_may_be_half_the_side_and_the_wall_almost_so() -> None:
    assert Section(height=50, width=50, wall=2, corner=25).area == pytest.approx(np.pi * (25**2 - 23**2))
    assert Section(height=50, width=50, wall=24.999, corner=0).area == pytest.approx(2500, abs=1e-4)


@given(sections())
def test_turning_a_tube_twice_gives_it_back_and_once_exchanges_its_two_ways(section: Section) -> None:
    turned = section.turned
    assert turned.turned == section
    assert (turned.inertia_s, turned.plastic_modulus_s) == (section.inertia_u, section.plastic_modulus_u)
    for name in ("area", "torsion_constant", "torsion_modulus", "girth"):
        assert getattr(turned, name) == pytest.approx(getattr(section, name), rel=1e-12)


@given(sections(), st.floats(0.1, 10))
def test_every_property_scales_with_its_own_power_of_the_size(section: Section, scale: float) -> None:
    sizes = {field.name: getattr(section, field.name) for field in fields(section) if field.name != "inside"}
    larger = Section(**{name: scale * size for name, size in sizes.items()})
    for name, power in PROPERTIES.items():
        assert getattr(larger, name) == pytest.approx(getattr(section, name) * scale**power, rel=1e-9, abs=1e-12)


def half_width(height: float, width: float, radius: float, y: np.ndarray) -> np.ndarray:
    """Half the width of a solid rounded rectangle at heights y above its middle."""
    into = np.maximum(np.abs(y) - (height / 2 - radius), 0.0)
    at = width / 2 - radius + np.sqrt(np.maximum(radius**2 - into**2, 0.0))
    return np.where(np.abs(y) <= height / 2, at, 0.0)


@given(sections())
def test_properties_are_those_of_thin_strips_added_up(section: Section) -> None:
    # independent of the closed formulas: 40,000 strips of the outline, outer less inner
    edges = np.linspace(0, section.height / 2, 20_001)
    y, strip = (edges[1:] + edges[:-1]) / 2, edges[1]
    inner = (section.height - 2 * section.wall, section.width - 2 * section.wall, section.inside_corner)
    metal = 2 * (half_width(section.height, section.width, section.corner, y) - half_width(*inner, y))
    size = section.height * section.width
    assert section.area == pytest.approx(2 * np.sum(metal) * strip, abs=1e-4 * size)
    assert section.plastic_modulus_s == pytest.approx(2 * np.sum(metal * y) * strip, abs=1e-4 * size * section.height)
    assert section.inertia_s == pytest.approx(2 * np.sum(metal * y**2) * strip, abs=1e-4 * size * section.height**2)


@given(sections())
def test_plastic_modulus_is_above_elastic_and_thin_wall_torsion_below_the_full_form(section: Section) -> None:
    assert section.plastic_modulus_s > section.elastic_modulus_s > 0
    assert section.torsion_constant > section.torsion_constant_thin_wall > 0


def test_mass_is_area_times_density() -> None:
    section = Section(height=100, width=50, wall=4, corner=8)
    assert section.mass_per_length() == section.area * STEEL_DENSITY
    assert section.mass_per_length(2.7e-6) == section.area * 2.7e-6
