"""File names made from the job's words: plain, unique, safe on every system."""

import re
import unicodedata
from collections.abc import Iterable

_RESERVED = {"con", "prn", "aux", "nul", *(f"com{i}" for i in range(10)), *(f"lpt{i}" for i in range(10))}


def file_stem(text: str, fallback: str = "part") -> str:
    """A file name without ending: lower-case letters, digits and underscores.

    >>> file_stem("Side rail, right"), file_stem("../../etc/passwd"), file_stem("Ω"), file_stem("CON")
    ('side_rail_right', 'etc_passwd', 'part', 'con_')
    """
    split = unicodedata.normalize("NFKD", text).replace("\N{FRACTION SLASH}", "/")
    plain = split.encode("ascii", "ignore").decode().lower()
    stem = re.sub(r"[^a-z0-9]+", "_", plain).strip("_")[:60].strip("_") or fallback
    return f"{stem}_" if stem in _RESERVED else stem


def unique_stems(texts: Iterable[str]) -> list[str]:
    """File names in the order of the texts, a number added where two would be the same."""
    stems: list[str] = []
    for text in texts:
        stem = candidate = file_stem(text)
        count = 1
        while candidate in stems:
            count += 1
            candidate = f"{stem}_{count}"
        stems.append(candidate)
    return stems
