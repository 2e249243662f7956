"""Bend tables for a controller of the shop's own, as its layout file says."""

import sys
from collections.abc import Sequence
from pathlib import Path

from exporters.bender_table import bender_table
from railmodel.bending.work import shop_work
from railmodel.errors import InputError
from railmodel.files import write_whole
from railmodel.frame import Frame
from railmodel.job.layout import Layout, read_layout
from railmodel.part import RailPart


def write_layout(frame: Frame, parts: Sequence[RailPart], layout: Path, out: Path | None) -> None:
    """Write one part's table to a file or the screen.

    Raises:
        InputError: the layout file is not valid, or more than one part is asked for.
    """
    read = read_layout(layout)
    if len(parts) != 1:
        labels = ", ".join(part.label for part in parts) or "none"
        raise InputError(f"--layout: found {len(parts)} parts ({labels}); allowed: one; add --part and --hand")
    text = layout_text(frame, parts[0], read)
    if out is None:
        sys.stdout.write(text)
    else:
        write_whole(out, text)


def layout_text(frame: Frame, part: RailPart, layout: Layout) -> str:
    """One part's table as a layout says."""
    marks = next(marks for marks in shop_work(frame).mark_outs if marks.reading.part is part)
    return bender_table(marks, layout)


def shop_layout(frame: Frame) -> Layout | None:
    """The layout the shop file names, if any.

    Raises:
        InputError: it cannot be read or is not valid.
    """
    source = frame.source
    if frame.shop is None or frame.shop.table_layout is None or source.shop_path is None:
        return None
    return read_layout(source.shop_path.parent / frame.shop.table_layout)
