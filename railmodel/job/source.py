"""Reading a file somebody else wrote: regular files of a fair size only, and one sentence for everything else."""

import os
import re
import stat
from pathlib import Path

from railmodel.errors import InputError
from railmodel.units import quoted


def read_bytes(path: Path, limit: int, shown: str | None = None) -> bytes:
    """The bytes of a regular file.

    Args:
        path: the file.
        limit: most bytes it may have.
        shown: how messages call it; left out, its path.

    Raises:
        InputError: no such file, a folder, a device or pipe, too large, not readable.
    """
    name = shown or printable(str(path))
    try:
        found = path.stat()
        if not stat.S_ISREG(found.st_mode):
            kind = "a folder" if stat.S_ISDIR(found.st_mode) else "a device or pipe"
            raise InputError(f"{name}: found {kind}; allowed: an ordinary file; check the name")
        flags = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
        with os.fdopen(os.open(path, flags), "rb") as stream:
            size = os.fstat(stream.fileno()).st_size
            data = b"" if size > limit else stream.read(limit + 1)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(f"{name}: cannot be read ({reason.lower()}); check the name") from None
    size = max(size, len(data))
    if size > limit:
        raise InputError(f"{name}: found {size:,} bytes; allowed: up to {limit:,}; this is not a file of this kind")
    return data


def decoded(data: bytes, shown: str) -> str:
    """Text of a UTF-8 file, without a byte order mark.

    Raises:
        InputError: another encoding, or bytes that are no text.
    """
    if data[:2] in {b"\xff\xfe", b"\xfe\xff"} or b"\x00" in data[:4]:
        raise InputError(f"{shown}: found UTF-16 or UTF-32 text; allowed: UTF-8; save the file again as UTF-8")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        good = data[: error.start].decode("utf-8-sig")
        line, column = good.count("\n") + 1, len(good) - (good.rfind("\n") + 1) + 1
        raise InputError(
            f"{shown}:{line}:{column}: byte {error.start} (0x{data[error.start]:02x}) is not UTF-8 text; "
            "save the file again as UTF-8"
        ) from None


def beside(folder: Path, text: str) -> Path:
    """The file that a job names: under the job's folder, or given absolute.

    Raises:
        ValueError: it leads out of the folder.
    """
    if os.path.isabs(text):
        return Path(text)
    try:
        target = (folder / text).resolve()
        inside = ".." not in re.split(r"[\\/]", text) and target.is_relative_to(folder.resolve())
    except (OSError, ValueError, RuntimeError):
        inside = False
    if not inside:
        raise ValueError(
            f"found {quoted(text)}, which leads out of the job's folder; allowed: a file in that folder or under it, "
            "or a full path"
        )
    return folder / text


def printable(name: str) -> str:
    """A file's name as messages show it: control characters escaped."""
    return quoted(name, longest=300)[1:-1]
