"""Which page has a job open: a file beside the job says its port, so that a second start finds the first."""

import json
import os
from contextlib import suppress
from http.client import HTTPException
from pathlib import Path
from urllib.request import ProxyHandler, build_opener

from railmodel.files import write_whole


def lock_file(job: Path) -> Path:
    """Where a running page says its port."""
    return job.resolve().with_name(f".{job.name}.open")


def hold(job: Path, port: int) -> None:
    """Say the port; a folder that cannot be written to does without."""
    with suppress(OSError):
        write_whole(lock_file(job), _text(port))


def drop(job: Path, port: int) -> None:
    """Take the word back, if it is still this page's own."""
    with suppress(OSError):
        if lock_file(job).read_text(encoding="utf-8") == _text(port):
            lock_file(job).unlink()


def running_page(job: Path) -> str | None:
    """The address of a page that has a job open already."""
    try:
        port = json.loads(lock_file(job).read_text(encoding="utf-8"))["port"]
        address = f"http://127.0.0.1:{int(port)}/"
        with build_opener(ProxyHandler({})).open(f"{address}api/here", timeout=2) as reply:
            found = json.loads(reply.read(100_000))["job"]
    except (OSError, HTTPException, ValueError, LookupError, TypeError, RecursionError):
        return None
    return address if found == str(job.resolve()) else None


def _text(port: int) -> str:
    return json.dumps({"port": port, "pid": os.getpid()}) + "\n"
