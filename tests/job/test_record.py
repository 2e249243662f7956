"""The record of a job only ever grows; what was cut short is passed over and told."""

import json
import multiprocessing
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from railmodel.errors import InputError
from railmodel.job.record import KINDS, Entry, append_entry, append_news, now, read_record, record_beside

ENTRY = Entry(at="2031-02-28T14:30:00Z", kind="built", fingerprint="0123456789ab" + 52 * "f", revision="B", by="Ann")
LINE = st.text(st.characters(exclude_categories=("Cc", "Cf", "Cs", "Cn", "Co", "Zl", "Zp")), max_size=60).filter(
    str.isprintable
)


def test_a_record_lies_beside_its_job_and_one_that_is_not_there_is_empty(tmp_path: Path) -> None:
    path = record_beside(tmp_path / "hauler.yaml")
    assert path == tmp_path / "hauler.record.jsonl"
    assert read_record(path).entries == ()


@given(st.lists(st.tuples(st.sampled_from(KINDS), LINE, LINE), max_size=6))
def test_what_is_added_is_read_back_in_order(found: list[tuple[str, str, str]]) -> None:
    import tempfile

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "job.record.jsonl"
        entries = [replace(ENTRY, kind=kind, by=by, note=note) for kind, by, note in found]  # type: ignore[arg-type]
        for entry in entries:
            append_entry(path, entry)
        record = read_record(path)
        assert list(record.entries) == entries
        assert record.trouble == ()
        for entry in reversed(entries):
            assert record.last(entry.kind) is not None


def test_every_line_is_json_by_another_reader(tmp_path: Path) -> None:
    path = tmp_path / "job.record.jsonl"
    append_entry(path, replace(ENTRY, note='a "quoted" note, ½ in off'))
    (line,) = path.read_text(encoding="utf-8").splitlines()
    assert json.loads(line)["note"] == 'a "quoted" note, ½ in off'
    assert json.loads(line)["record"] == 1


def test_news_that_say_the_same_but_for_when_are_added_once(tmp_path: Path) -> None:
    path = tmp_path / "job.record.jsonl"
    first = replace(ENTRY, files=(("floor/plan.txt", 64 * "a"), ("customer/x.step", 64 * "b")))
    later = replace(first, at="2031-03-01T08:00:00Z")
    assert append_news(path, first)
    append_entry(path, replace(ENTRY, kind="sent"))
    assert not append_news(path, later)
    assert not append_news(path, replace(later, files=(first.files[0], ("customer/x.step", 64 * "d"))))
    other = replace(later, files=(("floor/plan.txt", 64 * "c"),))
    assert append_news(path, other)
    assert append_news(path, later)  # as it was once, but not the last time
    assert append_news(path, replace(later, part="rail"))
    assert [entry.files for entry in read_record(path).entries if entry.kind == "built"] == [
        first.files, other.files, first.files, first.files,
    ]  # fmt: skip
    assert json.loads(path.read_text().splitlines()[0])["files"]["floor/plan.txt"] == 64 * "a"


@pytest.mark.parametrize("lost", [1, 2, 20, 100])
def test_a_torn_last_line_is_told_and_nothing_of_the_file_is_rewritten(tmp_path: Path, lost: int) -> None:
    path = tmp_path / "job.record.jsonl"
    append_entry(path, ENTRY)
    append_entry(path, replace(ENTRY, kind="sent"))
    whole = path.read_bytes()
    path.write_bytes(whole[:-lost])
    torn = path.read_bytes()
    record = read_record(path)
    if lost == 1:  # only the line end is gone: the line itself is whole
        assert [entry.kind for entry in record.entries] == ["built", "sent"]
    else:
        assert [entry.kind for entry in record.entries] == ["built"]
        assert "line 2" in record.trouble[0]
        assert "cut short" in record.trouble[0]
    append_entry(path, replace(ENTRY, kind="approved"))
    assert path.read_bytes().startswith(torn)
    again = read_record(path)
    assert again.entries[-1].kind == "approved"
    assert len(again.entries) == (3 if lost == 1 else 2)


@pytest.mark.parametrize(
    "line",
    [b"[]", b"5", b"{}", b'{"record": 2}', b'{"record": 1, "kind": 5}', b"\xff\xfe", b"[" * 100_000,
     b'{"record": 1, "kind": "built", "at": "2031-02-28", "fingerprint": "0123456789ab", "files": ["a"]}',
     b'{"record": 1, "kind": "eaten", "at": "2031-02-28", "fingerprint": "0123456789ab"}'],
)  # fmt: skip
def test_a_line_that_is_none_is_passed_over_and_told(tmp_path: Path, line: bytes) -> None:
    path = tmp_path / "job.record.jsonl"
    path.write_bytes(line + b"\n")
    append_entry(path, ENTRY)
    record = read_record(path)
    assert record.entries == (ENTRY,)
    assert len(record.trouble) == 1
    assert record.trouble[0].startswith("job.record.jsonl line 1: cannot be read")


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"kind": "eaten"}, 'found "eaten"'),
        ({"fingerprint": "xyz"}, "the 64 or the first 12 digits"),
        ({"at": "yesterday"}, "a time such as"),
        ({"note": "two\nlines"}, "one line of plain text"),
        ({"by": "x" * 501}, "up to 500 letters"),
        ({"files": (("a.step", "12"),)}, "a name and 64 hexadecimal digits"),
    ],
)
def test_what_is_not_plausible_is_not_recorded(tmp_path: Path, wrong: dict[str, object], words: str) -> None:
    path = tmp_path / "job.record.jsonl"
    with pytest.raises(InputError, match="nothing was recorded") as caught:
        append_entry(path, replace(ENTRY, **wrong))  # type: ignore[arg-type]
    assert words in str(caught.value)
    assert not path.exists()


def _add(path: str, who: int) -> None:
    for _ in range(20):
        append_entry(Path(path), replace(ENTRY, by=f"worker {who}", note="x" * 200))


def test_two_that_write_at_once_lose_no_line(tmp_path: Path) -> None:
    path = tmp_path / "job.record.jsonl"
    workers = [multiprocessing.get_context("fork").Process(target=_add, args=(str(path), i)) for i in range(2)]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join()
    record = read_record(path)
    assert record.trouble == ()
    assert sorted(entry.by for entry in record.entries) == ["worker 0"] * 20 + ["worker 1"] * 20


def test_a_record_that_cannot_be_written_is_a_sentence(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="nothing was recorded"):
        append_entry(tmp_path / "no such folder" / "job.record.jsonl", ENTRY)


def test_the_time_is_in_utc() -> None:
    assert now().endswith("Z")
    assert len(now()) == 20
