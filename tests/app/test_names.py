"""File names: plain, unique, and safe on every system."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from railmodel.app.names import file_stem, unique_stems

# names that Windows keeps for devices, with any ending (from memory of the Win32 naming rules)
RESERVED = {"con", "prn", "aux", "nul", *(f"{port}{i}" for port in ("com", "lpt") for i in range(10))}


@given(st.text(max_size=300))
def test_a_stem_is_plain_whatever_the_name(text: str) -> None:
    stem = file_stem(text)
    assert re.fullmatch(r"[a-z0-9_]{1,61}", stem)
    assert stem not in RESERVED
    assert not stem.startswith("_")


ALIKE = ["rail", "Rail", "rail 2", "rail_2", "Ω", "Ψ", "", "con", "CON", "a" * 80]


@given(st.lists(st.sampled_from(ALIKE), max_size=20))
def test_stems_are_unique_and_keep_their_order(texts: list[str]) -> None:
    stems = unique_stems(texts)
    assert len(stems) == len(texts)
    assert len(set(stems)) == len(stems)
    for text, stem in zip(texts, stems, strict=True):
        assert stem.startswith(file_stem(text)[:50])


@pytest.mark.parametrize(
    ("text", "stem"),
    [
        ("side rail right", "side_rail_right"), ("Längsträger, hinten", "langstrager_hinten"), ("../../x", "x"),
        ("a/b\\c:d", "a_b_c_d"), ("CON", "con_"), ("lpt1", "lpt1_"), ("...", "part"), ("½ tie", "1_2_tie"),
    ],
)  # fmt: skip
def test_worked_names(text: str, stem: str) -> None:
    assert file_stem(text) == stem


def test_a_long_name_keeps_its_last_word_so_that_the_hands_of_a_pair_are_told_apart() -> None:
    name = "a rail whose name somebody typed in while thinking of something else entirely"
    right, left = unique_stems([f"{name} right", f"{name} left"])
    assert right == "a_rail_whose_name_somebody_typed_in_while_thinking_of_right"
    assert left == "a_rail_whose_name_somebody_typed_in_while_thinking_of_s_left"
    assert file_stem("x" * 70 + " right") == "x" * 54 + "_right"
    assert file_stem("x " + "y" * 80) == "x_" + "y" * 58


def test_the_number_added_never_makes_another_name() -> None:
    assert unique_stems(["a", "a_2", "a", "a"]) == ["a", "a_2", "a_3", "a_4"]


def test_the_same_names_give_the_same_files_each_time() -> None:
    names = ["side rail right", "side rail left", "Ω", "Ψ"]
    assert unique_stems(names) == unique_stems(names) == ["side_rail_right", "side_rail_left", "part", "part_2"]
