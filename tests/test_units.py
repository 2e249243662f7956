"""Lengths as people write them: read, printed, and read again."""

import time
from typing import get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from railmodel.units import (
    LIMIT,
    LengthError,
    Unit,
    format_decimal,
    format_tape,
    from_unit,
    parse_length,
    parse_minutes,
    quoted,
    to_unit,
)

LENGTHS = st.floats(-LIMIT, LIMIT, allow_nan=False)


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        # the conventions' own examples; 1 in = 25.4 mm exactly (international inch, ISO 80000-3)
        ("4 1/2", 114.3), ('4-1/2"', 114.3), ("3/16", 4.7625), ("3' 6 1/2\"", 1079.5), ("3 ft 6.5 in", 1079.5),
        ("114 mm", 114.0), ("11.4 cm", 114.0), ("2 m", 2000.0), ('0.5"', 12.7), (".5", 12.7), ("5.", 127.0),
        # typographic marks and fraction signs
        ("3′ 6 1/2″", 1079.5), ("3’ 6 1/2”", 1079.5), ("4½", 114.3), ("4 ½", 114.3), ("½", 12.7), ("4 1⁄2", 114.3),
        ("−4 1/2", -114.3), ("4\u00a01/2", 114.3),
        # signs, blanks, other spellings
        ("-4 1/2", -114.3), ("+4", 101.6), ("  4 1/2  ", 114.3), ("3'6\"", 1066.8), ("3'-6 1/2\"", 1079.5),
        ("12 inches", 304.8), ("2 Feet", 609.6), ("38 IN", 965.2), ("1/2 in.", 12.7), ("4''", 101.6),
        ("-3' 6\"", -1066.8),
    ],
)  # fmt: skip
def test_tape_lengths_read_in_a_job_in_inches(text: str, mm: float) -> None:
    assert parse_length(text, "in") == pytest.approx(mm, abs=1e-12)


def test_a_bare_number_is_in_the_jobs_unit_and_a_marked_one_is_not() -> None:
    assert (parse_length("4.5", "mm"), parse_length(4.5, "mm"), parse_length(3, "in")) == (4.5, 4.5, 76.2)
    assert parse_length('4.5"', "mm") == parse_length("114.3 mm", "in") == 114.3


@pytest.mark.parametrize(
    "text",
    ["", " ", "-", "4 1/2 ells", "4 3/2", "1/0", "4 - 1/2", "4 1 2", "1/2/3", "3' 6", "3' 6 mm", "1,5", "0x10", "1e3",
     "nan", "inf", "4..5", "--4", "4 1/2 1/2", "3 6\"", "six", "4\n", "4\x00", "٤", "1_000", "4 in mm", "'", '"'],
)  # fmt: skip
def test_anything_else_is_refused_and_quoted(text: str) -> None:
    if text == "4\n":  # a blank at the end is a blank
        assert parse_length(text, "in") == parse_length("4", "in")
        return
    with pytest.raises(LengthError, match=r"allowed: a length such as 4\.5, 4 1/2") as caught:
        parse_length(text, "in")
    assert str(caught.value).startswith(f"found {quoted(text)};")


@pytest.mark.parametrize("value", [True, None, [1], {}, float("nan")])
def test_what_is_no_number_is_refused(value: object) -> None:
    with pytest.raises(LengthError, match="allowed: a length"):
        parse_length(value, "in")  # type: ignore[arg-type]


@pytest.mark.parametrize("value", [float("inf"), -1e300, 10**400, "400 ft", 3938, "100.001 m", "-100001 mm"])
def test_a_length_beyond_100_m_is_refused(value: float | str) -> None:
    with pytest.raises(LengthError, match="allowed: lengths from -100 m to 100 m"):
        parse_length(value, "in")


@pytest.mark.parametrize("hostile", ["1" * 80, "1 " * 40, "1/" * 40, "-" * 80, "1'" * 40, "9" * 10**6, "4 " * 10**6])
def test_hostile_text_takes_no_time(hostile: str) -> None:
    start = time.perf_counter()
    with pytest.raises(LengthError):
        parse_length(hostile, "in")
    assert time.perf_counter() - start < 0.1


@given(st.text(max_size=40))
def test_any_text_is_a_length_or_a_length_error(text: str) -> None:
    said = ""
    try:
        assert abs(parse_length(text, "in")) <= LIMIT
    except LengthError as error:
        said = str(error)
    assert said.isprintable()


@given(LENGTHS, st.sampled_from(get_args(Unit)), st.integers(0, 6))
def test_a_decimal_read_back_is_within_half_its_last_place(mm: float, unit: Unit, places: int) -> None:
    half = from_unit(0.5 * 10**-places, unit)
    mm = min(max(mm, -LIMIT + 2 * half), LIMIT - 2 * half)
    text = format_decimal(mm, unit, places)
    assert parse_length(text, unit) == pytest.approx(mm, abs=half + 1e-9)
    assert text.strip("-0.") or not text.startswith("-")


@given(LENGTHS, st.sampled_from([16, 32]), st.booleans())
def test_a_tape_fraction_read_back_is_within_half_a_mark(mm: float, step: int, feet: bool) -> None:
    mm = min(max(mm, -LIMIT + 1), LIMIT - 1)
    read = parse_length(format_tape(mm, step, feet=feet), "mm")
    assert abs(read - mm) <= 25.4 / step / 2 + 1e-9


@given(st.integers(-50_000, 50_000), st.sampled_from([16, 32]), st.booleans())
def test_a_length_on_a_mark_comes_back_exact(marks: int, step: int, feet: bool) -> None:
    mm = marks * 25.4 / step
    assert parse_length(format_tape(mm, step, feet=feet), "mm") == pytest.approx(mm, abs=1e-9)


@pytest.mark.parametrize(
    ("inches", "step", "feet", "text"),
    [
        (4.5, 16, False, '4 1/2"'), (15.99, 16, False, '16"'), (0, 16, False, '0"'), (0.01, 16, False, '0"'),
        (-0.01, 16, False, '0"'), (-0.125, 16, False, '-1/8"'), (-4.5, 16, False, '-4 1/2"'),
        (3 / 32, 32, False, '3/32"'), (6 / 32, 32, False, '3/16"'), (42.5, 16, True, "3' 6 1/2\""),
        (11.999, 16, True, "1' 0\""), (12.0625, 16, True, "1' 1/16\""), (7.25, 16, True, '7 1/4"'),
    ],
)  # fmt: skip
def test_tape_fractions_are_reduced_and_carried(inches: float, step: int, feet: bool, text: str) -> None:
    assert format_tape(inches * 25.4, step, feet=feet) == text


@given(LENGTHS)
def test_to_and_from_a_unit_undo_each_other(mm: float) -> None:
    assert from_unit(to_unit(mm, "in"), "in") == pytest.approx(mm, rel=1e-15)
    assert to_unit(mm, "mm") == mm


@given(st.floats(-3900, 3900))
def test_a_number_written_in_full_comes_back_within_a_billionth(inches: float) -> None:
    """Tables are written with every digit; reading them back must not move a rail (1e-9 mm)."""
    mm = parse_length(inches, "in")
    assert parse_length(to_unit(mm, "in"), "in") == pytest.approx(mm, abs=1e-9)


def test_times_read_as_minutes() -> None:
    assert [parse_minutes(value) for value in ("60 min", "1.5 h", "90 s", "45", 30)] == [60, 90, 1.5, 45, 30]
    with pytest.raises(ValueError, match='found "soon"; allowed: a time such as'):
        parse_minutes("soon")


def test_long_values_are_cut_and_control_characters_shown() -> None:
    assert quoted("x" * 500) == '"' + "x" * 57 + '..."'
    assert quoted("a\x1b[31m\n\u202e") == r'"a\x1b[31m\n\u202e"'


@pytest.mark.parametrize(("mm", "text"), [(25.4 / 16, "0.063"), (-25.4 / 16, "-0.063"), (25.4 * 0.1875, "0.188")])
@pytest.mark.parametrize("noise", [-1e-12, 0.0, 1e-12])
def test_half_a_last_digit_goes_up_whatever_noise_is_in_it(mm: float, text: str, noise: float) -> None:
    assert format_decimal(mm + noise, "in") == text
