r"""Text that is safe in a DXF file, in lines that fit.

TEXT entities give meaning to `%%` (control codes), `^` (caret notation of control characters), `\U+` and `\M+`
(escaped characters); a line break ends the value. The DXF reference allows 255 bytes a string in R12.
"""

import re
import unicodedata
from typing import Literal

Version = Literal["R2010", "R12"]

WIDTH: float = 0.8
"""Width factor of all text, and the room one character is given, in text heights: wide for any usual CAD font."""

LONGEST: int = 240
"""Bytes in one TEXT, below the 255 that R12 allows."""

_UNSEEN = {"Cc", "Cf", "Cs", "Cn", "Co", "Zl", "Zp"}


def inert(text: str, version: Version) -> str:
    r"""Text as a TEXT entity stores it, so that readers show the same characters or a visible substitute.

    Characters nobody can see, and those that turn the line round, become `[U+202E]`. R12 knows no Unicode: what is
    not in its code page (1252) becomes `\U+0416`, which later readers turn back, or `[U+1F600]` beyond four digits.

    >>> inert("50%%d ^J\n", "R2010")
    '50% %d ^ J[U+000A]'
    """
    seen = "".join(_visible(character) for character in text)
    seen = re.sub("%(?=%)", "% ", seen)
    seen = re.sub(r"\\(?=[UuMm]\+)", r"\\ ", seen)
    seen = seen.replace("^", "^ ")
    if seen.endswith("^ "):
        seen += " "  # a reader that trims the end must not leave a bare caret there
    return "".join(_latin(character) for character in seen) if version == "R12" else seen


def lines_of(text: str, room: int, version: Version) -> list[str]:
    """A text cut into lines of about `room` characters, broken after spaces where there are any.

    Returns:
        At least one line; nothing is added or lost, so the lines joined give the text.

    >>> lines_of("a rail of many words", 10, "R2010")
    ['a rail of ', 'many words']
    """
    lines, shown, stored = [""], 0, 0
    for word in re.findall(r"\S+\s?|\s", text):
        sizes = [_size(character, version) for character in word]
        if lines[-1] and shown + sum(size for size, _ in sizes[: len(word.rstrip())]) > room:
            lines, shown, stored = [*lines, ""], 0, 0
        for character, (wide, heavy) in zip(word, sizes, strict=True):
            if lines[-1] and (shown + wide > max(room, 12) + 1 or stored + heavy > LONGEST):
                lines, shown, stored = [*lines, ""], 0, 0
            lines[-1] += character
            shown, stored = shown + wide, stored + heavy
    return lines


def shortened(text: str, room: int) -> str:
    """A text of at most `room` characters, the rest shown as "..."."""
    return text if len(text) <= room else text[: room - 3] + "..."


def _size(character: str, version: Version) -> tuple[int, int]:
    """Characters shown and bytes stored for one character, at most."""
    if character in "%^\\":
        return 2, 3
    text = inert(character, version)
    return len(text), len(text.encode())


def _visible(character: str) -> str:
    return f"[U+{ord(character):04X}]" if unicodedata.category(character) in _UNSEEN else character


def _latin(character: str) -> str:
    try:
        character.encode("cp1252")
    except UnicodeEncodeError:
        return f"\\U+{ord(character):04X}" if ord(character) <= 0xFFFF else f"[U+{ord(character):X}]"
    return character
