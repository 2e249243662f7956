"""How sure a job fits, on paper: what it is laid on, the chances, which bend matters, what would help."""

from collections.abc import Sequence
from pathlib import Path

from exporters.sheets.typeset import Data, typeset
from exporters.sheets.words import Paper, head, paper_of
from railmodel.files import write_whole
from railmodel.frame import Frame


def write_sureness(
    frame: Frame, lines: Sequence[str], tables: Sequence[Data], sections: Sequence[Data], path: Path, *,
    paper: Paper | None = None,
) -> None:  # fmt: skip
    """Write how sure a job fits as a PDF file, whole or not at all.

    Args:
        frame: the job.
        lines: what the answer rests on.
        tables: each with `title`, `heads`, `rows` of words and `notes`.
        sections: each with `title` and `lines`.
        path: the file.
        paper: the size; None = the usual one where the job's unit is used.
    """
    data = {
        **head(frame, "How sure it fits", paper_of(frame, paper)),
        "lines": [line for line in lines if line], "tables": list(tables), "sections": list(sections),
    }  # fmt: skip
    write_whole(path, typeset("sureness", data))
