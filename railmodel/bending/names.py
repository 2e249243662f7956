"""Names in the record are compared without regard to case and double spaces."""

from functools import lru_cache


@lru_cache(maxsize=4096)
def key(name: str) -> str:
    """A name without case and double spaces."""
    return " ".join(name.split()).casefold()


def called(die: str | None) -> str:
    """A die in words."""
    return f"die {die}" if die else "no die named"
