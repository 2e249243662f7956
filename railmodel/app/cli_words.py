"""Arguments and options that several commands share."""

from collections.abc import Iterable
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from railmodel.errors import InputError

JobPath = Annotated[Path, typer.Argument(metavar="JOB", help="The job file (YAML).", show_default=False)]

Noted = Annotated[bool, typer.Option("--record/--no-record", help="Note it in the record beside the job.")]


class Shown(StrEnum):
    """Ways to show an answer."""

    text = "text"
    json = "json"


class Hand(StrEnum):
    """Hands of a pair."""

    left = "left"
    right = "right"


HowShown = Annotated[Shown, typer.Option("--format", help="text, or json for other programs.")]


def check_target(out: Path, option: str = "--out", *, inputs: Iterable[Path | None] = (), ending: str = "") -> None:
    """Refuse a target that cannot be written, or must not be, before any work is done.

    Args:
        out: the target.
        option: what it was given as.
        inputs: files that the command reads.
        ending: what its name must end in, with the dot.

    Raises:
        InputError: a folder, a place where nothing can be written, another ending, or a file that the command reads.
    """
    from railmodel.files import writable_folder

    if not out.name.lower().endswith(ending):
        raise InputError(f"{option}: found {out}; allowed: a file name that ends in {ending}")
    for one in inputs:
        if one is not None and out.exists() and one.exists() and out.samefile(one):
            raise InputError(f"{option}: {out} is read by this command; give another file name; nothing was written")
    if out.is_dir():
        raise InputError(f"{option}: {out} is a folder; give a file name")
    if not out.parent.is_dir():
        raise InputError(f"{option}: the folder {out.parent} does not exist; make it first")
    writable_folder(out.parent, option)


def leave(status: int) -> None:
    """End with an exit status.

    Raises:
        typer.Exit: always.
    """
    raise typer.Exit(status)
