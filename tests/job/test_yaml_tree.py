"""YAML to plain data: the core schema's scalars, places, and the limits."""

import random
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from ruamel.yaml import YAML

from railmodel.errors import InputError
from railmodel.job.yaml_tree import MAX_DEPTH, MAX_LINE, MAX_VALUES, read_tree, scalar


def data(text: str) -> Any:
    return read_tree(text.encode(), "f.yaml").root.data


@pytest.mark.parametrize(
    ("text", "value"),
    [
        # YAML 1.2.2, example in section 10.3.2 (core schema), from memory of the specification
        ("~", None), ("null", None), ("", None), ("true", True), ("True", True), ("FALSE", False),
        ("0", 0), ("0o7", 7), ("0x3A", 58), ("-19", -19), ("0.", 0.0), ("-0.0", 0.0), (".5", 0.5), ("+12e03", 12000.0),
        ("-2E+05", -200000.0), (".inf", float("inf")), ("-.Inf", -float("inf")), ("1e400", float("inf")),
        # and what that schema leaves as text, unlike YAML 1.1
        ("yes", "yes"), ("on", "on"), ("12:30", "12:30"), ("1_000", "1_000"), ("2024-01-02", "2024-01-02"),
        ("3/16", "3/16"), ("4 1/2", "4 1/2"), ("<<", "<<"),
    ],
)  # fmt: skip
def test_scalars_follow_the_core_schema(text: str, value: object) -> None:
    assert scalar(text) == value
    assert type(scalar(text)) is type(value) or isinstance(scalar(text), type(value))


@given(st.integers(-(10**15), 10**15) | st.floats(allow_nan=False, allow_infinity=False))
def test_numbers_keep_their_value_and_how_they_were_written(number: float) -> None:
    read = scalar(repr(number))
    assert read == number
    assert getattr(read, "raw", None) == repr(number)


WORDS = st.text("abc é½:#'\"\\-[{,", max_size=8)
PLAIN = st.recursive(
    st.none() | st.booleans() | st.integers(-(10**9), 10**9) | st.floats(-1e6, 1e6) | WORDS,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text("ab ", min_size=1), inner, max_size=3),
    max_leaves=12,
)


@given(st.dictionaries(st.text("abcd", min_size=1, max_size=4), PLAIN, min_size=1), st.booleans())
def test_what_the_yaml_library_writes_reads_back_the_same(value: dict[str, Any], flow: bool) -> None:
    import io

    out = io.StringIO()
    writer = YAML(typ="safe", pure=True)
    writer.default_flow_style = flow
    writer.width = 4000
    writer.dump(value, out)
    assert data(out.getvalue()) == value


def test_every_value_knows_its_line_and_column() -> None:
    text = "a: 1\nb:\n  - {x: é, y: [1, 2]}\n  - z: |\n      text\n"
    tree = read_tree(text.encode(), "f.yaml")
    assert tree.place(("b", 0, "y", 1)) == (3, 19)
    assert tree.place(("b", 1, "z"), key=True) == (4, 5)
    assert tree.place(("b", 1, "missing")) == (4, 5)
    for loc, shown in ((("a",), "1"), (("b", 0, "x"), "é"), (("b", 0, "y"), "[1, 2]"), (("b", 0, "y", 0), "1")):
        node, exact = tree.node(loc)
        assert exact
        assert text[node.start : node.end] == shown


@pytest.mark.parametrize("break_", ["\n", "\r\n", "\r"])
def test_line_ends_of_any_system_give_the_same_data_and_places(break_: str) -> None:
    tree = read_tree(f"a: 1{break_}b: {{c: x y}} # d{break_}".encode(), "f.yaml")
    assert tree.root.data == {"a": 1, "b": {"c": "x y"}}
    assert tree.place(("b", "c")) == (2, 8)
    node, _ = tree.node(("b", "c"))
    assert tree.text[node.start : node.end] == "x y"


def test_a_byte_order_mark_is_passed_over() -> None:
    assert read_tree(b"\xef\xbb\xbfa: 1\n", "f.yaml").root.data == {"a": 1}


def test_aliases_are_followed() -> None:
    assert data("a: &x {b: 1}\nc: *x\nd: [*x, *x]\n")["d"] == [{"b": 1}, {"b": 1}]


REFUSED = {
    "python tag": ("a: !!python/object/apply:os.system [ls]", r"1:4: found the tag .*; allowed: plain values"),
    "own tag": ("a: !x 1", r"1:4: found the tag \"!x\""),
    "two documents": ("a: 1\n---\nb: 2\n", r"2:1: found a second document; allowed: one"),
    "twice": ("a: 1\nb: 2\na: 3\n", r"3:1: found the key \"a\" a second time; it stands already at 1:1"),
    "twice, written otherwise": ("{a: 1, 'a': 2}", r"1:8: found the key \"a\" a second time"),
    "number as key": ("a: {1: 2}", r"1:5: found 1 as a key; allowed: a word; put it in quotes"),
    "list as key": ("? [a]\n: 2", r"1:3: found a list, a mapping or nothing as a key"),
    "no anchor": ("a: *b", r"1:4: found the alias \*b, which has no anchor above it"),
    "alias in itself": ("a: &b [*b]", r"1:8: found the alias \*b, which stands inside its own anchor"),
    "tab": ("a:\n\tb: 1\n", r"2:1: a tab stands where blanks must; indent with blanks"),
    "open quote": ("a: 'b\nc: 1\n", r"not readable as YAML: .*look at the indents, colons, quotes and brackets"),
    "two colons": ("a: b: c", r"1:5: not readable as YAML: mapping values are not allowed"),
    "control character": ("a: b\x01c", r"1:5: a control character stands here"),
    "escape beyond the last character": ('a: "\\U00110000"', r"look for broken escapes"),
    "half a character": ('a: "\\ud800"', r"1:4: found half a character"),
    "empty": ("", r"the file is empty; a job file starts with job:"),
    "comments only": ("# nothing\n", r"the file is empty"),
    "deep": ("[" * 200, rf"found values nested {MAX_DEPTH + 1} deep; allowed: up to {MAX_DEPTH}"),
    "deep block": ("- " * 200, rf"found values nested {MAX_DEPTH + 1} deep"),
    "long line": ("a: " + "b" * MAX_LINE, r"1:1: found 10,003 characters on one line; allowed: 10,000"),
    "many values": ("- 1\n" * (MAX_VALUES + 1), r"found more than 20,000 values, with aliases; allowed: 20,000"),
    "billion laughs": (
        "a0: &a0 [x, x, x, x, x, x, x, x, x, x]\n"
        + "".join(f"a{i}: &a{i} [{', '.join([f'*a{i - 1}'] * 10)}]\n" for i in range(1, 30)),
        r"found more than 20,000 values, with aliases",
    ),
}  # fmt: skip


@pytest.mark.parametrize(("text", "sentence"), REFUSED.values(), ids=REFUSED)
def test_what_is_refused_is_refused_in_one_sentence(text: str, sentence: str) -> None:
    with pytest.raises(InputError, match=sentence) as caught:
        data(text)
    assert len(caught.value.problems) == 1
    assert caught.value.problems[0].startswith("f.yaml:")


@pytest.mark.parametrize(
    ("raw", "sentence"),
    [
        ("a: 1".encode("utf-16"), "found UTF-16 or UTF-32 text; allowed: UTF-8; save the file again as UTF-8"),
        ("a: 1".encode("utf-16-le"), "found UTF-16 or UTF-32 text"),
        ("a: 1".encode("utf-32"), "found UTF-16 or UTF-32 text"),
        (b"a: 1\nb: caf\xe9\n", r"f.yaml:2:7: byte 11 \(0xe9\) is not UTF-8 text"),
        (b"\x00" * 50, "found UTF-16 or UTF-32 text"),
        (b"a" * 1_000_001, "found 1,000,001 bytes; allowed: up to 1,000,000"),
    ],
)
def test_other_encodings_and_large_files_are_refused(raw: bytes, sentence: str) -> None:
    with pytest.raises(InputError, match=sentence):
        read_tree(raw, "f.yaml")


@given(st.binary(max_size=200))
def test_no_bytes_at_all_raise_anything_else(raw: bytes) -> None:
    said: tuple[str, ...] = ()
    try:
        read_tree(raw, "f.yaml")
    except InputError as error:
        said = error.problems
    assert all(line.isprintable() for line in said)


@given(st.randoms(use_true_random=False))
def test_no_heap_of_yaml_signs_raises_anything_else(dice: random.Random) -> None:
    signs = [*"[]{}:,-\n '\"&*!%|>?#ab1.\t\\~@`\r\u2028é", "a: ", "- ", "--- ", "%YAML 1.2\n", '"\\U0011', "&a ", "*a "]
    raw = "".join(dice.choice(signs) for _ in range(dice.randrange(60))).encode()
    said: tuple[str, ...] = ()
    try:
        read_tree(raw, "f.yaml")
    except InputError as error:
        said = error.problems
    assert all(line.isprintable() for line in said)
