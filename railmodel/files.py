"""Files are written whole: to a temporary file beside the target, flushed, then renamed over it.

A process killed half-way leaves the old file or the new one, never half of one under its final name.
"""

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from railmodel.errors import InputError


@contextmanager
def replacing(path: Path) -> Iterator[Path]:
    """A temporary path in the target's folder that takes the target's name when the block ends well."""
    handle, name = tempfile.mkstemp(prefix=f".{path.name[:40]}.", suffix=".part", dir=path.parent)
    os.close(handle)
    temporary = Path(name)
    try:
        yield temporary
        with temporary.open("r+b") as written:  # some systems flush only what is open for writing
            os.fsync(written.fileno())
        temporary.chmod(0o666 & ~_umask())
        temporary.replace(path)
    finally:
        temporary.unlink(missing_ok=True)


def write_whole(path: Path, content: str | bytes) -> None:
    """Write text (UTF-8, line ends kept) or bytes to a file, whole or not at all."""
    with replacing(path) as temporary:
        temporary.write_bytes(content.encode() if isinstance(content, str) else content)


def append_synced(path: Path, block: bytes) -> int:
    """Add bytes to the end of a file in a single write, made if it is not there, and on disk when this returns.

    Returns:
        How many bytes were written; fewer than given where the disk is full.
    """
    new = not path.exists()
    flags = os.O_WRONLY | os.O_APPEND | os.O_CREAT | getattr(os, "O_BINARY", 0)
    handle = os.open(path, flags, 0o644)
    try:
        written = os.write(handle, block)
        os.fsync(handle)
    finally:
        os.close(handle)
    if new and hasattr(os, "O_DIRECTORY"):  # a new name is on disk once its folder is
        folder = os.open(path.parent, os.O_RDONLY | os.O_DIRECTORY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)
    return written


def writable_folder(path: Path, option: str = "--out") -> Path:
    """Make a folder and prove that files can be written to it.

    Args:
        path: the folder.
        option: what it, or a file in it, was given as.

    Raises:
        InputError: it cannot be made or written to.
    """
    try:
        path.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=path):
            pass
    except OSError as error:
        reason = error.strerror or str(error)
        raise InputError(
            f"{path}: cannot write files here ({reason}); nothing was written; give {option} a folder you may write to"
        ) from None
    return path


def _umask() -> int:
    mask = os.umask(0o022)
    os.umask(mask)
    return mask
