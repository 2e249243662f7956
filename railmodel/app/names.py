"""File names made from the job's words: plain, unique, safe on every system."""

import re
import unicodedata
from collections.abc import Iterable

_LONGEST = 60
_LAST = 12
"""A last word of at most so many characters stays when a name is cut: it is where a part's hand stands."""

_RESERVED = {"con", "prn", "aux", "nul", *(f"com{i}" for i in range(10)), *(f"lpt{i}" for i in range(10))}


def file_stem(text: str, fallback: str = "part") -> str:
    """A file name without ending: lower-case letters, digits and underscores.

    >>> file_stem("Side rail, right"), file_stem("../../etc/passwd"), file_stem("Ω"), file_stem("CON")
    ('side_rail_right', 'etc_passwd', 'part', 'con_')
    """
    split = unicodedata.normalize("NFKD", text).replace("\N{FRACTION SLASH}", "/")
    plain = split.encode("ascii", "ignore").decode().lower()
    stem = _cut(re.sub(r"[^a-z0-9]+", "_", plain).strip("_")) or fallback
    return f"{stem}_" if stem in _RESERVED else stem


def _cut(stem: str) -> str:
    """At most so many characters of a stem, its last word among them."""
    if len(stem) <= _LONGEST:
        return stem
    _, between, last = stem.rpartition("_")
    end = between + last if between and len(last) <= _LAST else ""
    return stem[: _LONGEST - len(end)].strip("_") + end


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
