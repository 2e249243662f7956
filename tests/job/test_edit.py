"""Writing values back: only their own bytes change."""

import hashlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from railmodel.errors import InputError
from railmodel.job.edit import set_values, write_changes, yaml_text
from railmodel.job.reader import job_from, read_job, shop_from
from railmodel.job.starter import STARTER, write_starter
from railmodel.job.yaml_tree import Loc, Node, read_tree


def changed_lines(old: str, new: str) -> list[tuple[str, str]]:
    pairs = zip(old.split("\n"), new.split("\n"), strict=True)
    return [(before, after) for before, after in pairs if before != after]


def test_a_value_changes_and_its_comment_stays(job_text: str) -> None:
    new = set_values(job_text, {("parts", 0, "seam"): "outboard"})
    assert changed_lines(job_text, new) == [
        ("    seam: inboard               # where the weld seam must end up",
         "    seam: outboard               # where the weld seam must end up"),
    ]  # fmt: skip


def test_points_change_whether_short_or_long(job_text: str) -> None:
    points: Loc = ("parts", 0, "points")
    new = set_values(job_text, {(*points, 0, "at", 2): "21 1/4", (*points, 1, "at", 0): "-4.5"})
    assert changed_lines(job_text, new) == [
        ("      - [-26, 15, 21]", "      - [-26, 15, 21 1/4]"),
        ("      - {at: [-4, 15, 21], die: hard 7}", "      - {at: [-4.5, 15, 21], die: hard 7}"),
    ]


def test_a_whole_value_in_brackets_changes(job_text: str) -> None:
    new = set_values(job_text, {("parts", 0, "points", 1): "{at: [1, 2, 3], radius: 8}"})
    assert changed_lines(job_text, new) == [
        ("      - {at: [-4, 15, 21], die: hard 7}", "      - {at: [1, 2, 3], radius: 8}")
    ]


ADDED: list[tuple[str, Loc, str, str]] = [
    ("a: 1 # c\n", ("b",), "2", "a: 1 # c\nb: 2\n"),
    ("a: 1", ("b",), "2", "a: 1\nb: 2"),
    ("a: {x: 1} # c\n", ("a", "y"), "2", "a: {x: 1, y: 2} # c\n"),
    ("a: {}\n", ("a", "y"), "2", "a: {y: 2}\n"),
    ("a: {x: 1, }\n", ("a", "y"), "2", "a: {x: 1, y: 2, }\n"),
    ("a: {x: [1, 2] }\n", ("a", "y"), "2", "a: {x: [1, 2], y: 2 }\n"),
    ("a:\n  - b: 1 # c\n    d: # e\n      - 1 # f\n\n# g\nh: 2\n", ("a", 0, "y"), "2",
     "a:\n  - b: 1 # c\n    d: # e\n      - 1 # f\n    y: 2\n\n# g\nh: 2\n"),
    ("a:\n  t: |\n    text\n    more\nb: 1\n", ("a", "y"), "2", "a:\n  t: |\n    text\n    more\n  y: 2\nb: 1\n"),
    ("a: 1\r\nb:\r\n  c: 2\r\n", ("b", "y"), "2", "a: 1\r\nb:\r\n  c: 2\r\n  y: 2\r\n"),
    ("a: 1\n", ("two words",), "x", "a: 1\ntwo words: x\n"),
    ("a: 1\n", ("3: [",), "x", 'a: 1\n"3: [": x\n'),
    ("a:\nb: 1\n", ("a",), "2", "a: 2\nb: 1\n"),
    ("a: \nb: 1\n", ("a",), "2", "a: 2 \nb: 1\n"),
    ("a: # c\n", ("a",), "2", "a: 2 # c\n"),
    ("a: 'x'\n", ("a",), '"y"', 'a: "y"\n'),
]  # fmt: skip


@pytest.mark.parametrize(("old", "loc", "value", "new"), ADDED)
def test_a_missing_key_is_added_where_it_belongs(old: str, loc: Loc, value: str, new: str) -> None:
    result = set_values(old, {loc: value})
    assert read_tree(result.encode(), "f").root.data == read_tree(new.encode(), "f").root.data
    assert result == new


REFUSED: list[tuple[str, dict[Loc, str], str]] = [
    ("a: {b: 1}\n", {("c", "d"): "1"}, "c d: no such place in the file"),
    ("a: [1]\n", {("a", 1): "1"}, r"a\[1\]: no such place in the file"),
    ("a:\n  b: 1\n", {("a",): "2"}, "a: found a block of lines; allowed: a single value"),
    ("a: |\n  text\n", {("a",): "2"}, "a: found text of several lines"),
    ("a: 1\n", {("a",): "2\nb: 3"}, "found a new value of several lines"),
    ("a: 1\n", {("a",): "["}, "the new value of a:1:4: not readable as YAML"),
    ("a: {x: 1}\n", {("a", "x"): "b, c"}, "cannot be changed without touching other values"),
    ("a: &v 1\nb: *v\n", {("b",): "2"}, "cannot be changed without touching other values"),
    ("a: &v 1\nb: *v\n", {("a",): "2"}, "cannot be changed without touching other values"),
    ("a: &v {x: 1}\nb:\n  c: *v\n", {("b", "d"): "2"}, "stands as an alias at the end"),
    ("a: {}\n", {("a", "x"): "1", ("a", "y"): "2"}, "cannot be changed without touching other values"),
]


@pytest.mark.parametrize(("text", "changes", "sentence"), REFUSED)
def test_what_cannot_be_done_safely_is_refused(text: str, changes: dict[Loc, str], sentence: str) -> None:
    with pytest.raises(InputError, match=sentence):
        set_values(text, changes)


def places(node: Node, loc: Loc = ()) -> list[Loc]:
    if not isinstance(node.data, dict | list):
        return [loc]
    return [place for key, item in node.items.items() for place in places(item, (*loc, key))]


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(data=st.data())
def test_changing_any_single_values_changes_nothing_else(job_text: str, data: st.DataObject) -> None:
    """The text between the changed values is the old text, byte for byte, and each value reads back."""
    tree = read_tree(job_text.encode(), "f")
    chosen = data.draw(st.lists(st.sampled_from(places(tree.root)), min_size=1, max_size=5, unique=True))
    values: dict[Loc, Any] = {loc: data.draw(st.text(max_size=12) | st.floats(-100, 100)) for loc in chosen}
    new = set_values(job_text, {loc: yaml_text(value) for loc, value in values.items()})
    nodes = sorted((tree.node(loc)[0] for loc in chosen), key=lambda node: node.start)
    rest, at = new, 0
    for node in nodes:
        kept = job_text[at : node.start]
        assert rest.startswith(kept) or kept in rest
        rest, at = rest[rest.index(kept) + len(kept) :], node.end
    assert rest.endswith(job_text[at:])
    after = read_tree(new.encode(), "f")
    for loc, value in values.items():
        assert after.node(loc)[0].data == value


@given(st.text(max_size=20).filter(lambda text: not any("\ud800" <= c <= "\udfff" for c in text)))
def test_any_text_written_as_yaml_reads_back(text: str) -> None:
    for around in ("a: {}\n", "a: [{}, 1]\n", "a: {{b: {}}}\n"):
        data = read_tree(around.format(yaml_text(text)).encode(), "f").root.data["a"]
        assert (data[0] if isinstance(data, list) else data["b"] if isinstance(data, dict) else data) == text


def test_changes_are_written_when_the_file_is_as_it_was_read(write: Callable[..., Path], job_text: str) -> None:
    path = write(b"\xef\xbb\xbf" + job_text.replace("\n", "\r\n").encode())
    source = read_job(path)
    before = path.read_bytes()
    write_changes(path, source.digest, {("parts", 0, "leading_end"): "rear"}, lambda data: job_from(data, path))
    assert path.read_bytes() == before.replace(b"leading_end: front", b"leading_end: rear")
    assert read_job(path).job.parts[0].leading_end == "rear"
    with pytest.raises(InputError, match="the file has changed since it was read; nothing was written"):
        write_changes(path, source.digest, {("revision",): "C"}, lambda data: job_from(data, path))


def test_changes_that_make_a_wrong_job_are_not_written(write: Callable[..., Path]) -> None:
    path = write()
    before = path.read_bytes()
    with pytest.raises(InputError, match='leading_end: found "middle"; allowed: front, rear'):
        write_changes(
            path, read_job(path).digest, {("parts", 0, "leading_end"): "middle"}, lambda data: job_from(data, path)
        )
    assert path.read_bytes() == before


def test_a_calibrated_die_is_written_into_the_shop_file(write: Callable[..., Path], shop_text: str) -> None:
    path = write().parent / "shop.yaml"
    digest = hashlib.sha256(path.read_bytes()).hexdigest()
    changes: dict[Loc, str] = {("dies", "easy 5", "mark_offset"): "-3/32"}
    write_changes(path, digest, changes, lambda data: shop_from(data, path.name))
    assert path.read_text() == shop_text.replace("weight: 40 kg}", "weight: 40 kg, mark_offset: -3/32}")


def test_the_starter_reads_builds_and_is_never_written_over_a_file(tmp_path: Path) -> None:
    from railmodel.frame import build_frame

    path = tmp_path / "cart.yaml"
    write_starter(path)
    assert path.read_text() == STARTER
    frame = build_frame(read_job(path))
    assert [part.label for part in frame.parts] == [
        "side rail right", "side rail left", "front cross tube", "rear cross tube",
    ]  # fmt: skip
    assert not frame.faults
    assert min(float(part.line.rows.straights.min()) for part in frame.parts) > 150
    path.write_text("mine")
    with pytest.raises(InputError, match="there is such a file already; nothing was written"):
        write_starter(path)
    assert path.read_text() == "mine"
    with pytest.raises(InputError, match="cannot be written"):
        write_starter(tmp_path / "no folder" / "cart.yaml")


def test_what_the_starter_shows_in_comments_reads_as_well() -> None:
    """Each commented block of the starter, switched on, is a valid piece of a job."""
    lines = STARTER.split("\n")
    tongue = next(i for i, line in enumerate(lines) if "- name: tongue" in line)
    part = [line.removeprefix("#") for line in lines[tongue : tongue + 7]]
    del lines[tongue : tongue + 7]
    first = next(i for i, line in enumerate(lines) if line.startswith("# fit_points"))
    lines[first:] = [line.removeprefix("# ") for line in lines[first:]]
    text = "\n".join(lines).replace("  - name: front cross tube", "\n".join(part) + "\n  - name: front cross tube")
    job = job_from(text.encode(), Path("cart.yaml")).job
    assert [part.name for part in job.parts] == ["side rail", "tongue", "front cross tube", "rear cross tube"]
    assert (len(job.fit_points), len(job.keep_clear)) == (1, 1)
