"""Arguments and options that several commands share."""

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


def check_target(out: Path, option: str = "--out") -> None:
    """Refuse a target that cannot be written before any work is done.

    Args:
        out: the target.
        option: what it was given as.

    Raises:
        InputError: a folder, or a place where nothing can be written.
    """
    from railmodel.files import writable_folder

    if out.is_dir():
        raise InputError(f"{option}: {out} is a folder; give a file name")
    if not out.parent.is_dir():
        raise InputError(f"{option}: the folder {out.parent} does not exist; make it first")
    writable_folder(out.parent)


def leave(status: int) -> None:
    """End with an exit status.

    Raises:
        typer.Exit: always.
    """
    raise typer.Exit(status)
