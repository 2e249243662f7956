"""Files are written whole or not at all."""

import os
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from railmodel.errors import InputError
from railmodel.files import replacing, writable_folder, write_whole


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_text_and_bytes_arrive_as_they_are(tmp_path: Path) -> None:
    write_whole(tmp_path / "a.txt", "one\r\ntwo\nΩ")
    write_whole(tmp_path / "b.bin", b"\x00\xff")
    assert (tmp_path / "a.txt").read_bytes() == "one\r\ntwo\nΩ".encode()
    assert (tmp_path / "b.bin").read_bytes() == b"\x00\xff"
    assert names(tmp_path) == ["a.txt", "b.bin"]


def test_an_old_file_is_there_until_the_new_one_is_whole(tmp_path: Path) -> None:
    target = tmp_path / "a.txt"
    target.write_text("old")
    with replacing(target) as temporary:
        temporary.write_text("half of")
        assert target.read_text() == "old"
        assert temporary.parent == tmp_path  # on the same disk, so that the change of name is at once
        temporary.write_text("new")
    assert target.read_text() == "new"
    assert names(tmp_path) == ["a.txt"]


def fail_half_way(target: Path) -> None:
    with replacing(target) as temporary:
        temporary.write_text("half of")
        raise OSError("disk full")


def test_a_writer_that_fails_leaves_the_old_file_and_nothing_else(tmp_path: Path) -> None:
    target = tmp_path / "a.txt"
    target.write_text("old")
    with pytest.raises(OSError, match="disk full"):
        fail_half_way(target)
    assert target.read_text() == "old"
    assert names(tmp_path) == ["a.txt"]


def test_a_new_file_may_be_read_by_whom_the_system_lets(tmp_path: Path) -> None:
    before = os.umask(0o027)
    try:
        write_whole(tmp_path / "a.txt", "x")
        assert stat.S_IMODE((tmp_path / "a.txt").stat().st_mode) == 0o640
        assert os.umask(0o027) == 0o027  # the process's own mask is as it was
    finally:
        os.umask(before)


def test_the_longest_name_a_system_takes_can_be_written(tmp_path: Path) -> None:
    target = tmp_path / f"{'a' * 250}.json"
    write_whole(target, "x")
    assert target.read_text() == "x"


def test_a_process_killed_half_way_leaves_the_old_file(tmp_path: Path) -> None:
    target = tmp_path / "a.txt"
    target.write_text("old")
    code = (
        "import os, signal, sys\nfrom pathlib import Path\nfrom railmodel.files import replacing\n"
        "with replacing(Path(sys.argv[1])) as temporary:\n"
        "    temporary.write_text('half of')\n    os.kill(os.getpid(), signal.SIGKILL)\n"
    )
    root = Path(__file__).resolve().parents[1]
    ended = subprocess.run([sys.executable, "-c", code, target], env={**os.environ, "PYTHONPATH": str(root)})
    assert ended.returncode == -9
    assert target.read_text() == "old"
    assert [name for name in names(tmp_path) if not name.startswith(".")] == ["a.txt"]


def test_a_folder_is_made_and_left_empty(tmp_path: Path) -> None:
    folder = tmp_path / "a" / "b"
    assert writable_folder(folder) == folder
    assert names(folder) == []
    assert writable_folder(folder) == folder


@pytest.mark.parametrize("inside", ["", "deeper", "deeper/still"])
def test_a_file_in_the_way_is_named(tmp_path: Path, inside: str) -> None:
    (tmp_path / "out").write_text("a file")
    with pytest.raises(InputError, match=r"out.*: cannot write files here \(.*\); nothing was written; give --out"):
        writable_folder(tmp_path / "out" / inside)
    assert (tmp_path / "out").read_text() == "a file"


def test_a_folder_that_cannot_be_written_is_named() -> None:
    with pytest.raises(InputError, match="/proc: cannot write files here"):
        writable_folder(Path("/proc"))
