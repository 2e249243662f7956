r"""Setting a paper: plain data into a template, a whole file out.

The data reaches the template as JSON and is only ever shown, never read as markup, so a name may hold anything. The
fonts are the ones inside typst. Nothing in a file depends on the time, so the same job gives the same bytes.
"""

import json
import re
import unicodedata
from pathlib import Path
from typing import Any, Final, Literal

Data = dict[str, Any]

TEMPLATES: Final = Path(__file__).parent / "templates"

LONGEST: Final = 18
"""Characters without a space that always stay on one line."""

SVG: Final = "svg"
"""The key of a picture, which goes into the template as it is."""

_UNSEEN: Final = {"Cc", "Cf", "Cs", "Cn", "Co", "Zl", "Zp"}
_MAY_BREAK: Final = "\u200b"


def typeset(template: str, data: Data) -> bytes:
    """A paper as a PDF file.

    Args:
        template: name of a template, without its ending.
        data: what it shows.
    """
    return _compiled(template, data, "pdf")[0]


def pictures(template: str, data: Data, *, ppi: float = 80.0) -> list[bytes]:
    """The same paper as PNG pictures, a page each."""
    return _compiled(template, data, "png", ppi)


def _compiled(template: str, data: Data, kind: Literal["pdf", "png"], ppi: float | None = None) -> list[bytes]:
    import typst

    text = json.dumps(inert(data), ensure_ascii=False, allow_nan=False)
    made = typst.compile(
        str(TEMPLATES / f"{template}.typ"), root=str(TEMPLATES), format=kind, ppi=ppi,
        ignore_system_fonts=not _rare(text), sys_inputs={"data": text},
    )  # fmt: skip
    assert made is not None  # it is only where the file is written by typst itself
    return made if isinstance(made, list) else [made]


def inert(data: Any) -> Any:
    """The data with every text as it is set: nothing unseen in it, and no word that cannot be broken."""
    if isinstance(data, dict):
        return {name: value if name == SVG else inert(value) for name, value in data.items()}
    if isinstance(data, list | tuple):
        return [inert(item) for item in data]
    return _breakable("".join(map(_visible, data))) if isinstance(data, str) else data


def shortened(text: str, room: int) -> str:
    """A text of at most `room` characters, for a running head."""
    return text if len(text) <= room else f"{text[: room - 3]}..."


def _visible(character: str) -> str:
    """Characters nobody can see, and those that turn the line round, become such as `[U+202E]`."""
    seen = character == "\n" or unicodedata.category(character) not in _UNSEEN
    return character if seen else f"[U+{ord(character):04X}]"


def _breakable(text: str) -> str:
    """A text whose long words may be broken anywhere; they break after hyphens as it is.

    >>> _breakable("short words") == "short words", len(_breakable("x" * 20))
    (True, 39)
    """
    pieces = re.split(r"(?<=[ \n-])", text)
    return "".join(piece if len(piece) <= LONGEST else _MAY_BREAK.join(piece) for piece in pieces)


def _rare(text: str) -> bool:
    """Whether a text needs letters that typst's own fonts lack, so that the machine's are worth looking through."""
    return any("\u0700" <= character <= "\u1cff" or character >= "\u2e80" for character in text)
